//! Ring final circuits against a general circuit solution: nodal analysis of the network of
//! conductors (nalgebra solves it), which knows nothing of the formulas under test.
//!
//! The confusion table of the diagnosis:
//! `cargo test --test it limits::ring -- --nocapture confusion`

use bothhands::limits::ring::{
    self, CrossedPair, Ends, Leg, PointReading, RingDiagnosis, RingFault,
};
use bothhands::limits::{CableRun, Tables};
use bothhands::quantity::{Metres, Ohms, SquareMillimetres};
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;
use std::collections::BTreeMap;

/// Resistors between numbered nodes.
#[derive(Default, Clone)]
struct Network {
    nodes: usize,
    resistors: Vec<(usize, usize, f64)>,
}

impl Network {
    fn node(&mut self) -> usize {
        self.nodes += 1;
        self.nodes - 1
    }

    fn join(&mut self, a: usize, b: usize, ohms: f64) {
        self.resistors.push((a, b, ohms.max(1e-7)));
    }

    /// Resistance between two nodes: inject one amp, solve for the voltages. Infinite when nothing
    /// joins them.
    fn between(&self, a: usize, b: usize) -> f64 {
        // A leak of 1 GΩ from every node keeps the matrix regular where the network is in pieces.
        let mut conductance = DMatrix::<f64>::from_diagonal_element(self.nodes, self.nodes, 1e-9);
        for &(p, q, ohms) in &self.resistors {
            let g = 1.0 / ohms;
            conductance[(p, p)] += g;
            conductance[(q, q)] += g;
            conductance[(p, q)] -= g;
            conductance[(q, p)] -= g;
        }
        let mut injected = DVector::zeros(self.nodes);
        injected[a] += 1.0;
        injected[b] -= 1.0;
        let volts = conductance.lu().solve(&injected).expect("regular");
        let ohms = volts[a] - volts[b];
        if ohms > 1e5 { f64::INFINITY } else { ohms }
    }
}

/// A cable ring of three conductors with points on it.
#[derive(Clone)]
struct Ring {
    network: Network,
    /// Near and far end at the board, by conductor: line, neutral, cpc.
    ends: [(usize, usize); 3],
    /// Terminals of each point: line, neutral, earth; name; said to be a spur.
    points: Vec<([usize; 3], bool)>,
    /// Ring nodes by conductor, for faults; the first and last are the ends.
    along: [Vec<usize>; 3],
    per_metre: [f64; 3],
}

impl Ring {
    /// A ring with points at these fractions of its length.
    fn new(per_metre: [f64; 3], length: f64, at: &[f64]) -> Self {
        let mut network = Network::default();
        let mut along = [const { Vec::new() }; 3];
        for (c, nodes) in along.iter_mut().enumerate() {
            nodes.push(network.node());
            let mut before = 0.0;
            for &x in at.iter().chain([&1.0]) {
                let node = network.node();
                let last = nodes[nodes.len() - 1];
                network.join(last, node, (x - before) * length * per_metre[c]);
                nodes.push(node);
                before = x;
            }
        }
        let points = (1..=at.len()).map(|i| ([along[0][i], along[1][i], along[2][i]], false));
        Self {
            ends: [0, 1, 2].map(|c: usize| (along[c][0], along[c][at.len() + 1])),
            points: points.collect(),
            along,
            per_metre,
            network,
        }
    }

    fn end_to_end(&self, conductor: usize) -> f64 {
        let (a, b) = self.ends[conductor];
        self.network.between(a, b)
    }

    /// Reads between conductor 0 and `other` at a point, with those two joined at the board.
    fn read(&self, point: usize, other: usize, crossed: bool) -> f64 {
        let mut joined = self.network.clone();
        let ((l1, l2), (o1, o2)) = (self.ends[0], self.ends[other]);
        let (a, b) = if crossed { (o2, o1) } else { (o1, o2) };
        joined.join(l1, a, 0.0);
        joined.join(l2, b, 0.0);
        let terminals = self.points[point].0;
        joined.between(terminals[0], terminals[other])
    }

