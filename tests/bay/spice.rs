//! Every reading of full tours against a general circuit simulator, on netlists that are written here
//! from the plain elements of the bay.
//!
//! `cargo test --test it bay::spice -- --nocapture` prints how many readings were compared.

use super::random;
use crate::need;
use bothhands::bay::{
    Altered, Bay, Conditions, Element, GROUND, Law, Measured, Method, Netlist, STRAY_OHMS, tour,
};
use bothhands::installation::{Job, Phases};
use bothhands::quantity::{Conductors, TestVoltage};
use bothhands::terms::{FaultKind, Part, Place, Probe, Setting};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::process::Command;

/// A reading to be compared.
struct Compared {
    /// In words, for whoever has to find out why.
    what: String,
    netlist: Netlist,
    ours: Measured,
    /// A current in place of a display: through so many ohms, so many amps.
    amps: Option<(f64, f64)>,
}

impl Compared {
    fn agrees(&self, theirs: f64) -> bool {
        match self.amps {
            Some((ohms, amps)) => (amps - theirs / ohms).abs() <= 0.5 + 1e-3 * amps,
            None => agree(self.ours, theirs),
        }
    }
}

/// Netlists that differ only in where the probes are: one deck, one analysis for each pair.
struct Deck {
    netlist: Netlist,
    readings: Vec<usize>,
}

fn decks(compared: &[Compared]) -> Vec<Deck> {
    let mut decks: Vec<Deck> = Vec::new();
    for (n, one) in compared.iter().enumerate() {
        let same = |deck: &&mut Deck| {
            deck.netlist.method == one.netlist.method
                && deck.netlist.elements == one.netlist.elements
        };
        match decks.iter_mut().rev().take(4).find(same) {
            Some(deck) => deck.readings.push(n),
            None => decks.push(Deck {
                netlist: one.netlist.clone(),
                readings: vec![n],
            }),
        }
    }
    decks
}

/// An inductance that has so many ohms at 50 Hz; none at all would be a loop of nothing.
fn henries(reactance: f64) -> f64 {
    reactance.max(1e-9) / (2.0 * std::f64::consts::PI * 50.0)
}

fn node(n: usize) -> String {
    if n == GROUND {
        "0".to_owned()
    } else {
        format!("n{n}")
    }
}

/// The current of a part as an expression of the voltage across it.
fn behaviour(from: &str, to: &str, law: Law) -> String {
    let v = format!("v({from},{to})");
    match law {
        Law::Electronics { ohms, volts } => {
            format!("{v}*(1+({v}/{volts:e})*({v}/{volts:e}))/{ohms:e}")
        }
        Law::Neon { ohms, volts } => {
            let x = format!("pwr(abs({v}/{volts:e}),8)");
            format!("{v}*({x}/(1+{x})/{ohms:e}+1e-12)")
        }
        Law::Surge { ohms, volts, amps } => {
            format!("{v}*(1/{ohms:e}+{amps:e}/{volts:e}*pwr(abs({v}/{volts:e}),14))")
        }
    }
}

/// With everything under a kilohm taken as a short: nothing in a test of megohms, and milliohms beside
/// gigohms would cost the simulator its digits.
fn coarse(netlist: &Netlist) -> (Netlist, Vec<usize>) {
    let mut joined: Vec<usize> = (0..netlist.nodes).collect();
    for element in &netlist.elements {
        if let Element::Impedance { from, to, ohms, .. } | Element::Source { from, to, ohms, .. } =
            *element
            && ohms < 1e3
        {
            let (keep, lose) = (joined[from].min(joined[to]), joined[from].max(joined[to]));
            for node in &mut joined {
                if *node == lose {
                    *node = keep;
                }
            }
        }
    }
    let mut coarse = netlist.clone();
    coarse.elements.retain_mut(|element| {
        let (Element::Impedance { from, to, .. }
        | Element::Source { from, to, .. }
        | Element::NonLinear { from, to, .. }) = element;
        (*from, *to) = (joined[*from], joined[*to]);
        from != to
    });
    (coarse, joined)
}

