//! Jobs of other kinds than the usual one, each gone through to its end on the simulated installation and
//! marked: residual current devices of several circuits, testers on their references, live tests alone, and
//! circuits of a live board that are isolated by themselves.

use super::learner::Learner;
use bothhands::bay::{Bay, Reads, tour};
use bothhands::installation::Job;
use bothhands::marking::Judgement;
use bothhands::practice::{Given, Hidden};
use bothhands::terms::{BayEdition, FaultKind, HiddenFault, Level, Place};

fn job(name: &str) -> Job {
    let path = format!("tests/dialogues/jobs/{name}.toml");
    Job::parse(&std::fs::read_to_string(path).unwrap(), name).unwrap()
}

fn learner(name: &str, hidden: Hidden) -> Learner {
    Learner::begin_as(job(name), hidden, Level::Led, false, None)
}

/// A fault in a residual current device of several circuits of board 1.
fn in_group(kind: FaultKind, number: u16) -> Hidden {
    Hidden {
        faults: vec![HiddenFault {
            kind,
            board: Some(1),
            circuit: None,
            place: Some(Place {
                name: "RCD".to_owned(),
                number: Some(number),
            }),
            conductor: None,
            with_circuit: None,
        }],
        ..Hidden::nothing()
    }
}

/// Who does what is asked finishes, reads what is shown, and has nothing against him.
fn is_finished_and_marked(name: &str) {
    let mut learner = learner(name, Hidden::nothing());
    learner.go_to_the_end();
    let sheet = learner.sheet();
    let told = learner.diary.join("\n");
    assert!(sheet.finished, "{name}\n{told}");
    assert!(sheet.lapses.is_empty(), "{told}\n{:#?}", sheet.lapses);
    for judged in &sheet.readings {
        let shown = judged.judgement == Judgement::AsShown;
        assert!(shown, "{told}\n{judged:#?}");
    }
    assert!(sheet.passed, "{:#?}", sheet.marks);
}

#[test]
fn residual_current_devices_of_several_circuits() {
    is_finished_and_marked("old-board");
}

#[test]
fn testers_on_their_references() {
    is_finished_and_marked("references");
}

#[test]
fn live_tests_alone() {
    is_finished_and_marked("live-retest");
}

#[test]
fn one_circuit_of_a_live_board() {
    is_finished_and_marked("one-of-a-live-board");
}

#[test]
fn circuits_of_a_live_board_one_after_another() {
    is_finished_and_marked("in-turn");
}

#[test]
fn boards_whose_circuits_are_isolated_one_after_another() {
    is_finished_and_marked("one-after-another");
}

/// A device of several circuits that is stuck does not trip at any of them; it is named by its place, or by a
/// circuit that has no other.
#[test]
fn a_stuck_device_of_several_circuits_is_found() {
    for (named, places) in [
        ("the fault is stuck r c d at r c d one", 1),
        ("the fault is stuck r c d on circuit two", 1),
        ("the fault is stuck r c d on circuit three", 0),
    ] {
        let mut learner = learner("old-board", in_group(FaultKind::StuckRcd, 1));
        learner.diagnosis = vec![named.to_owned()];
        learner.go_to_the_end();
        let diagnosis = learner.sheet().diagnosis.unwrap();
        let told = learner.diary.join("\n");
        assert!(told.contains("  No trip."), "{told}");
        assert_eq!(
            (diagnosis.kinds, diagnosis.places),
            (1, places),
            "{named}\n{told}"
        );
        assert!(diagnosis.evidence);
    }
}

/// What a learner is told in answer, in one piece.
fn said(learner: &mut Learner, words: &str) -> String {
    let lines = learner.say(words).into_iter();
    lines.map(|line| line.text).collect::<Vec<_>>().join(" ")
}

/// A test takes all circuits of the device off until it is on again: at a circuit, then at its own terminals.
#[test]
fn what_a_device_of_several_takes_off_is_dead_until_it_is_on_again() {
    let mut learner = learner("old-board", Hidden::nothing());
    learner.go_to("rcd/1/rated/positive");
    let tripped = said(&mut learner, "probe line to earth on circuit two");
    assert!(tripped.starts_with("Tripped, "), "{tripped}");
    assert!(
        tripped.contains("RCD 1 tripped, and all its circuits are off."),
        "{tripped}"
    );
    let volts = "probe voltage line to neutral at socket one on circuit one";
    assert_eq!(said(&mut learner, volts), "Zero volts.");
    let again = said(&mut learner, "probe line to earth at r c d one");
    assert_eq!(again, "No supply. No test.");
    assert_eq!(said(&mut learner, "r c d on again"), "RCD 1 is on again.");
    assert!(said(&mut learner, volts).starts_with("Two "));
    let there = said(&mut learner, "probe line to earth at r c d one");
    assert!(there.starts_with("Tripped, "), "{there}");
    assert_eq!(
        said(&mut learner, "breaker on again on circuit two"),
        "RCD 1 is on again."
    );
}

