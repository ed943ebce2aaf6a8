//! What is on paper afterwards: the schedule and the dialogue of whole sessions.

use crate::looking_back::rehearsal::{Rehearsal, altered, both, large, megohms, socket};
use bothhands::grammar::Intent;
use bothhands::quantity::Conductors;
use bothhands::report::{self, Cell, Schedule, Times};
use bothhands::sequence::{Ask, Step};
use bothhands::store::{OpenMode, Sounds, Store, import};
use bothhands::terms::{Change, Part, Reason};
use std::fs::File;
use std::io::BufReader;
use std::path::Path;

fn schedule(rehearsal: &Rehearsal) -> Schedule {
    Schedule::of(&rehearsal.log(), &Times::utc()).unwrap()
}

/// A session in which something of everything happens.
fn eventful() -> Rehearsal {
    let mut r = Rehearsal::boathouse();
    r.until("insulation-resistance/trial");
    r.say(megohms("0.35"));
    r.say(Intent::Affirm);
    r.say(Intent::TestAt(bothhands::quantity::TestVoltage::V500));
    r.say(both(altered(
        Part::Conductors(Conductors::N),
        Change::Out,
        Some(socket(2)),
    )));
    r.until("500/L-E");
    r.say(megohms("299"));
    r.say(Intent::Correction(Some(Box::new(megohms("200")))));
    r.say(Intent::WhatIsOut);
    r.unclear("fifteen", "fifty");
    r.until("b1/c2/polarity/dead");
    r.say(Intent::NotTested(Some(Reason::NoAccess)));
    r
}

#[test]
fn a_session_that_went_well_has_a_row_for_every_circuit() {
    let mut r = Rehearsal::boathouse();
    r.finish_it();
    let schedule = schedule(&r);
    assert!(schedule.finished);
    let circuits = &schedule.boards[0].circuits;
    assert_eq!(circuits.len(), 6);
    assert_eq!(circuits[0].cells.called("insulation_le").text(), ">999");
    // 0.67 was read, with leads of 0.02 that were not nulled.
    assert_eq!(circuits[0].cells.called("ring_r2").text(), "0.65");
    assert_eq!(
        circuits[0].cells.called("ring_r2").on_page(),
        "0.65 (0.67 read, leads 0.02)"
    );
    assert_eq!(
        circuits[0].cells.called("polarity").text(),
        "polarity correct"
    );
    assert_eq!(circuits[0].zs_limit.as_deref(), Some("1.37"));
    assert_eq!(*circuits[1].cells.called("ring_r1"), Cell::NotPlanned);
    assert!(schedule.open_items.is_empty(), "{:?}", schedule.open_items);
    assert!(schedule.out_list.iter().all(|row| !row.is_open()));
}

#[test]
fn the_voltage_of_the_supply_stands_at_the_head_and_outside_its_limit_as_an_exception() {
    let mut r = Rehearsal::boathouse();
    r.until("supply-polarity/voltage/L-N");
    let before = report::html(&schedule(&r));
    assert!(
        before.to_lowercase().contains("supply voltage l-n"),
        "it is asked for"
    );
    for (text, volts) in [("L-N", "241"), ("L-E", "212")] {
        let volts: bothhands::quantity::Number = volts.parse().unwrap();
        let mut reading = bothhands::quantity::Reading::exact(volts);
        reading.pair = Some(text.parse().unwrap());
        reading.unit = Some(bothhands::quantity::Unit::Volt);
        r.say(Intent::Reading {
            reading,
            place: None,
            half: None,
        });
    }
    r.say(Intent::Affirm);
    let schedule = schedule(&r);
    let html = report::html(&schedule);
    let head = html.split("class=\"exceptions\"").next().unwrap_or(&html);
    assert!(head.contains("supply voltage L-N"), "{head}");
    assert!(head.contains("241"), "{head}");
    let exceptions = format!("{:?}", schedule.exceptions);
    assert!(
        exceptions.contains("212") && !exceptions.contains("241"),
        "{exceptions}"
    );
}

#[test]
fn what_was_corrected_no_longer_stands_in_the_schedule_but_in_the_log() {
    let r = eventful();
    let html = report::html(&schedule(&r));
    assert!(html.contains(">200<"));
    assert!(!html.contains(">299<"));
    let dialogue = report::dialogue(&r.log()).unwrap();
    let text = report::dialogue_text(&dialogue, &Times::utc());
    assert!(text.contains("299 M"), "{text}");
    assert!(text.contains("right: it no longer counts"), "{text}");
}

