//! Each meaning has plain words of its own, and the rules of the steps that it answers take them for
//! just that: a prompt may ask for it, and be answered.

use super::*;
use crate::quantity::{Conductors, Pair, TestVoltage};
use std::collections::BTreeSet;

/// Every variant of an enum without parts. One that is added does not compile until it is here.
macro_rules! every {
    ($of:ident: $($one:ident)+) => {{
        let _ = |one: $of| match one { $($of::$one => {})+ };
        [$($of::$one),+]
    }};
}

fn statements() -> impl Iterator<Item = Statement> {
    every!(Statement: Done Proved NotProved Isolated LockedOff Dead Live Energised Open Shorted
        Nulled Discharged NothingConnected PolarityCorrect PolarityReversed Tripped NoTrip Pass
        Fail SequenceCorrect SequenceReversed DoublePole StaysOn DangerCodeOne Megohms Volts Stop
        Calculated IndicatorGreen IndicatorRed Satisfactory Unsatisfactory CodeTwo CodeThree
        FurtherInvestigation Limitation NotVerified NotApplicable)
    .into_iter()
}

fn reasons() -> impl Iterator<Item = Reason> {
    every!(Reason: EquipmentCannotBeTakenOut NoAccess ClientRequest InUse Damaged NotApplicable
        InstrumentFault Unsafe OutOfTime Instructed Observed DangerToldOf OnTheRecording)
    .into_iter()
    .filter(Reason::is_sayable)
}

fn stages() -> impl Iterator<Item = Stage> {
    every!(Stage: Inspection Isolation Instruments Continuity Ring Insulation Polarity PutBack MakeSafe Energise
        SupplyPolarity ExternalLoop FaultCurrent LoopImpedance Rcd PhaseSequence Functional Handover)
    .into_iter()
}

/// Meanings without a number, a place or a reading in them.
pub(super) fn without_parts() -> Vec<Intent> {
    let mut all = commands();
    all.extend(statements().map(Intent::Stated));
    all.extend(reasons().map(Intent::Because));
    all
}

fn commands() -> Vec<Intent> {
    let mut all = vec![
        Intent::Affirm,
        Intent::Negative,
        Intent::Correction(None),
        Intent::Disregard,
        Intent::SayAgain,
        Intent::StandBy,
        Intent::CarryOn,
        Intent::Pause,
        Intent::Resume,
        Intent::WhereAreWe,
        Intent::WhatIsOut,
        Intent::HowLongIsLeft,
        Intent::WhatIsLeft,
        Intent::WhatIsNext,
        Intent::WhatIsTheLimit,
        Intent::WhatDidISay(None),
        Intent::Help,
        Intent::Finish,
        Intent::Note,
        Intent::EndOfNote,
        Intent::Observe,
    ];
    all.extend(stages().map(Intent::GoTo));
    all.extend(every!(ProsodyChange: Quieter Louder Slower Faster).map(Intent::ProsodyChange));
    all
}

/// Leaving out, with and without its reason, and going elsewhere.
fn with_parts() -> Vec<Intent> {
    let mut all = Vec::new();
    for leave in [Intent::NotTested, Intent::Skip, Intent::Override] {
        all.push(leave(None));
        all.extend(reasons().map(|reason| leave(Some(reason))));
    }
    all.extend(reasons().map(Intent::Because));
    all.extend((1..=99).flat_map(|number| {
        [
            Intent::Circuit(number),
            Intent::StaysOff(number),
            Intent::AddPoint {
                name: "socket".to_owned(),
                circuit: number,
            },
            Intent::AddCircuit {
                number,
                said: ["ring", "32 amps b", "8 sockets"].map(str::to_owned).into(),
            },
            Intent::Board(number),
            Intent::WhatDidISay(Some(number)),
        ]
    }));
    let items = [&[4, 3][..], &[5, 12], &[4, 20], &[5, 12, 1]];
    let items = items.iter().filter_map(|parts| ItemNumber::of(parts));
    all.extend(items.flat_map(|item| {
        let of_item = |state| Intent::Inspected { item, state };
        [
            Statement::Satisfactory,
            Statement::CodeTwo,
            Statement::Limitation,
        ]
        .map(of_item)
    }));
    all.push(Intent::InspectedSection {
        section: 6,
        state: Statement::NotApplicable,
    });
    all.extend([None, Some(4)].map(|circuit| Intent::Observed {
        code: Statement::CodeThree,
        circuit,
        place: None,
    }));
    all.extend(every!(TestVoltage: V250 V500 V1000).map(Intent::TestAt));
    all.extend([None, Some(Change::Out), Some(Change::Back)].map(Intent::Both));
    all
}

