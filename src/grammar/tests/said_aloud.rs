use super::*;
use crate::quantity::{Conductors, Pair, Reading, Relation, TestVoltage, Unit};

fn said(rule: &str, words: &str) -> Intent {
    GRAMMAR
        .understand(rule, words)
        .unwrap_or_else(|| panic!("{rule}: `{words}` is not understood"))
}

fn exact(value: &str) -> Reading {
    Reading::exact(value.parse().unwrap())
}

fn read(reading: Reading) -> Intent {
    Intent::Reading {
        reading,
        place: None,
        half: None,
    }
}

fn place(name: &str, number: Option<u16>) -> Place {
    Place {
        name: name.to_owned(),
        number,
    }
}

#[test]
fn readings() {
    let over = |value: &str| exact(value).with_relation(Relation::Over);
    for (rule, words, meant) in [
        ("insulation", "nine nine nine", exact("999")),
        (
            "insulation",
            "line to neutral greater than two ninety nine",
            over("299").between(Pair::LN),
        ),
        (
            "insulation",
            "live to earth is over triple nine megohms",
            over("999").between(Pair::LE).in_unit(Unit::MegOhm),
        ),
        (
            "insulation",
            "earth to neutral over range",
            Reading::over_range().between(Pair::NE),
        ),
        (
            "insulation",
            "line and neutral to earth off scale",
            Reading::over_range().between(Pair::LN_E),
        ),
        (
            "insulation",
            "line neutral zero decimal two zero meg",
            exact("0.20").between(Pair::LN).in_unit(Unit::MegOhm),
        ),
        (
            "insulation",
            "less than nought point oh one",
            exact("0.01").with_relation(Relation::Under),
        ),
        (
            "insulation",
            "two nine nine at two fifty volts",
            exact("299").at(TestVoltage::V250),
        ),
        (
            "insulation",
            "five hundred volts line to earth over nine nine nine",
            over("999").between(Pair::LE).at(TestVoltage::V500),
        ),
        (
            "insulation",
            "L one L two more than nine nine nine",
            over("999").between("L1-L2".parse().unwrap()),
        ),
        (
            "insulation",
            "line two to earth nine nine",
            exact("99").between("L2-E".parse().unwrap()),
        ),
        (
            "insulation",
            "line to earth nine nine",
            exact("99").between(Pair::LE),
        ),
        (
            "continuity",
            "point three four ohms",
            exact("0.34").in_unit(Unit::Ohm),
        ),
        (
            "continuity",
            "thirty four milliohms",
            exact("34").in_unit(Unit::MilliOhm),
        ),
        ("ring", "nought point nought five", exact("0.05")),
        ("loop", "one point three seven", exact("1.37")),
        (
            "current",
            "one point two kiloamps",
            exact("1.2").in_unit(Unit::KiloAmp),
        ),
        (
            "rcd",
            "twenty three milliseconds",
            exact("23").in_unit(Unit::MilliSecond),
        ),
        ("rcd", "over three hundred", over("300")),
        (
            "isolation",
            "line to neutral two hundred and thirty eight volts",
            exact("238").between(Pair::LN).in_unit(Unit::Volt),
        ),
        (
            "polarity",
            "neutral to earth nought volts",
            exact("0").between(Pair::NE).in_unit(Unit::Volt),
        ),
    ] {
        assert_eq!(said(rule, words), read(meant), "{words}");
        assert_eq!(said("anything", words), read(meant), "anything: {words}");
    }
}

#[test]
fn readings_with_their_place_or_half_cycle() {
    let at_three = Intent::Reading {
        reading: exact("0.87"),
        place: Some(place("socket", Some(3))),
        half: None,
    };
    for words in [
        "zero point eight seven at socket three",
        "socket three zero point eight seven",
        "at socket three reads nought point eight seven",
        "0.87 at socket 3",
    ] {
        assert_eq!(said("loop", words), at_three, "{words}");
    }
    let pair_and_place = "line to earth at socket three nought point eight seven";
    let Intent::Reading {
        reading, place: at, ..
    } = said("loop", pair_and_place)
    else {
        panic!("{pair_and_place}")
    };
    assert_eq!(reading, exact("0.87").between(Pair::LE));
    assert_eq!(at, Some(place("socket", Some(3))));
    for words in [
        "negative half cycle twenty three",
        "twenty three negative half",
    ] {
        let meant = Intent::Reading {
            reading: exact("23"),
            place: None,
            half: Some(HalfCycle::Negative),
        };
        assert_eq!(said("rcd", words), meant, "{words}");
    }
    assert_eq!(said("rcd", "negative"), Intent::Negative);
}