#[test]
fn what_is_still_out_stands_first_among_the_open_items() {
    let mut r = eventful();
    r.say(both(altered(
        Part::Conductors(Conductors::N),
        Change::Out,
        Some(socket(2)),
    )));
    let schedule = schedule(&r);
    let items = &schedule.open_items;
    let out: Vec<&str> = items
        .iter()
        .take_while(|item| item.still_out)
        .map(|item| item.what.as_str())
        .collect();
    assert!(
        out.contains(&"still out: both neutrals at socket 2"),
        "{out:?}"
    );
    assert!(items.iter().skip(out.len()).all(|item| !item.still_out));
}

#[test]
fn what_was_not_tested_is_a_limitation_that_its_cell_points_to() {
    let schedule = schedule(&eventful());
    let limitation = &schedule.limitations[0];
    assert_eq!(limitation.reason, "no access");
    assert_eq!(limitation.circuit, Some(2));
    let polarity = schedule.boards[0].circuits[1]
        .cells
        .called("polarity")
        .text();
    assert_eq!(polarity, format!("not tested ({})", limitation.mark));
}

/// In small letters, without the name of the regulations that a voltage is compared with.
fn without_names(page: &str) -> String {
    let small = page.to_lowercase();
    let words: Vec<&str> = small.split_whitespace().collect();
    words
        .join(" ")
        .replace("electricity safety, quality and continuity regulations", "")
}

#[test]
fn no_page_ever_says_that_it_is_safe() {
    let mut r = eventful();
    r.finish_it();
    let schedule = schedule(&r);
    for page in [
        report::html(&schedule),
        report::csv(&schedule),
        report::json(&schedule),
    ] {
        // A keyword of the content security policy, not a word on the page.
        let page = without_names(&page).replace("'unsafe-inline'", "");
        let said = page.find("safe").map(|at| &page[at.saturating_sub(80)..]);
        assert!(said.is_none(), "{said:.200?}");
        assert!(page.contains(&report::RECORD_OF.to_lowercase()));
    }
}

/// What the customer reads: no arithmetic, no limits, no clause, and never that it is safe.
#[test]
fn the_customers_page_is_in_plain_words() {
    let mut r = eventful();
    let unfinished = [schedule(&r)];
    r.finish_it();
    let mut finished = schedule(&r);
    finished.next_inspection = Some("2031-11-25".parse().unwrap());
    let finished = [finished];
    let pdf = report::customer_pdf(&finished).unwrap();
    for text in [
        report::customer_html(&finished),
        poppler("pdftotext", &[], &pdf),
    ] {
        let text = text.replace("'unsafe-inline'", "");
        let text: Vec<&str> = text.split_whitespace().collect();
        let text = text.join(" ");
        for wanted in [
            "On 25 November 2026 A. Learner, supervised by The instructor, tested",
            "What was found",
            "Circuit 3, Shower, changing room: the earth wires can't be judged",
            "Circuit 2, Lights, boat bay: the tests of the order of the wires are not complete (no access).",
            "by 25 November 2031",
            "Press the button marked T or Test",
            "1 result was outside the limit at first, and within it when tested again",
        ] {
            assert!(text.contains(wanted), "{wanted} is not in\n{text}");
        }
        for unwanted in ["Ω", "643", "BS 7671", "safe", "not finished"] {
            assert!(!text.contains(unwanted), "{unwanted} is in\n{text}");
        }
    }
    let unfinished = report::customer_html(&unfinished);
    for wanted in [
        "The work is not finished",
        "Something is still taken apart or joined for the tests (line and earth linked at board)",
        "Have the tests made that are still to come.",
        "Of its 6 circuits, 6 still have tests to come.",
    ] {
        assert!(unfinished.contains(wanted), "{wanted}");
    }
    assert!(!unfinished.contains("inspected and tested again by"));
}

