//! Reading the job file: what is right is taken, what is wrong is named with its line, all at once.

use bothhands::installation::{Job, JobError};
use bothhands::limits::Tables;
use std::path::Path;

fn problems(text: &str) -> String {
    match Job::parse(text, "job.toml") {
        Ok(_) => String::new(),
        Err(error) => error.to_string(),
    }
}

/// A small right job with `circuit` as the body of its one circuit.
fn with_circuit(circuit: &str) -> String {
    format!(
        "title = 'Boathouse'\nkind = 'initial-verification'\ntester = 'A. Learner'\n\
         [site]\nname = 'Boathouse'\n[supply]\nearthing = 'TT'\nphases = 1\n\
         [[board]]\nnumber = 1\nname = 'Board'\n[[board.circuit]]\nnumber = 1\nname = 'Lights'\n{circuit}\n"
    )
}

#[test]
fn the_boathouse_is_read() {
    let job = Job::load(Path::new("tests/jobs/boathouse.toml")).unwrap();
    assert_eq!(job.boards[0].circuits.len(), 6);
    assert_eq!(job.boards[0].circuits[0].points.len(), 3);
}

#[test]
fn a_job_is_written_and_read_back_the_same() {
    let job = Job::load(Path::new("tests/jobs/boathouse.toml")).unwrap();
    let text = toml::to_string(&job).unwrap();
    assert_eq!(Job::parse(&text, "again").unwrap(), job);
}

#[test]
fn what_is_out_of_scope_is_said_so_with_the_reason() {
    let it = with_circuit("kind = 'lighting'").replace("'TT'", "'IT'");
    assert!(
        problems(&it).contains("IT systems are out of scope"),
        "{}",
        problems(&it)
    );
    for (kind, why) in [
        ("medical location", "710"),
        ("PV string", "62446-1"),
        ("solar", "62446-1"),
        ("battery", "no main switch makes them dead"),
    ] {
        let told = problems(&with_circuit(&format!("kind = '{kind}'")));
        assert!(
            told.contains("out of scope") && told.contains(why),
            "{told}"
        );
    }
    // Under a name of its own it is no other kind of circuit, and is told before the work begins.
    for (name, why) in [
        ("Battery inverter", "no main switch makes them dead"),
        ("PV d.c. isolator", "62446-1"),
        ("Sockets, medical location", "710"),
        ("EV charger", "functional tests of its own"),
    ] {
        let text = with_circuit("kind = 'single-point'").replace("'Lights'", &format!("'{name}'"));
        let job = Job::parse(&text, "job.toml").unwrap();
        let told = job.out_of_scope();
        assert!(told.iter().any(|one| one.contains(why)), "{name}: {told:?}");
        let board = &job.boards[0];
        let odd = job.circuit_oddities(Tables::shipped(), board, &board.circuits[0]);
        assert!(odd.iter().any(|odd| odd.contains(why)), "{name}: {odd:?}");
    }
    let charging = with_circuit("kind = 'single-point'").replace("'Lights'", "'Charge point'");
    let job = Job::parse(&charging, "job.toml").unwrap();
    let board = &job.boards[0];
    let odd = job.circuit_oddities(Tables::shipped(), board, &board.circuits[0]);
    assert!(
        odd.iter()
            .any(|odd| odd.contains("functional tests of its own")),
        "{odd:?}"
    );
}

#[test]
fn everything_wrong_is_told_at_once_with_its_line() {
    let error = Job::load(Path::new("tests/jobs/everything_wrong.toml")).unwrap_err();
    insta::assert_snapshot!(error.to_string());
}

#[test]
fn a_board_is_fed_by_one_that_is_there_and_not_by_itself() {
    let job = |first: &str, second: &str| {
        let text = std::fs::read_to_string("tests/dialogues/jobs/boards.toml").unwrap();
        assert!(text.contains("fed_from = \"board 1, circuit 1\""));
        let text = text.replace("board 1, circuit 1", second);
        match first {
            "" => problems(&text),
            by => problems(&text.replacen(
                "[[board]]\n",
                &format!("[[board]]\nfed_from = \"{by}\"\n"),
                1,
            )),
        }
    };
    assert_eq!(job("", "board 1, circuit 1"), "");
    assert_eq!(job("", "the meter cupboard's switch"), "");
    for (first, second, told) in [
        ("", "board 7, circuit 1", "there is no board 7"),
        ("", "board 1, circuit 9", "board 1 has no circuit 9"),
        ("", "board 2, circuit 1", "feed of board 2 comes round"),
        (
            "board 2, circuit 1",
            "board 1, circuit 1",
            "feed of board 1 comes round",
        ),
    ] {
        let text = job(first, second);
        assert!(text.contains(told), "{first:?} {second:?}: {text}");
    }
}

