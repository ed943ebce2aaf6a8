//! What each test of a circuit should read, and why, before anything is measured.

use super::{Board, Circuit, CircuitKind, GivenBy, Job, Phases};
use crate::limits::conductor::{self, Expected, Through};
use crate::limits::rcd::{self, Multiple};
use crate::limits::ring::{self, CrossedPair, Ends};
use crate::limits::{
    CircuitFacts, CpcIs, Earthing, Finding, Metal, Outcome, Provenance, SystemVoltage, Tables,
    Verdict, earth_loop, judge,
};
use crate::quantity::{Celsius, Number, Ohms, Reading, TestVoltage, Volts, measure, tidy};
use serde::Serialize;

/// What one test should read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Expectation {
    /// The test: "R1+R2", "insulation resistance".
    pub test: String,
    /// What it should read: "about 0.45 Ω (0.28 to 0.61)", "at most 1.37 Ω".
    pub reads: String,
    /// The sum, or the reason.
    pub why: String,
    /// Regulation, table or standard.
    pub clause: String,
    /// How well it is founded.
    pub mark: Provenance,
}

impl Expectation {
    /// Line and protective conductor to the furthest point.
    pub const R1_R2: &str = "R1+R2";
    /// The protective conductor to the furthest point.
    pub const R2: &str = "R2";
    /// Line and neutral of a ring, end to end.
    pub const RING_LIVES: &str = "r1, rn";
    /// The protective conductor of a ring, end to end.
    pub const RING_CPC: &str = "r2";
    /// A ring with line and neutral crossed.
    pub const CROSSED_NEUTRAL: &str = "L to N, crossed";
    /// A ring with line and protective conductor crossed.
    pub const CROSSED_EARTH: &str = "L to E, crossed";
    /// The loop, by Ze and R1+R2.
    pub const ZS: &str = "Zs, expected";

    fn new(
        test: &str,
        reads: impl Into<String>,
        why: impl Into<String>,
        (clause, mark): (&str, Provenance),
    ) -> Self {
        Self {
            test: test.to_owned(),
            reads: reads.into(),
            why: why.into(),
            clause: clause.to_owned(),
            mark,
        }
    }
}

/// Where the values of a section of the tables come from.
macro_rules! source {
    ($section:expr) => {
        ($section.clause.as_str(), $section.mark)
    };
}

