//! What the limits say of a session's readings: the one place where the procedures ask them.
//!
//! Continuity readings are compared with the resistance of the test leads taken off, when it was
//! noted and not nulled; the log and the schedule keep what was said.

use crate::installation::{Accessory, Circuit, GroupRcd, Phases, Rcd, SystemVoltage};
use crate::limits::conductor::{self, Through};
use crate::limits::insulation::{self as insulation_limits, Pattern};
use crate::limits::judge::{self, LoopContext, Multiple, TakenAt};
use crate::limits::ring::{CrossedPair, Leg, PointReading};
use crate::limits::{CircuitFacts, Finding, Outcome, Verdict};
use crate::quantity::{
    Celsius, Conductors, MegOhms, Ohms, Pair, Reading, Relation, TestVoltage, Truth, Unit, Volts,
};
use crate::sequence::facts::{Calculated, Doubt, External, Quantity, Refusal, Step, StepKind};
use crate::sequence::state::{State, place_of};

/// What a procedure thinks of a reading.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Assessment {
    /// What the limits say of it.
    pub verdict: Option<Verdict>,
    /// Why it is surprising; it then needs "affirm".
    pub doubt: Option<Doubt>,
}

impl Assessment {
    /// A verdict speaks for itself: what fails, can't be settled or is odd is asked about.
    pub fn by(verdict: Verdict) -> Self {
        let doubt = verdict.asks().then_some(Doubt::Verdict { expected: None });
        Self {
            verdict: Some(verdict),
            doubt,
        }
    }

    /// Whether the reading is outside its limit.
    pub fn failed(&self) -> bool {
        self.verdict
            .as_ref()
            .is_some_and(|verdict| verdict.outcome == Outcome::Fail)
    }

    /// No limit applies.
    pub fn noted() -> Self {
        Self::default()
    }
}

/// One insulation reading against Table 64.
pub fn insulation(state: &State, step: &Step, reading: &Reading) -> Assessment {
    let Some((_, facts)) = circuit(state, step).or_else(|| board_together(state, step)) else {
        return Assessment::noted();
    };
    let verdict = judge::insulation(state.tables(), &facts, reading);
    let between_lives = reading.pair.is_some_and(|pair| !pair.to_earth());
    let short = MegOhms::exact(state.tables().insulation_pattern.short_megohms);
    let low = MegOhms::from_reading(reading, facts.insulation_range)
        .is_ok_and(|value| between_lives && value.is_at_most(short) == Truth::No);
    let mut assessment = Assessment::by(verdict);
    if low && assessment.failed() {
        assessment.doubt = Some(Doubt::SomethingConnected);
    }
    assessment
}

/// What the readings of a circuit at 250 V look like together.
pub fn pattern(state: &State, step: &Step) -> Option<Pattern> {
    pattern_of(state, step, TestVoltage::V250, None)
}

/// What the readings of a circuit at its full voltage look like with one more, when they show a
/// fault that they did not show before.
pub fn pattern_now(state: &State, step: &Step, reading: &Reading) -> Option<Pattern> {
    let insulation = step
        .measure()
        .is_some_and(|m| m.quantity == Quantity::Insulation);
    // With what was out back in circuit nothing is compared with what was read before it came out.
    let alike = !step.kind.is_trial() && step.kind != StepKind::InsulationReconnected;
    let at = reading.at.filter(|_| insulation && alike)?;
    let before = pattern_of(state, step, at, None);
    let now = pattern_of(state, step, at, Some(reading))?;
    let named = !matches!(now, Pattern::Sound | Pattern::Incomplete | Pattern::Unclear);
    (named && before.as_ref() != Some(&now)).then_some(now)
}

fn pattern_of(
    state: &State,
    step: &Step,
    at: TestVoltage,
    one_more: Option<&Reading>,
) -> Option<Pattern> {
    let (circuit, facts) = circuit(state, step)?;
    let mut readings: Vec<(Pair, MegOhms)> = state
        .plan()
        .beside(step)
        .filter(|other| {
            other
                .measure()
                .is_some_and(|m| m.quantity == Quantity::Insulation && m.at == Some(at))
        })
        .filter_map(|other| state.result(other))
        .filter_map(|record| {
            let value = MegOhms::from_reading(&record.reading, facts.insulation_range).ok()?;
            Some((record.reading.pair?, value))
        })
        .collect();
    if let Some(more) = one_more {
        readings.retain(|(pair, _)| Some(*pair) != more.pair);
        let value = MegOhms::from_reading(more, facts.insulation_range).ok()?;
        readings.push((more.pair?, value));
    }
    Some(insulation_limits::pattern(
        state.tables(),
        &readings,
        circuit.system,
    ))
}

