//! Adding a test of an installation is one row: this one is added, and found wherever a test has to
//! appear, in the plan, the prompt, the dialogue, the schedule, the log and the page.

use bothhands::grammar::Intent;
use bothhands::installation::Job;
use bothhands::log::Log;
use bothhands::quantity::{Reading, Unit};
use bothhands::report::{self, Schedule, Times, follow};
use bothhands::review;
use bothhands::sequence::procedures::table::Row;
use bothhands::sequence::procedures::{Catalogue, Slot};
use bothhands::sequence::{
    Agenda, Beside, Column, Event, Measure, Quantity, Session, ShownWhen, StepKind, Worst,
};
use bothhands::terms::{Stage, Statement};
use jiff::Timestamp;
use std::sync::Arc;

static WARMTH: Column = Column {
    key: "warmth",
    csv: "terminal warmth",
    group: "Warmth",
    head: "terminals",
    worst: Worst::Highest,
    shown: ShownWhen::Planned,
    beside: Beside::Nothing,
};

/// A test that nobody makes: by hand and by eye, with a value besides.
static ONE_MORE: Row = Row {
    name: "warmth",
    stage: Stage::Functional,
    rule: "functional",
    plan: |build, _| {
        vec![
            build.statement(
                "terminals",
                StepKind::Row("warmth"),
                &[Statement::Pass, Statement::Fail],
            ),
            build.reading(
                "drop",
                StepKind::Row("warmth-drop"),
                Measure::of(Quantity::Noted, Unit::Volt),
            ),
        ]
    },
    columns: &[&WARMTH],
    column: |step| (step.kind == StepKind::Row("warmth")).then_some(&WARMTH),
    label: |step| {
        Some(match step.kind {
            StepKind::Row("warmth") => "warmth of the terminals".to_owned(),
            _ => "voltage drop".to_owned(),
        })
    },
    prompts: r#"
        [[prompt]]
        kind = "warmth"
        full = "{Circuit}. Feel the terminals. [Say {say:pass}, or {say:fail}.]"
        brief = "Circuit {number}, terminals."

        [[prompt]]
        kind = "warmth-drop"
        full = "{Circuit}. Voltage drop. [Say the reading.]"
    "#,
    ..Row::PLAIN
};

fn plainly(agenda: &Agenda) -> Option<Intent> {
    crate::dialogues::plain::plain_answer(agenda)
}

#[test]
fn one_more_test_is_one_row() {
    let catalogue = Arc::new(Catalogue::shipped().with(Slot::LiveOnCircuit, &ONE_MORE));
    let job = Job::load(std::path::Path::new("tests/dialogues/jobs/plain.toml")).unwrap();
    let now: Timestamp = "2026-11-25T09:30:00Z".parse().unwrap();
    let (mut session, turn) =
        Session::begin_with(Arc::clone(&catalogue), job, "test", now).unwrap();
    let mut events: Vec<(Event, Timestamp)> = turn.events.into_iter().map(|e| (e, now)).collect();

    // In the plan, on every circuit, among the live tests.
    let planned = session.state().plan().steps.iter();
    let planned = planned.filter(|step| step.kind == StepKind::Row("warmth"));
    assert_eq!(
        planned.count(),
        session.state().job().boards[0].circuits.len()
    );

    // Asked for, in its own words, and answered in the grammar's.
    let mut asked: Vec<String> = Vec::new();
    while let Some(step) = session.state().current().cloned() {
        let said = match step.kind {
            StepKind::Row("warmth-drop") => Intent::Reading {
                reading: Reading::exact("3".parse().unwrap()),
                place: None,
                half: None,
            },
            StepKind::Row("warmth") => {
                let grammar = bothhands::grammar::Grammar::built_in().unwrap();
                session.understand(&grammar, "fail").unwrap()
            }
            _ => plainly(session.state()).unwrap(),
        };
        let turn = session.turn(&said, now).unwrap();
        assert!(
            !turn
                .events
                .iter()
                .any(|e| matches!(e, Event::Refused { .. })),
            "{said:?} at {}: {:?}",
            step.id,
            turn.events
        );
        events.extend(turn.events.into_iter().map(|e| (e, now)));
        asked.extend(turn.lines.into_iter().map(|line| line.text));
    }
    let wanted = "Feel the terminals. Say works, or fail.";
    assert!(asked.iter().any(|line| line.ends_with(wanted)), "{asked:?}");

    // On the schedule, in a column of its own, as an exception; on the page and in CSV.
    let log = Log::of(events);
    let (first, at) = log.events().next().unwrap();
    let mut agenda = Agenda::open_with(Arc::clone(&catalogue), first, at).unwrap();
    let opened = agenda.clone();
    let exchanges = follow(&log, opened.clone());
    for (event, at) in log.events().skip(1) {
        agenda.apply(event, at);
    }
    let schedule = Schedule::made(&log, &agenda, &Times::utc());
    let row = &schedule.boards[0].circuits[0];
    assert_eq!(row.cells.get(&WARMTH).text(), "fail");
    assert!(
        row.readings
            .iter()
            .any(|r| r.what.starts_with("voltage drop"))
    );
    let exceptions = format!("{:?}", schedule.exceptions);
    assert!(
        exceptions.contains("warmth of the terminals: fail"),
        "{exceptions}"
    );
    let page = report::html(&schedule);
    assert!(page.contains("Warmth") && page.contains(">fail<"), "{page}");
    assert!(report::csv(&schedule).contains("terminal warmth"));
    // In the log, as it was said.
    let told: Vec<String> = exchanges
        .iter()
        .flat_map(|exchange| &exchange.program)
        .map(|line| line.text.clone())
        .collect();
    assert!(
        told.iter().any(|line| line.contains("Feel the terminals")),
        "{told:?}"
    );
    // Looked back at in a browser: what was asked, what was answered, and the verdict.
    let pages = review::pages(log, opened, &Times::utc());
    for wanted in [
        "Feel the terminals",
        "warmth of the terminals: fail",
        "Voltage drop",
    ] {
        assert!(pages.contains(wanted), "no {wanted:?} in {pages}");
    }
}