impl Job {
    /// Where the origin stays live the means of earthing stays on, and Ze is not read.
    fn how_ze_is_read(&self) -> &'static str {
        let mut origin = self.boards.iter().filter(|board| board.fed_from.is_none());
        if origin.all(|board| self.keeps_live(board)) {
            "not read at this visit: the board stays live, and its means of earthing on"
        } else {
            "means of earthing disconnected for the test and put back at once"
        }
    }

    /// What the tests at the origin should read.
    pub fn expected_at_origin(&self, tables: &Tables) -> Vec<Expectation> {
        let supply = &self.supply;
        let mut all = Vec::new();
        let usual = earth_loop::usual_ze(tables, supply.earthing);
        let declared = supply.ze_ohms.map(|n| match supply.ze_by {
            None | Some(GivenBy::Enquiry) => format!("declared, at most {n} Ω; "),
            Some(by) => format!("{n} Ω by {}; ", by.shown()),
        });
        let (test, reads, why, clause) = match supply.earthing {
            Earthing::Tt => (
                "RA",
                format!(
                    "at most {} V ÷ IΔn, better below {} Ω",
                    tidy(tables.tt.touch_volts),
                    tidy(tables.tt.stable_ohms)
                ),
                "the electrode with the RCD keeps the touch voltage down; above that it may not be \
                 stable"
                    .to_owned(),
                source!(tables.tt),
            ),
            earthing => (
                "Ze",
                format!(
                    "{}usually at most {usual}",
                    declared.unwrap_or_default()
                ),
                format!("{}, {}", earthing.name(), self.how_ze_is_read()),
                source!(tables.external),
            ),
        };
        all.push(Expectation::new(test, reads, why, clause));
        if let Some(ze) = supply.ze_ohms {
            let z = Ohms::exact(ze.value());
            let u0 = Volts::exact(supply.volts);
            all.push(if supply.earthing == Earthing::Tt {
                let through = u0 / z;
                Expectation::new(
                    "fault current",
                    "measure it line to neutral: that is what counts",
                    format!("line to earth the electrode lets {u0} ÷ {z} = {through} through"),
                    source!(tables.fault_current),
                )
            } else {
                let current = earth_loop::fault_current(u0, z);
                let mut why =
                    format!("{u0} ÷ {z} = {current} line to earth, more where Ze is less");
                if supply.phases == Phases::Three {
                    why.push_str(&format!(
                        "; three-phase at least {} × line to neutral when not measured",
                        tidy(tables.fault_current.three_phase_factor)
                    ));
                }
                Expectation::new(
                    "fault current",
                    format!("at least {current}"),
                    why,
                    source!(tables.fault_current),
                )
            });
        }
        if let Some(declared) = supply.fault_current_ka {
            all.push(Expectation::new(
                "fault current",
                match supply.fault_current_by {
                    None | Some(GivenBy::Enquiry) => format!("declared {declared} kA"),
                    Some(by) => format!("{declared} kA by {}", by.shown()),
                },
                match supply.fault_current_by {
                    None | Some(GivenBy::Enquiry) => {
                        "the largest that the distributor gives; the measured one is usually less"
                    }
                    Some(_) => "as it is known from before; the measured one is compared with it",
                },
                source!(tables.fault_current),
            ));
        }
        for bond in &supply.bonds {
            all.push(Expectation::new(
                &format!("bond, {bond}"),
                format!("about {} Ω or less", tidy(tables.bonding.ohms)),
                "a short main bond; 10 mm² copper reads 0.05 Ω at 27 m",
                source!(tables.bonding),
            ));
        }
        for bond in &supply.supplementary_bonds {
            let test = format!("supplementary bond, {bond}");
            let source = source!(tables.supplementary);
            let limit = judge::supplementary_limit(tables, &self.low_voltage_facts());
            all.push(match limit {
                Some(limit) => Expectation::new(
                    &test,
                    format!("at most {}", Ohms::exact(limit.ohms.low())),
                    limit.arithmetic,
                    (source.0, limit.mark),
                ),
                None => Expectation::new(
                    &test,
                    format!("at most {} V ÷ Ia", tidy(tables.supplementary.touch_volts)),
                    "Ia of the device that serves the place: write every circuit's device in the job \
                     file to have a value",
                    source,
                ),
            });
        }
        all
    }

    /// The facts of every final circuit of low voltage: those that may serve any place.
    pub fn low_voltage_facts(&self) -> Vec<CircuitFacts> {
        let boards = self.boards.iter();
        boards
            .flat_map(|board| board.circuits.iter().map(move |circuit| (board, circuit)))
            .filter(|(_, circuit)| {
                circuit.system == SystemVoltage::Low && circuit.kind != CircuitKind::Distribution
            })
            .map(|(board, circuit)| self.facts(board, circuit))
            .collect()
    }

    /// What each test of a circuit should read, in the order of testing.
    pub fn expected(&self, tables: &Tables, board: &Board, circuit: &Circuit) -> Vec<Expectation> {
        let facts = self.facts(board, circuit);
        let extra_low = matches!(facts.system, SystemVoltage::Selv | SystemVoltage::Pelv);
        let mut all = Vec::new();
        if facts.ring {
            ring_tests(tables, &facts, &mut all);
        } else {
            radial_tests(tables, &facts, &mut all);
        }
        if !extra_low {
            r1_r2_limit(tables, &facts, &mut all);
        }
        insulation(tables, &facts, circuit, &mut all);
        if !extra_low {
            loop_tests(tables, &facts, &mut all);
            breaking(tables, board, &facts, &mut all);
            by_design(tables, &facts, &mut all);
            rcd_tests(tables, &facts, &mut all);
        }
        all
    }
}

fn test_temperature(tables: &Tables, facts: &CircuitFacts) -> Celsius {
    facts
        .temperature
        .unwrap_or(Celsius::exact(tables.temperature.test_celsius))
}

/// To the hundredth of an ohm that an instrument shows.
fn hundredths(ohms: Ohms) -> String {
    if (ohms.low() * 100.0).round() == (ohms.high() * 100.0).round() {
        format!("{:.2}", ohms.low())
    } else {
        format!("{:.2} to {:.2}", ohms.low(), ohms.high())
    }
}