/// A main bond, or a supplementary one.
pub fn bond(state: &State, step: &Step, reading: &Reading) -> Assessment {
    let (tables, corrected) = (state.tables(), state.without_leads(reading));
    let verdict = if step.kind == StepKind::SupplementaryBond {
        let circuits = state.job().low_voltage_facts();
        judge::supplementary_bond(tables, &circuits, &corrected)
    } else {
        judge::bonding(tables, &corrected)
    };
    beside_leads(state, reading, Assessment::by(verdict))
}

/// The same, asked about where the reading is less than the test leads alone read.
fn beside_leads(state: &State, reading: &Reading, assessment: Assessment) -> Assessment {
    let leads = state.leads(None);
    let ohms = |reading: &Reading| Ohms::from_reading(reading, None).ok();
    let below = leads.as_ref().filter(|leads| {
        let (read, alone) = (ohms(reading), ohms(leads));
        read.zip(alone)
            .is_some_and(|(read, alone)| alone.is_at_most(read) == Truth::No)
    });
    match (below, assessment.verdict) {
        (Some(leads), Some(verdict)) => Assessment::by(judge::below_leads(reading, leads, verdict)),
        (_, verdict) => Assessment {
            verdict,
            ..assessment
        },
    }
}

/// R1+R2, or R2 with a long lead, at a point of a radial circuit.
pub fn continuity(state: &State, step: &Step, reading: &Reading) -> Assessment {
    let Some((circuit, facts)) = circuit(state, step) else {
        return Assessment::noted();
    };
    let last = circuit.points.last().map(place_of);
    let place = if last.is_none() || last == step.place {
        TakenAt::Furthest
    } else {
        TakenAt::OnTheWay
    };
    let said = reading;
    let reading = state.without_leads(said);
    let by_long_lead = step.measure().map(|m| m.quantity) == Some(Quantity::R2);
    let (judge, through): (fn(&_, &_, _, &_) -> _, _) = if by_long_lead {
        (judge::r2, Through::Cpc)
    } else {
        (judge::r1_r2, Through::LineAndCpc)
    };
    let assessment = Assessment::by(judge(state.tables(), &facts, place, &reading));
    let assessment = with_expected(state, &facts, through, assessment);
    beside_leads(state, said, assessment)
}

/// With what length and size give, where a reading is far from it.
fn with_expected(
    state: &State,
    facts: &CircuitFacts,
    through: Through,
    assessment: Assessment,
) -> Assessment {
    let far = assessment.verdict.as_ref().is_some_and(|verdict| {
        matches!(
            verdict.finding,
            Some(
                Finding::SlippedDecimal
                    | Finding::HigherThanExpected
                    | Finding::LowerThanExpected
                    | Finding::Open
            )
        )
    });
    if !far || assessment.doubt.is_none() {
        return assessment;
    }
    let warm = facts
        .temperature
        .unwrap_or(Celsius::exact(state.tables().temperature.test_celsius));
    let expected = facts
        .cable
        .as_ref()
        .and_then(|run| conductor::expected(state.tables(), run, through, warm, 1.0))
        .and_then(|expected| format!("{:.2}", expected.value.middle()).parse().ok());
    Assessment {
        doubt: Some(Doubt::Verdict { expected }),
        ..assessment
    }
}

/// A reading of a ring: end to end, or cross-connected at a point. The last one is judged with
/// the pattern of all.
pub fn ring(state: &State, step: &Step, reading: &Reading) -> Assessment {
    beside_leads(state, reading, of_ring(state, step, reading))
}

fn of_ring(state: &State, step: &Step, reading: &Reading) -> Assessment {
    let Some((circuit, facts)) = circuit(state, step) else {
        return Assessment::noted();
    };
    let tables = state.tables();
    let reading = state.without_leads(reading);
    let end = |conductor| ring_end(state, step, conductor);
    let quantity = step.measure().map(|m| m.quantity);
    if quantity == Some(Quantity::RingEndToEnd) {
        let leg = match step.conductor {
            Some(Conductors::N) => Leg::Neutral,
            Some(Conductors::E) => Leg::Cpc,
            _ => Leg::Line,
        };
        let line = end(Conductors::L);
        let beside = if leg == Leg::Line {
            None
        } else {
            line.as_ref()
        };
        let through = match leg {
            Leg::Cpc => Through::Cpc,
            Leg::Line | Leg::Neutral => Through::Line,
        };
        let assessment = Assessment::by(judge::ring_end(tables, &facts, leg, &reading, beside));
        return with_expected(state, &facts, through, assessment);
    }
    let (Some(line), Some(neutral), Some(cpc)) =
        (end(Conductors::L), end(Conductors::N), end(Conductors::E))
    else {
        return Assessment::noted();
    };
    let Some(ends) = judge::ring_ends(tables, &line, &neutral, &cpc) else {
        return Assessment::noted();
    };
    let crossed = if quantity == Some(Quantity::RingLineNeutral) {
        CrossedPair::LineNeutral
    } else {
        CrossedPair::LineCpc
    };
    let point = circuit
        .points
        .iter()
        .find(|point| Some(place_of(point)) == step.place);
    let one = judge::ring_point(
        tables,
        &facts,
        crossed,
        &ends,
        &reading,
        point.is_some_and(|p| p.spur),
    );
    let points: Vec<PointReading> = circuit
        .points
        .iter()
        .map(|p| point_reading(state, step, p, Some((step, &reading))))
        .collect();
    let all_in = points
        .iter()
        .all(|p| p.line_neutral.is_some() && p.line_cpc.is_some());
    if all_in && !one.asks() {
        Assessment::by(judge::ring(tables, &facts, &ends, &points))
    } else {
        Assessment::by(one)
    }
}