/// Live tests alone: who takes a neutral out is warned, and finds no voltage line to neutral behind it; line to
/// earth, and its loop, read as before.
#[test]
fn a_neutral_out_in_live_tests_leaves_no_voltage_and_the_loop_as_it_was() {
    let mut learner = learner("live-retest", Hidden::nothing());
    learner.go_to("furthest");
    let loops = said(&mut learner, "probe loop line to earth at socket one");
    let volts = "probe voltage line to neutral at socket one";
    assert!(said(&mut learner, volts).starts_with("Two "));
    let warned = said(&mut learner, "neutral out at socket one");
    assert!(warned.starts_with("Stop. The board is live"), "{warned}");
    assert_eq!(said(&mut learner, volts).to_lowercase(), "zero volts.");
    let line = said(&mut learner, "probe voltage line to earth at socket one");
    assert!(line.starts_with("Two "), "{line}");
    let same = said(&mut learner, "probe loop line to earth at socket one");
    assert!(same.ends_with(&loops), "{same}");
    // The place, and how long, stand on the sheet.
    let sheet = learner.sheet();
    let out: Vec<&str> = sheet
        .left_out
        .iter()
        .map(|left| left.what.as_str())
        .collect();
    assert_eq!(out, ["neutral at socket 1, circuit 1"]);
}

/// The live readings of a tour, by their names: all that a job of live tests alone takes.
fn is_live(reads: Reads) -> bool {
    matches!(
        reads,
        Reads::SupplyVoltage
            | Reads::FaultCurrent
            | Reads::ExternalLoop
            | Reads::PhaseSequence
            | Reads::VoltageLineNeutral
            | Reads::VoltageLineEarth
            | Reads::VoltageNeutralEarth
            | Reads::OtherNeutralOut
            | Reads::Backfeed
            | Reads::Loop
            | Reads::RcdHalf
            | Reads::RcdOnce
            | Reads::RcdFive
            | Reads::LeadsJoined
            | Reads::LeadsApart
            | Reads::LoopReference
            | Reads::RcdReference
            | Reads::Dead
            | Reads::Label
    )
}

/// Whether any reading of a job is another one for a fault, as plainly as two instruments differ.
fn is_shown(job: &Job, fault: &HiddenFault, seed: u64, of: impl Fn(Reads) -> bool) -> bool {
    let mut there = Bay::of(job, std::slice::from_ref(fault), seed).unwrap();
    let mut sound = Bay::of(job, &[], seed).unwrap();
    tour(job).iter().filter(|stop| of(stop.reads)).any(|stop| {
        let shows = |bay: &mut Bay| bay.probe(&stop.conditions, &stop.probe).ok();
        match (shows(&mut there), shows(&mut sound)) {
            (Some((a, _)), Some((b, _))) => a.differs(&b),
            _ => false,
        }
    })
}

/// What a seed hides is shown by a test of that job, be it of live tests alone, of one circuit or of a whole board.
#[test]
fn what_is_drawn_is_shown_by_a_test_of_the_job() {
    let usual = Job::parse(super::learner::JOB, "bay.toml").unwrap();
    let boathouse = std::fs::read_to_string("tests/jobs/boathouse.toml").unwrap();
    let boathouse = Job::parse(&boathouse, "boathouse.toml").unwrap();
    let mut jobs: Vec<(&str, Job)> = vec![("usual", usual), ("boathouse", boathouse)];
    for name in [
        "old-board",
        "references",
        "live-retest",
        "one-of-a-live-board",
        "in-turn",
        "one-after-another",
    ] {
        jobs.push((name, job(name)));
    }
    let mut other = 0;
    for (name, job) in &jobs {
        let live_alone = *name == "live-retest";
        for seed in 0..25 {
            for kinds in [
                &[][..],
                &FaultKind::ALL[seed as usize % FaultKind::ALL.len()..][..1],
            ] {
                let hidden = Hidden::drawn(job, seed, 2, kinds);
                let before = Bay::draw(
                    job,
                    seed,
                    2,
                    if kinds.is_empty() {
                        FaultKind::of(BayEdition::NOW)
                    } else {
                        kinds
                    },
                );
                other += usize::from(before != hidden.faults);
                for fault in &hidden.faults {
                    let told = format!("{name}, {seed}: {fault:?}");
                    let of = |reads| !live_alone || is_live(reads);
                    assert!(is_shown(job, fault, hidden.seed(), of), "{told}");
                }
            }
        }
    }
    // It is a condition: some of these would have been drawn otherwise.
    assert!(other > 3, "{other}");
}

/// What an earlier program drew without that is still what its log was begun with.
#[test]
fn what_was_drawn_before_is_still_what_a_log_is_of() {
    let job = job("live-retest");
    let (seed, before) = (0..200)
        .map(|seed| {
            (
                seed,
                Bay::draw(&job, seed, 1, FaultKind::of(BayEdition::NOW)),
            )
        })
        .find(|(seed, before)| Hidden::drawn(&job, *seed, 1, &[]).faults != *before)
        .unwrap();
    let hidden = Hidden {
        faults: before,
        ..Hidden::drawn(&job, seed, 1, &[])
    };
    let learner = learner("live-retest", hidden.clone());
    let given = Given::Drawn {
        seed,
        how_many: 1,
        from: Vec::new(),
    };
    assert_eq!(given.of_log(learner.session.state()), Some(hidden));
}