fn about(expected: &Expected) -> String {
    format!(
        "about {} Ω ({})",
        hundredths(expected.value),
        hundredths(expected.tolerated)
    )
}

fn of(tables: &Tables, facts: &CircuitFacts, through: Through, share: f64) -> Option<Expected> {
    let run = facts.cable.as_ref()?;
    let t = test_temperature(tables, facts);
    conductor::expected(tables, run, through, t, share)
}

/// Where the resistance of a circuit's conductors is from: IEC 60228 has copper in metric sizes.
fn of_conductors<'t>(tables: &'t Tables, facts: &CircuitFacts) -> (&'t str, Provenance) {
    let metric = facts.cable.is_none_or(|run| {
        let copper = run.made.metal == Metal::Copper;
        let conductor = matches!(run.made.cpc, CpcIs::Core | CpcIs::Separate);
        let sizes = [run.line, run.cpc];
        let imperial = sizes
            .iter()
            .any(|size| conductor::imperial(tables, *size).is_some());
        copper && conductor && !imperial
    });
    if metric {
        source!(tables.conductors)
    } else {
        source!(tables.cables)
    }
}

/// Why a value by length and size cannot be given.
fn no_value(facts: &CircuitFacts) -> &'static str {
    match &facts.cable {
        Some(run) if run.length.is_some() => {
            "the tables have no resistance for this size and class"
        }
        _ => "write the cable and its metres in the job file to have a value",
    }
}

fn radial_tests(tables: &Tables, facts: &CircuitFacts, all: &mut Vec<Expectation>) {
    let clause = of_conductors(tables, facts);
    for (test, through) in [
        (Expectation::R1_R2, Through::LineAndCpc),
        (Expectation::R2, Through::Cpc),
    ] {
        match of(tables, facts, through, 1.0) {
            Some(e) => all.push(Expectation::new(test, about(&e), e.arithmetic, clause)),
            None => all.push(Expectation::new(
                test,
                "continuous",
                no_value(facts),
                clause,
            )),
        }
    }
}

fn r1_r2_limit(tables: &Tables, facts: &CircuitFacts, all: &mut Vec<Expectation>) {
    if let Some(limit) = judge::r1_r2_limit(tables, facts) {
        all.push(Expectation::new(
            "R1+R2, limit",
            format!("at most {:.2} Ω", limit.ohms.low()),
            limit.arithmetic,
            (&limit.clause, limit.mark),
        ));
    }
}

fn ring_tests(tables: &Tables, facts: &CircuitFacts, all: &mut Vec<Expectation>) {
    let clause = source!(tables.ring);
    let line = of(tables, facts, Through::Line, 1.0);
    let cpc = of(tables, facts, Through::Cpc, 1.0);
    let (Some(line), Some(cpc)) = (line, cpc) else {
        all.push(Expectation::new(
            "r1, rn, r2",
            format!(
                "r1 and rn within {} Ω, r2 in the ratio of the sizes",
                tidy(tables.ring.within_ohms)
            ),
            no_value(facts),
            clause,
        ));
        return;
    };
    let ends = Ends {
        line: line.value,
        neutral: line.value,
        cpc: cpc.value,
    };
    all.push(Expectation::new(
        Expectation::RING_LIVES,
        format!(
            "{}, within {} Ω of each other",
            about(&line),
            tidy(tables.ring.within_ohms)
        ),
        line.arithmetic,
        of_conductors(tables, facts),
    ));
    all.push(Expectation::new(
        Expectation::RING_CPC,
        about(&cpc),
        cpc.arithmetic,
        of_conductors(tables, facts),
    ));
    all.push(Expectation::new(
        Expectation::CROSSED_NEUTRAL,
        format!("{} Ω at every point", hundredths(ring::r1_rn(&ends))),
        format!(
            "({} + {}) ÷ 4; more only on a spur",
            ends.line.shown(),
            ends.neutral.shown()
        ),
        clause,
    ));
    all.push(Expectation::new(
        Expectation::CROSSED_EARTH,
        format!(
            "{} Ω round the ring",
            hundredths(ring::round_the_ring(&ends, CrossedPair::LineCpc))
        ),
        format!(
            "from {0} × {1} ÷ ({0} + {1}) at the board to R1+R2 = ({0} + {1}) ÷ 4 half way",
            ends.line.shown(),
            ends.cpc.shown()
        ),
        clause,
    ));
}

