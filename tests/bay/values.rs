//! Values against the formulas of `limits`, and against published examples.

use super::{dead, ends_out, job, nulled, place, probe, text};
use bothhands::bay::{Altered, Bay, Measured};
use bothhands::quantity::{Conductors, TestVoltage};
use bothhands::terms::{Between, Probe, Setting};

#[test]
fn a_ring_is_read_end_to_end_and_crossed() {
    let job = job("jobs/clubhouse");
    let bay = Bay::of(&job, &[], 7).unwrap();
    let end = |conductor| {
        let probe = Probe {
            between: Between::Ends(conductor),
            ..probe(Setting::Continuity, "L-N", 1, "")
        };
        match bay.measured(&ends_out(1), &probe).unwrap() {
            Measured::Ohms(ohms) => ohms,
            other => panic!("{other:?}"),
        }
    };
    let (r1, rn, r2) = (end(Conductors::L), end(Conductors::N), end(Conductors::E));
    assert!(
        (r1 - rn).abs() < 0.03 && (r2 / r1 - 5.0 / 3.0).abs() < 0.1,
        "{r1} {rn} {r2}"
    );
    let crossed = ends_out(1).with(Altered::crossed(1, 1, Conductors::L.with(Conductors::N)));
    for n in 1..=6 {
        let at = probe(Setting::Continuity, "L-N", 1, &format!("socket {n}"));
        let Measured::Ohms(ohms) = bay.measured(&crossed, &at).unwrap() else {
            panic!()
        };
        assert!((ohms - (r1 + rn) / 4.0).abs() < 0.015, "{ohms}");
    }
}

#[test]
fn what_is_not_isolated_shows_its_voltage_and_is_not_tested() {
    let job = job("jobs/clubhouse");
    let mut bay = Bay::of(&job, &[], 7).unwrap();
    let insulation = Setting::Insulation {
        at: TestVoltage::V500,
    };
    let at = probe(insulation, "L-N", 4, "cooker outlet");
    let (shown, came) = bay.probe(&nulled(), &at).unwrap();
    assert!(text(&shown).starts_with("live 2"), "{shown:?}");
    assert_eq!(came.len(), 1);
    let (shown, came) = bay.probe(&dead().alone(1, 4), &at).unwrap();
    assert_eq!(text(&shown), ">999 MΩ");
    assert_eq!(came, []);
    assert_eq!(at.place, Some(place("cooker outlet")));
}
