//! What stands in an old board, from the job file to the schedule: withdrawn devices, other cables, RCDs of
//! several circuits, data of the intake, and Zs that was worked out.

use crate::dialogues::plain::Site;
use bothhands::grammar::Intent;
use bothhands::installation::Job;
use bothhands::limits::Tables;
use bothhands::log::Log;
use bothhands::report::{Schedule, Times, csv, expected, expected_text, html};
use bothhands::sequence::EVENT_VERSION;
use bothhands::store::{NewEvent, OpenMode, Options, Store};
use bothhands::terms::Statement;
use std::path::Path;

fn job() -> Job {
    Job::load(Path::new("tests/dialogues/jobs/old-board.toml")).unwrap()
}

/// The whole job answered plainly, Zs of circuit 2 by calculation.
fn schedule() -> Schedule {
    let (mut site, _) = Site::begin(job(), "2026-11-25T09:30:00Z".parse().unwrap());
    site.plainly_to("b1/c2/loop-impedance/furthest").unwrap();
    site.say(&Intent::Stated(Statement::Calculated)).unwrap();
    site.plainly_to_the_end().unwrap();
    site.check_replay();
    let dir = tempfile::tempdir().unwrap();
    let options = Options::new(OpenMode::AppendOrCreate).device("bench");
    let mut store = Store::open_with(dir.path().join("log.db"), options).unwrap();
    for (event, _) in &site.events {
        let event = NewEvent::new(event.kind(), u32::from(EVENT_VERSION), event).unwrap();
        store.append(&[event], None).unwrap();
    }
    Schedule::of(&Log::read(&store).unwrap(), &Times::utc()).unwrap()
}

#[test]
fn an_rcd_of_several_circuits_stands_at_the_row_of_each() {
    let schedule = schedule();
    let row = |n: usize| &schedule.boards[0].circuits[n];
    for circuit in [0, 1] {
        assert_eq!(row(circuit).rcd_ma, Some(30.0));
        assert_eq!(row(circuit).rcd_type.as_deref(), Some("A"));
        assert_eq!(row(circuit).cells.called("rcd_rated").text(), "21");
        assert_eq!(row(circuit).cells.called("rcd_half").text(), "no trip");
        assert_eq!(row(circuit).cells.called("rcd_button").text(), "tripped");
    }
    // Only the main one protects the third.
    assert_eq!(row(2).rcd_ma, Some(100.0));
    assert_eq!(row(2).cells.called("rcd_rated").text(), "210");
    assert_eq!(row(2).cells.called("rcd_half").text(), "–");
    // Each was tested once.
    let readings = schedule.boards[0].readings.iter();
    let times = readings.filter(|reading| reading.what.starts_with("RCD at IΔn"));
    assert_eq!(times.count(), 4);
    assert!(row(0).remarks.contains(&"protected by RCD 1".to_owned()));
    assert!(row(0).remarks.contains(&"protected by RCD 2".to_owned()));
    assert_eq!(row(0).cells.called("arc_fault_button").text(), "pass");
    assert_eq!(row(1).cells.called("arc_fault_button").text(), "–");
}

#[test]
fn a_calculated_loop_is_never_shown_as_a_measured_one() {
    let schedule = schedule();
    let circuits = &schedule.boards[0].circuits;
    let (measured, calculated) = (&circuits[0], &circuits[1]);
    assert!(!measured.cells.called("zs").text().contains("calc"));
    let cell = calculated.cells.called("zs");
    assert!(cell.text().ends_with(" calc"), "{}", cell.text());
    let beside = cell.beside().unwrap();
    assert!(
        beside.starts_with("calculated, not measured: Ze 0.35 + (R1+R2) "),
        "{beside}"
    );
    let table = csv(&schedule);
    assert!(table.contains(&cell.text()), "{table}");
    assert!(
        table.contains("Zs ohm calculated, not measured: Ze 0.35 + (R1+R2)"),
        "{table}"
    );
}

#[test]
fn the_data_of_the_intake_head_every_schedule_and_stand_in_check() {
    let schedule = schedule();
    let page = html(&schedule);
    let table = csv(&schedule);
    let json = serde_json::to_string(&schedule).unwrap();
    let job = job();
    let today = "2026-11-25".parse().unwrap();
    let checked = expected(&job, Tables::shipped(), today);
    let text = expected_text(&job, &checked, 200);
    for (what, value) in [
        ("Ze given by", "enquiry"),
        ("Frequency", "50 Hz"),
        ("Maximum demand", "55 A"),
        ("Supply fuse", "BS 1361 60 A"),
        ("Main switch", "BS EN 60947-3 100 A, 2 poles"),
        ("Earthing conductor", "16 mm², copper"),
        ("Main bonding conductors", "10 mm², copper"),
    ] {
        assert!(
            page.contains(&format!("<dt>{what}</dt><dd>{value}</dd>")),
            "page: {what}"
        );
        assert!(table.contains(&format!("{what} {value}")), "csv: {what}");
        assert!(
            json.contains(&format!("{{\"what\":\"{what}\",\"value\":\"{value}\"}}")),
            "json: {what}"
        );
        assert!(text.contains(&format!("{what}: {value}")), "check: {what}");
    }
}

/// By hand: 0.95 × 230 V ÷ (7 × 20 A) = 1.56 Ω for type 2 of BS 3871; BS 1361 30 A on a circuit of fixed
/// equipment 1.09 Ω; 0.95 × 230 V ÷ 50 A = 4.37 Ω.
#[test]
fn old_devices_and_one_of_its_own_have_their_limits_and_say_where_from() {
    let schedule = schedule();
    let rows = &schedule.boards[0].circuits;
    let limits: Vec<_> = rows
        .iter()
        .map(|row| row.zs_limit.clone().unwrap())
        .collect();
    assert_eq!(limits, ["1.56", "1.09", "4.37"]);
    assert_eq!(
        rows[2].device.as_deref(),
        Some("cartridge fuse, not marked")
    );
    let zs = rows[2]
        .readings
        .iter()
        .find(|r| r.what.starts_with("loop impedance"));
    let verdict = zs.unwrap().verdict.clone().unwrap();
    assert_eq!(verdict.clause, "maker's curve of 1961");
}
