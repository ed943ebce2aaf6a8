//! Values against the formulas of `limits`, and against published examples.

use super::{dead, ends_out, nulled, probe, read};
use bothhands::bay::{Altered, Bay, Measured};
use bothhands::limits::{Tables, conductor, earth_loop, ring};
use bothhands::quantity::{Celsius, Conductors, Metres, Ohms, SquareMillimetres};
use bothhands::terms::{Between, Probe, Setting};

fn job(celsius: f64) -> bothhands::installation::Job {
    let points = |names: std::ops::RangeInclusive<u16>, spur: u16| {
        names
            .map(|n| {
                format!(
                    "[[board.circuit.point]]\nname = \"socket\"\nnumber = {n}\nfeeds_on = true\nspur = {}\n",
                    n == spur
                )
            })
            .collect::<String>()
    };
    read(&format!(
        "title = \"Boathouse\"\nkind = \"initial-verification\"\ntester = \"A. Learner\"\nsupervisor = \"B. Instructor\"\n\
         [site]\nname = \"Rowing club boathouse\"\nambient_celsius = {celsius}\n\
         [supply]\nearthing = \"TN-S\"\nphases = 1\nze_ohms = \"0.40\"\n\
         [[instrument]]\nname = \"installation tester\"\nserial = \"IT-1\"\ncalibration_due = 2030-01-31\n\
         used_for = [\"continuity\", \"insulation\", \"loop\", \"rcd\"]\n\
         [[board]]\nnumber = 1\nname = \"board\"\n\
         [[board.circuit]]\nnumber = 1\nname = \"sockets\"\nkind = \"ring\"\ndevice = \"B32\"\ncable = \"2.5/1.5 60 m\"\n{}\
         [[board.circuit]]\nnumber = 2\nname = \"boat store\"\nkind = \"radial\"\ndevice = \"B20\"\ncable = \"2.5/1.5 30 m\"\n\
         [[board.circuit.point]]\nname = \"socket\"\nnumber = 1\n",
        points(1..=5, 5)
    ))
}

fn ohms(bay: &Bay, conditions: &bothhands::bay::Conditions, probe: &Probe) -> f64 {
    match bay.measured(conditions, probe).unwrap() {
        Measured::Ohms(ohms) | Measured::Loop(ohms) => ohms,
        other => panic!("{other:?}"),
    }
}

fn ends(bay: &Bay) -> [f64; 3] {
    [Conductors::L, Conductors::N, Conductors::E].map(|one| {
        let probe = Probe {
            between: Between::Ends(one),
            ..probe(Setting::Continuity, "L-N", 1, "")
        };
        ohms(bay, &ends_out(1), &probe)
    })
}

/// What joints, terminals and a link may add to a circuit of a few points, Ω: ours, from what is drawn.
const JOINTS: f64 = 0.035;

/// 2.5/1.5 mm² is 19.51 mΩ/m at 20 °C: IET On-Site Guide, Table I1.
#[test]
fn r1_r2_is_that_of_the_published_table() {
    let bay = Bay::of(&job(20.0), &[], 1).unwrap();
    let link = Altered::linked(1, 2, Conductors::L.with(Conductors::E));
    let at = probe(Setting::Continuity, "L-E", 2, "socket 1");
    let read = ohms(&bay, &dead().with(link), &at);
    let published = 30.0 * 0.01951;
    assert!(
        read > published && read < published + JOINTS,
        "{read} {published}"
    );
}

/// A conductor at 30 °C has 1 ÷ 0.962 of its resistance at 20 °C, at 5 °C 1 ÷ 1.064: IEC 60228.
#[test]
fn it_grows_with_the_temperature_as_the_standard_says() {
    let whole = |celsius| ends(&Bay::of(&job(celsius), &[], 1).unwrap())[0];
    for (celsius, k) in [(5.0, 1.064), (30.0, 0.962)] {
        let ratio = whole(celsius) / whole(20.0);
        // Joints do not grow here.
        assert!((ratio - 1.0 / k).abs() < 0.004, "{celsius}: {ratio}");
        let (mm2, t) = (SquareMillimetres::exact(2.5), Celsius::exact(celsius));
        let length = Metres::exact(60.0);
        let sum = conductor::resistance(Tables::shipped(), mm2, 1, length, t).unwrap();
        let over = whole(celsius) - sum.middle();
        assert!((0.0..JOINTS).contains(&over), "{celsius}: {over}");
    }
}

/// r1 and rn equal within 0.05 Ω, r2 = 1.67 r1 for 2.5/1.5; crossed, (r1+rn)/4 at every point of the ring,
/// (r1+r2)/4 at the most, and a spur adds its own two conductors: IET Guidance Note 3, common practice.
#[test]
fn a_ring_is_read_as_in_the_guidance() {
    for seed in 0..20 {
        let bay = Bay::of(&job(20.0), &[], seed).unwrap();
        let [r1, rn, r2] = ends(&bay);
        assert!(
            (r1 - rn).abs() < 0.05 && (r2 / r1 - 1.67).abs() < 0.08,
            "{r1} {rn} {r2}"
        );
        let [le, ln] = ["L-E", "L-N"].map(|pair| {
            let other = if pair == "L-E" {
                Conductors::E
            } else {
                Conductors::N
            };
            let both = Conductors::L.with(other);
            let crossed = ends_out(1).with(Altered::crossed(1, 1, both));
            let at = |n| probe(Setting::Continuity, pair, 1, &format!("socket {n}"));
            [1, 2, 3, 4, 5].map(|n| ohms(&bay, &crossed, &at(n)))
        });
        let exact = Ohms::exact;
        let ends = ring::Ends {
            line: exact(r1),
            neutral: exact(rn),
            cpc: exact(r2),
        };
        let (flat, most) = (ring::r1_rn(&ends).middle(), ring::r1_r2(&ends).middle());
        for n in 0..4 {
            assert!((ln[n] - flat).abs() < 0.02, "{ln:?} {flat}");
            let least = ring::crossed(r1, r2, 0.0);
            assert!(
                le[n] > least && le[n] < most + 0.02,
                "{le:?} {least} {most}"
            );
        }
        // A spur of one to four metres of 2.5 mm², 7.41 mΩ/m each way.
        let spur = ln[4] - flat;
        assert!((0.01..0.09).contains(&spur), "{spur}");
    }
}

