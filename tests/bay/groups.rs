//! Residual current devices of several circuits, testers on their references, and parts of live boards.

use super::{dead, job, nulled, place, probe, text};
use bothhands::bay::{Bay, Conditions};
use bothhands::terms::{
    Between, Consequence, FaultKind, HalfCycle, HiddenFault, Place, Probe, RcdTest, Setting,
};

/// RCD 1 of 30 mA protects circuits 1 and 2, RCD 2 of 100 mA and type S all three.
fn board() -> bothhands::installation::Job {
    job("dialogues/jobs/old-board")
}

fn rcd(current: RcdTest) -> Setting {
    let half = HalfCycle::Positive;
    Setting::Rcd { current, half }
}

fn at_rcd(number: u16) -> Place {
    Place {
        name: "RCD".to_owned(),
        number: Some(number),
    }
}

/// A test of RCD `number` at a circuit, or at its own terminals.
fn test(number: u16, current: RcdTest, circuit: Option<u16>) -> Probe {
    Probe {
        circuit,
        place: Some(match circuit {
            Some(1) => place("socket 2"),
            Some(_) => place("far end"),
            None => at_rcd(number),
        }),
        rcd: Some(number),
        ..probe(rcd(current), "L-E", 1, "")
    }
}

fn spoilt(kind: FaultKind, number: u16) -> Bay {
    let fault = HiddenFault {
        kind,
        board: None,
        circuit: None,
        place: Some(at_rcd(number)),
        conductor: None,
        with_circuit: None,
    };
    Bay::of(&board(), &[fault], 5).unwrap()
}

fn shows(bay: &mut Bay, conditions: &Conditions, probe: &Probe) -> (String, Vec<Consequence>) {
    let (shown, came) = bay.probe(conditions, probe).unwrap();
    (text(&shown), came)
}

fn milliseconds(shown: &str) -> f64 {
    let number = shown
        .strip_prefix("tripped ")
        .unwrap_or_else(|| panic!("{shown}"));
    number.split(' ').next().unwrap().parse().unwrap()
}

/// One device: the same time at each of its circuits and at its own terminals; it is what trips, and no other.
#[test]
fn one_device_is_tested_once_wherever_that_is() {
    let mut bay = Bay::of(&board(), &[], 5).unwrap();
    let tripped = |number| {
        vec![Consequence::TrippedSeveral {
            board: 1,
            rcd: number,
        }]
    };
    let mut times = Vec::new();
    for at in [Some(1), Some(2), None] {
        let (half, came) = shows(&mut bay, &nulled(), &test(1, RcdTest::Half, at));
        assert_eq!((half.as_str(), came), ("no trip", vec![]));
        let (shown, came) = shows(&mut bay, &nulled(), &test(1, RcdTest::Once, at));
        assert_eq!(came, tripped(1));
        times.push(milliseconds(&shown));
    }
    assert!(
        times.iter().all(|ms| *ms == times[0] && *ms < 300.0),
        "{times:?}"
    );
    for at in [Some(3), None] {
        let (shown, came) = shows(&mut bay, &nulled(), &test(2, RcdTest::Once, at));
        assert_eq!(came, tripped(2));
        assert!((130.0..500.0).contains(&milliseconds(&shown)), "{shown}");
    }
    // Set for RCD 2 where RCD 1 is in between, RCD 1 is quicker.
    let (shown, came) = shows(&mut bay, &nulled(), &test(2, RcdTest::Once, Some(1)));
    assert_eq!(came, tripped(1));
    assert!(milliseconds(&shown) < 60.0, "{shown}");
    let (shown, _) = shows(&mut bay, &dead(), &test(1, RcdTest::Once, None));
    assert_eq!(shown, "no supply");
}

/// What has tripped takes all its circuits off, line and neutral, and leaves the others on.
#[test]
fn it_takes_all_its_circuits_off() {
    let mut bay = Bay::of(&board(), &[], 5).unwrap();
    let volts = |bay: &mut Bay, off: &[u16], circuit, at| {
        let mut conditions = nulled();
        conditions.rcds_off.extend(off.iter().map(|rcd| (1, *rcd)));
        let shown = shows(
            bay,
            &conditions,
            &probe(Setting::Voltage, "L-N", circuit, at),
        )
        .0;
        shown.split(' ').next().unwrap().parse::<f64>().unwrap()
    };
    for (off, on) in [
        (&[][..], [true, true, true]),
        (&[1], [false, false, true]),
        (&[2], [false, false, false]),
    ] {
        for (circuit, at, on) in [
            (1, "socket 2", on[0]),
            (2, "far end", on[1]),
            (3, "far end", on[2]),
        ] {
            let shown = volts(&mut bay, off, circuit, at);
            assert_eq!(shown > 200.0, on, "{off:?}, circuit {circuit}: {shown}");
        }
    }
}