/// The file of a deck, with an instrument for each reading, and the commands that switch them on in turn.
fn file(deck: &Deck, compared: &[Compared]) -> (String, String) {
    let mut text = "* a deck\n".to_owned();
    let linear = !deck
        .netlist
        .elements
        .iter()
        .any(|element| matches!(element, Element::NonLinear { .. }));
    let megohms = matches!(deck.netlist.method, Method::Direct { volts, .. } if volts > 100.0);
    let (netlist, joined) = if megohms {
        coarse(&deck.netlist)
    } else {
        (deck.netlist.clone(), (0..deck.netlist.nodes).collect())
    };
    let live = matches!(deck.netlist.method, Method::Voltage { .. });
    // Loops and voltages are of alternating current: with inductances, and complex numbers.
    let alternating = live || deck.netlist.method == Method::Loop;
    for (n, element) in netlist.elements.iter().enumerate() {
        let _ = match *element {
            Element::Impedance {
                from,
                to,
                ohms,
                reactance,
            } => {
                let (from, to) = (node(from), node(to));
                if reactance > 0.0 && alternating {
                    writeln!(
                        text,
                        "R{n} {from} x{n} {ohms:e}\nL{n} x{n} {to} {:e}",
                        henries(reactance)
                    )
                } else {
                    writeln!(text, "R{n} {from} {to} {ohms:e}")
                }
            }
            Element::Source {
                from,
                to,
                volts,
                degrees,
                ohms,
                reactance,
            } => {
                // Dead unless voltages are asked for.
                let volts = if live { volts } else { 0.0 };
                writeln!(
                    text,
                    "V{n} m{n} {} DC 0 AC {volts:e} {degrees:e}\nR{n} m{n} x{n} {ohms:e}\nL{n} x{n} {} {:e}",
                    node(from),
                    node(to),
                    henries(reactance)
                )
            }
            Element::NonLinear { from, to, law } => {
                let (from, to) = (node(from), node(to));
                let law = behaviour(&from, &to, law);
                writeln!(text, "B{n} {from} {to} I={law}")
            }
        };
    }
    for n in 1..deck.netlist.nodes {
        let at = node(joined.get(n).copied().unwrap_or(n));
        let _ = writeln!(text, "Rs{n} {at} 0 {STRAY_OHMS:e}");
    }
    let mut control = String::new();
    for n in &deck.readings {
        let one = &compared[*n].netlist;
        let ends = [one.from, one.to].map(|at| joined.get(at).copied().unwrap_or(at));
        let (from, to) = (node(ends[0]), node(ends[1]));
        let volts = ends.map(|at| match at {
            GROUND => "0".to_owned(),
            at => format!("v({})", node(at)),
        });
        let between = format!("({}-{})", volts[0], volts[1]);
        let _ = match deck.netlist.method {
            Method::Voltage { ohms } => {
                let ohms = ohms.min(1e18);
                let _ = writeln!(text, "Ri{n} {from} {to} 1e18");
                writeln!(
                    control,
                    "alter Ri{n} {ohms:e}\nac lin 1 50 50\nlet r{n} = mag{between}\nprint r{n}\nalter Ri{n} 1e18"
                )
            }
            // One amp of alternating current round the loop.
            Method::Loop => {
                let _ = writeln!(text, "Ii{n} {to} {from} DC 0 AC 0");
                writeln!(
                    control,
                    "alter Ii{n} acmag = 1\nac lin 1 50 50\nlet r{n} = mag{between}\nprint r{n}\nalter Ii{n} acmag = 0"
                )
            }
            // One amp through the network.
            _ if linear => {
                let _ = writeln!(text, "Ii{n} {to} {from} DC 0");
                writeln!(
                    control,
                    "alter Ii{n} dc = 1\nop\nlet r{n} = {between}\nprint r{n}\nalter Ii{n} dc = 0"
                )
            }
            Method::Direct { volts, ohms } => {
                let _ = writeln!(text, "Vi{n} i{n} {to} DC 0\nRi{n} i{n} {from} 1e18");
                writeln!(
                    control,
                    "alter Ri{n} {ohms:e}\nalter Vi{n} dc = {volts:e}\nop\nlet r{n} = -{between}/i(vi{n})\nprint r{n}\nalter Ri{n} 1e18\nalter Vi{n} dc = 0"
                )
            }
        };
    }
    let options = ".options reltol=1e-6 abstol=1e-13 vntol=1e-6 gmin=1e-18 itl1=1000";
    (format!("{text}{options}\n.end\n"), control)
}