/// Zs = Ze + (R1+R2), and the prospective current is U0 ÷ Ze: BS 7671 411.4.4, 434.5.1.
#[test]
fn a_loop_is_the_external_one_and_the_circuits_own() {
    let bay = Bay::of(&job(20.0), &[], 1).unwrap();
    let link = Altered::linked(1, 2, Conductors::L.with(Conductors::E));
    let dead_end = probe(Setting::Continuity, "L-E", 2, "socket 1");
    let r1_r2 = ohms(&bay, &dead().with(link), &dead_end);
    let zs = ohms(&bay, &nulled(), &probe(Setting::Loop, "L-E", 2, "socket 1"));
    let incoming = |setting| Probe {
        circuit: None,
        ..probe(setting, "L-E", 2, "")
    };
    let ze = ohms(&bay, &nulled(), &incoming(Setting::Loop));
    assert!((0.2..0.4).contains(&ze));
    assert!((zs - ze - r1_r2).abs() < 0.012, "{zs} {ze} {r1_r2}");
    let Measured::FaultCurrent(amps) = bay
        .measured(&nulled(), &incoming(Setting::FaultCurrent))
        .unwrap()
    else {
        panic!()
    };
    let u0 = bothhands::quantity::Volts::exact(230.0);
    let sum = earth_loop::fault_current(u0, Ohms::exact(ze)).middle() * 1e3;
    assert!((amps - sum).abs() < 1.0, "{amps} {sum}");
}

/// Impedance of two conductors at 70 °C, mΩ/m: BS 7671 appendix 4, table 4D2B, column z of two-core single-phase
/// cables (from memory; it rounds to 0.05 above 0.5). Up to 16 mm² the table has no reactance.
#[test]
fn impedance_of_large_cables_is_that_of_the_published_table() {
    let tables = Tables::shipped();
    for (mm2, z) in [
        (25.0, 1.75),
        (35.0, 1.25),
        (50.0, 0.94),
        (70.0, 0.65),
        (95.0, 0.50),
    ] {
        let size = SquareMillimetres::exact(mm2);
        let metre = Metres::exact(1.0);
        let ohms = conductor::resistance(tables, size, 2, metre, Celsius::exact(70.0)).unwrap();
        let x = conductor::reactance_per_metre(tables, size).middle();
        let ours = f64::hypot(2e3 * ohms.middle(), 2.0 * x);
        assert!((ours / z - 1.0).abs() < 0.03, "{mm2}: {ours} {z}");
    }
    for mm2 in [1.5, 2.5, 16.0] {
        let x = conductor::reactance_per_metre(tables, SquareMillimetres::exact(mm2));
        assert_eq!(x.middle(), 0.0, "{mm2}");
    }
}

/// A loop through 100 m of 95 mm²: resistances and reactances are added each by themselves, and the instrument
/// shows the root of their squares.
#[test]
fn a_loop_through_a_large_cable_is_more_than_its_resistance() {
    let job = read(
        "title = \"Boathouse\"\nkind = \"initial-verification\"\ntester = \"A. Learner\"\nsupervisor = \"B. Instructor\"\n\
         [site]\nname = \"Rowing club boathouse\"\nambient_celsius = 20.0\n\
         [supply]\nearthing = \"TN-S\"\nphases = 1\nze_ohms = \"0.05\"\n\
         [[instrument]]\nname = \"installation tester\"\nserial = \"IT-1\"\ncalibration_due = 2030-01-31\n\
         used_for = [\"continuity\", \"insulation\", \"loop\", \"rcd\"]\n\
         [[board]]\nnumber = 1\nname = \"board\"\n\
         [[board.circuit]]\nnumber = 1\nname = \"winch\"\nkind = \"single-point\"\ndevice = \"C125\"\ncable = \"95/95 100 m\"\n\
         [[board.circuit.point]]\nname = \"winch\"\n",
    );
    let bay = Bay::of(&job, &[], 4).unwrap();
    let at = probe(Setting::Loop, "L-E", 1, "winch");
    let supply = bay.netlist(&nulled(), &at).unwrap();
    let transformer = supply.elements.iter().find_map(|element| match element {
        bothhands::bay::Element::Source { reactance, .. } if *reactance > 0.0 => Some(*reactance),
        _ => None,
    });
    let transformer = transformer.unwrap();
    let incoming = Probe {
        circuit: None,
        place: None,
        ..at.clone()
    };
    let ze = ohms(&bay, &nulled(), &incoming);
    let link = Altered::linked(1, 1, Conductors::L.with(Conductors::E));
    let r1_r2 = ohms(
        &bay,
        &dead().with(link),
        &probe(Setting::Continuity, "L-E", 1, "winch"),
    );
    let resistance = (ze * ze - transformer * transformer).sqrt() + r1_r2;
    // 0.155 mΩ a metre of two conductors, 100 m.
    let expected = f64::hypot(resistance, transformer + 0.0155);
    let zs = ohms(&bay, &nulled(), &at);
    // The device and the switch are in the loop, and not in R1+R2.
    assert!((zs - expected).abs() < 0.009, "{zs} {expected}");
    assert!(zs > resistance + 0.003, "{zs} {resistance}");
}
