//! Insulation resistance: the limit of BS 7671 Table 64, the whole board in parallel, and what
//! the pattern of readings usually means.

use super::kinds::SystemVoltage;
use super::tables::Tables;
use super::verdict::{Finding, Outcome, Verdict};
use super::words::{Said, ToSaid as _, Words, said};
use crate::quantity::{Conductors, MegOhms, Pair, Reading, TestVoltage, Truth};
use serde::{Deserialize, Serialize};

/// Compares one insulation reading with Table 64.
///
/// `range` is the largest value that the instrument shows, MΩ. Without it "over range" settles
/// nothing, since no number is known that the insulation exceeds.
pub fn verdict(
    tables: &Tables,
    reading: &Reading,
    system: SystemVoltage,
    range: Option<f64>,
) -> Verdict {
    let row = tables.insulation_limit(system);
    let limit = MegOhms::exact(row.megohms);
    let limit_text = said!(AtLeastAt, limit, row.test_volts);
    let clause = &tables.insulation.clause;
    let value = match MegOhms::from_reading(reading, range) {
        Ok(value) => value,
        Err(wrong) => {
            return Verdict::new(
                tables,
                Outcome::CannotSay,
                limit_text,
                clause,
                reading.to_string(),
            )
            .found(Finding::WrongUnit, wrong.to_said());
        }
    };
    let holds = value.is_at_least(limit);
    let arithmetic = match holds {
        Truth::Yes => said!(NotLessThan, value, limit),
        Truth::No => said!(LessThan, value, limit),
        Truth::CannotSay => said!(Against, value, limit),
    };
    let mut verdict = Verdict::new(tables, holds.into(), limit_text, clause, arithmetic);
    if value.is_unbounded() && value.low() == 0.0 {
        verdict = verdict.found(Finding::RangeUnknown, said!(RangeNotKnown));
    } else if holds == Truth::Yes && value.high() < tables.insulation_pattern.look_megohms {
        verdict = verdict.found(
            Finding::LowForNewWork,
            said!(WorthALook, tables.insulation_pattern.look_megohms),
        );
    }
    if let Some(at) = reading.at {
        verdict = test_voltage_remark(tables, verdict, at, system);
    }
    verdict
}

/// Says so when the test was not taken at the voltage of the table.
fn test_voltage_remark(
    tables: &Tables,
    verdict: Verdict,
    at: TestVoltage,
    system: SystemVoltage,
) -> Verdict {
    let wanted = tables.insulation_test_voltage(system);
    if at < wanted {
        verdict.remarked(said!(TakenLower, at, wanted))
    } else if at > wanted {
        verdict.found(Finding::OtherTestVoltage, said!(TakenHigher, at, wanted))
    } else {
        verdict
    }
}