#[test]
fn a_missing_file_says_to_check_the_path() {
    let JobError { problems, .. } = Job::load(Path::new("tests/jobs/none.toml")).unwrap_err();
    assert!(problems[0].text.contains("check the path"));
}

#[test]
fn broken_toml_names_every_line_that_is_broken() {
    let text = problems("title = \nkind = \"ring\ntester = 'x'\n");
    assert!(
        text.contains("job.toml:1:") && text.contains("job.toml:2:"),
        "{text}"
    );
}

#[test]
fn a_protective_conductor_larger_than_the_line_is_odd_but_allowed() {
    let text = with_circuit("kind = 'radial'\ncable = { line_mm2 = 2.5, cpc_mm2 = 4.0 }");
    assert_eq!(problems(&text), "");
}

#[test]
fn values_that_no_circuit_has_are_refused() {
    for (circuit, expected) in [
        (
            "kind = 'radial'\ndevice = { kind = 'BS EN 60898 B', amps = 0 }\ncable = { line_mm2 = 2.5, cpc_mm2 = 1.5 }",
            "job.toml:16: a 0 A device to BS EN 60898 B does not exist",
        ),
        (
            "kind = 'radial'\ndevice = { kind = 'BS 1362', amps = 20 }",
            "up to 13 A",
        ),
        (
            "kind = 'radial'\ndevice = { kind = 'BS EN 60898 B', amps = nan }",
            "does not exist",
        ),
        (
            "kind = 'radial'\ndevice = { kind = 'BS EN 60898 B', amps = 6, breaking_ka = 0 }",
            "breaking capacity",
        ),
        (
            "kind = 'radial'\nrcd = { milliamps = 0 }",
            "0 mA is no rated residual current",
        ),
        (
            "kind = 'radial'\nrcd = { milliamps = 30, waveform = 'X' }",
            "AC, A, F or B",
        ),
        (
            "kind = 'radial'\ncable = { line_mm2 = -1, cpc_mm2 = 1 }",
            "write line_mm2 as in 2.5",
        ),
        (
            "kind = 'radial'\ncable = { line_mm2 = 1, cpc_mm2 = inf }",
            "write cpc_mm2 as in 2.5",
        ),
        (
            "kind = 'radial'\ncable = { line_mm2 = 1, cpc_mm2 = 1, metres = 0 }",
            "metres must be more than 0",
        ),
        (
            "kind = 'radial'\ncable = { line_mm2 = 1, cpc_mm2 = 1, class = 4 }",
            "class 4 is not a class",
        ),
        (
            "kind = 'radial'\nphases = 3",
            "three-phase circuit on a single-phase board",
        ),
        ("kind = 'radial'\nphases = 2", "2 phases: write 1 or 3"),
        (
            "kind = 'radiall'",
            "kind: `radiall` is not known here, did you mean \"radial\"? Write radial, ring",
        ),
        ("", "a circuit needs `kind`"),
    ] {
        let told = problems(&with_circuit(circuit));
        assert!(
            told.contains(expected),
            "{circuit}\n  told: {told}\n  not: {expected}"
        );
    }
}

#[test]
fn usual_words_and_short_forms_are_taken_as_the_words_they_stand_for() {
    let words = with_circuit(
        "kind = 'cooker'\ndevice = 'B32 RCBO 30 mA'\ncable = '6/2.5, 12 m'\nphases = 'single'",
    )
    .replace("'initial-verification'", "'EIC'")
    .replace("'TT'", "'tncs'");
    let whole = with_circuit(
        "kind = 'single-point'\ndevice = { kind = 'BS EN 61009 B', amps = 32 }\n\
         rcd = { milliamps = 30 }\ncable = { line_mm2 = 6, cpc_mm2 = 2.5, metres = 12 }",
    )
    .replace("'TT'", "'TN-C-S'");
    assert_eq!(
        Job::parse(&words, "words").unwrap(),
        Job::parse(&whole, "whole").unwrap()
    );
}

