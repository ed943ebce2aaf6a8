//! A three-phase board of 24 circuits, of every kind, planned and fully tested by answering each
//! prompt with what length, size and supply give; replayed, the log gives the same state to the
//! byte.

use crate::dialogues::plain::Site;
use bothhands::grammar::Intent;
use bothhands::installation::Job;
use bothhands::sequence::{Event, Mode, StepOutcome};
use std::fmt::Write;

const TOP: &str = r#"
title = "Boathouse, main switchboard"
kind = "initial-verification"
tester = "A. Learner"
[site]
name = "Rowing club boathouse"
ambient_celsius = 12.0
[supply]
earthing = "TN-S"
phases = 3
ze_ohms = "0.18"
bonds = ["water", "gas"]
supplementary_bonds = ["shower pipes"]
sources = ["mains", "solar", "battery"]
[[instrument]]
name = "installation tester"
serial = "IT-2204"
calibration_due = 2027-03-31
used_for = ["voltage-indication", "continuity", "insulation", "loop", "rcd", "phase-sequence"]
insulation_range_megohms = "999"
[[board]]
number = 1
name = "main switchboard"
phases = 3
"#;

fn job() -> Job {
    let mut text = TOP.to_owned();
    for number in 1..=24 {
        let (kind, phases, amps, line, cpc, metres, points) = match number % 8 {
            0 => ("distribution", 3, 32, "10", "10", 30, 0),
            1 => ("ring", 1, 32, "2.5", "1.5", 48, 6),
            2 => ("lighting", 1, 6, "1.5", "1", 32, 4),
            3 => ("single-point", 1, 32, "6", "2.5", 14, 1),
            4 => ("motor", 3, 16, "4", "4", 28, 1),
            5 => ("radial", 1, 20, "2.5", "1.5", 22, 5),
            6 => ("radial", 3, 16, "2.5", "2.5", 16, 2),
            _ => ("radial", 1, 16, "2.5", "1.5", 18, 3),
        };
        let residual = matches!(kind, "ring" | "radial" | "single-point");
        let device = if residual {
            "BS EN 61009 B"
        } else {
            "BS EN 60898 B"
        };
        let _ = write!(
            text,
            "[[board.circuit]]\nnumber = {number}\nname = \"{kind} {number}\"\nkind = \"{kind}\"\n\
             phases = {phases}\ndevice = {{ kind = \"{device}\", amps = {amps}, breaking_ka = 10 }}\n\
             cable = {{ line_mm2 = {line}, cpc_mm2 = {cpc}, metres = {metres} }}\n\
             two_way = {}\nafdd = {}\nequipment_possible = {}\n",
            kind == "lighting",
            number % 8 == 5,
            number % 2 == 1,
        );
        if residual {
            text.push_str("rcd = { milliamps = 30, tests = [\"half\", \"once\", \"five\"] }\n");
        }
        for point in 1..=points {
            let _ = write!(
                text,
                "[[board.circuit.point]]\nname = \"{}\"\nnumber = {point}\nfeeds_on = {}\n",
                if kind == "lighting" {
                    "light"
                } else {
                    "socket"
                },
                point < points
            );
            if number % 8 == 5 && point == points {
                text.push_str("sensitive = \"USB charging outlet\"\n");
            }
        }
    }
    Job::parse(&text, "the board").unwrap()
}

#[test]
fn a_board_of_24_circuits_is_fully_tested_and_replays_to_the_byte() {
    let (mut site, _) = Site::begin(job(), "2026-11-25T08:00:00Z".parse().unwrap());
    site.plainly_to_the_end().unwrap();
    site.say(&Intent::Finish).unwrap();
    let state = site.state();
    assert_eq!(state.mode(), Mode::Finished);
    assert_eq!(state.open_steps().count(), 0);
    assert_eq!(state.open_entries().count(), 0);
    let read = state
        .plan()
        .steps
        .iter()
        .filter(|step| matches!(state.outcome(step), Some(StepOutcome::Read(_))))
        .count();
    println!(
        "{} steps, {read} readings, {} events",
        state.plan().steps.len(),
        site.events.len()
    );
    assert!(read > 350, "only {read} readings");
    // Sound wiring, read as it should be: nothing to question.
    let asked: Vec<_> = site
        .events
        .iter()
        .filter_map(|(event, _)| match event {
            Event::Reading {
                step,
                question: Some(why),
                ..
            } => Some(format!("{step}: {why}")),
            _ => None,
        })
        .collect();
    assert!(asked.is_empty(), "{asked:#?}");
    site.check_replay();
}
