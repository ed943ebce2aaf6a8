use super::Desk;
use crate::looking_back::rehearsal::{Rehearsal, exact, reading};
use bothhands::grammar::Intent;
use bothhands::installation::Job;
use bothhands::terms::Statement;
use std::fs;
use std::path::Path;

#[test]
fn the_chart_has_every_circuit_and_the_notices_are_those_the_job_needs() {
    let desk = Desk::with_a_session();
    let said = desk.run(&["labels", "session.db"]).well().text();
    assert!(
        said.contains("wrote session-labels.html") && said.contains("wrote session-labels.pdf")
    );
    let page = fs::read_to_string(desk.path("session-labels.html")).unwrap();
    for wanted in [
        "Sockets, club room",
        "BS EN 61009 B 32 A, RCD 30 mA",
        "Landing stage bell",
        "Isolate here: Boathouse board",
        "Test every six months",
        "Tested 25 November 2026.",
        "a competent person checks it against the board",
    ] {
        assert!(page.contains(wanted), "{wanted}");
    }
    for unwanted in [
        "More than one supply",
        "Next inspection",
        "Do not switch on",
    ] {
        assert!(!page.contains(unwanted), "{unwanted}");
    }
    assert!(
        !page
            .replace("'unsafe-inline'", "")
            .to_lowercase()
            .contains("safe")
    );
    let pdf = desk.run(&["labels", "session.db", "--pdf", "-"]).well().out;
    assert!(pdf.starts_with(b"%PDF-"));
}

#[test]
fn what_the_job_says_of_sources_and_the_next_inspection_is_on_the_labels() {
    let mut job = Job::load(Path::new("tests/jobs/boathouse.toml")).unwrap();
    job.supply
        .sources
        .push(bothhands::installation::Source::Solar);
    job.next_inspection = Some("2031-11-25".parse().unwrap());
    for circuit in &mut job.boards[0].circuits {
        circuit.rcd = None;
    }
    let desk = Desk::with(&Rehearsal::of(job));
    let page = desk
        .run(&["labels", "session.db", "--html", "-"])
        .well()
        .text();
    for wanted in [
        "This installation can be fed from: mains, solar.",
        "Next inspection and test by 25 November 2031.",
        "Tests begun, not finished, 25 November 2026.",
    ] {
        assert!(page.contains(wanted), "{wanted}");
    }
    assert!(!page.contains("Test every six months"));
}

/// A circuit that was found dangerous and stays on because somebody decided so: the customer is told, and
/// a notice says it at the board.
#[test]
fn what_is_dangerous_and_left_on_is_told_to_whoever_lives_with_it() {
    let job = Job::load(Path::new("tests/dialogues/jobs/plain.toml")).unwrap();
    let mut r = Rehearsal::of(job);
    r.until("loop-impedance/furthest");
    // BS EN 60898 B 16 A: at most 2.73 ohms hot (BS 7671 Table 41.3).
    r.say(reading(exact("2.9")));
    r.say(Intent::Affirm);
    r.say(Intent::Stated(Statement::StaysOn));
    r.finish_it();
    let desk = Desk::with(&r);
    let page = |args: &[&str]| desk.run(args).well().text();
    let customer = page(&["schedule", "session.db", "--customer", "-"]);
    assert!(
        customer.contains("Circuit 1, pump: was found dangerous, and was left on"),
        "{customer}"
    );
    let labels = page(&["labels", "session.db", "--html", "-"]);
    assert!(
        labels.contains("Circuit 1 of board 1 was found dangerous on 25 November 2026"),
        "{labels}"
    );
}
