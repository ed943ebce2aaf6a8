//! What is said is what is found: who forgets something reads it.

use super::{dead, ends_out, job, nulled, place, probe, random, read, text};
use bothhands::bay::{Altered, Bay, Conditions};
use bothhands::installation::Job;
use bothhands::quantity::{Conductors, TestVoltage};
use bothhands::terms::{
    Between, Consequence, FaultKind, HalfCycle, HiddenFault, Part, Place, Probe, RcdTest, Setting,
};

/// A ring with a charging outlet, and lights.
fn boathouse() -> Job {
    read(
        r#"
title = "Boathouse"
kind = "initial-verification"
tester = "A. Learner"
supervisor = "B. Instructor"
[site]
name = "Rowing club boathouse"
[supply]
earthing = "TN-S"
phases = 1
ze_ohms = "0.40"
bonds = ["water"]
[[instrument]]
name = "installation tester"
serial = "IT-1"
calibration_due = 2030-01-31
used_for = ["continuity", "insulation", "loop", "rcd"]
insulation_range_megohms = "999"
[[board]]
number = 1
name = "board"
[[board.circuit]]
number = 1
name = "sockets"
kind = "ring"
device = "B32"
rcd = 30
cable = "2.5/1.5 60 m"
[[board.circuit.point]]
name = "socket"
number = 1
[[board.circuit.point]]
name = "socket"
number = 2
[[board.circuit.point]]
name = "socket"
number = 3
[[board.circuit.point]]
name = "socket"
number = 4
sensitive = "USB charging outlet"
[[board.circuit]]
number = 2
name = "boat store"
kind = "radial"
device = "B20"
cable = "2.5/1.5 30 m"
[[board.circuit.point]]
name = "socket"
number = 1
feeds_on = true
[[board.circuit.point]]
name = "socket"
number = 2
feeds_on = true
[[board.circuit.point]]
name = "socket"
number = 3
[[board.circuit]]
number = 3
name = "lights"
kind = "lighting"
device = "B6"
cable = "1.5/1 20 m"
[[board.circuit.point]]
name = "light"
number = 1
"#,
    )
}

const IR: Setting = Setting::Insulation {
    at: TestVoltage::V500,
};
const IR_250: Setting = Setting::Insulation {
    at: TestVoltage::V250,
};
const OHMS: Setting = Setting::Continuity;

fn shows(bay: &mut Bay, conditions: &Conditions, probe: &Probe) -> String {
    text(&bay.probe(conditions, probe).unwrap().0)
}

/// The number shown.
fn number(bay: &mut Bay, conditions: &Conditions, probe: &Probe) -> f64 {
    let shown = shows(bay, conditions, probe);
    let first = shown.split(' ').next().unwrap();
    first
        .parse()
        .unwrap_or_else(|_| panic!("{shown} at {probe:?}"))
}

fn sound() -> Bay {
    Bay::of(&boathouse(), &[], 3).unwrap()
}

#[test]
fn what_was_not_isolated_reads_its_voltage_and_is_not_tested() {
    let mut bay = sound();
    let at_board = Probe {
        circuit: None,
        place: Some(Place::board()),
        ..probe(Setting::Voltage, "L-N", 1, "")
    };
    assert!(number(&mut bay, &nulled(), &at_board) > 220.0);
    assert_eq!(shows(&mut bay, &dead(), &at_board), "0 V");
    // What feeds the board is live all the same.
    let incoming = Probe {
        place: None,
        ..at_board
    };
    assert!(number(&mut bay, &dead(), &incoming) > 220.0);
    for setting in [IR, OHMS] {
        let at = probe(setting, "L-N", 2, "socket 1");
        let (shown, came) = bay.probe(&nulled(), &at).unwrap();
        assert!(text(&shown).starts_with("live 2"), "{shown:?}");
        assert!(matches!(
            came[..],
            [Consequence::ProbedLive { volts: 220..=245 }]
        ));
    }
    assert_eq!(bay.destroyed().count(), 0);
}