#[test]
fn a_place_said_twice_must_be_the_same() {
    let once = said("loop", "socket three nought point two");
    let twice = "socket three nought point two at socket three";
    assert_eq!(said("loop", twice), once);
    for words in [
        "socket three nought point two at socket four",
        "correction socket three nought point two at socket four",
    ] {
        assert_eq!(GRAMMAR.understand("loop", words), None, "{words}");
    }
}

#[test]
fn readings_with_the_name_of_what_was_measured() {
    for (rule, words, measure, value) in [
        (
            "ring",
            "r one zero point three one",
            NamedQuantity::R1,
            "0.31",
        ),
        (
            "ring",
            "r n end to end is point three one ohms",
            NamedQuantity::Rn,
            "0.31",
        ),
        (
            "ring",
            "r two nought point five two",
            NamedQuantity::R2,
            "0.52",
        ),
        (
            "continuity",
            "r one plus r two zero point three four",
            NamedQuantity::R1R2,
            "0.34",
        ),
        ("continuity", "R1+R2 0.34", NamedQuantity::R1R2, "0.34"),
        (
            "loop",
            "z s nought point eight seven",
            NamedQuantity::Zs,
            "0.87",
        ),
        ("loop", "Ze 0.21", NamedQuantity::Ze, "0.21"),
        (
            "current",
            "fault current one point two",
            NamedQuantity::FaultCurrent,
            "1.2",
        ),
        (
            "rcd",
            "RCD one, trip time at rated current, two three milliseconds",
            NamedQuantity::RcdRated,
            "23",
        ),
        (
            "rcd",
            "time at five times rated current thirty one",
            NamedQuantity::RcdFive,
            "31",
        ),
        (
            "rcd",
            "r c d two trip time at half over range",
            NamedQuantity::RcdHalf,
            "over range",
        ),
    ] {
        for rule in [rule, "anything"] {
            let Intent::Measured {
                measure: found,
                reading,
                ..
            } = said(rule, words)
            else {
                panic!("{rule}: {words}")
            };
            assert_eq!(
                (found, reading.shown().as_str()),
                (measure, value),
                "{rule}: {words}"
            );
        }
    }
}

#[test]
fn all_lines_joined() {
    for (words, pair) in [
        ("all lines to earth over range", "L1+L2+L3-E"),
        ("all lines and neutral to earth over range", "L1+L2+L3+N-E"),
        (
            "line one and line two and line three to neutral over range",
            "L1+L2+L3-N",
        ),
    ] {
        let meant = Reading::over_range().between(pair.parse().unwrap());
        assert_eq!(said("insulation", words), read(meant), "{words}");
    }
}

#[test]
fn what_is_right_may_follow_a_refusal() {
    let right = said("insulation", "two nine nine");
    for words in ["correction two nine nine", "negative two nine nine"] {
        assert_eq!(
            said("insulation", words),
            Intent::Correction(Some(Box::new(right.clone())))
        );
    }
    // In an RCD test that could be the half-cycle.
    assert_eq!(GRAMMAR.understand("rcd", "negative two nine nine"), None);
}

#[test]
fn the_half_cycle_by_its_angle() {
    assert_eq!(
        said("rcd", "twenty one at one eighty degrees"),
        said("rcd", "negative half cycle twenty one")
    );
}

#[test]
fn a_number_while_proving_dead_is_heard_without_its_unit() {
    for words in ["two three eight", "two thirty", "five"] {
        let heard = said("isolation", words);
        assert!(
            matches!(heard, Intent::Reading { .. }),
            "{words}: {heard:?}"
        );
    }
    assert_eq!(said("isolation", "live"), Intent::Stated(Statement::Live));
}