/// What was made, what was left out and what is to come are told apart, and nothing is called safe.
#[test]
fn the_customers_page_tells_what_was_made_from_what_was_left_out() {
    let mut whole = Rehearsal::boathouse();
    whole.finish_it();
    let mut partly = Rehearsal::boathouse();
    partly.until("b1/c2/polarity/dead");
    partly.say(Intent::NotTested(Some(Reason::NoAccess)));
    let before = report::customer_html(&[schedule(&partly)]);
    partly.finish_it();
    let (whole, partly) = (
        report::customer_html(&[schedule(&whole)]),
        report::customer_html(&[schedule(&partly)]),
    );
    assert!(whole.contains("Every test planned for its 6 circuits was made."));
    for (page, wanted) in [
        (&before, "still have tests to come"),
        (&before, "The work is not finished"),
        (
            &partly,
            "Of its 6 circuits, 5 had every planned test; 1 had tests left out, which are named below.",
        ),
        (&partly, "are not complete (no access)."),
    ] {
        assert!(page.contains(wanted), "{wanted} is not in\n{page}");
    }
    for page in [&whole, &before, &partly] {
        let text = page.split("<main").nth(1).unwrap().to_lowercase();
        assert!(
            !text.contains("dealt with") && !text.contains("safe"),
            "{text}"
        );
    }
}

/// What one looks for stands on the first page of the paper, and headings over nothing don't.
#[test]
fn the_first_page_has_what_one_looks_for() {
    let mut r = Rehearsal::boathouse();
    r.finish_it();
    let good = schedule(&r);
    let pdf = report::pdf(&good).unwrap();
    let first = poppler("pdftotext", &["-layout", "-l", "1"], &pdf);
    let squeezed: String = first.split_whitespace().collect();
    for wanted in [
        "Rowing club boathouse",
        "External loop impedance Ze",
        "0.21 Ω ✓",
        "Prospective fault current L-N",
        "1.1 kA ✓",
        "Bonding conductor",
        "Shower, changing room",
        "Standing",
        "Signature",
        "Tested by",
        "Checked by",
        "Nothing is open.",
        "25 November 2026",
        bothhands::sequence::CAUTIONS[0],
        bothhands::sequence::CAUTIONS[4],
    ] {
        let wanted: String = wanted.split_whitespace().collect();
        assert!(squeezed.contains(&wanted), "{wanted} is not in\n{first}");
    }
    for nothing in ["Open items", "Overrides", "Departures", "None."] {
        assert!(!first.contains(nothing), "{nothing} is in\n{first}");
    }
    let html = report::html(&good);
    assert!(!html.contains(">Overrides") && !html.contains("2026-11-25 "));
}

#[test]
fn what_is_open_stands_in_one_line_a_circuit() {
    let open = schedule(&eventful()).open_items;
    for circuit in 1..=6 {
        let of = format!("board 1, circuit {circuit}:");
        let lines = open.iter().filter(|item| item.what.contains(&of)).count();
        assert!(lines <= 1, "{open:?}");
    }
    let third = open.iter().find(|item| item.what.contains("circuit 3:"));
    assert_eq!(
        third.unwrap().what,
        "not done: board 1, circuit 3: continuity, insulation resistance (4 steps), polarity, \
         loop impedance, residual current device (4 steps)"
    );
}

#[test]
fn ones_own_heading_and_logo_are_on_the_paper_and_nothing_is_fetched_for_them() {
    let logo = "<svg xmlns='http://www.w3.org/2000/svg' width='60' height='30'>\
        <rect width='60' height='30' fill='#146'/></svg>";
    let letterhead = report::Letterhead {
        heading: Some("Slipway Wiring <1 Boat Lane>".to_owned()),
        logo: Some(report::Logo::of(logo.into()).unwrap()),
    };
    let schedule = schedule(&eventful()).on_paper_of(&letterhead);
    let html = report::html(&schedule);
    assert!(html.contains("Slipway Wiring &lt;1 Boat Lane&gt;"));
    assert!(html.contains("src=\"data:image/svg+xml;base64,"));
    assert!(html.contains("img-src data:"));
    let pdf = report::pdf(&schedule).unwrap();
    assert!(poppler("pdfinfo", &["-struct"], &pdf).contains("Figure"));
    let pictures = poppler("pdfimages", &["-list"], &pdf);
    assert!(pictures.contains(" 600 "), "{pictures}");
    let customer = report::customer_html(std::slice::from_ref(&schedule));
    assert!(customer.contains("src=\"data:image/svg+xml;base64,"));
}