#[test]
fn a_ring_that_was_not_crossed_reads_over_range() {
    let mut bay = sound();
    let at = probe(OHMS, "L-N", 1, "socket 2");
    assert_eq!(shows(&mut bay, &ends_out(1), &at), "over range");
    let both = Conductors::L.with(Conductors::N);
    let crossed = ends_out(1).with(Altered::crossed(1, 1, both));
    assert!((number(&mut bay, &crossed, &at) - 0.22).abs() < 0.04);
    // Crossed with the ends in, it grows from the board.
    let ends_in = dead().with(Altered::crossed(1, 1, both));
    let middle = number(&mut bay, &ends_in, &at);
    assert!(number(&mut bay, &ends_in, &probe(OHMS, "L-N", 1, "")) < 0.02 && middle > 0.1);
}

#[test]
fn r1_r2_without_the_link_reads_over_range() {
    let mut bay = sound();
    let at = probe(OHMS, "L-E", 2, "socket 3");
    assert_eq!(shows(&mut bay, &dead(), &at), "over range");
    let link = Altered::linked(1, 2, Conductors::L.with(Conductors::E));
    assert!((number(&mut bay, &dead().with(link), &at) - 0.59).abs() < 0.05);
}

#[test]
fn a_neutral_left_out_leaves_no_voltage_there_and_the_loop_as_it_was() {
    let mut bay = sound();
    let neutral = Part::Conductors(Conductors::N);
    let out = nulled().with(Altered::out(1, 2, neutral, Some(place("socket 3"))));
    let volts = |pair| probe(Setting::Voltage, pair, 2, "socket 3");
    let zs = probe(Setting::Loop, "L-E", 2, "socket 3");
    assert!(number(&mut bay, &nulled(), &volts("L-N")) > 220.0);
    assert_eq!(shows(&mut bay, &out, &volts("L-N")), "0 V");
    assert!(number(&mut bay, &out, &volts("L-E")) > 220.0);
    assert_eq!(shows(&mut bay, &out, &zs), shows(&mut bay, &nulled(), &zs));
    let before = probe(Setting::Voltage, "L-N", 2, "socket 2");
    assert!(number(&mut bay, &out, &before) > 220.0);
}

#[test]
fn one_neutral_of_two_leaves_what_is_behind_it_without() {
    let mut bay = sound();
    let neutral = Part::Conductors(Conductors::N);
    let one = Altered::out(1, 2, neutral, Some(place("socket 2")));
    let volts = |at| probe(Setting::Voltage, "L-N", 2, at);
    for (out, dead_ones) in [
        (one.clone(), ["socket 2", "socket 3"].as_slice()),
        (one.both(), ["socket 2"].as_slice()),
    ] {
        let conditions = nulled().with(out);
        for at in ["socket 1", "socket 2", "socket 3"] {
            let read = number(&mut bay, &conditions, &volts(at));
            assert_eq!(read < 50.0, dead_ones.contains(&at), "{at}: {read}");
        }
    }
}

#[test]
fn electronics_read_low_at_250_volts_and_are_destroyed_by_500() {
    let mut bay = sound();
    let at = |setting, pair| probe(setting, pair, 1, "");
    let low = number(&mut bay, &dead(), &at(IR_250, "L-N"));
    assert!((0.02..0.6).contains(&low), "{low}");
    assert_eq!(low, number(&mut bay, &dead(), &at(IR_250, "L-N")));
    // Line to earth puts nothing across them, nor do live conductors joined.
    let before = bay.clone();
    for pair in ["L-E", "N-E", "L+N-E"] {
        assert!(number(&mut bay, &dead(), &at(IR, pair)) > 100.0);
    }
    assert_eq!(bay.destroyed().count(), 0);
    let (_, came) = bay.probe(&dead(), &at(IR, "L-N")).unwrap();
    assert!(
        matches!(&came[..], [Consequence::Destroyed { circuit: 1, place: at, .. }] if *at == place("socket 4"))
    );
    assert_eq!(shows(&mut bay, &dead(), &at(IR_250, "L-N")), "0.00 MΩ");
    // A bay that is made anew and told of it is the same.
    let mut anew = before;
    came.iter().for_each(|one| anew.remember(one));
    assert_eq!(shows(&mut anew, &dead(), &at(IR_250, "L-N")), "0.00 MΩ");
    // Out, they are in nobody's way.
    let out = Altered::out(1, 1, Part::Accessory, Some(place("socket 4")));
    assert!(number(&mut bay, &dead().with(out), &at(IR, "L-N")) > 100.0);
}