#[test]
fn alterations() {
    let neutral = Part::Conductors(Conductors::N);
    let line_and_neutral = Part::Conductors(Conductors::L.with(Conductors::N));
    let altered = |part, change, place, both, parked| {
        Intent::Altered(Alteration {
            part,
            change,
            place,
            both,
            parked,
        })
    };
    let socket = |n| Some(place("socket", Some(n)));
    use Change::{Back, Linked, Out, Unlinked};
    for (words, meant) in [
        ("neutral out", altered(neutral, Out, None, false, None)),
        (
            "neutral out at socket three",
            altered(neutral, Out, socket(3), false, None),
        ),
        (
            "both neutrals out at socket six in a connector",
            altered(neutral, Out, socket(6), true, Some(Parked::Connector)),
        ),
        (
            "both neutrals out at socket six, in a connector",
            altered(neutral, Out, socket(6), true, Some(Parked::Connector)),
        ),
        (
            "neutral disconnected taped at light twelve",
            altered(
                neutral,
                Out,
                Some(place("light", Some(12))),
                false,
                Some(Parked::Taped),
            ),
        ),
        (
            "neutral back at socket three",
            altered(neutral, Back, socket(3), false, None),
        ),
        (
            "neutral out at door entry unit",
            altered(
                neutral,
                Out,
                Some(place("door entry unit", None)),
                false,
                None,
            ),
        ),
        (
            "line and neutral linked at socket three",
            altered(line_and_neutral, Linked, socket(3), false, None),
        ),
        (
            "line and neutral unlinked at socket three",
            altered(line_and_neutral, Unlinked, socket(3), false, None),
        ),
        (
            "line and neutral link removed",
            altered(line_and_neutral, Unlinked, None, false, None),
        ),
        (
            "line and neutral out at cooker",
            altered(
                line_and_neutral,
                Out,
                Some(place("cooker", None)),
                false,
                None,
            ),
        ),
        (
            "lamp out at light two",
            altered(Part::Lamp, Out, Some(place("light", Some(2))), false, None),
        ),
        ("lamps back", altered(Part::Lamp, Back, None, false, None)),
        (
            "cover off at board two",
            altered(Part::Cover, Out, Some(place("board", Some(2))), false, None),
        ),
        (
            "cover back on",
            altered(Part::Cover, Back, None, false, None),
        ),
        (
            "earthing conductor disconnected",
            altered(Part::EarthingConductor, Out, None, false, None),
        ),
        (
            "earthing conductor off",
            altered(Part::EarthingConductor, Out, None, false, None),
        ),
        (
            "earthing conductor back on",
            altered(Part::EarthingConductor, Back, None, false, None),
        ),
        ("lock removed", altered(Part::Lock, Out, None, false, None)),
        ("lock fitted", altered(Part::Lock, Back, None, false, None)),
        (
            "socket three back",
            altered(Part::Accessory, Back, socket(3), false, None),
        ),
        (
            "thermostat out",
            altered(
                Part::Accessory,
                Out,
                Some(place("thermostat", None)),
                false,
                None,
            ),
        ),
        ("fuse out", altered(Part::Fuse, Out, None, false, None)),
        (
            "switching changed at switch two",
            altered(
                Part::Switch,
                Out,
                Some(place("switch", Some(2))),
                false,
                None,
            ),
        ),
        (
            "all back",
            altered(Part::Everything, Back, None, false, None),
        ),
    ] {
        for rule in step_rules() {
            assert_eq!(said(&rule, words), meant, "{rule}: {words}");
        }
    }
}

#[test]
fn trade_words_aloud() {
    for (rule, words, meant) in [
        ("isolation", "tester proved", Statement::Proved),
        ("isolation", "proved again", Statement::Proved),
        ("isolation", "all isolated", Statement::Isolated),
        ("rcd", "it held", Statement::NoTrip),
        ("polarity", "polarity confirmed", Statement::PolarityCorrect),
    ] {
        assert_eq!(said(rule, words), Intent::Stated(meant), "{words}");
    }
}

/// What is loose is understood when it is typed, and never listened for.
#[test]
fn loose_words_are_only_typed() {
    for (rule, words, meant) in [
        (
            "isolation",
            "padlocked",
            Intent::Stated(Statement::LockedOff),
        ),
        (
            "polarity",
            "good",
            Intent::Stated(Statement::PolarityCorrect),
        ),
        ("confirm", "all sorted", Intent::Stated(Statement::Done)),
        ("insulation", "help", Intent::Help),
    ] {
        assert_eq!(GRAMMAR.understand(rule, words), None, "{words}");
        assert_eq!(
            GRAMMAR.understand_typed(rule, None, words),
            Some(meant),
            "{words}"
        );
    }
    let value_asked = |question| GRAMMAR.understand_typed("insulation", question, "yep");
    assert_eq!(value_asked(Some("question")), Some(Intent::Affirm));
    assert_eq!(value_asked(None), None);
}

