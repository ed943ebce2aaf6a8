//! What is said in practice only.

use super::*;
use crate::quantity::{Conductors, Pair, Reading, TestVoltage, Unit};
use crate::terms::{Between, FaultKind, HalfCycle, HiddenFault, Predicted, RcdTest, Setting};

fn practised() -> Grammar {
    GRAMMAR.with_practice().unwrap()
}

fn socket(number: u16) -> Option<Place> {
    Some(Place {
        name: "socket".to_owned(),
        number: Some(number),
    })
}

fn probe(setting: Option<Setting>, between: Between, place: Option<Place>) -> Intent {
    Intent::Probe {
        setting,
        between,
        place,
        circuit: None,
    }
}

#[test]
fn the_probes_are_where_they_are_said_to_be() {
    let grammar = practised();
    let insulation = Setting::Insulation {
        at: TestVoltage::V250,
    };
    let rcd = Setting::Rcd {
        current: RcdTest::Half,
        half: HalfCycle::Positive,
    };
    for (rule, words, meant) in [
        (
            "continuity",
            "line to neutral at socket three",
            probe(None, Between::Pair(Pair::LN), socket(3)),
        ),
        (
            "insulation",
            "probe insulation at two fifty volts line to earth",
            probe(Some(insulation), Between::Pair(Pair::LE), None),
        ),
        (
            "insulation",
            "probes on at two fifty volts neutral to earth",
            probe(Some(insulation), Between::Pair(Pair::NE), None),
        ),
        (
            "ring",
            "probe c p c end to end",
            probe(None, Between::Ends(Conductors::E), None),
        ),
        (
            "continuity",
            "probe long lead to earth at socket two",
            probe(None, Between::LongLead(Conductors::E), socket(2)),
        ),
        (
            "rcd",
            "probe r c d at half positive half cycle line to earth at socket one",
            probe(Some(rcd), Between::Pair(Pair::LE), socket(1)),
        ),
        (
            "instrument",
            "probe leads together",
            probe(None, Between::LeadsJoined, None),
        ),
        (
            "isolation",
            "probe known source",
            probe(None, Between::KnownSource, None),
        ),
        (
            "rcd",
            "probe reference",
            probe(None, Between::Reference, None),
        ),
        (
            "rcd",
            "probe line to earth at r c d two",
            probe(
                None,
                Between::Pair(Pair::LE),
                Some(Place {
                    name: "RCD".to_owned(),
                    number: Some(2),
                }),
            ),
        ),
    ] {
        assert_eq!(
            grammar.understand(rule, words),
            Some(meant),
            "{rule}: {words}"
        );
    }
}

/// On a real installation nothing listens for it.
#[test]
fn only_a_practice_takes_it() {
    for words in [
        "line to neutral at socket three",
        "probe leads together",
        "i expect zero point four",
        "there is no fault",
        "the fault is loose joint",
    ] {
        for rule in ["isolation", "continuity", "insulation", "anything"] {
            assert_eq!(GRAMMAR.understand(rule, words), None, "{rule}: {words}");
        }
    }
}

/// A value behind a pair is a reading in practice too.
#[test]
fn a_reading_stays_a_reading() {
    let grammar = practised();
    for words in [
        "line to neutral over nine nine nine",
        "line to earth zero point four five at socket three",
        "socket three zero point four one",
    ] {
        for rule in ["continuity", "insulation", "loop"] {
            assert_eq!(
                grammar.understand(rule, words),
                GRAMMAR.understand(rule, words),
                "{rule}: {words}"
            );
        }
    }
}

#[test]
fn what_is_predicted() {
    let grammar = practised();
    let value = Reading::exact("0.4".parse().unwrap());
    let said = |words: &str| grammar.understand("continuity", words);
    let predict = |of, reading| Some(Intent::Predict { of, reading });
    assert_eq!(
        said("i expect zero point four"),
        predict(Predicted::Value, Some(value))
    );
    assert_eq!(
        said("the limit is one point three seven ohms"),
        predict(
            Predicted::Limit,
            Some(Reading::exact("1.37".parse().unwrap()).in_unit(Unit::Ohm))
        )
    );
    assert_eq!(said("there is no limit"), predict(Predicted::Limit, None));
    assert_eq!(
        said("i expect over range"),
        predict(Predicted::Value, Some(Reading::over_range()))
    );
}

/// Every kind by the words that the program itself gives it, with conductor, place and circuit.
#[test]
fn every_fault_can_be_named() {
    let grammar = practised();
    for kind in FaultKind::ALL {
        for (circuit, with_circuit) in [(None, None), (Some(12), None), (Some(3), Some(21))] {
            for (place, conductor) in [(None, None), (socket(3), Some(Conductors::L))] {
                let named = Intent::Diagnose(Some(HiddenFault {
                    kind,
                    board: None,
                    circuit,
                    place: place.clone(),
                    conductor,
                    with_circuit,
                }));
                let words = named.words();
                assert_eq!(
                    grammar.understand("anything", &words),
                    Some(named),
                    "{words}"
                );
            }
        }
    }
    assert_eq!(
        grammar.understand("functional", "there is no fault"),
        Some(Intent::Diagnose(None))
    );
}

/// What is kept of a probing is said again in words that mean it.
#[test]
fn words_of_a_probing_mean_it() {
    let grammar = practised();
    let settings = [
        Setting::Voltage,
        Setting::Continuity,
        Setting::Insulation {
            at: TestVoltage::V1000,
        },
        Setting::Loop,
        Setting::FaultCurrent,
        Setting::Rcd {
            current: RcdTest::Five,
            half: HalfCycle::Negative,
        },
        Setting::PhaseSequence,
    ];
    let betweens = [
        Between::Pair(Pair::LN),
        Between::Pair(Pair::LN_E),
        Between::Ends(Conductors::N),
        Between::LongLead(Conductors::E),
        Between::Bond,
        Between::LeadsJoined,
        Between::LeadsApart,
        Between::KnownSource,
        Between::Reference,
    ];
    for setting in settings {
        for between in betweens.clone() {
            let place = match between {
                Between::Pair(_) | Between::LongLead(_) => socket(7),
                _ => None,
            };
            let said = probe(Some(setting), between, place);
            let words = said.words();
            assert_eq!(
                grammar.understand("anything", &words),
                Some(said),
                "{words}"
            );
        }
    }
}