#[test]
fn lamps_left_in_read_about_nothing() {
    let mut bay = sound();
    let at = probe(IR_250, "L-N", 3, "");
    assert_eq!(shows(&mut bay, &dead(), &at), "0.00 MΩ");
    let out = Altered::out(1, 3, Part::Lamp, None).both();
    assert!(number(&mut bay, &dead().with(out), &at) > 100.0);
}

#[test]
fn leads_that_were_not_nulled_are_in_every_reading() {
    let mut bay = sound();
    let joined = Probe {
        between: Between::LeadsJoined,
        ..probe(OHMS, "L-N", 1, "")
    };
    let leads = number(&mut bay, &Conditions::default(), &joined);
    assert!((0.05..0.15).contains(&leads));
    assert_eq!(shows(&mut bay, &nulled(), &joined), "0.00 Ω");
    let link = Altered::linked(1, 2, Conductors::L.with(Conductors::E));
    let at = probe(OHMS, "L-E", 2, "socket 3");
    let right = number(&mut bay, &dead().with(link.clone()), &at);
    let not_nulled = Conditions {
        leads_nulled: false,
        ..dead().with(link)
    };
    let read = number(&mut bay, &not_nulled, &at);
    assert!(
        (read - right - leads).abs() < 0.015,
        "{read} {right} {leads}"
    );
}

#[test]
fn ze_is_read_with_the_earthing_conductor_off_and_a_bond_with_an_end_off() {
    let mut bay = sound();
    let altered = |part, at: Option<&str>| Altered {
        board: 1,
        circuit: None,
        part,
        place: at.map(place),
        both: false,
        linked: false,
    };
    let ze = Probe {
        circuit: None,
        ..probe(Setting::Loop, "L-E", 1, "")
    };
    let off = dead().with(altered(Part::EarthingConductor, None));
    let alone = number(&mut bay, &off, &ze);
    assert!((0.2..0.41).contains(&alone), "{alone}");
    // Left off, no circuit has an earth but by way of the water pipe.
    let at = probe(Setting::Loop, "L-E", 2, "socket 1");
    let on = number(&mut bay, &nulled(), &at);
    let still_off = nulled().with(altered(Part::EarthingConductor, None));
    let read = number(&mut bay, &still_off, &at);
    assert!(on < 1.2 && read > 15.0, "{on} {read}");
    let bond = Probe {
        between: Between::Bond,
        circuit: None,
        ..probe(OHMS, "L-E", 1, "water bond")
    };
    let off = dead().with(altered(Part::Bond, Some("water bond")));
    assert!(number(&mut bay, &off, &bond) < 0.05);
}