/// Whatever is typed loosely at a step is what the step takes it for: nothing else that may be said there
/// stands before it.
#[test]
fn no_loose_phrase_is_shadowed_by_what_may_be_said_at_its_step() {
    let mut random = fastrand::Rng::with_seed(5);
    let mut shadowed = std::collections::BTreeSet::new();
    for step in GRAMMAR.rules() {
        let typed = |words: &str| {
            GRAMMAR
                .understand_typed_first(step, words)
                .or_else(|| GRAMMAR.understand(step, words))
                .or_else(|| GRAMMAR.understand_typed(step, None, words))
        };
        for rule in [step, "always"].map(|rule| format!("typed.{rule}")) {
            for _ in 0..400 {
                let Ok((words, loose)) = GRAMMAR.random_sentence(&rule, &mut || random.f64())
                else {
                    continue;
                };
                if let Some(said) = typed(&words).filter(|said| *said != loose) {
                    shadowed.insert(format!("{step}: {words}: {said:?}, not {loose:?}"));
                }
            }
        }
    }
    assert!(shadowed.is_empty(), "{shadowed:#?}");
}

/// A lone word that one says without meaning anything by it permits nothing, wherever it is typed.
#[test]
fn a_lone_word_never_permits() {
    for rule in GRAMMAR.rules() {
        for word in [
            "on",
            "off",
            "no",
            "go",
            "right",
            "ok",
            "nothing",
            "clear",
            "main switch off",
            "lid on",
            "customer happy",
            "permission given",
            "breaker off",
        ] {
            for question in [None, Some("question"), Some("no")] {
                let said = GRAMMAR
                    .understand(rule, word)
                    .or_else(|| GRAMMAR.understand_typed(rule, question, word));
                assert!(!said.is_some_and(|s| s.is_a_permission()), "{rule}: {word}");
            }
        }
    }
}

#[test]
fn commands_at_any_time() {
    for (words, meant) in [
        ("affirm", Intent::Affirm),
        ("negative", Intent::Negative),
        ("correction", Intent::Correction(None)),
        ("disregard", Intent::Disregard),
        ("say again", Intent::SayAgain),
        ("stand by", Intent::StandBy),
        ("carry on", Intent::CarryOn),
        ("pause", Intent::Pause),
        ("resume", Intent::Resume),
        ("where are we", Intent::WhereAreWe),
        ("what is out", Intent::WhatIsOut),
        ("What's out?", Intent::WhatIsOut),
        ("how long is left", Intent::HowLongIsLeft),
        ("what did I say", Intent::WhatDidISay(None)),
        (
            "what did i say for circuit twelve",
            Intent::WhatDidISay(Some(12)),
        ),
        ("what should it be", Intent::WhatIsTheLimit),
        ("what can I say", Intent::Help),
        ("finish", Intent::Finish),
        (
            "not tested no access",
            Intent::NotTested(Some(Reason::NoAccess)),
        ),
        (
            "not tested reason equipment cannot be taken out",
            Intent::NotTested(Some(Reason::EquipmentCannotBeTakenOut)),
        ),
        ("skip reason in use", Intent::Skip(Some(Reason::InUse))),
        (
            "override reason on the recording",
            Intent::Override(Some(Reason::OnTheRecording)),
        ),
        ("circuit five", Intent::Circuit(5)),
        ("go to circuit twelve", Intent::Circuit(12)),
        ("circuit 24", Intent::Circuit(24)),
        ("board two", Intent::Board(2)),
        ("go to ring continuity", Intent::GoTo(Stage::Ring)),
        ("go to insulation", Intent::GoTo(Stage::Insulation)),
        ("take a note", Intent::Note),
        ("note", Intent::Note),
        ("end of note", Intent::EndOfNote),
        ("slower", Intent::ProsodyChange(ProsodyChange::Slower)),
        (
            "correction neutral out at socket three",
            Intent::Correction(Some(Box::new(said(
                "confirm",
                "neutral out at socket three",
            )))),
        ),
    ] {
        for rule in step_rules() {
            assert_eq!(said(&rule, words), meant, "{rule}: {words}");
        }
    }
}