#[test]
fn points_are_counted_and_one_of_them_may_be_written_out() {
    let text = with_circuit(
        "kind = 'radial'\nsockets = 3\nlights = 1\n\
         [[board.circuit.point]]\nname = 'socket'\nnumber = 2\nsensitive = 'USB charging outlet'\n\
         [[board.circuit.point]]\nname = 'door entry unit'",
    );
    let job = Job::parse(&text, "job.toml").unwrap();
    let points = &job.boards[0].circuits[0].points;
    let named: Vec<_> = points
        .iter()
        .map(|p| (p.name.as_str(), p.number, p.sensitive.is_some(), p.feeds_on))
        .collect();
    assert_eq!(
        named,
        [
            ("socket", Some(1), false, true),
            ("socket", Some(2), true, false),
            ("socket", Some(3), false, true),
            ("light", Some(1), false, true),
            ("door entry unit", None, false, false),
        ]
    );
    let alone = Job::parse(&with_circuit("kind = 'radial'\nsockets = 2"), "job.toml").unwrap();
    let last = alone.boards[0].circuits[0].points.last().unwrap();
    assert!(!last.feeds_on, "nothing follows the last of a radial");
    for wrong in ["0", "'many'", "5000", "-1", "2.5"] {
        let told = problems(&with_circuit(&format!(
            "kind = 'radial'\nsockets = {wrong}"
        )));
        assert!(
            told.contains("job.toml:16: sockets: write how many"),
            "{told}"
        );
    }
}

#[test]
fn what_cannot_be_taken_is_answered_with_what_to_write() {
    for (circuit, expected) in [
        ("kind = 'socket'", "write \"ring\" or \"radial\""),
        (
            "kind = 'radial'\ndevice = 'B RCBO'",
            "device: `B RCBO` cannot stand here: the rated current",
        ),
        (
            "kind = 'radial'\ndevice = 'big fuse'",
            "device: `big fuse` cannot stand here: write a table",
        ),
        ("kind = 'radial'\ndevice = 32", "or \"B32 RCBO 30 mA\""),
        ("kind = 'radial'\ncable = '2.5'", "as in 2.5/1.5"),
        ("kind = 'radial'\nrcd = 'yes'", "rcd = { milliamps = 30"),
        (
            "kind = 'radial'\ntwo_way = 'yes'",
            "two_way: `yes` cannot stand here: write true or false",
        ),
        (
            "kind = 3",
            "kind: `3` cannot stand here: write kind = \"radial\"",
        ),
        ("kind = 'radial'\ndevise = 'B32'", "did you mean `device`?"),
        ("kind = 'radial'\nsocket = 8", "did you mean `sockets`?"),
        (
            "kind = 'radial'\ndevice = { kind = 'mcb', amps = 6 }",
            "\"BS EN 60898 B\", C or D",
        ),
    ] {
        let told = problems(&with_circuit(circuit));
        assert!(
            told.contains(expected),
            "{circuit}\n  told: {told}\n  not: {expected}"
        );
        for inside in ["struct", "f64", "u16", "enum", "variant"] {
            assert!(!told.contains(inside), "{circuit}: {told}");
        }
    }
}

#[test]
fn only_a_voltage_indicator_goes_without_a_calibration_date() {
    let with = |used: &str| {
        with_circuit("kind = 'radial'")
            + &format!("[[instrument]]\nname = 'tester'\nserial = '1'\nused_for = [{used}]\n")
    };
    assert_eq!(problems(&with("'voltage-indication'")), "");
    for used in ["'continuity'", "'voltage-indication', 'loop'"] {
        let told = problems(&with(used));
        assert!(told.contains("needs `calibration_due`"), "{used}: {told}");
    }
}

mod any_text {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn no_text_whatever_brings_the_reader_down(text in "\\PC*") {
            let _ = Job::parse(&text, "any");
        }

        #[test]
        fn nor_does_the_boathouse_with_a_piece_cut_out(from in 0..2000usize, many in 1..200usize) {
            let whole = std::fs::read_to_string("tests/jobs/boathouse.toml").unwrap();
            let cut: String = whole
                .chars()
                .enumerate()
                .filter(|(i, _)| *i < from || *i >= from + many)
                .map(|(_, c)| c)
                .collect();
            if let Err(error) = Job::parse(&cut, "cut") {
                prop_assert!(!error.problems.is_empty());
            }
        }
    }
}