    /// A point on a spur of so many metres from the terminals of point `from`.
    fn spur(&mut self, from: usize, metres: f64) {
        let base = self.points[from].0;
        let terminals = [0, 1, 2].map(|c: usize| {
            let node = self.network.node();
            self.network.join(base[c], node, metres * self.per_metre[c]);
            node
        });
        self.points.insert(from + 1, (terminals, false));
    }

    /// A cable across the ring between two of its points.
    fn bridge(&mut self, from: usize, to: usize, metres: f64) {
        for c in 0..3 {
            let (a, b) = (self.along[c][from + 1], self.along[c][to + 1]);
            self.network.join(a, b, metres * self.per_metre[c]);
        }
    }

    /// Adds resistance to (or with infinity cuts) a conductor in a stretch of the ring.
    fn worsen(&mut self, conductor: usize, stretch: usize, ohms: f64) {
        let (a, b) = (
            self.along[conductor][stretch],
            self.along[conductor][stretch + 1],
        );
        self.network.resistors.retain_mut(|(p, q, r)| {
            if (*p, *q) == (a, b) {
                *r += ohms;
            }
            r.is_finite()
        });
    }
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-6 * b.abs().max(1.0)
}

const LINE: f64 = 7.41e-3;
const CPC: f64 = 12.1e-3;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn the_formula_for_crossed_ends_is_what_the_network_gives(
        x in 0.01..0.99f64, length in 10.0..100.0f64, rho in 1e-3..20e-3f64,
    ) {
        let ring = Ring::new([LINE, LINE, rho], length, &[x]);
        let (r1, r2) = (LINE * length, rho * length);
        prop_assert!(close(ring.read(0, 1, true), ring::crossed(r1, r1, x)));
        prop_assert!(close(ring.read(0, 2, true), ring::crossed(r1, r2, x)));
        prop_assert!(close(ring.read(0, 2, false), ring::uncrossed(r1, r2, x)));
        prop_assert!(close(ring.end_to_end(2), r2));
    }

    #[test]
    fn every_point_of_a_ring_reads_alike_line_to_neutral_and_at_most_a_quarter_of_the_sum_to_earth(
        x in 0.0..1.0f64, r1 in 0.05..2.0f64, r2 in 0.05..2.0f64,
    ) {
        prop_assert!(close(ring::crossed(r1, r1, x), r1 / 2.0));
        prop_assert!(ring::crossed(r1, r2, x) <= (r1 + r2) / 4.0 + 1e-12);
        prop_assert!(ring::crossed(r1, r2, x) >= ring::crossed(r1, r2, 0.0) - 1e-12);
    }

    #[test]
    fn a_spur_adds_its_own_two_conductors(
        x in 0.05..0.95f64, length in 10.0..100.0f64, spur in 0.5..20.0f64,
    ) {
        let mut ring = Ring::new([LINE, LINE, CPC], length, &[x]);
        ring.spur(0, spur);
        let alone = ring::crossed(LINE * length, CPC * length, x);
        prop_assert!(close(ring.read(1, 2, true), alone + spur * (LINE + CPC)));
    }
}

/// Worked example, arithmetic of IET Guidance Note 3 (common practice): 54 m of 2.5/1.5 flat cable.
#[test]
fn a_ring_of_54_metres_reads_what_the_trade_expects() {
    let ends = Ends {
        line: Ohms::exact(0.40),
        neutral: Ohms::exact(0.40),
        cpc: Ohms::exact(0.65),
    };
    assert_eq!(ring::r1_rn(&ends).to_string(), "0.2 Ω");
    assert_eq!(ring::r1_r2(&ends).to_string(), "0.2625 Ω");
    let points = vec![
        point("socket 1", "0.20", "0.25"),
        point("socket 2", "0.20", "0.26"),
        point("socket 3", "0.20", "0.25"),
    ];
    let said = ring::diagnose(Tables::shipped(), Some(&flat_cable(54.0)), &ends, &points);
    assert!(said.looks_sound() && said.complete, "{:?}", said.faults);
    assert_eq!(said.r1_r2, Some(Ohms::exact(0.26)));
}