/// Stuck, slow or of another rating: as of one circuit. Behind a stuck one the next is what trips, where the
/// current is enough for it.
#[test]
fn its_faults_show_at_each_of_its_circuits() {
    let mut stuck = spoilt(FaultKind::StuckRcd, 1);
    let mut slow = spoilt(FaultKind::SlowRcd, 1);
    let mut wrong = spoilt(FaultKind::WrongDevice, 1);
    for at in [Some(1), Some(2), None] {
        let once = |bay: &mut Bay| shows(bay, &nulled(), &test(1, RcdTest::Once, at)).0;
        assert_eq!(once(&mut stuck), "no trip");
        assert_eq!(once(&mut wrong), "no trip");
        assert!(milliseconds(&once(&mut slow)) > 300.0);
        let (_, came) = shows(&mut stuck, &nulled(), &test(1, RcdTest::Five, at));
        assert_eq!(came, [Consequence::TrippedSeveral { board: 1, rcd: 2 }]);
    }
}

/// A neutral on earth behind the device takes some of the test current home by it: of some it sees too little.
#[test]
fn neutral_on_earth_behind_it_makes_it_deaf() {
    let deaf = |seed| {
        let fault = HiddenFault {
            kind: FaultKind::NeutralToEarth,
            board: None,
            circuit: Some(2),
            place: None,
            conductor: None,
            with_circuit: None,
        };
        let mut bay = Bay::of(&board(), &[fault], seed).unwrap();
        let there = test(1, RcdTest::Once, Some(2));
        let sound = Bay::of(&board(), &[], seed).unwrap();
        assert_ne!(text(&sound.truth(&nulled(), &there).unwrap()), "no trip");
        shows(&mut bay, &nulled(), &there).0 == "no trip"
    };
    assert!((0..40).any(deaf));
}

/// A reference reads what the job says, as wrong as the instrument is; a function without one has none.
#[test]
fn testers_read_their_references() {
    let job = job("dialogues/jobs/references");
    for seed in 0..20 {
        let mut bay = Bay::of(&job, &[], seed).unwrap();
        let on = |setting| Probe {
            between: Between::Reference,
            circuit: None,
            ..probe(setting, "L-E", 1, "")
        };
        let ohms = shows(&mut bay, &nulled(), &on(Setting::Loop)).0;
        let ohms: f64 = ohms.strip_suffix(" Ω").unwrap().parse().unwrap();
        assert!((ohms - 0.5).abs() <= 0.015 * 0.5 + 0.005, "{ohms}");
        let ms = milliseconds(&shows(&mut bay, &nulled(), &on(rcd(RcdTest::Once))).0);
        assert!((ms - 25.0).abs() <= 0.015 * 25.0 + 0.5, "{ms}");
        assert!(bay.probe(&nulled(), &on(Setting::Continuity)).is_err());
    }
}

/// A part of a live board is that board: what is off in it is off there, and the rest is live.
#[test]
fn a_part_is_its_board() {
    let job = job("dialogues/jobs/in-turn");
    let mut bay = Bay::of(&job, &[], 5).unwrap();
    let part = job.boards.iter().find(|board| board.is_part()).unwrap();
    let mut one_off = nulled();
    one_off.devices_off.insert((1, 6));
    let volts = |bay: &mut Bay, board, circuit, at: &str| {
        let probe = Probe {
            board,
            ..probe(Setting::Voltage, "L-N", circuit, at)
        };
        let shown = shows(bay, &one_off, &probe).0;
        shown.split(' ').next().unwrap().parse::<f64>().unwrap()
    };
    assert_eq!(part.circuits[0].number, 6);
    assert!(volts(&mut bay, part.number, 6, "light 1") < 50.0);
    assert!(volts(&mut bay, 1, 6, "light 1") < 50.0);
    assert!(volts(&mut bay, 1, 5, "socket 1") > 200.0);
}