/// The end-to-end reading of one conductor of the ring that a step belongs to.
fn ring_end(state: &State, step: &Step, conductor: Conductors) -> Option<Reading> {
    let mut ends = state.plan().beside(step);
    let end = ends.find(|other| {
        other.measures(Quantity::RingEndToEnd) && other.conductor == Some(conductor)
    })?;
    let record = state.result(end)?;
    Some(state.record_without_leads(record))
}

/// Both cross-connected readings at a point, the one just said among them.
fn point_reading(
    state: &State,
    step: &Step,
    point: &Accessory,
    now: Option<(&Step, &Reading)>,
) -> PointReading {
    let place = place_of(point);
    let ohms = |reading: &Reading| {
        Ohms::from_reading(reading, Some(state.tables().continuity.range_ohms)).ok()
    };
    let value = |quantity: Quantity| {
        if let Some((said_at, reading)) = now
            && said_at.place.as_ref() == Some(&place)
            && said_at.measure().map(|m| m.quantity) == Some(quantity)
        {
            return ohms(reading);
        }
        state
            .counting_on(step.board, step.circuit?, quantity)
            .find(|record| state.step(&record.step).and_then(|s| s.place.as_ref()) == Some(&place))
            .and_then(|record| ohms(&state.record_without_leads(record)))
    };
    PointReading {
        name: place.to_string(),
        spur: point.spur,
        line_neutral: value(Quantity::RingLineNeutral),
        line_cpc: value(Quantity::RingLineEarth),
    }
}

/// The external loop, or the electrode on a TT system.
pub fn external_loop(state: &State, step: &Step, reading: &Reading) -> Assessment {
    let Some(board) = state.board(step.board) else {
        return Assessment::noted();
    };
    let sensitive = |c: &&Circuit| c.rcd.as_ref().map_or(0.0, |rcd| rcd.milliamps);
    let worst = board
        .circuits
        .iter()
        .max_by(|a, b| sensitive(a).total_cmp(&sensitive(b)));
    // The least sensitive counts: the loop must do for that one too.
    let groups = board.rcds.iter().map(GroupRcd::rcd);
    let own = worst.and_then(|circuit| circuit.rcd.clone());
    let least = groups
        .chain(own)
        .max_by(|a, b| a.milliamps.total_cmp(&b.milliamps));
    match worst {
        Some(circuit) => {
            let facts = CircuitFacts {
                rcd: least.as_ref().map(Rcd::facts),
                ..state.job().facts(board, circuit)
            };
            Assessment::by(judge::ze(state.tables(), &facts, reading))
        }
        None => Assessment::noted(),
    }
}

/// Between how many phases a fault at a board can be: a board of one phase has none between lines.
pub fn fault_phases(state: &State, board: u16) -> Phases {
    match state.board(board).map(|board| board.phases) {
        Some(Phases::Single) => Phases::Single,
        _ => state.job().supply.phases,
    }
}

/// Prospective fault current at a board, the larger of what was read counting.
pub fn fault_current(state: &State, step: &Step, reading: &Reading) -> Assessment {
    let mut readings: Vec<(Pair, Reading)> = state
        .counting(Quantity::FaultCurrent)
        .filter(|record| {
            record.step != step.id
                && state
                    .step(&record.step)
                    .is_some_and(|s| s.board == step.board)
        })
        .filter_map(|record| Some((record.reading.pair?, record.reading)))
        .collect();
    readings.extend(reading.pair.map(|pair| (pair, *reading)));
    let verdict = judge::fault_current(
        state.tables(),
        fault_phases(state, step.board),
        state.job().least_breaking(step.board),
        &readings,
    );
    let to_earth = reading.pair.is_some_and(|pair| pair.to_earth());
    Assessment::by(match measured_ze(state, step.board).filter(|_| to_earth) {
        Some(ze) => {
            let u0 = Volts::exact(state.job().supply.volts);
            judge::beside_ze(u0, &ze, reading, verdict)
        }
        None => verdict,
    })
}