fn flat_cable(metres: f64) -> CableRun {
    CableRun {
        line: SquareMillimetres::exact(2.5),
        cpc: SquareMillimetres::exact(1.5),
        length: Some(Metres::exact(metres)),
        class: 1,
        made: bothhands::limits::CableMake::default(),
    }
}

fn point(name: &str, ln: &str, le: &str) -> PointReading {
    let value = |t: &str| match t {
        "over" => Ohms::at_least(2.0),
        t => Ohms::exact(t.parse().unwrap()),
    };
    PointReading {
        name: name.to_owned(),
        spur: false,
        line_neutral: Some(value(ln)),
        line_cpc: Some(value(le)),
    }
}

/// The faults of a ring of 54 m (r1 0.40, rn 0.40, r2 0.65) with these readings.
fn faults(points: &[PointReading]) -> Vec<RingFault> {
    let ends = Ends {
        line: Ohms::exact(0.40),
        neutral: Ohms::exact(0.40),
        cpc: Ohms::exact(0.65),
    };
    ring::diagnose(Tables::shipped(), Some(&flat_cable(54.0)), &ends, points).faults
}

#[test]
fn an_open_leg_is_named_and_nothing_else_is_concluded() {
    let ends = Ends {
        line: Ohms::exact(0.40),
        neutral: Ohms::at_least(2.0),
        cpc: Ohms::exact(0.65),
    };
    let said = ring::diagnose(
        Tables::shipped(),
        None,
        &ends,
        &[point("socket 1", "0.6", "0.26")],
    );
    assert_eq!(
        said.faults,
        [RingFault::OpenLeg {
            legs: vec![Leg::Neutral]
        }]
    );
}

#[test]
fn ends_joined_leg_to_leg_read_low_near_the_board() {
    let points = [
        point("socket 1", "0.06", "0.25"),
        point("socket 2", "0.19", "0.26"),
        point("socket 3", "0.07", "0.25"),
    ];
    assert_eq!(
        faults(&points),
        [RingFault::EndsNotCrossed {
            stage: CrossedPair::LineNeutral
        }]
    );
}

#[test]
fn a_point_on_a_spur_is_found_with_its_length() {
    let points = [
        point("socket 1", "0.20", "0.25"),
        point("socket 2", "0.32", "0.42"),
        point("socket 3", "0.20", "0.25"),
    ];
    let [
        RingFault::Spur {
            point,
            declared: false,
            length: Some(length),
        },
    ] = &faults(&points)[..]
    else {
        panic!("{:?}", faults(&points));
    };
    assert_eq!(point, "socket 2");
    // (0.32 - 0.20) ÷ (2 × 7.41 mΩ/m) = 8.1 m.
    assert!(length.low() <= 8.1 && length.high() >= 8.1, "{length}");
}

#[test]
fn reversed_polarity_shows_as_a_point_open_in_one_stage() {
    let with = |ln, le| faults(&[point("socket 1", "0.20", "0.25"), point("socket 2", ln, le)]);
    let point = "socket 2".to_owned();
    assert_eq!(
        with("0.20", "over"),
        [RingFault::LineNeutralReversed {
            point: point.clone()
        }]
    );
    assert_eq!(
        with("over", "0.26"),
        [RingFault::LineCpcReversed {
            point: point.clone()
        }]
    );
    assert_eq!(
        with("over", "over"),
        [RingFault::NeutralCpcReversed { point }]
    );
}

// ---- How often the diagnosis is right ----

/// SplitMix64, so that the table is the same on every machine.
struct Dice(u64);

impl Dice {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    fn below(&mut self, n: usize) -> usize {
        ((self.unit() * n as f64) as usize).min(n - 1)
    }
}