#[test]
fn what_a_prompt_has_named_need_not_be_named_again() {
    let link = |change| {
        Intent::Altered(Alteration {
            part: Part::Link,
            change,
            place: None,
            both: false,
            parked: None,
        })
    };
    for rule in step_rules() {
        for (words, meant) in [
            ("linked", link(Change::Linked)),
            ("link on", link(Change::Linked)),
            ("link is off", link(Change::Unlinked)),
            ("link off", link(Change::Unlinked)),
            ("link removed", link(Change::Unlinked)),
            ("unlinked", link(Change::Unlinked)),
            ("both", Intent::Both(None)),
            ("both out", Intent::Both(Some(Change::Out))),
            ("both are back", Intent::Both(Some(Change::Back))),
            ("not tested", Intent::NotTested(None)),
            ("skip this", Intent::Skip(None)),
            ("override", Intent::Override(None)),
            (
                "reason on the recording",
                Intent::Because(Reason::OnTheRecording),
            ),
            ("because in use", Intent::Because(Reason::InUse)),
        ] {
            assert_eq!(said(&rule, words), meant, "{rule}: {words}");
        }
    }
}

#[test]
fn a_reason_alone_is_enough_where_it_was_asked_for() {
    let no_access = Intent::Because(Reason::NoAccess);
    assert_eq!(said("reason", "no access"), no_access);
    assert_eq!(
        said("reason", "correction no access"),
        Intent::Correction(Some(Box::new(no_access)))
    );
    assert_eq!(GRAMMAR.understand("insulation", "no access"), None);
}

#[test]
fn pass_is_understood_when_it_is_typed() {
    assert_eq!(said("functional", "pass"), Intent::Stated(Statement::Pass));
    let net = GRAMMAR.net("functional").unwrap();
    assert!(net.path(&["pass"]).is_none(), "it sounds like `pause`");
}

#[test]
fn a_correction_carries_the_right_reading() {
    assert_eq!(
        said("insulation", "correction line to earth two nine nine"),
        Intent::Correction(Some(Box::new(read(exact("299").between(Pair::LE)))))
    );
}

#[test]
fn statements() {
    for (rule, words, state) in [
        ("confirm", "done", Statement::Done),
        ("confirm", "ready", Statement::Done),
        ("isolation", "indicator proved", Statement::Proved),
        ("isolation", "not proved", Statement::NotProved),
        ("isolation", "isolated", Statement::Isolated),
        ("isolation", "locked off", Statement::LockedOff),
        ("isolation", "dead", Statement::Dead),
        ("isolation", "discharged", Statement::Discharged),
        ("instrument", "leads open", Statement::Open),
        ("instrument", "shorted", Statement::Shorted),
        (
            "insulation",
            "nothing connected",
            Statement::NothingConnected,
        ),
        ("polarity", "polarity correct", Statement::PolarityCorrect),
        (
            "continuity",
            "polarity reversed",
            Statement::PolarityReversed,
        ),
        ("rcd", "tripped", Statement::Tripped),
        ("rcd", "did not trip", Statement::NoTrip),
        ("functional", "works", Statement::Pass),
        ("functional", "failed", Statement::Fail),
        (
            "functional",
            "phase sequence correct",
            Statement::SequenceCorrect,
        ),
        ("loop", "energised", Statement::Energised),
    ] {
        assert_eq!(said(rule, words), Intent::Stated(state), "{words}");
        assert_eq!(said("anything", words), Intent::Stated(state), "{words}");
    }
    assert_eq!(
        said("isolation", "line to neutral dead"),
        Intent::StatedAt {
            state: Statement::Dead,
            pair: Some(Pair::LN),
            place: None,
        }
    );
    assert_eq!(
        said("polarity", "polarity correct at socket three"),
        Intent::StatedAt {
            state: Statement::PolarityCorrect,
            pair: None,
            place: Some(place("socket", Some(3))),
        }
    );
}

#[test]
fn talk_is_not_understood() {
    for words in [
        "",
        "lovely weather",
        "pass me the screwdriver",
        "nine nine bananas",
        "lock off",
    ] {
        assert_eq!(GRAMMAR.understand("anything", words), None, "{words}");
    }
}