/// What a set of insulation readings looks like.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "pattern", content = "between")]
pub enum Pattern {
    /// Every pair at or above the limit.
    Sound,
    /// Low between live conductors, high to earth: a load is connected.
    LoadAcross(Pair),
    /// About nothing between live conductors, high to earth: a short, or a load of few ohms.
    DeadShort(Pair),
    /// Neutral to earth about nothing or low, the line high to earth.
    NeutralEarthFault,
    /// A line to earth about nothing or low, the neutral high to earth.
    LineEarthFault(Pair),
    /// Every pair low.
    AllLow,
    /// Not every pair that is needed has been read, or the readings settle nothing yet.
    Incomplete,
    /// Some pair is low in a way that has no name here.
    Unclear,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Level {
    Short,
    Low,
    High,
    Unsettled,
}

/// Reads the pattern of the insulation readings of one circuit, single- or three-phase.
///
/// A pattern is only named when the readings settle it: a pair that is over range on an
/// instrument of unknown range, or was not read, leaves it [`Pattern::Incomplete`] unless the
/// other pairs settle it alone.
pub fn pattern(tables: &Tables, readings: &[(Pair, MegOhms)], system: SystemVoltage) -> Pattern {
    let limit = MegOhms::exact(tables.insulation_limit(system).megohms);
    let short = MegOhms::exact(tables.insulation_pattern.short_megohms);
    let level = |value: MegOhms| match (value.is_at_least(limit), value.is_at_most(short)) {
        (Truth::Yes, _) => Level::High,
        (_, Truth::Yes) => Level::Short,
        (Truth::No, _) => Level::Low,
        _ => Level::Unsettled,
    };
    let levels: Vec<_> = readings.iter().map(|(p, v)| (*p, level(*v))).collect();
    let (to_earth, live): (Vec<_>, Vec<_>) = levels.iter().partition(|(p, _)| p.to_earth());
    let bad = |l: Level| matches!(l, Level::Short | Level::Low);
    let all = |set: &[(Pair, Level)], l: Level| !set.is_empty() && set.iter().all(|(_, x)| *x == l);

    if levels.iter().any(|(_, l)| *l == Level::Unsettled) || levels.is_empty() {
        return Pattern::Incomplete;
    }
    if all(&levels, Level::High) {
        let joined = levels.iter().any(|(p, _)| p.from().count() > 1);
        let enough = joined || (!live.is_empty() && to_earth.len() > 1);
        return if enough {
            Pattern::Sound
        } else {
            Pattern::Incomplete
        };
    }
    if levels.len() > 1 && levels.iter().all(|(_, l)| bad(*l)) {
        return Pattern::AllLow;
    }
    let low_live: Vec<_> = live.iter().filter(|(_, l)| bad(*l)).collect();
    let low_earth: Vec<_> = to_earth.iter().filter(|(_, l)| bad(*l)).collect();
    match (low_live.as_slice(), low_earth.as_slice()) {
        ([(pair, level)], []) if !to_earth.is_empty() => {
            if *level == Level::Short {
                Pattern::DeadShort(*pair)
            } else {
                Pattern::LoadAcross(*pair)
            }
        }
        // Several low live pairs and nothing to earth: a three-phase load.
        ([(pair, _), ..], []) if !to_earth.is_empty() => Pattern::LoadAcross(*pair),
        ([], [(pair, _)]) if pair.from() == Conductors::N && to_earth.len() > 1 => {
            Pattern::NeutralEarthFault
        }
        ([], [(pair, _)]) if pair.from().count() == 1 && to_earth.len() > 1 => {
            Pattern::LineEarthFault(*pair)
        }
        _ => Pattern::Unclear,
    }
}

impl Pattern {
    /// What to say aloud: what it may be and what to do next, never more than the readings carry.
    pub fn spoken(&self) -> String {
        self.said().into()
    }

    /// The same, as a verdict keeps it.
    pub(crate) fn said(&self) -> Said {
        match self {
            Self::Sound => said!(Sound),
            Self::LoadAcross(pair) => said!(LoadAcross, pair, pair),
            Self::DeadShort(pair) => said!(DeadShort, pair),
            Self::NeutralEarthFault => said!(NeutralEarthFault),
            Self::LineEarthFault(pair) => said!(LineEarthFault, pair),
            Self::AllLow => said!(AllLow),
            Self::Incomplete => said!(Incomplete),
            Self::Unclear => said!(Unclear),
        }
    }

    /// The finding that stands in a verdict; nothing for a sound or unfinished set.
    pub fn finding(&self) -> Option<Finding> {
        match self {
            Self::Sound | Self::Incomplete => None,
            Self::LoadAcross(_) => Some(Finding::LoadConnected),
            Self::DeadShort(_) => Some(Finding::ShortCircuit),
            Self::NeutralEarthFault => Some(Finding::NeutralEarthFault),
            Self::LineEarthFault(_) => Some(Finding::LineEarthFault),
            Self::AllLow | Self::Unclear => Some(Finding::AllLow),
        }
    }
}

/// The insulation resistance of a whole board, its circuits joined: in parallel, with bounds.
///
/// The limit holds for the board with everything joined (BS 7671 643.3.2). A circuit past the
/// instrument's range adds at most the share of its lower bound, so the answer is a lower bound.
///
/// ```
/// use bothhands::limits::{Outcome, SystemVoltage, Tables, insulation};
/// use bothhands::quantity::MegOhms;
/// let circuits = [MegOhms::exact(1.5), MegOhms::exact(1.5)];
/// let board = insulation::board(Tables::shipped(), &circuits, SystemVoltage::Low);
/// assert_eq!(board.outcome, Outcome::Fail);
/// assert_eq!(board.arithmetic, "1/(1/1.5 + 1/1.5) = 0.75 MΩ is less than 1 MΩ");
/// ```
pub fn board(tables: &Tables, circuits: &[MegOhms], system: SystemVoltage) -> Verdict {
    let limit = MegOhms::exact(tables.insulation_limit(system).megohms);
    let together = MegOhms::parallel(circuits.iter().copied());
    let holds = if circuits.is_empty() {
        Truth::CannotSay
    } else {
        together.is_at_least(limit)
    };
    let shares: Vec<Said> = circuits
        .iter()
        .map(|circuit| said!(OneOver, Said::from(circuit.shown())))
        .collect();
    let sum = said!(InParallel, Said::several(Words::Added, shares), together);
    let arithmetic = match holds {
        Truth::Yes => said!(NotLessThan, sum, limit),
        Truth::No => said!(LessThan, sum, limit),
        Truth::CannotSay => said!(Against, sum, limit),
    };
    Verdict::new(
        tables,
        holds.into(),
        said!(WholeBoard, limit),
        &tables.insulation.clause,
        arithmetic,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Number, Relation};

    fn tables() -> &'static Tables {
        Tables::shipped()
    }