#[test]
fn the_page_asks_nothing_of_anyone_else() {
    let html = report::html(&schedule(&eventful()));
    for outside in [
        "http:", "https:", "//", "url(", "@import", "<script", "<link",
    ] {
        assert!(!html.contains(outside), "{outside}");
    }
}

#[test]
fn csv_has_one_line_a_circuit_and_keeps_bounds() {
    let mut r = Rehearsal::boathouse();
    r.finish_it();
    let csv = report::csv(&schedule(&r));
    assert_eq!(csv.lines().count(), 7);
    assert!(csv.contains(",>999,"));
}

#[test]
fn only_questions_shows_questions_and_their_answers() {
    let r = eventful();
    let wanted = report::WantedExchanges {
        only: Some(report::Only::Questions),
        ..Default::default()
    };
    let dialogue = report::dialogue(&r.log()).unwrap();
    let questions: Vec<_> = dialogue.iter().filter(|e| wanted.has(e)).collect();
    assert!(questions.len() >= 3);
    assert!(
        questions
            .iter()
            .any(|e| e.understood.as_deref() == Some("affirm"))
    );
    assert!(
        questions
            .iter()
            .any(|e| e.runner_up.as_deref() == Some("fifty"))
    );
}

/// What one of Poppler's programs, which know nothing of ours, says about a PDF.
pub fn poppler(program: &str, options: &[&str], pdf: &[u8]) -> String {
    crate::need(program, "poppler-utils");
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("schedule.pdf");
    std::fs::write(&path, pdf).unwrap();
    let mut command = std::process::Command::new(program);
    command.args(options).arg(&path);
    if program == "pdftotext" {
        command.arg("-");
    }
    String::from_utf8(command.output().unwrap().stdout).unwrap()
}

/// Both as it is seen and in the order in which a screen reader reads it.
#[test]
fn the_pdf_says_what_the_log_says() {
    let mut r = eventful();
    r.finish_it();
    let schedule = schedule(&r);
    let pdf = report::pdf(&schedule).unwrap();
    for text in [
        poppler("pdftotext", &["-layout"], &pdf),
        poppler("pdfinfo", &["-struct-text"], &pdf),
    ] {
        // What is read aloud comes line by line in quotes.
        let plain: String = text.split_whitespace().collect();
        let plain = plain.replace("\"\"", "");
        let has = |wanted: &str| {
            let wanted: String = wanted.split_whitespace().collect();
            assert!(plain.contains(&wanted), "{wanted} is not in\n{text}");
        };
        has(report::RECORD_OF);
        for caution in schedule.cautions {
            has(&caution[..60]);
        }
        for instrument in &schedule.instruments {
            has(&instrument.serial);
        }
        for kept in r.session.state().readings() {
            if kept.status == bothhands::sequence::ReadingStatus::Counts {
                let through_leads = format!("({} read,", kept.reading.shown());
                let squeezed: String = through_leads.split_whitespace().collect();
                if !plain.contains(&squeezed) {
                    has(&report::words::value(&kept.reading));
                }
            }
        }
        assert!(!without_names(&text).contains("safe"));
    }
}

