//! Resistance of copper conductors by size, length and temperature (IEC 60228), and how far a
//! reading is from it.

use super::facts::CableRun;
use super::kinds::{CpcIs, Metal};
use super::tables::{Cables, Tables};
use super::verdict::Finding;
use super::words::{Said, Words, said};
use crate::quantity::{Celsius, Metres, MilliOhms, Ohms, SquareMillimetres, Truth, measure};

/// Resistance of one metre at 20 °C. Nothing for a class or size that the table does not have.
pub fn per_metre(tables: &Tables, size: SquareMillimetres, class: u8) -> Option<MilliOhms> {
    let rows = match class {
        1 => &tables.conductors.class_1,
        2 => &tables.conductors.class_2,
        5 => &tables.conductors.class_5,
        _ => return None,
    };
    let size = size.value()?;
    // Ω/km and mΩ/m are the same number.
    rows.iter()
        .find(|(mm2, _)| *mm2 == size)
        .map(|(_, milliohms)| MilliOhms::exact(*milliohms))
}

/// Reactance of one metre of one conductor of a cable at 50 Hz: half of that of two. Nothing for the small
/// sizes, of which the standard leaves it out; of a size between two, that of the smaller.
pub fn reactance_per_metre(tables: &Tables, size: SquareMillimetres) -> MilliOhms {
    let mm2 = size.value().unwrap_or_default();
    let mut rows = tables.reactance.pair.iter();
    let pair = rows.rfind(|(row, _)| *row <= mm2);
    MilliOhms::exact(pair.map_or(0.0, |(_, milliohms)| milliohms / 2.0))
}

/// Resistance of one metre of a line of a cable at 20 °C.
pub fn line_per_metre(tables: &Tables, run: &CableRun) -> Option<MilliOhms> {
    of_metal(tables, run.line, run)
}

/// Resistance of one metre of the protective conductor of a cable at 20 °C: a conductor, its armour or
/// its sheath.
pub fn cpc_per_metre(tables: &Tables, run: &CableRun) -> Option<MilliOhms> {
    let of = |ohm_mm2: f64| {
        let size = run.cpc.value()?;
        Some(MilliOhms::exact(ohm_mm2 / size))
    };
    match run.made.cpc {
        CpcIs::Core | CpcIs::Separate => of_metal(tables, run.cpc, run),
        CpcIs::Armour => of(tables.cables.armour),
        CpcIs::Sheath => of(tables.cables.copper),
    }
}

fn of_metal(tables: &Tables, size: SquareMillimetres, run: &CableRun) -> Option<MilliOhms> {
    match run.made.metal {
        Metal::Copper => per_metre(tables, size, run.class).or_else(|| imperial(tables, size)),
        Metal::Aluminium => {
            let mm2 = size.value()?;
            let rows = &tables.cables.aluminium;
            let row = rows.iter().find(|(size, _)| *size == mm2)?;
            Some(MilliOhms::exact(row.1))
        }
    }
}

/// Resistance of one metre of an imperial size at 20 °C, by its strands.
pub fn imperial(tables: &Tables, size: SquareMillimetres) -> Option<MilliOhms> {
    let mm2 = size.value()?;
    let cables = &tables.cables;
    let sizes = cables.imperial.iter();
    let (strands, _) = sizes
        .copied()
        .find(|(strands, inches)| Cables::imperial_mm2(*strands, *inches) == mm2)?;
    let lay = if strands > 1.0 { cables.lay } else { 1.0 };
    Some(MilliOhms::exact(cables.copper * lay / mm2))
}

/// How many times its resistance at 20 °C a copper conductor has at `t`: 1 + 0.004 (t - 20).
/// Not below a small positive number, whatever the temperature.
pub fn temperature_factor(tables: &Tables, t: Celsius) -> (f64, f64) {
    let of = |t: f64| {
        let above = t - tables.temperature.reference_celsius;
        (1.0 + tables.temperature.coefficient * above).max(0.01)
    };
    (of(t.low()), of(t.high()))
}

/// A resistance at 20 °C, as it is at `t`.
pub fn warmed(tables: &Tables, at_20: Ohms, t: Celsius) -> Ohms {
    let (low, high) = temperature_factor(tables, t);
    Ohms::between(at_20.times(low).low(), at_20.times(high).high())
}

/// A resistance measured at `t`, as it would be at 20 °C (IEC 60228).
pub fn cooled(tables: &Tables, at_t: Ohms, t: Celsius) -> Ohms {
    let (low, high) = temperature_factor(tables, t);
    Ohms::between(at_t.times(1.0 / high).low(), at_t.times(1.0 / low).high())
}

/// Resistance of a conductor of `length` at `t`.
pub fn resistance(
    tables: &Tables,
    size: SquareMillimetres,
    class: u8,
    length: Metres,
    t: Celsius,
) -> Option<Ohms> {
    Some(of_length(
        tables,
        per_metre(tables, size, class)?,
        length,
        t,
    ))
}

/// Resistance of so many metres at `t`, from that of one at 20 °C.
pub fn of_length(tables: &Tables, each: MilliOhms, length: Metres, t: Celsius) -> Ohms {
    let each: Ohms = each.to::<measure::Ohm>();
    let whole = Ohms::between(
        each.times(length.low()).low(),
        each.times(length.high()).high(),
    );
    warmed(tables, whole, t)
}