#[test]
fn old_devices_and_other_cables_are_taken_as_they_are_marked_and_told_where_they_are_not() {
    let radial = |body: &str| with_circuit(&format!("kind = 'radial'\n{body}"));
    for body in [
        "device = 'BS 1361 30 A'",
        "device = 'BS 3871 type 2 20 A'",
        "device = { kind = 'bs 3871 type c', amps = 32 }",
        "device = '250 A MCCB trips at 2000 A'",
        "device = { kind = 'mccb', amps = '250 A', instantaneous_amps = 2500, short_time_amps = 1000, short_time_seconds = 0.2 }",
        "device = { kind = 'other', called = 'cartridge', amps = 10, zs_ohms = '1.15', source = 'its data sheet' }",
        "cable = '10 3-core SWA 25 m'",
        "cable = { line_mm2 = 35, cpc_mm2 = 16, metal = 'al', insulation = 'thermosetting', cpc_is = 'swa' }",
    ] {
        assert_eq!(problems(&radial(body)), "", "{body}");
    }
    for (body, told) in [
        (
            "device = { kind = 'BS 1316', amps = 30 }",
            "did you mean \"BS 1361\"?",
        ),
        (
            "device = { kind = 'BS 3871', amps = 30 }",
            "write its type too, as marked",
        ),
        ("device = { kind = 'BS 1361', amps = 125 }", "up to 100 A"),
        ("device = { kind = 'BS 88-6', amps = 80 }", "up to 63 A"),
        (
            "device = { kind = 'other', amps = 10 }",
            "add zs_ohms = \"1.15\", or ia_amps = 190",
        ),
        (
            "device = { kind = 'other', amps = 10, ia_amps = 50, called = 'x' }",
            "add source =",
        ),
        (
            "device = { kind = 'other', amps = 10, ia_amps = 50, source = 'x' }",
            "add called =",
        ),
        (
            "device = { kind = 'BS 1361', amps = 30, zs_ohms = '2' }",
            "write kind = \"other\"",
        ),
        (
            "device = { kind = 'BS EN 60898 B', amps = 32, instantaneous_amps = 160 }",
            "only a device to BS EN 60947-2",
        ),
        (
            "device = { kind = 'mccb', amps = 250, short_time_amps = 1000 }",
            "write all three",
        ),
        ("cable = '10 SWA 25 m'", "the number of cores is missing"),
        ("cable = '300 2-core SWA'", "no armour or sheath is known"),
        (
            "cable = { line_mm2 = 4, cpc_mm2 = 4, insulation = 'micc' }",
            "mineral-covered or mineral-bare",
        ),
        (
            "cable = { line_mm2 = 4, cpc_mm2 = 4, metal = 'aluminum wire' }",
            "metal",
        ),
    ] {
        let text = problems(&radial(body));
        assert!(text.contains(told), "{body}: {text}");
    }
}

#[test]
fn rcds_of_several_circuits_and_the_intake_are_checked_where_they_stand() {
    let with = |supply: &str, board: &str| {
        with_circuit("kind = 'radial'")
            .replace("phases = 1\n", &format!("phases = 1\n{supply}\n"))
            .replace("name = 'Board'\n", &format!("name = 'Board'\n{board}\n"))
    };
    let fine = with(
        "fuse = 'BS 88-3 80 A'\nze_ohms = '21'\nze_by = 'distributor'\nmain_switch = { standard = 'BS EN 60947-3', amps = 100 }",
        "surge = 'Type 2'\n[[board.rcd]]\nnumber = 1\nmilliamps = '100 mA'\ndelay = 'type s'",
    );
    assert_eq!(problems(&fine), "");
    for (supply, board, told) in [
        (
            "ze_by = 'enquiry'",
            "",
            "ze_by says how a value is known that is not there",
        ),
        ("fuse = 'BS 1361 300 A'", "", "up to 100 A"),
        (
            "fuse = '80 A'",
            "",
            "the type of the 80 A device is missing",
        ),
        ("hertz = 0", "", "hertz must be more than 0"),
        (
            "main_switch = { standard = '', amps = 100 }",
            "",
            "main_switch is written as in",
        ),
        (
            "",
            "[[board.rcd]]\nnumber = 1\nmilliamps = 30\ncircuits = [7]",
            "this board has no circuit 7",
        ),
        ("", "[[board.rcd]]\nnumber = 1", "milliamps"),
        (
            "",
            "[[board.rcd]]\nnumber = 1\nmilliamps = 30\n[[board.rcd]]\nnumber = 1\nmilliamps = 100",
            "rcd 1 stands twice",
        ),
        (
            "",
            "[[board.rcd]]\nnumber = 40\nmilliamps = 30",
            "from 1 to 19",
        ),
        (
            "",
            "[[board.rcd]]\nnumber = 1\nmiliamps = 30",
            "did you mean `milliamps`?",
        ),
    ] {
        let text = problems(&with(supply, board));
        assert!(text.contains(told), "{supply} {board}: {text}");
    }
}