#[test]
fn an_rcd_trips_as_it_should_and_less_where_neutral_is_on_earth() {
    let job = boathouse();
    let test = |current, half| {
        let setting = Setting::Rcd { current, half };
        probe(setting, "L-E", 1, "socket 4")
    };
    let both = [HalfCycle::Positive, HalfCycle::Negative];
    let mut bay = sound();
    for half in both {
        assert_eq!(
            shows(&mut bay, &nulled(), &test(RcdTest::Half, half)),
            "no trip"
        );
        let (shown, came) = bay.probe(&nulled(), &test(RcdTest::Once, half)).unwrap();
        assert!(text(&shown).starts_with("tripped"), "{shown:?}");
        assert!(matches!(
            came[..],
            [Consequence::Tripped {
                board: 1,
                circuit: 1
            }]
        ));
    }
    let first = test(RcdTest::Once, HalfCycle::Positive);
    assert_eq!(shows(&mut bay, &dead(), &first), "no supply");
    let of = |kind| HiddenFault {
        kind,
        board: None,
        circuit: Some(1),
        place: None,
        conductor: None,
        with_circuit: None,
    };
    let mut stuck = Bay::of(&job, &[of(FaultKind::StuckRcd)], 3).unwrap();
    assert_eq!(shows(&mut stuck, &nulled(), &first), "no trip");
    let mut slow = Bay::of(&job, &[of(FaultKind::SlowRcd)], 3).unwrap();
    let shown = shows(&mut slow, &nulled(), &first);
    let ms: f64 = shown.split(' ').nth(1).unwrap().parse().unwrap();
    assert!(ms > 300.0, "{shown}");
    // Part of the test current goes home by the neutral then: of some the device does not see enough.
    let deaf = |seed| {
        let mut bay = Bay::of(&job, &[of(FaultKind::NeutralToEarth)], seed).unwrap();
        shows(&mut bay, &nulled(), &first) == "no trip"
    };
    let deaf = (0..10).filter(|seed| deaf(*seed)).count();
    assert!((1..10).contains(&deaf), "{deaf}");
}

#[test]
fn the_same_seed_and_probes_give_the_same_answers() {
    let job = random::job(11);
    let faults = Bay::draw(&job, 5, 3, &FaultKind::ALL);
    assert_eq!(faults, Bay::draw(&job, 5, 3, &FaultKind::ALL));
    let mut one = Bay::of(&job, &faults, 5).unwrap();
    let mut other = Bay::of(&job, &faults, 5).unwrap();
    let mut differs = Bay::of(&job, &faults, 6).unwrap();
    let mut another = false;
    for stop in bothhands::bay::tour(&job) {
        let shown = one.probe(&stop.conditions, &stop.probe).unwrap();
        assert_eq!(shown, other.probe(&stop.conditions, &stop.probe).unwrap());
        another |= shown != differs.probe(&stop.conditions, &stop.probe).unwrap();
    }
    assert!(another);
}

#[test]
fn every_job_of_the_tests_can_be_gone_round() {
    for name in [
        "jobs/boathouse",
        "jobs/clubhouse",
        "jobs/slipway",
        "dialogues/jobs/boards",
        "dialogues/jobs/low-voltage",
        "dialogues/jobs/three-phase",
        "dialogues/jobs/tt",
    ] {
        let job = job(name);
        let mut bay = Bay::of(&job, &[], 7).unwrap();
        for stop in bothhands::bay::tour(&job) {
            let (shown, _) = bay.probe(&stop.conditions, &stop.probe).unwrap();
            let live = text(&shown).starts_with("live");
            assert!(!live, "{name}: {stop:?} {shown:?}");
        }
    }
}

#[test]
fn what_cannot_be_is_refused_with_what_to_mend() {
    let job = boathouse();
    let fault = |kind, circuit, at: &str| HiddenFault {
        kind,
        board: None,
        circuit: Some(circuit),
        place: (!at.is_empty()).then(|| place(at)),
        conductor: None,
        with_circuit: None,
    };
    for (fault, words) in [
        (
            fault(FaultKind::OpenLeg, 2, ""),
            "circuit 2 can't have it: it needs a ring",
        ),
        (
            fault(FaultKind::StuckRcd, 2, ""),
            "a residual current device",
        ),
        (
            fault(FaultKind::Reversed, 1, "socket 9"),
            "not at socket 9 of circuit 1: it can be at socket 1, socket 2",
        ),
        (
            fault(FaultKind::LostEarth, 1, ""),
            "no board, circuit or point",
        ),
        (
            fault(FaultKind::NeutralToEarth, 7, ""),
            "circuit 7 can't have it",
        ),
    ] {
        let error = Bay::of(&job, &[fault], 1).unwrap_err().to_string();
        assert!(error.contains(words), "{error}");
    }
    let mut bay = sound();
    for (probe, words) in [
        (probe(OHMS, "L-E", 9, ""), "board 1 has no circuit 9"),
        (
            probe(OHMS, "L-E", 2, "socket 8"),
            "its points are socket 1, socket 2, socket 3",
        ),
        (
            probe(OHMS, "L2-E", 2, "socket 1"),
            "there is no line two there",
        ),
        (
            Probe {
                between: Between::Ends(Conductors::L),
                ..probe(OHMS, "L-E", 2, "")
            },
            "circuit 2 is no ring",
        ),
        (
            Probe {
                between: Between::Bond,
                ..probe(OHMS, "L-E", 2, "gas bond")
            },
            "there is no gas bond",
        ),
    ] {
        let error = bay.probe(&dead(), &probe).unwrap_err().to_string();
        assert!(error.contains(words), "{error}");
    }
}