fn alterations() -> Vec<Intent> {
    use Change::{Back, Crossed, Linked, Out, Uncrossed, Unlinked};
    let lives = Conductors::L.with(Conductors::N);
    let three = Conductors::LINES;
    let all_lives = three.with(Conductors::N);
    let one = [Conductors::L, Conductors::N, Conductors::E];
    let lines = [Conductors::L1, Conductors::L2, Conductors::L3];
    let mut all = Vec::new();
    let mut add = |part, changes: &[Change], both| {
        for change in changes {
            for place in [
                None,
                Some(("socket", Some(3))),
                Some(("door entry unit", None)),
            ] {
                let place = place.map(|(name, number)| Place {
                    name: name.to_owned(),
                    number,
                });
                let nowhere = part == Part::Accessory && place.is_none();
                let whole = matches!(part, Part::Everything | Part::RingEnds | Part::Load);
                let somewhere = whole && place.is_some();
                if !nowhere && !somewhere {
                    all.push(Alteration {
                        part,
                        change: *change,
                        place,
                        both,
                        parked: None,
                    });
                }
            }
        }
    };
    for conductors in one.into_iter().chain(lines).chain([lives]) {
        add(Part::Conductors(conductors), &[Out, Back], false);
    }
    for conductors in one {
        add(Part::Conductors(conductors), &[Out, Back], true);
    }
    for conductors in [lives, all_lives, Conductors::L.with(Conductors::E)] {
        add(
            Part::Conductors(conductors),
            &[Linked, Unlinked, Crossed, Uncrossed],
            false,
        );
    }
    add(Part::Link, &[Linked, Unlinked, Crossed, Uncrossed], false);
    add(Part::Everything, &[Back], false);
    for part in [
        Part::EarthingConductor,
        Part::Bond,
        Part::RingEnds,
        Part::FunctionalEarth,
        Part::Load,
        Part::Accessory,
        Part::Lamp,
        Part::Cover,
        Part::Lock,
        Part::Fuse,
        Part::Switch,
    ] {
        add(part, &[Out, Back], false);
    }
    add(Part::Lamp, &[Out, Back], true);
    let parked = all
        .iter()
        .filter(|a| matches!(a.part, Part::Conductors(_)) && a.change == Out)
        .flat_map(|alteration| {
            every!(Parked: Connector Taped).map(|parked| Alteration {
                parked: Some(parked),
                ..alteration.clone()
            })
        });
    let parked: Vec<_> = parked.collect();
    all.into_iter().chain(parked).map(Intent::Altered).collect()
}

/// The rules of the steps that a statement answers.
fn answered_by(statement: Statement) -> &'static [&'static str] {
    match statement {
        Statement::Done => &[
            "confirm",
            "isolation",
            "instrument",
            "insulation",
            "continuity",
            "ring",
            "loop",
            "current",
            "rcd",
            "polarity",
            "functional",
            "off",
        ],
        Statement::DoublePole => &["off"],
        Statement::StaysOn => &["off", "confirm"],
        Statement::DangerCodeOne => &["confirm"],
        Statement::Satisfactory => &["inspection", "functional"],
        Statement::Unsatisfactory
        | Statement::CodeTwo
        | Statement::CodeThree
        | Statement::FurtherInvestigation
        | Statement::Limitation
        | Statement::NotVerified
        | Statement::NotApplicable => &["inspection"],
        Statement::Calculated => &["loop"],
        Statement::IndicatorGreen | Statement::IndicatorRed => &["functional"],
        Statement::Megohms | Statement::Volts => &["which_unit"],
        Statement::Stop => &[
            "isolation",
            "insulation",
            "ring",
            "loop",
            "rcd",
            "confirm",
            "off",
        ],
        Statement::Proved | Statement::NotProved => &["isolation", "confirm"],
        Statement::Isolated | Statement::LockedOff | Statement::Dead | Statement::Live => {
            &["isolation"]
        }
        Statement::Energised => &["confirm", "polarity", "loop", "functional"],
        Statement::Open | Statement::Shorted | Statement::Nulled => &["instrument"],
        Statement::Discharged => &["insulation", "isolation", "confirm"],
        Statement::NothingConnected => &["insulation", "confirm"],
        Statement::PolarityCorrect | Statement::PolarityReversed => {
            &["polarity", "continuity", "ring", "loop"]
        }
        Statement::Tripped | Statement::NoTrip => &["rcd", "loop", "functional"],
        Statement::Pass | Statement::Fail => &["functional", "instrument", "rcd"],
        Statement::SequenceCorrect | Statement::SequenceReversed => &["functional", "polarity"],
    }
}