/// ISO 14289-1: a title, a language, headings in order, lists, and tables whose cells have heads.
#[test]
fn a_screen_reader_finds_its_way_through_the_pdf() {
    let mut r = eventful();
    r.finish_it();
    let schedule = schedule(&r);
    let pdf = report::pdf(&schedule).unwrap();
    let about = poppler("pdfinfo", &[], &pdf);
    let says = |name: &str| {
        let line = about.lines().find_map(|line| line.strip_prefix(name));
        line.unwrap_or_else(|| panic!("no {name} in\n{about}"))
            .trim()
    };
    assert_eq!(says("Tagged:"), "yes");
    let title = format!("Schedule of test results: {}", schedule.title);
    assert_eq!(says("Title:"), title);
    let raw = String::from_utf8_lossy(&pdf);
    for wanted in ["/Lang(en-GB)", "<pdfuaid:part>1<", "/DisplayDocTitle true"] {
        assert!(raw.contains(wanted), "{wanted}");
    }
    // A sign is read in words.
    assert!(raw.contains(", within the limit)"));

    let read = poppler("pdfinfo", &["-struct-text"], &pdf);
    let headings: Vec<(u32, &str)> = read
        .lines()
        .filter_map(|line| {
            let (level, title) = line.trim().strip_prefix('H')?.split_once(" \"")?;
            Some((level.parse().ok()?, title.split_once('"')?.0))
        })
        .collect();
    assert_eq!(headings[0], (1, "Schedule of test results"));
    for two in headings.windows(2) {
        assert!(two[1].0 >= 2 && two[1].0 <= two[0].0 + 1, "{two:?}");
    }
    for wanted in [
        "Instruments",
        "Cautions",
        "What was taken out, and put back",
    ] {
        assert!(headings.contains(&(2, wanted)), "{wanted}: {headings:?}");
    }
    for board in &schedule.boards {
        let wanted = format!("Board {}: {}", board.number, board.name);
        assert!(headings.contains(&(2, &wanted)), "{wanted}: {headings:?}");
    }

    let tables: Vec<&str> = read.split("\n  Table").skip(1).collect();
    // The site, signatures, what was taken out, the instruments; of each board key results, heading,
    // circuit details, test results, other results and readings.
    assert_eq!(tables.len(), 4 + 6 * schedule.boards.len());
    for table in tables {
        assert!(table.contains("TH:"), "a table without heads:\n{table}");
        assert!(table.contains("/Summary ("), "a table of nothing:\n{table}");
    }
    let circuits: usize = schedule.boards.iter().map(|b| b.circuits.len()).sum();
    assert!(read.matches("/Scope /Row").count() >= circuits);
    assert_eq!(
        read.matches("Lbl (block)").count(),
        read.matches("LBody (block)").count()
    );
    assert!(read.contains("  L (block):"));
}

#[test]
fn a_name_in_letters_that_the_font_lacks_is_kept() {
    let mut schedule = schedule(&eventful());
    schedule.site = "漢字漢 \u{feff}\0boathouse".to_owned();
    let text = poppler("pdftotext", &[], &report::pdf(&schedule).unwrap());
    assert!(text.contains("漢字漢 boathouse"), "{text}");
}

#[test]
fn the_same_log_gives_the_same_pdf() {
    let schedule = schedule(&eventful());
    assert_eq!(
        report::pdf(&schedule).unwrap(),
        report::pdf(&schedule).unwrap()
    );
}

/// A log as the first version wrote it, exported as JSON Lines. It must stay readable for good:
/// never write it anew. What its schedule shows differs in one thing from what it showed then:
/// continuity is without the leads, 0.02 Ω, that were noted and not nulled; what was read stands in the
/// remarks.
#[test]
fn a_log_of_the_first_version_stays_readable() {
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("session.db");
    let golden = Path::new("tests/golden/session-v1.jsonl");
    let mut lines = BufReader::new(File::open(golden).unwrap());
    import(&mut lines, golden, None, &db).unwrap();
    let store = Store::open(&db, OpenMode::Read).unwrap();
    let log = bothhands::log::Log::read(&store).unwrap();
    let schedule = Schedule::of(&log, &Times::utc()).unwrap();
    insta::assert_snapshot!(
        "golden_session_v1",
        report::csv(&schedule).replace("\r\n", "\n")
    );
    let dialogue = report::dialogue(&log).unwrap();
    let events: usize = dialogue.iter().map(|exchange| exchange.kinds.len()).sum();
    assert_eq!(events, log.entries.len());
    assert!(
        dialogue[1..]
            .iter()
            .all(|exchange| exchange.understood.is_some())
    );
}

#[test]
fn a_board_of_any_size_is_reported_on_whole() {
    let r = large(14);
    let schedule = schedule(&r);
    let circuits: usize = schedule
        .boards
        .iter()
        .map(|board| board.circuits.len())
        .sum();
    assert_eq!(circuits, 14);
    assert_eq!(report::csv(&schedule).lines().count(), 1 + circuits);
}

#[test]
#[ignore = "writes the golden file once, when a version of the log is born"]
fn write_golden() {
    let mut r = eventful();
    r.finish_it();
    let folder = tempfile::tempdir().unwrap();
    let db = folder.path().join("session.db");
    r.keep(&db, false);
    let store = Store::open(&db, OpenMode::Read).unwrap();
    let mut file = File::create_new("tests/golden/session-v1.jsonl").unwrap();
    store.export(&mut file, &Sounds::Inside).unwrap();
}