fn insulation(
    tables: &Tables,
    facts: &CircuitFacts,
    circuit: &Circuit,
    all: &mut Vec<Expectation>,
) {
    let row = tables.insulation_limit(facts.system);
    let clause = source!(tables.insulation);
    let sensitive: Vec<_> = circuit
        .points
        .iter()
        .filter(|p| p.sensitive.is_some())
        .map(|p| match p.number {
            Some(n) => format!("{} {n}", p.name),
            None => p.name.clone(),
        })
        .collect();
    let wanted = tables.insulation_test_voltage(facts.system);
    let mut why = "every pair; new wiring usually reads in the hundreds of MΩ".to_owned();
    if wanted > TestVoltage::V250 && (circuit.equipment_possible || !sensitive.is_empty()) {
        why.push_str("; start line to neutral at 250 V, equipment may be connected (643.3.3)");
    }
    if !sensitive.is_empty() {
        why.push_str(&format!("; electronics in {}", sensitive.join(", ")));
    }
    if facts.insulation_range.is_none() {
        why.push_str("; say over range as \"greater than\" the largest value shown");
    }
    all.push(Expectation::new(
        "insulation",
        format!(
            "at least {} MΩ at {} V d.c.",
            tidy(row.megohms),
            row.test_volts
        ),
        why,
        clause,
    ));
}

fn loop_tests(tables: &Tables, facts: &CircuitFacts, all: &mut Vec<Expectation>) {
    if facts.earthing == Earthing::Tt
        && let Some(rcd) = facts.rcd
    {
        let limit = earth_loop::rcd_maximum(tables, rcd.milliamps);
        all.push(Expectation::new(
            "Zs",
            format!("at most {limit}"),
            format!(
                "{} V ÷ {} = {limit}; above {} Ω the electrode may not be stable",
                tidy(tables.tt.touch_volts),
                rcd.milliamps.to::<measure::Amp>(),
                tidy(tables.tt.stable_ohms)
            ),
            source!(tables.tt),
        ));
        return;
    }
    let time = earth_loop::disconnection_time(tables, facts);
    let Some(limit) = judge::zs_limit(tables, facts) else {
        let why = match facts.device {
            None => "write the circuit's device in the job file to have a limit".to_owned(),
            Some(d) => {
                let time = time.map(|(s, _)| format!(" in {} s", tidy(s)));
                let time = time.unwrap_or_default();
                format!("the tables have no value for {} {}{time}", d.kind, d.amps)
            }
        };
        let source = source!(tables.earth_loop);
        all.push(Expectation::new("Zs", "no limit here", why, source));
        return;
    };
    let seconds = time
        .map(|(s, clause)| format!(" within {} s, {clause}", tidy(s)))
        .unwrap_or_default();
    all.push(Expectation::new(
        "Zs, hot",
        format!("at most {} Ω{seconds}", limit.shown),
        limit.arithmetic.clone(),
        (&limit.clause, limit.mark),
    ));
    let factor = tables.loop_cold.factor;
    all.push(Expectation::new(
        "Zs, measured cold",
        format!("at most {} by the rule of thumb", limit.cold(tables)),
        format!(
            "{} × {} = {}",
            tidy(factor),
            limit.shown,
            limit.cold(tables)
        ),
        source!(tables.loop_cold),
    ));
    let celsius = facts.running_celsius(tables);
    let (_, heating) = earth_loop::heating_factor(tables, test_temperature(tables, facts), celsius);
    let running = tidy(celsius);
    let most = Ohms::exact(limit.ohms.low() / heating);
    all.push(Expectation::new(
        "Zs, corrected",
        format!("or at most {most}, all of it corrected to {running} °C"),
        format!(
            "{} ÷ {} = {most}; with Ze measured, which does not warm with the circuit, \
             Ze + (Zs - Ze) × {} decides",
            limit.shown,
            tidy(heating),
            tidy(heating)
        ),
        source!(tables.temperature),
    ));
    let share = if facts.ring { 0.25 } else { 1.0 };
    if let (Some(ze), Some(r1_r2)) = (facts.ze, of(tables, facts, Through::LineAndCpc, share)) {
        let sum = ze + r1_r2.value;
        let hot = earth_loop::running_zs(
            tables,
            sum,
            Some(ze),
            test_temperature(tables, facts),
            celsius,
        );
        all.push(Expectation::new(
            Expectation::ZS,
            format!("about {} Ω, or less by parallel paths", hundredths(sum)),
            format!(
                "Ze at most {} + (R1+R2) {}; {} Ω hot",
                tidy(ze.high()),
                r1_r2.value.shown(),
                hundredths(hot)
            ),
            source!(tables.loop_compared),
        ));
    }
}