/// An RCBO on 300 m of cable, and one on a short piece, on a supply of great fault current.
fn long() -> Job {
    let circuits: String = [
        (1, "300 m", "C20 RCBO 30 mA 6 kA"),
        (2, "3 m", "B20 0.5 kA"),
        (3, "1000 m", "B6"),
    ]
        .iter()
        .map(|(number, metres, device)| {
            format!(
                "[[board.circuit]]\nnumber = {number}\nname = \"jetty {number}\"\nkind = \"radial\"\ndevice = \"{device}\"\n\
                 cable = \"2.5/1.5 {metres}\"\n[[board.circuit.point]]\nname = \"socket\"\nnumber = 1\n"
            )
        })
        .collect();
    read(&format!(
        "title = \"Boathouse\"\nkind = \"initial-verification\"\ntester = \"A. Learner\"\nsupervisor = \"B. Instructor\"\n\
         [site]\nname = \"Rowing club boathouse\"\n[supply]\nearthing = \"TN-S\"\nphases = 1\nze_ohms = \"0.10\"\n\
         [[instrument]]\nname = \"installation tester\"\nserial = \"IT-1\"\ncalibration_due = 2030-01-31\n\
         used_for = [\"continuity\", \"insulation\", \"loop\", \"rcd\"]\ninsulation_range_megohms = \"999\"\n\
         [[board]]\nnumber = 1\nname = \"board\"\n{circuits}"
    ))
}

/// By Hamon's rule: 1,000 m of 100 pF and a loss factor of 0.05 are 1,587 MΩ after five seconds, and four times that
/// after twenty: 5 ÷ (1000 · 100e-12 · 0.05 · 0.63).
#[test]
fn insulation_of_a_long_cable_settles_and_a_short_one_stands_at_once() {
    let mut bay = Bay::of(&long(), &[], 5).unwrap();
    let at = |circuit, held| Probe {
        rcd: None,
        held,
        ..probe(IR, "L-E", circuit, "")
    };
    let ohms = |bay: &Bay, held| match bay.measured(&dead(), &at(3, held)).unwrap() {
        bothhands::bay::Measured::Insulation(ohms) => ohms,
        other => panic!("{other:?}"),
    };
    let [first, later, last] = [0, 15, 3600].map(|held| ohms(&bay, held));
    assert!(first < later && later < last, "{first} {later} {last}");
    let taken_up = 1.0 / (1.0 / first - 1.0 / later);
    // 1 ÷ (1/1587 - 1/6349) = 2116.
    assert!((taken_up / 1e6 - 2116.0).abs() < 2.0, "{taken_up}");
    let moves = (0..10).filter(|seed| {
        let mut bay = Bay::of(&long(), &[], *seed).unwrap();
        bay.probe(&dead(), &at(3, 0)).unwrap().1 == [Consequence::Settling]
    });
    assert!(moves.count() > 5);
    for (circuit, held) in [(3, 3600), (2, 0)] {
        let (_, came) = bay.probe(&dead(), &at(circuit, held)).unwrap();
        assert!(came.is_empty(), "{circuit} {held}: {came:?}");
    }
}