const TRUE_FAULTS: [&str; 13] = [
    "sound",
    "L-N not crossed",
    "L-E not crossed",
    "open line",
    "open neutral",
    "open cpc",
    "bridged",
    "spur",
    "spur of two",
    "L-N reversed",
    "L-E reversed",
    "N-E reversed",
    "loose L or N",
];

/// What the simulated person reads and writes in the job file.
struct Simulated {
    /// The point at fault, for faults that are at one.
    culprit: Option<String>,
    run: CableRun,
    ends: Ends,
    points: Vec<PointReading>,
}

/// A random ring with a random instance of a fault, as an instrument that shows 0.01 Ω reads it:
/// probes add up to 0.02 Ω, the length in the job file is out by up to a tenth.
fn simulate(fault: &str, dice: &mut Dice) -> Simulated {
    let sizes = [
        (2.5, 1.5, 7.41e-3, 12.1e-3),
        (4.0, 1.5, 4.61e-3, 12.1e-3),
        (2.5, 2.5, 7.41e-3, 7.41e-3),
    ];
    let (line, cpc, rho_line, rho_cpc) = sizes[[0, 0, 0, 1, 2][dice.below(5)]];
    let length = dice.between(25.0, 90.0);
    let count = 4 + dice.below(7);
    let gap = 1.0 / (count as f64 + 1.0);
    let at: Vec<f64> = (1..=count)
        .map(|i| (i as f64 + dice.between(-0.35, 0.35)) * gap)
        .collect();
    let mut ring = Ring::new([rho_line, rho_line, rho_cpc], length, &at);
    let (mut ln_crossed, mut le_crossed) = (true, true);
    let stretch = dice.below(count + 1);
    let victim = dice.below(count);
    match fault {
        "L-N not crossed" => ln_crossed = false,
        "L-E not crossed" => le_crossed = false,
        "open line" => ring.worsen(0, stretch, f64::INFINITY),
        "open neutral" => ring.worsen(1, stretch, f64::INFINITY),
        "open cpc" => ring.worsen(2, stretch, f64::INFINITY),
        "bridged" => {
            let from = dice.below(count - 2);
            let to = from + 2 + dice.below(count - from - 2);
            ring.bridge(from, to, dice.between(1.0, 8.0));
        }
        "spur" => ring.spur(victim, dice.between(4.0, 15.0)),
        "spur of two" => {
            ring.spur(victim, dice.between(4.0, 10.0));
            ring.spur(victim + 1, dice.between(3.0, 8.0));
        }
        "L-N reversed" => ring.points[victim].0.swap(0, 1),
        "L-E reversed" => ring.points[victim].0.swap(0, 2),
        "N-E reversed" => ring.points[victim].0.swap(1, 2),
        "loose L or N" => {
            let leg = dice.below(2);
            ring.worsen(leg, stretch, dice.between(0.1, 0.6));
        }
        _ => {}
    }
    let mut shown = |true_ohms: f64| {
        let probes = dice.between(0.0, 0.02);
        if true_ohms.is_infinite() {
            Ohms::at_least(2.0)
        } else {
            Ohms::exact(((true_ohms + probes) * 100.0).round() / 100.0)
        }
    };
    let ends = Ends {
        line: shown(ring.end_to_end(0)),
        neutral: shown(ring.end_to_end(1)),
        cpc: shown(ring.end_to_end(2)),
    };
    let points = (0..ring.points.len())
        .map(|i| PointReading {
            name: format!("socket {}", i + 1),
            spur: ring.points[i].1,
            line_neutral: Some(shown(ring.read(i, 1, ln_crossed))),
            line_cpc: Some(shown(ring.read(i, 2, le_crossed))),
        })
        .collect();
    let estimate = length * dice.between(0.9, 1.1);
    let culprit = match fault {
        // Points are numbered from 1, and the spur stands after the point that it is fed from.
        "spur" => Some(victim + 2),
        _ if fault.ends_with("reversed") => Some(victim + 1),
        _ => None,
    };
    Simulated {
        culprit: culprit.map(|n| format!("socket {n}")),
        run: CableRun {
            line: SquareMillimetres::exact(line),
            cpc: SquareMillimetres::exact(cpc),
            length: Some(Metres::exact(estimate)),
            class: 1,
            made: bothhands::limits::CableMake::default(),
        },
        ends,
        points,
    }
}