    fn read(text: &str) -> Reading {
        let over = text.starts_with('>');
        let number: Number = text.trim_start_matches('>').parse().unwrap();
        let reading = Reading::exact(number);
        if over {
            reading.with_relation(Relation::Over)
        } else {
            reading
        }
    }

    fn judged(text: &str) -> Outcome {
        verdict(tables(), &read(text), SystemVoltage::Low, None).outcome
    }

    #[test]
    fn the_limit_itself_passes_and_a_hair_less_fails() {
        assert_eq!(judged("1.00"), Outcome::Pass);
        assert_eq!(judged("0.99"), Outcome::Fail);
        assert_eq!(judged(">999"), Outcome::Pass);
    }

    #[test]
    fn a_lower_bound_below_the_limit_settles_nothing() {
        assert_eq!(judged(">0.5"), Outcome::CannotSay);
    }

    #[test]
    fn over_range_settles_nothing_until_the_range_is_known() {
        let over = Reading::over_range();
        let unknown = verdict(tables(), &over, SystemVoltage::Low, None);
        assert_eq!(unknown.outcome, Outcome::CannotSay);
        assert_eq!(unknown.finding, Some(Finding::RangeUnknown));
        let known = verdict(tables(), &over, SystemVoltage::Low, Some(999.0));
        assert_eq!(known.outcome, Outcome::Pass);
    }

    #[test]
    fn ten_circuits_of_twenty_make_two() {
        let all = [MegOhms::exact(20.0); 10];
        assert_eq!(MegOhms::parallel(all).shown(), "2");
        assert_eq!(
            board(tables(), &all, SystemVoltage::Low).outcome,
            Outcome::Pass
        );
    }

    #[test]
    fn circuits_past_range_leave_the_board_a_lower_bound() {
        let all = [MegOhms::over(999.0), MegOhms::over(999.0)];
        let verdict = board(tables(), &all, SystemVoltage::Low);
        assert_eq!(verdict.outcome, Outcome::Pass);
        assert!(
            verdict.arithmetic.contains(">499.5 MΩ"),
            "{}",
            verdict.arithmetic
        );
    }

    fn pattern_of(ln: &str, le: &str, ne: &str) -> Pattern {
        let value = |t: &str| MegOhms::from_reading(&read(t), None).unwrap();
        let readings = [
            (Pair::LN, value(ln)),
            (Pair::LE, value(le)),
            (Pair::NE, value(ne)),
        ];
        pattern(tables(), &readings, SystemVoltage::Low)
    }

    #[test]
    fn patterns_of_common_practice() {
        assert_eq!(pattern_of(">999", ">999", ">999"), Pattern::Sound);
        assert_eq!(
            pattern_of("0.23", ">999", ">999"),
            Pattern::LoadAcross(Pair::LN)
        );
        assert_eq!(
            pattern_of("0.00", ">999", ">999"),
            Pattern::DeadShort(Pair::LN)
        );
        assert_eq!(
            pattern_of(">999", ">999", "0.00"),
            Pattern::NeutralEarthFault
        );
        assert_eq!(
            pattern_of(">999", "0.01", "200"),
            Pattern::LineEarthFault(Pair::LE)
        );
        assert_eq!(pattern_of("0.30", "0.21", "0.22"), Pattern::AllLow);
        assert_eq!(pattern_of("0.30", ">999", "0.22"), Pattern::Unclear);
        assert_eq!(pattern_of(">0.2", ">999", ">999"), Pattern::Incomplete);
    }

    #[test]
    fn one_pair_alone_is_not_a_sound_circuit_but_both_lives_joined_to_earth_are() {
        let high = MegOhms::over(999.0);
        let of = |pair| pattern(tables(), &[(pair, high)], SystemVoltage::Low);
        assert_eq!(of(Pair::LN), Pattern::Incomplete);
        assert_eq!(of(Pair::LN_E), Pattern::Sound);
    }
}
