use super::Desk;
use crate::looking_back::rehearsal::Rehearsal;
use bothhands::installation::Job;
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