/// Voltage of the supply at the incoming terminals.
pub fn supply_voltage(state: &State, _: &Step, reading: &Reading) -> Assessment {
    let declared = state.job().supply.volts;
    let verdict = reading
        .pair
        .and_then(|pair| judge::supply_voltage(state.tables(), declared, pair, reading));
    verdict.map_or_else(Assessment::noted, Assessment::by)
}

/// Ze as it was measured, where a loop of this board holds it and nothing else: at the origin.
pub fn measured_ze(state: &State, board: u16) -> Option<Reading> {
    state
        .board(board)
        .filter(|board| board.fed_from.is_none())
        .and_then(|_| state.external_loop())
}

/// What Zs of a step's circuit is worked out from, and the sum; or what is missing for it.
///
/// # Errors
/// The refusal.
pub fn calculated_zs(state: &State, step: &Step) -> Result<(Calculated, Reading), Refusal> {
    let value = |reading: &Reading| reading.relation == Relation::Exact;
    let missing = |external, r1_r2| Refusal::NothingToCalculate { external, r1_r2 };
    let external = external_of(state, step.board).filter(|(_, reading)| value(reading));
    let r1_r2 = step
        .circuit
        .and_then(|circuit| state.highest_r1_r2(step.board, circuit))
        .filter(value);
    let (Some((by, external)), Some(r1_r2)) = (external, r1_r2) else {
        return Err(missing(external.is_none(), r1_r2.is_none()));
    };
    let calculated = Calculated {
        by,
        external,
        r1_r2,
    };
    match calculated.sum() {
        Some(sum) => Ok((calculated, sum)),
        None => Err(missing(true, true)),
    }
}

/// The loop outside a board: Ze as it was measured, or else as it was given; at a further board the
/// highest Zs measured of the circuit that feeds it.
fn external_of(state: &State, board: u16) -> Option<(External, Reading)> {
    if state.board(board)?.fed_from.is_none() {
        let given = || {
            let ze = state.job().supply.ze_ohms?;
            Some((External::GivenZe, Reading::exact(ze).in_unit(Unit::Ohm)))
        };
        let measured = measured_ze(state, board);
        return measured.map(|ze| (External::Ze, ze)).or_else(given);
    }
    let (by, circuit) = state.job().feeder_of(board)?;
    state
        .counting_on(by, circuit?, Quantity::LoopImpedance)
        .filter(|record| record.calculated.is_none())
        .map(|record| record.reading)
        .max_by(|a, b| a.size().total_cmp(&b.size()))
        .map(|zdb| (External::Zdb, zdb))
}

/// Zs of a circuit, beside Ze and R1+R2 as they were read.
pub fn loop_impedance(state: &State, step: &Step, reading: &Reading) -> Assessment {
    let Some((circuit, facts)) = circuit(state, step) else {
        return Assessment::noted();
    };
    let external = measured_ze(state, step.board);
    let r1_r2 = state.highest_r1_r2(step.board, circuit.number);
    Assessment::by(judge::zs(
        state.tables(),
        &facts,
        reading,
        LoopContext {
            ze: external.as_ref(),
            r1_r2: r1_r2.as_ref(),
        },
    ))
}

/// An RCD's time, or no trip at half its rated current.
pub fn rcd(state: &State, step: &Step, reading: &Reading) -> Assessment {
    let device = state.rcd_of(step);
    let any_circuit = || {
        let board = state.board(step.board)?;
        Some(state.job().facts(board, board.circuits.first()?))
    };
    let Some(facts) = circuit(state, step)
        .map(|(_, facts)| facts)
        .or_else(any_circuit)
    else {
        return Assessment::noted();
    };
    let facts = CircuitFacts {
        rcd: device.as_ref().map(Rcd::facts),
        ..facts
    };
    let multiple = match step.measure().map(|m| m.quantity) {
        Some(Quantity::RcdHalf) => Multiple::Half,
        Some(Quantity::RcdFiveTimes) => Multiple::Five,
        _ => Multiple::Once,
    };
    judge::rcd(state.tables(), &facts, multiple, reading)
        .map_or_else(Assessment::noted, Assessment::by)
}

/// All circuits of a board together are judged as one of them: the limit of Table 64 is the same.
fn board_together<'a>(state: &'a State, step: &Step) -> Option<(&'a Circuit, CircuitFacts)> {
    let board = state.board(step.board).filter(|_| step.circuit.is_none())?;
    let circuit = board
        .circuits
        .iter()
        .find(|circuit| circuit.system == SystemVoltage::Low)?;
    Some((circuit, state.job().facts(board, circuit)))
}

fn circuit<'a>(state: &'a State, step: &Step) -> Option<(&'a Circuit, CircuitFacts)> {
    let board = state.board(step.board)?;
    let circuit = state.circuit(step.board, step.circuit?)?;
    Some((circuit, state.job().facts(board, circuit)))
}