#[test]
#[ignore = "writes pages to look at: OUT=dir cargo test --test it pages_to -- --ignored"]
fn pages_to_look_at() {
    let out = std::path::PathBuf::from(std::env::var("OUT").unwrap());
    std::fs::create_dir_all(&out).unwrap();
    let mut eventful = eventful();
    let unfinished = schedule(&eventful);
    std::fs::write(out.join("unfinished.html"), report::html(&unfinished)).unwrap();
    eventful.finish_it();
    let logo = std::env::var("LOGO")
        .ok()
        .map(|path| bothhands::report::Logo::of(std::fs::read(path).unwrap()).unwrap());
    let finished = schedule(&eventful).on_paper_of(&bothhands::report::Letterhead {
        heading: Some("Boathouse Wiring, 1 Slipway Lane".to_owned()),
        logo,
    });
    std::fs::write(out.join("finished.html"), report::html(&finished)).unwrap();
    std::fs::write(out.join("finished.csv"), report::csv(&finished)).unwrap();
    std::fs::write(out.join("finished.json"), report::json(&finished)).unwrap();
    std::fs::write(out.join("finished.pdf"), report::pdf(&finished).unwrap()).unwrap();
    std::fs::write(
        out.join("unfinished.pdf"),
        report::pdf(&unfinished).unwrap(),
    )
    .unwrap();
    for (name, schedule) in [("finished", &finished), ("unfinished", &unfinished)] {
        let schedule = std::slice::from_ref(schedule);
        let page = report::customer_html(schedule);
        std::fs::write(out.join(format!("{name}-customer.html")), page).unwrap();
        let paper = report::customer_pdf(schedule).unwrap();
        std::fs::write(out.join(format!("{name}-customer.pdf")), paper).unwrap();
    }
    let db = out.join("session.db");
    let _ = std::fs::remove_file(&db);
    eventful.keep(&db, true);
    let dialogue = report::dialogue(&eventful.log()).unwrap();
    std::fs::write(
        out.join("log.txt"),
        report::dialogue_text(&dialogue, &Times::utc()),
    )
    .unwrap();
}

/// "Within limits" is said of what was tested only, and never of what stays off or was not tested.
#[test]
fn how_a_circuit_stands_is_told_by_what_was_said_of_it() {
    let standing = |schedule: &Schedule, circuit: &str| {
        let html = report::html(schedule);
        let row = html.split(circuit).nth(1).unwrap();
        let cell = row.split("data-label=\"Standing\"><span>").nth(1).unwrap();
        cell.split("</span>").next().unwrap().to_owned()
    };
    let mut r = Rehearsal::boathouse();
    let fresh = schedule(&r);
    assert_eq!(standing(&fresh, "1 Sockets, club room"), "not begun");
    r.until("b1/c2/polarity/dead");
    let half = schedule(&r);
    let open = r.session.state().open_steps();
    let asked =
        |step: &&_| matches!(step, Step { circuit: Some(1), ask, .. } if *ask != Ask::Event);
    let open = open.filter(asked).count();
    assert!(open > 1);
    let wanted = format!("{open} steps open");
    assert_eq!(standing(&half, "1 Sockets, club room"), wanted);
    r.say(Intent::NotTested(Some(Reason::NoAccess)));
    r.until("b1/c4/polarity/dead");
    r.say(Intent::Stated(
        bothhands::terms::Statement::PolarityReversed,
    ));
    r.say(Intent::Affirm);
    r.say(Intent::StaysOff(4));
    r.say(Intent::Affirm);
    let off = schedule(&r);
    assert!(off.stays_off.contains(&(1, 4)), "{:?}", off.stays_off);
    assert!(standing(&off, "4 Slipway winch").starts_with("✗ stays off"));
    r.finish_it();
    let done = schedule(&r);
    let within = "✓ what was tested is within limits";
    assert_eq!(standing(&done, "1 Sockets, club room"), within);
    assert!(standing(&done, "2 Lights, boat bay").contains("see L1"));
    let customer = report::customer_html(std::slice::from_ref(&done));
    assert!(customer.contains("Leave off what was left off: circuit 4, Slipway winch."));
    let labels = report::labels_html(std::slice::from_ref(&done));
    assert!(labels.contains("Do not switch on") && labels.contains("(LEFT OFF)"));
}