/// The name of what the diagnosis says, in the words of `TRUE_FAULTS`.
fn called(said: &RingDiagnosis) -> &'static str {
    let names: Vec<_> = said
        .faults
        .iter()
        .map(|f| match f {
            RingFault::OpenLeg { legs } => match legs.as_slice() {
                [Leg::Line] => "open line",
                [Leg::Neutral] => "open neutral",
                [Leg::Cpc] => "open cpc",
                _ => "other",
            },
            RingFault::EndsNotCrossed {
                stage: CrossedPair::LineNeutral,
            } => "L-N not crossed",
            RingFault::EndsNotCrossed {
                stage: CrossedPair::LineCpc,
            } => "L-E not crossed",
            RingFault::Interconnection { .. } => "bridged",
            RingFault::Spur { .. } => "spur",
            RingFault::LineNeutralReversed { .. } => "L-N reversed",
            RingFault::LineCpcReversed { .. } => "L-E reversed",
            RingFault::NeutralCpcReversed { .. } => "N-E reversed",
            RingFault::UnequalLegs { .. } => "loose L or N",
            _ => "other",
        })
        .collect();
    match names.as_slice() {
        [] => "sound",
        // A loose joint spoils the sums of the points behind it too: the first finding leads.
        [first, ..] if *first == "loose L or N" => first,
        ["spur", "spur"] => "spur of two",
        [one] => one,
        [first, rest @ ..] if rest.iter().all(|r| r == first) => first,
        _ => "several",
    }
}

#[test]
fn confusion() {
    const EACH: usize = 250;
    let mut dice = Dice(7_671);
    let mut table: BTreeMap<(usize, &str), usize> = BTreeMap::new();
    let (mut located, mut locatable) = (0, 0);
    for (row, fault) in TRUE_FAULTS.iter().enumerate() {
        for _ in 0..EACH {
            let Simulated {
                culprit,
                run,
                ends,
                points,
            } = simulate(fault, &mut dice);
            let said = ring::diagnose(Tables::shipped(), Some(&run), &ends, &points);
            if let Some(culprit) = culprit {
                locatable += 1;
                let named = |f: &RingFault| f.spoken().starts_with(&format!("{culprit} "));
                located += usize::from(matches!(&said.faults[..], [one] if named(one)));
            }
            *table.entry((row, called(&said))).or_default() += 1;
        }
    }
    let share = |row: usize, column: &str| {
        *table.get(&(row, column)).unwrap_or(&0) as f64 / EACH as f64 * 100.0
    };
    println!("\nPer cent of {EACH} random rings each; row: what it was, column: what was said.\n");
    let columns: Vec<_> = TRUE_FAULTS
        .into_iter()
        .chain(["several", "other"])
        .collect();
    let heads: Vec<_> = columns.iter().map(|c| format!("{c:>16}")).collect();
    println!("{:16}{}", "", heads.concat());
    for (row, fault) in TRUE_FAULTS.iter().enumerate() {
        let cells: Vec<_> = columns
            .iter()
            .map(|c| format!("{:>16.1}", share(row, c)))
            .collect();
        println!("{fault:16}{}", cells.concat());
    }
    let located = 100.0 * f64::from(located as u32) / f64::from(locatable as u32);
    println!("\nFault at one point: that point and no other is named in {located:.1} %.");
    let right = |fault: &str| share(TRUE_FAULTS.iter().position(|f| *f == fault).unwrap(), fault);
    assert!(right("sound") >= 99.0, "a sound ring must not be blamed");
    for certain in [
        "open line",
        "open neutral",
        "open cpc",
        "L-N reversed",
        "L-E reversed",
    ] {
        assert!(right(certain) >= 99.0, "{certain}: {}", right(certain));
    }
}