fn breaking(tables: &Tables, board: &Board, facts: &CircuitFacts, all: &mut Vec<Expectation>) {
    let Some(device) = facts.device else { return };
    let reads = match device.breaking {
        Some(capacity) => format!("at most {capacity}"),
        None => "at most the breaking capacity marked on the device".to_owned(),
    };
    all.push(Expectation::new(
        "fault current",
        reads,
        format!("{} at board {}", device.kind, board.number),
        source!(tables.fault_current),
    ));
}

/// What the expected values say of the protective conductor's size and the voltage drop.
fn by_design(tables: &Tables, facts: &CircuitFacts, all: &mut Vec<Expectation>) {
    let share = if facts.ring { 0.25 } else { 1.0 };
    let shown = |ohms: Ohms| {
        let text = hundredths(Ohms::exact(ohms.middle()));
        text.parse::<Number>().ok().map(Reading::exact)
    };
    let r1_r2 = of(tables, facts, Through::LineAndCpc, share);
    let overcurrent = facts.earthing != Earthing::Tt;
    if let (true, Some(ze), Some(r1_r2)) = (overcurrent, facts.ze, r1_r2)
        // The largest loop that may be: the least current, which a device clears the latest.
        && let Some(zs) = shown(Ohms::exact(ze.high()) + r1_r2.value)
        && let Some(verdict) = judge::cpc_size(tables, facts, &zs)
    {
        let mark = match facts.device {
            Some(device) if device.kind.is_fuse() => Provenance::Memory,
            _ => facts
                .cable
                .map_or(tables.adiabatic.mark, |run| tables.k_of_cpc(run.made).1),
        };
        all.push(by_verdict("cpc against heat", verdict, mark));
    }
    if let Some(r1_rn) = of(tables, facts, Through::LineAndNeutral, share)
        && let Some(r1_rn) = shown(r1_rn.value)
        && let Some(verdict) = judge::voltage_drop(tables, facts, &r1_rn, None)
    {
        all.push(by_verdict(
            "voltage drop",
            verdict,
            tables.voltage_drop.mark,
        ));
    }
}

fn by_verdict(test: &str, verdict: Verdict, mark: Provenance) -> Expectation {
    let reads = match (verdict.finding, verdict.outcome) {
        (Some(Finding::MakersEnergy), _) => verdict.limit.into(),
        (_, Outcome::Pass) => format!("{}: expected to hold", verdict.limit),
        (_, Outcome::Fail | Outcome::CannotSay) => format!("{}: look again", verdict.limit),
    };
    Expectation {
        test: test.to_owned(),
        reads,
        why: match (verdict.outcome, verdict.remark) {
            (Outcome::Pass, _) | (_, None) => verdict.arithmetic.into(),
            (_, Some(remark)) => format!("{}. {remark}", verdict.arithmetic),
        },
        clause: verdict.clause,
        mark,
    }
}

fn rcd_tests(tables: &Tables, facts: &CircuitFacts, all: &mut Vec<Expectation>) {
    let Some(rcd) = facts.rcd else { return };
    let clause = source!(tables.rcd);
    for (name, multiple) in [
        ("RCD, half", Multiple::Half),
        ("RCD, once", Multiple::Once),
        ("RCD, five times", Multiple::Five),
    ] {
        let current = rcd.milliamps.times(multiple.factor());
        let reads = match rcd::break_time(tables, rcd.delay, multiple) {
            None => "no trip".to_owned(),
            Some(t) if t.low() > 0.0 => {
                format!("{} to {} ms", tidy(t.low()), tidy(t.high()))
            }
            Some(t) => format!("at most {} ms", tidy(t.high())),
        };
        let why = match multiple {
            Multiple::Once => {
                format!("{current} a.c. whatever the type, both half-cycles, the slower recorded")
            }
            Multiple::Half => format!("{current}"),
            _ => format!("{current}; by the device standard, where it is wanted"),
        };
        all.push(Expectation::new(name, reads, why, clause));
    }
}