/// What the simulator makes of them all, in one run.
fn simulated(compared: &[Compared]) -> BTreeMap<usize, f64> {
    let folder = tempfile::tempdir().unwrap();
    let mut script = "* all decks\nR1 a 0 1\n.control\nset numdgt=12\n".to_owned();
    for (n, deck) in decks(compared).iter().enumerate() {
        let (text, control) = file(deck, compared);
        let path = folder.path().join(format!("{n}.cir"));
        std::fs::write(&path, text).unwrap();
        let _ = writeln!(
            script,
            "source {}\n{control}destroy all\nremcirc",
            path.display()
        );
    }
    script += "quit\n.endc\n.end\n";
    let path = folder.path().join("all.cir");
    std::fs::write(&path, script).unwrap();
    let output = Command::new("ngspice")
        .arg("-b")
        .arg(&path)
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&output.stdout);
    let values = text.lines().filter_map(|line| {
        let (name, value) = line.split_once(" = ")?;
        let n = name.trim().strip_prefix('r')?.parse().ok()?;
        Some((n, value.trim().parse().ok()?))
    });
    let values: BTreeMap<usize, f64> = values.collect();
    let missing = (0..compared.len()).find(|n| !values.contains_key(n));
    if let Some(n) = missing {
        let errors = String::from_utf8_lossy(&output.stderr);
        panic!("no value of {}: {text}\n{errors}", compared[n].what);
    }
    values
}

/// A step of the display at a value: two decimals to 20, one to 200, none above.
fn step(value: f64) -> f64 {
    match value {
        v if v < 20.0 => 0.01,
        v if v < 200.0 => 0.1,
        _ => 1.0,
    }
}

/// Whether two values stand on the same step of the display or on neighbours, because both are within half a
/// step of where it changes; past its end both are.
fn agree(ours: Measured, theirs: f64) -> bool {
    let near = |ours: f64, theirs: f64, most: f64, scale: f64| {
        let (ours, theirs) = (ours / scale, theirs / scale);
        (ours > most && theirs > most) || (ours - theirs).abs() <= 0.5 * step(ours)
    };
    match ours {
        Measured::Ohms(ohms) | Measured::Loop(ohms) => near(ohms, theirs, 1999.0, 1.0),
        Measured::Insulation(ohms) => near(ohms, theirs, 999.0, 1e6),
        Measured::Volts(v) => (v - theirs).abs() <= 0.5,
        Measured::FaultCurrent(amps) => near(amps, 230.0 / theirs, 49.9, 1e3),
        _ => false,
    }
}

/// Whether a reading comes of the network.
fn by_network(ours: Measured) -> bool {
    matches!(
        ours,
        Measured::Ohms(_)
            | Measured::Insulation(_)
            | Measured::Loop(_)
            | Measured::FaultCurrent(_)
            | Measured::Volts(_)
    )
}

