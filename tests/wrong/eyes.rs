//! What an examiner, an attacker and a newcomer found on 2026-11-28, in words as they were typed. Each of these
//! was otherwise before.

use super::limits::schedule;
use super::sequence::{at, from, has, outcome, say};
use crate::dialogues::plain::Site;
use bothhands::installation::Accessory;
use bothhands::report::{csv, customer_html};
use bothhands::sequence::sounds_like_a_warning;

/// What stands in a column of the circuits' table, for each circuit.
fn column(site: &Site, head: &str) -> Vec<String> {
    let text = csv(&schedule(site));
    let text = text.trim_start_matches('\u{feff}');
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let heads = reader.headers().unwrap().clone();
    let at = heads.iter().position(|one| one == head).unwrap();
    let rows = reader.records();
    rows.map(|row| row.unwrap()[at].to_owned()).collect()
}

#[test]
fn no_circuit_with_an_open_protective_conductor_is_energised() {
    let mut site = at("plain", "c1/continuity/link");
    let mut told = say(&mut site, &["linked"]);
    for _ in 0..4 {
        if site.asked().contains("continuity/socket") {
            told = say(&mut site, &["over range", "affirm"]);
        }
    }
    has(&told, &["No continuity"]);
    site.plainly_to("energise/covers").unwrap();
    let told = say(&mut site, &["done"]);
    has(&told, &["outside the limit"]);
}

#[test]
fn polarity_that_shows_reversed_at_a_live_test_makes_safe_and_stands_on_the_schedule() {
    for words in ["polarity reversed", "polarity reversed at socket one"] {
        let mut site = at("plain", "c1/loop-impedance/furthest");
        has(&say(&mut site, &[words]), &["dangerous", "Isolate it now"]);
        assert_eq!(column(&site, "polarity"), ["polarity reversed"], "{words}");
    }
}

#[test]
fn a_code_is_not_erased_by_a_slip_of_the_number() {
    let mut site = at("inspected", "inspection/1.1");
    say(&mut site, &["code one", "end of note"]);
    let told = say(&mut site, &["item one point one satisfactory"]);
    has(&told, &["affirm"]);
    assert!(outcome(&site, "inspection/1.1").contains("DangerCodeOne"));
    say(&mut site, &["affirm"]);
    assert!(outcome(&site, "inspection/1.1").contains("Satisfactory"));
}

#[test]
fn a_code_is_not_made_another_by_a_slip_of_the_number() {
    let mut site = at("inspected", "inspection/1.1");
    say(&mut site, &["code one", "end of note"]);
    let told = say(&mut site, &["item one point one code two"]);
    has(&told, &["affirm"]);
    assert!(outcome(&site, "inspection/1.1").contains("DangerCodeOne"));
    say(&mut site, &["negative"]);
    assert!(outcome(&site, "inspection/1.1").contains("DangerCodeOne"));
}

#[test]
fn an_outlet_of_a_circuit_without_listed_points_is_tested_once_it_was_opened() {
    let text = std::fs::read_to_string("tests/dialogues/jobs/plain.toml").unwrap();
    let text = text.split("[[board.circuit.point]]").next().unwrap();
    let mut site = from(text, "500/L-N");
    let out = ["socket three out", "over 999", "over 999", "over 999"];
    say(&mut site, &out);
    let told = say(&mut site, &["socket three back"]);
    has(&told, &["Circuit 1, socket 3: added"]);
    let plan = site.session.state().plan().clone();
    let planned = |tail: &str| {
        plan.steps
            .iter()
            .any(|step| step.id.to_string().ends_with(tail))
    };
    for tail in [
        "continuity/far end/L-E",
        "continuity/socket 3/L-E",
        "reopened/socket 3/polarity",
    ] {
        assert!(planned(tail), "{tail}");
    }
    // The far end is none of the points that it serves.
    assert_eq!(column(&site, "points"), ["1"]);
    site.plainly_to("reopened/socket 3/polarity").unwrap();
}

#[test]
fn an_external_loop_that_no_device_would_operate_by_energises_nothing() {
    for ohms in ["30", "8.5", "300"] {
        let mut site = at("plain", "external-loop/value");
        say(&mut site, &[ohms, "affirm"]);
        site.plainly_to("energise/covers").unwrap();
        let told = say(&mut site, &["say again"]);
        has(&told, &["nothing is energised by such a supply"]);
    }
}

#[test]
fn an_rcd_that_did_not_trip_on_one_half_cycle_stands_on_the_schedule() {
    let mut site = at("radial", "residual-current-device/rated/positive");
    say(
        &mut site,
        &["no trip", "affirm", "person in charge says it stays on"],
    );
    say(&mut site, &["twenty one"]);
    assert_eq!(column(&site, "RCD rated ms"), ["no trip"]);
}

#[test]
fn words_that_isolation_is_gone_are_asked_about_and_names_of_conductors_are_not() {
    for words in ["not isolated", "breaker is on", "someone switched it on"] {
        assert!(sounds_like_a_warning(words), "{words}");
    }
    for words in [
        "resistance between live and earth",
        "live terminals are shrouded",
    ] {
        assert!(!sounds_like_a_warning(words), "{words}");
    }
}

#[test]
fn volts_answer_where_volts_are_asked_for_whatever_was_taken_for_a_warning() {
    let mut site = at("plain", "supply-polarity/voltage/N-E");
    site.session.maybe_live("half a volt", site.now).unwrap();
    say(&mut site, &["0.2 volts"]);
    assert!(outcome(&site, "voltage/N-E").contains("Read"));
}