/// What stands between the bars and a functional earth is found at the board, and is gone with it.
#[test]
fn a_functional_earth_lowers_what_the_board_reads() {
    let mut bay = Bay::of(&long(), &[], 5).unwrap();
    let at_board = |pair| Probe {
        circuit: None,
        place: Some(Place::board()),
        ..probe(IR, pair, 1, "")
    };
    let mut off = dead();
    off.devices_off.extend([(1, 1), (1, 2), (1, 3)]);
    let out = off.with(Altered::out(1, 1, Part::FunctionalEarth, None));
    for (pair, low) in [("N-E", 0.15..0.41), ("L-E", 0.4..0.91)] {
        let read = number(&mut bay, &off, &at_board(pair));
        assert!(low.contains(&read), "{pair}: {read}");
        let without = bay.measured(&out, &at_board(pair)).unwrap();
        assert!(
            matches!(without, bothhands::bay::Measured::Insulation(ohms) if ohms > 100e6),
            "{pair}: {without:?}"
        );
    }
    // A circuit by itself is free of it.
    let alone = bay.measured(&dead(), &probe(IR, "N-E", 1, "")).unwrap();
    assert!(
        matches!(alone, bothhands::bay::Measured::Insulation(ohms) if ohms > 100e6),
        "{alone:?}"
    );
}

/// 230 V through the loop: the far end of 300 m opens the device, the near end of three metres bursts one that can
/// break 500 A. Off or dead, nothing comes of it.
#[test]
fn a_short_circuit_that_is_live_opens_its_device_or_bursts_it() {
    let bay = Bay::of(&long(), &[], 5).unwrap();
    let link = |circuit| Altered {
        place: Some(place("socket 1")),
        ..Altered::linked(1, circuit, Conductors::L.with(Conductors::N))
    };
    let far = nulled().with(link(1));
    let came = bay.overcurrents(&far);
    // 2 · 7.41 mΩ · 300 m = 4.45 Ω: some 52 A.
    assert!(
        matches!(
            came[..],
            [Consequence::Shorted {
                circuit: 1,
                amps: 45..=55,
                ..
            }]
        ),
        "{came:?}"
    );
    let near = nulled().with(link(2));
    let came = bay.overcurrents(&near);
    assert!(
        matches!(
            came[..],
            [Consequence::Burst {
                circuit: 2,
                amps: 1000..=2500,
                breaks: 500,
                ..
            }]
        ),
        "{came:?}"
    );
    let mut off = near.clone();
    off.devices_off.insert((1, 2));
    assert!(bay.overcurrents(&off).is_empty());
    assert!(bay.overcurrents(&dead().with(link(2))).is_empty());
    assert!(bay.overcurrents(&nulled()).is_empty());
}

/// Nothing but its label tells a breaker of another rating or type.
#[test]
fn a_label_says_what_is_there() {
    let label = Probe {
        between: Between::Label,
        ..probe(Setting::Look, "L-N", 1, "")
    };
    let shown = |faults: &[HiddenFault], seed| {
        let mut bay = Bay::of(&long(), faults, seed).unwrap();
        shows(&mut bay, &nulled(), &label)
    };
    let right = "Printed { letter: Some('C'), amps: 20, milliamps: Some(30) }";
    assert_eq!(shown(&[], 1), right);
    let of = |kind| HiddenFault {
        kind,
        board: None,
        circuit: Some(1),
        place: None,
        conductor: None,
        with_circuit: None,
    };
    let mut wrong: Vec<String> = (0..8)
        .map(|seed| shown(&[of(FaultKind::WrongBreaker)], seed))
        .collect();
    wrong.sort();
    wrong.dedup();
    assert_eq!(
        wrong,
        [
            "Printed { letter: Some('C'), amps: 25, milliamps: Some(30) }",
            "Printed { letter: Some('D'), amps: 20, milliamps: Some(30) }"
        ]
    );
    assert!(shown(&[of(FaultKind::WrongDevice)], 1).contains("milliamps: Some(100)"));
}