/// What no tour reads: what is left behind a device that has tripped, the insulation of a board with the
/// functional earths of its devices in and out, the current of a short circuit before its device opens.
fn others(job: &Job, bay: &Bay, seed: &str, compared: &mut Vec<Compared>) {
    let nulled = super::nulled();
    let mut add = |what: &str, conditions: &Conditions, probe: &Probe| {
        if let (Ok(netlist), Ok(ours)) = (
            bay.netlist(conditions, probe),
            bay.measured(conditions, probe),
        ) && by_network(ours)
        {
            compared.push(Compared {
                what: format!("{seed}{what}, {probe:?}"),
                netlist,
                ours,
                amps: None,
            });
        }
    };
    let boards = || {
        job.boards
            .iter()
            .filter(|board| board.phases == Phases::Single)
    };
    for board in boards() {
        let volts = |circuit, pair| Probe {
            board: board.number,
            ..super::probe(Setting::Voltage, pair, circuit, "")
        };
        let insulation = |pair| Probe {
            circuit: None,
            place: Some(Place::board()),
            ..Probe {
                board: board.number,
                ..super::probe(
                    Setting::Insulation {
                        at: TestVoltage::V500,
                    },
                    pair,
                    1,
                    "",
                )
            }
        };
        let mut off = nulled.clone();
        off.sources_off.extend(job.supply.sources.iter().copied());
        off.main_switches_off
            .extend(job.boards.iter().map(|board| board.number));
        let mut earths_out = off.clone();
        for circuit in &board.circuits {
            let at = (board.number, circuit.number);
            let mut tripped = nulled.clone();
            tripped.devices_off.insert(at);
            for pair in ["L-N", "L-E", "N-E"] {
                add("tripped", &tripped, &volts(circuit.number, pair));
            }
            for group in board.rcds.iter().filter(|rcd| rcd.protects(circuit.number)) {
                let mut tripped = nulled.clone();
                tripped.rcds_off.insert((board.number, group.number));
                for pair in ["L-N", "L-E", "N-E"] {
                    let probe = volts(circuit.number, pair);
                    add("a device of several tripped", &tripped, &probe);
                }
            }
            let out = Altered::out(at.0, at.1, Part::FunctionalEarth, None);
            earths_out.altered.push(out);
        }
        for pair in ["L-E", "N-E"] {
            add("functional earths in", &off, &insulation(pair));
            add("functional earths out", &earths_out, &insulation(pair));
        }
    }
    for board in boards() {
        for circuit in &board.circuits {
            for other in [Conductors::N, Conductors::E] {
                let link = Altered::linked(board.number, circuit.number, Conductors::L.with(other));
                let shorted = nulled.with(link);
                let device = bay.device_netlist(&shorted, board.number, circuit.number);
                let amps = bay.device_amps(&shorted, board.number, circuit.number);
                if let (Some((netlist, ohms)), Some(amps)) = (device, amps) {
                    compared.push(Compared {
                        what: format!("{seed}short of {other:?} on circuit {}", circuit.number),
                        netlist,
                        ours: Measured::NoSupply,
                        amps: Some((ohms, amps)),
                    });
                }
            }
        }
    }
}

/// Tours of random jobs, each with up to three faults, compared reading by reading.
fn compare(seeds: std::ops::Range<u64>, drawn: fn(u64) -> Job) {
    need("ngspice", "ngspice");
    let (mut count, mut wrong) = (0, Vec::new());
    let mut of: BTreeMap<bool, usize> = BTreeMap::new();
    let all: Vec<u64> = seeds.collect();
    for some in all.chunks(10) {
        let mut compared = Vec::new();
        for seed in some {
            let job = drawn(*seed);
            let faults = Bay::draw(&job, *seed, *seed as usize % 4, &FaultKind::ALL);
            let bay = Bay::of(&job, &faults, *seed).unwrap();
            for stop in tour(&job) {
                let Ok(netlist) = bay.netlist(&stop.conditions, &stop.probe) else {
                    continue;
                };
                let ours = bay.measured(&stop.conditions, &stop.probe).unwrap();
                // Trip times are drawn and come of no network; a live circuit is not tested.
                if by_network(ours) {
                    let what = format!(
                        "seed {seed}: {:?} of {:?}, {faults:?}",
                        stop.probe, stop.reads
                    );
                    compared.push(Compared {
                        what,
                        netlist,
                        ours,
                        amps: None,
                    });
                }
            }
            others(&job, &bay, &format!("seed {seed}: "), &mut compared);
        }
        let theirs = simulated(&compared);
        for (n, one) in compared.iter().enumerate() {
            count += 1;
            *of.entry(one.amps.is_some()).or_default() += 1;
            if !one.agrees(theirs[&n]) {
                let ours = (one.ours, one.amps);
                wrong.push(format!("{ours:?}, not {}: {}", theirs[&n], one.what));
            }
        }
    }
    println!(
        "{} jobs, {count} readings compared, {} of them currents of a short circuit, {} differ",
        all.len(),
        of.get(&true).copied().unwrap_or_default(),
        wrong.len()
    );
    for line in wrong.iter().take(20) {
        println!("{line}");
    }
    assert!(wrong.is_empty() && count > 20 * all.len(), "{count}");
}

#[test]
fn two_hundred_installations_read_as_a_simulator_reads_them() {
    compare(0..200, random::job);
}

#[test]
fn boards_with_devices_of_several_circuits_read_as_a_simulator_reads_them() {
    compare(0..15, random::with_groups);
}

/// `cargo test --test it bay::spice -- --ignored --nocapture`
#[test]
#[ignore = "a thousand installations: make test-long"]
fn a_thousand_installations_read_as_a_simulator_reads_them() {
    compare(0..1000, random::job);
}