/// Which conductors of a run a reading goes through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Through {
    /// Line and cpc: R1+R2.
    LineAndCpc,
    /// Line and neutral: R1+Rn.
    LineAndNeutral,
    /// The line, or the neutral, alone: R1, r1, rn.
    Line,
    /// The cpc alone: R2, r2.
    Cpc,
}

impl Through {
    /// The symbol of the reading: R1+R2.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::LineAndCpc => "R1+R2",
            Self::LineAndNeutral => "R1+Rn",
            Self::Line => "R1",
            Self::Cpc => "R2",
        }
    }

    /// Each of its conductors, per metre.
    fn each(self, tables: &Tables, run: &CableRun) -> Option<Vec<MilliOhms>> {
        let line = || line_per_metre(tables, run);
        let cpc = || cpc_per_metre(tables, run);
        Some(match self {
            Self::LineAndCpc => vec![line()?, cpc()?],
            Self::LineAndNeutral => vec![line()?, line()?],
            Self::Line => vec![line()?],
            Self::Cpc => vec![cpc()?],
        })
    }
}

/// What a continuity reading should be by length and size.
#[derive(Debug, Clone, PartialEq)]
pub struct Expected {
    /// By the table.
    pub value: Ohms,
    /// Not worth a remark within these.
    pub tolerated: Ohms,
    /// The sum in one line.
    pub arithmetic: Said,
    /// What the value is of: "23 m of 2.5 over 1.5".
    pub of: Said,
}

/// Expected and tolerated reading through a run at temperature `t`; nothing when its length, size
/// or class is not known. `share` is 1 for a radial, 1/4 for a ring read cross-connected.
pub fn expected(
    tables: &Tables,
    run: &CableRun,
    through: Through,
    t: Celsius,
    share: f64,
) -> Option<Expected> {
    let length = run.length?;
    let each = through.each(tables, run)?;
    let whole: Ohms = each
        .iter()
        .map(|each| of_length(tables, *each, length, t))
        .sum();
    let value = whole.times(share);
    let band = &tables.expected;
    let tolerated = Ohms::between(
        (value.low() * band.low_factor - band.allowance_ohms).max(0.0),
        value.high() * band.high_factor + band.allowance_ohms,
    );
    let per_metre = match each.as_slice() {
        [one] => Said::from(one.shown()),
        many => {
            let all: Vec<Said> = many.iter().map(|m| m.shown().into()).collect();
            said!(Bracketed, Said::of(Words::Added, all))
        }
    };
    let (factor, _) = temperature_factor(tables, t);
    let warm = if factor == 1.0 {
        Said::from("")
    } else {
        said!(ForWarmth, factor, t)
    };
    let share = if share == 1.0 {
        Said::from("")
    } else {
        said!(Shared, 1.0 / share)
    };
    let names: Vec<SquareMillimetres> = match through {
        Through::LineAndCpc => vec![run.line, run.cpc],
        Through::LineAndNeutral | Through::Line => vec![run.line],
        Through::Cpc => vec![run.cpc],
    };
    let names = names.iter().map(|size| size.shown().into()).collect();
    Some(Expected {
        value,
        tolerated,
        arithmetic: said!(ByLength, length, per_metre, warm, share, value),
        of: said!(LengthOf, length, Said::several(Words::Over, names)),
    })
}

/// What to say of a reading that is far from what it should be; nothing when it is near, or may
/// be.
///
/// ```
/// use bothhands::limits::{Tables, Finding, conductor::{self, Through}, CableMake, CableRun};
/// use bothhands::quantity::{Celsius, Metres, Ohms, SquareMillimetres};
/// let run = CableRun {
///     line: SquareMillimetres::exact(2.5),
///     cpc: SquareMillimetres::exact(1.5),
///     length: Some(Metres::exact(23.0)),
///     class: 1,
///     made: CableMake::default(),
/// };
/// let tables = Tables::shipped();
/// let expected =
///     conductor::expected(tables, &run, Through::LineAndCpc, Celsius::exact(20.0), 1.0).unwrap();
/// assert_eq!(expected.value.to_string(), "0.4487 Ω");
/// let (finding, words) = conductor::compare(tables, Ohms::exact(4.5), &expected).unwrap();
/// assert_eq!(finding, Finding::SlippedDecimal);
/// assert!(words.starts_with("About ten times what 23 m of 2.5 over 1.5 should read"));
/// ```
pub fn compare(tables: &Tables, reading: Ohms, expected: &Expected) -> Option<(Finding, Said)> {
    if reading.is_within(expected.tolerated) != Truth::No {
        return None;
    }
    let of = &expected.of;
    let value = expected.value;
    let band = &tables.expected;
    let settled = !reading.is_unbounded();
    let ratio = reading.middle() / value.middle();
    let slip = |r: f64| settled && r >= band.slip_from && r <= band.slip_to;
    let (finding, words) = if slip(ratio) {
        (Finding::SlippedDecimal, said!(TenTimes, of, value))
    } else if slip(1.0 / ratio) {
        (Finding::SlippedDecimal, said!(ATenth, of, value))
    } else if reading.low() > expected.tolerated.high() {
        (
            Finding::HigherThanExpected,
            said!(HigherThanShould, of, value),
        )
    } else {
        (
            Finding::LowerThanExpected,
            said!(LowerThanShould, of, value),
        )
    };
    Some((finding, words))
}