#[test]
fn what_may_be_said_at_any_time_has_plain_words_that_every_step_takes() {
    let always: Vec<Intent> = [commands(), with_parts(), alterations()].concat();
    for rule in step_rules() {
        for said in &always {
            assert!(
                GRAMMAR.says(&rule, said).is_some(),
                "{rule}: `{}` is not taken for {said:?}",
                said.words()
            );
        }
    }
}

#[test]
fn every_statement_has_plain_words_that_the_steps_it_answers_take() {
    for statement in statements() {
        let said = Intent::Stated(statement);
        let mut alike = vec![said.clone()];
        // A warning is heard by itself, and corrects nothing.
        if statement != Statement::Stop {
            alike.push(Intent::Correction(Some(Box::new(said))));
        }
        // "Not applicable" by itself is a reason, but for an item.
        let anything: &[&str] = match statement {
            Statement::NotApplicable => &[],
            _ => &["anything"],
        };
        for rule in answered_by(statement).iter().chain(anything) {
            for said in &alike {
                assert!(
                    GRAMMAR.says(rule, said).is_some(),
                    "{rule}: `{}` is not taken for {said:?}",
                    said.words()
                );
            }
        }
    }
}

#[test]
fn a_statement_of_one_pair_or_place_has_plain_words() {
    let socket = Place {
        name: "socket".to_owned(),
        number: Some(3),
    };
    let at = |state, pair, place: Option<&Place>| Intent::StatedAt {
        state,
        pair,
        place: place.cloned(),
    };
    for pair in Pair::THREE_PHASE.into_iter().chain(Pair::SINGLE_PHASE) {
        for state in [Statement::Dead, Statement::Live] {
            let said = at(state, Some(pair), None);
            assert!(GRAMMAR.says("isolation", &said).is_some(), "{said:?}");
        }
    }
    for (rule, state) in [
        ("polarity", Statement::PolarityCorrect),
        ("polarity", Statement::PolarityReversed),
        ("rcd", Statement::Tripped),
        ("rcd", Statement::NoTrip),
        ("functional", Statement::Pass),
        ("functional", Statement::Fail),
    ] {
        let said = at(state, None, Some(&socket));
        assert!(GRAMMAR.says(rule, &said).is_some(), "{rule}: {said:?}");
    }
}

#[test]
fn what_is_not_a_steps_is_not_said_there() {
    assert_eq!(
        GRAMMAR.says("confirm", &Intent::Stated(Statement::Dead)),
        None
    );
    assert_eq!(
        GRAMMAR.says("insulation", &Intent::Stated(Statement::Pass)),
        None
    );
    assert_eq!(GRAMMAR.says("no such rule", &Intent::Affirm), None);
}

/// Ten thousand sentences over all the rules of the steps: each means something, and every kind of
/// meaning there is comes up.
#[test]
fn a_random_sentence_of_any_rule_means_something() {
    let mut rng = fastrand::Rng::with_seed(12);
    let rules = step_rules();
    let mut kinds = BTreeSet::new();
    for n in 0..40_000 {
        let rule = &rules[n % rules.len()];
        let (words, said) = GRAMMAR
            .random_sentence(rule, &mut || rng.f64())
            .unwrap_or_else(|error| panic!("{rule}: {error}"));
        assert_eq!(
            GRAMMAR.understand(rule, &words).as_ref(),
            Some(&said),
            "{rule}: `{words}`"
        );
        kinds.insert(kind(&said));
    }
    let listed: BTreeSet<String> = [without_parts(), with_parts(), alterations()]
        .concat()
        .iter()
        .map(kind)
        .chain(["reading", "measured", "stated-at", "pieces"].map(str::to_owned))
        .collect();
    assert_eq!(kinds, listed);
}

/// The name of a meaning in the log.
fn kind(said: &Intent) -> String {
    match serde_json::to_value(said).unwrap() {
        serde_json::Value::Object(parts) => parts.keys().next().unwrap().clone(),
        name => name.as_str().unwrap().to_owned(),
    }
}

#[test]
fn a_permission_in_full_means_the_same() {
    let grammar = Grammar::built_in().unwrap();
    let states = [
        Statement::Dead,
        Statement::Proved,
        Statement::Isolated,
        Statement::Energised,
    ];
    for said in states.map(Intent::Stated) {
        let full = said.in_full().unwrap();
        let rules = grammar
            .rules()
            .filter(|rule| grammar.says(rule, &said).is_some());
        let rules: Vec<&str> = rules.collect();
        assert!(!rules.is_empty(), "{full}");
        for rule in rules {
            assert_eq!(
                grammar.understand(rule, full).as_ref(),
                Some(&said),
                "{rule}: {full}"
            );
        }
    }
}