#[test]
fn where_nothing_was_tested_nobody_is_told_that_all_was_within_its_limit() {
    let site = at("plain", "b1/isolation/lock");
    let page = customer_html(&[schedule(&site)]);
    has(&page, &["no test was made", "Nothing was tested"]);
    assert_eq!(schedule(&site).no_exception(), "No reading was taken.");
}

#[test]
fn usb_outlets_hold_electronics_whatever_they_are_called() {
    assert!(Accessory::is_electronic("usb socket"));
    assert!(!Accessory::is_electronic("socket"));
}

/// A job of the dialogues with something else in it.
fn changed(job: &str, changes: &[(&str, &str)], step: &str) -> Site {
    let path = format!("tests/dialogues/jobs/{job}.toml");
    let mut text = std::fs::read_to_string(path).unwrap();
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replacen(from, to, 1);
    }
    from(&text, step)
}

/// BS 7671 411.5.3: 50 V / 0.1 A = 500 ohms at an RCD of 100 mA, wherever upstream it stands.
#[test]
fn a_residual_current_device_further_up_protects_too() {
    let above = "[[board.rcd]]\nnumber = 1\nmilliamps = 100\ndelay = \"s\"\ntests = [\"once\"]\n\n[[board.circuit]]\nnumber = 1\nname = \"outhouse\"";
    let changes = [
        (
            "earthing = \"TN-C-S\"\nphases = 1\nze_ohms = \"0.21\"",
            "earthing = \"TT\"\nphases = 1",
        ),
        ("[[board.circuit]]\nnumber = 1\nname = \"outhouse\"", above),
        (
            "device = { kind = \"BS EN 61009 B\", amps = 16, breaking_ka = 6 }\nrcd = { milliamps = 30, tests = [\"once\"] }",
            "device = { kind = \"BS EN 60898 B\", amps = 16, breaking_ka = 6 }",
        ),
    ];
    let mut site = changed("sub-board", &changes, "b2/c1/loop-impedance/furthest");
    let told = say(&mut site, &["91", "affirm"]);
    assert!(!told.contains("dangerous"), "{told}");
    let odd = site
        .session
        .state()
        .job()
        .oddities(site.session.state().tables(), "2026-11-28".parse().unwrap());
    assert!(!format!("{odd:?}").contains("no RCD is listed"), "{odd:?}");
}

/// BS EN 61008-1: a time-delayed device waits for at least 130 ms; one that does not still disconnects.
#[test]
fn a_time_delayed_device_that_is_too_quick_is_an_exception_and_no_danger() {
    let mut site = at("old-board", "rcd/2/rated/positive");
    let told = say(&mut site, &["twenty three", "affirm"]);
    has(&told, &["stands as an exception"]);
    assert!(!told.contains("dangerous"), "{told}");
    let mut slow = at("old-board", "rcd/1/rated/positive");
    has(&say(&mut slow, &["350", "affirm"]), &["dangerous"]);
}

/// Guidance Note 3: twice the current to neutral stands for a fault between lines, of which a board of one phase has
/// none; the larger of what was read and that stands on the form.
#[test]
fn fault_currents_are_doubled_where_there_are_lines_to_fault_between() {
    let mut site = at("three-phase", "fault-current/L1-N");
    say(&mut site, &["4", "4", "4", "4.5", "4.5", "4.5"]);
    assert_eq!(column(&site, "Ipf kA").first().unwrap(), "8");
    let one_phase = [("phases = 1\nze_ohms", "phases = 3\nze_ohms")];
    let mut site = changed("sub-board", &one_phase, "b2/fault-current/L-N");
    let told = say(&mut site, &["3.5"]);
    assert!(!told.contains("Outside"), "{told}");
}

#[test]
fn a_waveform_of_type_b_is_kept() {
    let rcd = "rcd = { milliamps = 30, tests = [\"once\"] }";
    let site = changed("sub-board", &[(rcd, "rcd = \"30 mA type B\"")], "");
    let job = site.session.state().job();
    let rcd = job.circuit(2, 1).unwrap().rcd.as_ref().unwrap();
    assert_eq!(rcd.waveform.as_deref(), Some("B"));
}

#[test]
fn an_instrument_that_is_out_on_its_reference_is_said_to_be() {
    let mut site = at("references", "instrument-check/loop/reference");
    has(&say(&mut site, &["9", "affirm"]), &["do not rely on it"]);
}

/// A circuit whose points are not listed is a place by its name.
#[test]
fn what_is_out_at_a_circuit_by_its_name_is_out_on_that_circuit() {
    let mut site = at("old-board", "c1/insulation-resistance/500/L-N");
    let name = site
        .session
        .state()
        .job()
        .circuit(1, 2)
        .unwrap()
        .name
        .clone();
    assert!(name.contains("heater"), "{name}");
    let told = say(&mut site, &["neutral out at the heater", "what is out"]);
    has(&told, &["neutral at heater, circuit 2"]);
}

#[test]
fn an_instrument_that_fails_its_own_check_stands_as_an_exception() {
    let mut site = at("plain", "instrument-check/continuity/joined");
    say(&mut site, &["greater than 99.99", "affirm"]);
    let all = schedule(&site).exceptions;
    assert!(all.iter().any(|one| one.what.contains("99.99")), "{all:?}");
}

#[test]
fn the_same_value_again_of_another_test_changes_nothing() {
    let mut site = at("plain", "500/L-E");
    let told = say(&mut site, &["line to neutral over 999"]);
    has(&told, &["Line to earth"]);
    assert!(site.session.state().question().is_none());
}
