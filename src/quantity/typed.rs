use super::{Reading, Relation, Unit};
use serde::ser::SerializeStruct;
use serde::{Serialize, Serializer};
use std::fmt;
use std::iter::Sum;
use std::marker::PhantomData;
use std::ops::{Add, Div, Mul};

/// What a quantity is measured in. Two measures of one [`Dimension::Kind`] convert into each other;
/// measures of different kinds never meet.
pub trait Dimension: Copy + 'static {
    /// The physical quantity: resistance, current and so on.
    type Kind;
    /// The symbol written after the number.
    const SYMBOL: &'static str;
    /// The size in the base unit of the kind.
    const SCALE: f64;
    /// The units of a [`Reading`] that convert into this measure.
    const READ_AS: &'static [Unit];
}

/// Kinds of physical quantity, as types.
pub mod kind {
    /// Resistance or impedance; base unit ohm.
    #[derive(Debug, Clone, Copy)]
    pub struct Resistance;
    /// Potential difference; base unit volt.
    #[derive(Debug, Clone, Copy)]
    pub struct Voltage;
    /// Current; base unit amp.
    #[derive(Debug, Clone, Copy)]
    pub struct Current;
    /// Time; base unit second.
    #[derive(Debug, Clone, Copy)]
    pub struct Time;
    /// Temperature; degrees Celsius.
    #[derive(Debug, Clone, Copy)]
    pub struct Temperature;
    /// Cross-sectional area; mm².
    #[derive(Debug, Clone, Copy)]
    pub struct Area;
    /// Length; metre.
    #[derive(Debug, Clone, Copy)]
    pub struct Length;
}

/// Measures, as types: the parameter of [`Bounded`].
pub mod measure {
    use super::{Dimension, Unit, kind};

    macro_rules! measures {
        ($($(#[$doc:meta])* $name:ident: $kind:ident, $symbol:literal, $scale:literal, [$($unit:ident),*];)*) => {$(
            $(#[$doc])*
            #[derive(Debug, Clone, Copy, PartialEq, Eq)]
            pub struct $name;

            impl Dimension for $name {
                type Kind = kind::$kind;
                const SYMBOL: &'static str = $symbol;
                const SCALE: f64 = $scale;
                const READ_AS: &'static [Unit] = &[$(Unit::$unit),*];
            }
        )*};
    }

    measures! {
        /// Ω
        Ohm: Resistance, "Ω", 1.0, [Ohm, MilliOhm, KiloOhm, MegOhm, GigOhm];
        /// mΩ
        MilliOhm: Resistance, "mΩ", 1e-3, [MilliOhm, Ohm, KiloOhm, MegOhm, GigOhm];
        /// MΩ
        MegOhm: Resistance, "MΩ", 1e6, [MegOhm, KiloOhm, Ohm, MilliOhm, GigOhm];
        /// V
        Volt: Voltage, "V", 1.0, [Volt];
        /// A
        Amp: Current, "A", 1.0, [Amp, MilliAmp, KiloAmp];
        /// kA
        KiloAmp: Current, "kA", 1e3, [KiloAmp, Amp, MilliAmp];
        /// mA
        MilliAmp: Current, "mA", 1e-3, [MilliAmp, Amp, KiloAmp];
        /// ms
        MilliSecond: Time, "ms", 1e-3, [MilliSecond];
        /// °C
        DegreeCelsius: Temperature, "°C", 1.0, [];
        /// mm²
        SquareMillimetre: Area, "mm²", 1.0, [];
        /// m
        Metre: Length, "m", 1.0, [];
    }
}

/// A quantity known between two bounds, `low` ..= `high`, in the unit `M`.
///
/// An exact value has equal bounds; ">999" has a low bound just above 999 and no high bound.
/// Every formula takes bounds and gives bounds, so that nothing is ever concluded from a number
/// that an instrument could not show.
///
/// ```
/// use bothhands::quantity::{MegOhms, Truth};
/// let circuits = [MegOhms::exact(2.0), MegOhms::over(999.0)];
/// let board = MegOhms::parallel(circuits);
/// assert_eq!(board.to_string(), "1.996 to 2 MΩ");
/// assert_eq!(board.is_at_least(MegOhms::exact(1.0)), Truth::Yes);
/// ```
///
/// Units never mix. Each pair below differs only in a unit; the first compiles, the second must
/// not (the error code is the compiler's "mismatched types" or "trait bound not satisfied").
///
/// ```
/// use bothhands::quantity::Ohms;
/// let _ = Ohms::exact(1.0) + Ohms::exact(1.0);
/// ```
/// ```compile_fail,E0308
/// use bothhands::quantity::{MegOhms, Ohms};
/// let _ = Ohms::exact(1.0) + MegOhms::exact(1.0);
/// ```
///
/// ```
/// use bothhands::quantity::{MilliOhms, Ohms, measure};
/// let _: Ohms = MilliOhms::exact(1.0).to::<measure::Ohm>();
/// ```
/// ```compile_fail,E0271
/// use bothhands::quantity::{MilliOhms, Ohms, measure};
/// let _ = MilliOhms::exact(1.0).to::<measure::Amp>();
/// ```
///
/// ```
/// use bothhands::quantity::{Truth, Volts};
/// assert_eq!(Volts::exact(40.0).is_at_most(Volts::exact(50.0)), Truth::Yes);
/// ```
/// ```compile_fail,E0308
/// use bothhands::quantity::{Ohms, Volts};
/// let _ = Ohms::exact(40.0).is_at_most(Volts::exact(50.0));
/// ```
///
/// ```
/// use bothhands::quantity::{Amps, Ohms, Volts};
/// let _: Amps = Volts::exact(230.0) / Ohms::exact(1.0);
/// ```
/// ```compile_fail,E0277
/// use bothhands::quantity::{MegOhms, Volts};
/// let _ = Volts::exact(230.0) / MegOhms::exact(1.0);
/// ```
#[derive(Debug, Clone, Copy)]
pub struct Bounded<M> {
    low: f64,
    high: f64,
    measure: PhantomData<M>,
}

/// Resistance or impedance in Ω.
pub type Ohms = Bounded<measure::Ohm>;
/// Resistance in mΩ.
pub type MilliOhms = Bounded<measure::MilliOhm>;
/// Resistance in MΩ.
pub type MegOhms = Bounded<measure::MegOhm>;
/// Potential difference in V.
pub type Volts = Bounded<measure::Volt>;
/// Current in A.
pub type Amps = Bounded<measure::Amp>;
/// Current in kA.
pub type KiloAmps = Bounded<measure::KiloAmp>;
/// Current in mA.
pub type MilliAmps = Bounded<measure::MilliAmp>;
/// Time in ms.
pub type MilliSeconds = Bounded<measure::MilliSecond>;
/// Temperature in °C.
pub type Celsius = Bounded<measure::DegreeCelsius>;
/// Cross-section in mm².
pub type SquareMillimetres = Bounded<measure::SquareMillimetre>;
/// Length in m.
pub type Metres = Bounded<measure::Metre>;

/// Whether something holds for every value between the bounds, for none, or for some only.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Truth {
    /// Holds whatever the true value.
    Yes,
    /// Fails whatever the true value.
    No,
    /// The bounds do not settle it.
    CannotSay,
}

/// A reading whose unit does not fit the test.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{reading} is not in {wanted}: say the reading again with its unit")]
pub struct WrongUnit {
    /// The reading as shown.
    pub reading: String,
    /// The unit that the test wants.
    pub wanted: &'static str,
}

impl<M: Dimension> Bounded<M> {
    /// Exactly `value`. Not-a-number becomes [`Bounded::unknown`].
    pub fn exact(value: f64) -> Self {
        Self::between(value, value)
    }

    /// Between `a` and `b`, whichever is the smaller. Not-a-number becomes [`Bounded::unknown`].
    pub fn between(a: f64, b: f64) -> Self {
        if a.is_nan() || b.is_nan() {
            return Self::unknown();
        }
        Self {
            low: a.min(b),
            high: a.max(b),
            measure: PhantomData,
        }
    }

    /// Greater than `value`, with no upper bound.
    pub fn over(value: f64) -> Self {
        Self::between(value.next_up(), f64::INFINITY)
    }

    /// `value` or more, with no upper bound.
    pub fn at_least(value: f64) -> Self {
        Self::between(value, f64::INFINITY)
    }

    /// Less than `value`, but not negative.
    pub fn under(value: f64) -> Self {
        Self::between(0.0, value.next_down().max(0.0))
    }

    /// Anything from zero up.
    pub fn unknown() -> Self {
        Self {
            low: 0.0,
            high: f64::INFINITY,
            measure: PhantomData,
        }
    }

    /// A reading in this unit, or in the unit that was said with it.
    ///
    /// `range` is the largest value that the instrument shows, when known: "over range" is then
    /// more than that; otherwise it is more than nothing, and settles nothing.
    ///
    /// # Errors
    /// [`WrongUnit`] when the reading was said in a unit of another kind.
    pub fn from_reading(reading: &Reading, range: Option<f64>) -> Result<Self, WrongUnit> {
        let scale = match reading.unit {
            None => 1.0,
            Some(unit) if M::READ_AS.contains(&unit) => unit.scale() / M::SCALE,
            Some(_) => {
                return Err(WrongUnit {
                    reading: reading.to_string(),
                    wanted: M::SYMBOL,
                });
            }
        };
        let value = reading.number.map(|n| n.value() * scale);
        Ok(match (reading.relation, value) {
            (Relation::Exact, Some(v)) => Self::exact(v),
            (Relation::Over, Some(v)) => Self::over(v),
            (Relation::Under, Some(v)) => Self::under(v),
            (Relation::OverRange, Some(v)) => Self::over(v),
            (_, None) => Self::at_least(range.unwrap_or(0.0)),
        })
    }

    /// The lower bound.
    pub fn low(self) -> f64 {
        self.low
    }

    /// The upper bound; infinite when there is none.
    pub fn high(self) -> f64 {
        self.high
    }

    /// The value, when the bounds meet.
    pub fn value(self) -> Option<f64> {
        (self.low == self.high).then_some(self.low)
    }

    /// Halfway between the bounds; the lower bound when there is no upper.
    pub fn middle(self) -> f64 {
        if self.high.is_finite() {
            self.low + (self.high - self.low) / 2.0
        } else {
            self.low
        }
    }

    /// Whether the value may be without limit.
    pub fn is_unbounded(self) -> bool {
        self.high.is_infinite()
    }

    /// The same quantity in another unit of its kind.
    pub fn to<N: Dimension<Kind = M::Kind>>(self) -> Bounded<N> {
        let factor = M::SCALE / N::SCALE;
        Bounded {
            low: self.low * factor,
            high: self.high * factor,
            measure: PhantomData,
        }
    }

    /// Multiplied by a plain number that is not negative.
    pub fn times(self, factor: f64) -> Self {
        debug_assert!(factor >= 0.0);
        Self::between(self.low * factor, product(self.high, factor))
    }

    /// This less `other`, but never below nothing: a resistance cannot be negative.
    pub fn less(self, other: Self) -> Self {
        let low = (self.low - other.high).max(0.0);
        let high = if self.high.is_infinite() {
            f64::INFINITY
        } else {
            (self.high - other.low).max(0.0)
        };
        Self::between(low, high)
    }

    /// This divided by another of the same unit: a plain number between bounds.
    pub fn ratio(self, other: Self) -> (f64, f64) {
        (
            quotient(self.low, other.high),
            quotient(self.high, other.low),
        )
    }

    /// The same widened by `tolerance` both ways, not below nothing.
    pub fn widened(self, tolerance: Self) -> Self {
        Self::between(
            (self.low - tolerance.high).max(0.0),
            self.high + tolerance.high,
        )
    }

    /// The smallest bounds that hold both.
    pub fn hull(self, other: Self) -> Self {
        Self::between(self.low.min(other.low), self.high.max(other.high))
    }

    /// Whether the value is `limit` or less.
    pub fn is_at_most(self, limit: Self) -> Truth {
        if self.high <= limit.low {
            Truth::Yes
        } else if self.low > limit.high {
            Truth::No
        } else {
            Truth::CannotSay
        }
    }

    /// Whether the value is `limit` or more.
    pub fn is_at_least(self, limit: Self) -> Truth {
        if self.low >= limit.high {
            Truth::Yes
        } else if self.high < limit.low {
            Truth::No
        } else {
            Truth::CannotSay
        }
    }

    /// Whether the value lies within `other`.
    pub fn is_within(self, other: Self) -> Truth {
        if self.low >= other.low && self.high <= other.high {
            Truth::Yes
        } else if self.low > other.high || self.high < other.low {
            Truth::No
        } else {
            Truth::CannotSay
        }
    }

    /// The number alone, with the relation in front: `0.34`, `>999`, `<0.01`, `1.9 to 2`.
    pub fn shown(self) -> String {
        if let Some(value) = self.value() {
            return tidy(value);
        }
        match (self.low, self.high) {
            (low, high) if high.is_infinite() && low == 0.0 => "unknown".to_owned(),
            (low, high) if high.is_infinite() => format!(">{}", tidy(low)),
            (0.0, high) => format!("<{}", tidy(high)),
            (low, high) if tidy(low) == tidy(high) => tidy(low),
            (low, high) => format!("{} to {}", tidy(low), tidy(high)),
        }
    }
}

impl<M: Dimension<Kind = kind::Resistance>> Bounded<M> {
    /// Resistances in parallel: 1/R = Σ 1/Ri. One that may be without limit adds at most its
    /// lower bound's share, so the answer stays a lower bound. None at all: without limit.
    pub fn parallel(all: impl IntoIterator<Item = Self>) -> Self {
        let (mut low, mut high) = (0.0, 0.0);
        let mut least: Option<Self> = None;
        for one in all {
            low += 1.0 / one.low;
            high += 1.0 / one.high;
            least = Some(least.map_or(one, |l| {
                Self::between(l.low.min(one.low), l.high.min(one.high))
            }));
        }
        let Some(least) = least else {
            return Self::at_least(f64::INFINITY);
        };
        // Rounding must not lift the answer above the smallest of them.
        Self::between((1.0 / low).min(least.low), (1.0 / high).min(least.high))
    }
}

/// The number with four significant digits and no idle noughts.
pub fn tidy(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let magnitude = value.abs().log10().floor() as i32;
    let places = (3 - magnitude).clamp(0, 9) as usize;
    let text = format!("{value:.places$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// `a` × `b`, where nothing times anything is nothing.
fn product(a: f64, b: f64) -> f64 {
    if a == 0.0 || b == 0.0 { 0.0 } else { a * b }
}

/// `a` ÷ `b`, where dividing by nothing gives no upper bound and dividing by no bound gives
/// nothing.
fn quotient(a: f64, b: f64) -> f64 {
    if b == 0.0 {
        f64::INFINITY
    } else if b.is_infinite() {
        0.0
    } else {
        a / b
    }
}

impl<M: Dimension> PartialEq for Bounded<M> {
    fn eq(&self, other: &Self) -> bool {
        self.low == other.low && self.high == other.high
    }
}

impl<M: Dimension> Add for Bounded<M> {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self::between(self.low + other.low, self.high + other.high)
    }
}

impl<M: Dimension> Sum for Bounded<M> {
    fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
        all.fold(Self::between(0.0, 0.0), Add::add)
    }
}

impl Div<Ohms> for Volts {
    type Output = Amps;

    /// Ohm's law: the current that flows.
    fn div(self, ohms: Ohms) -> Amps {
        let (low, high) = (quotient(self.low, ohms.high), quotient(self.high, ohms.low));
        Amps::between(low, high)
    }
}

impl Div<Amps> for Volts {
    type Output = Ohms;

    /// Ohm's law: the resistance that lets just this current flow.
    fn div(self, amps: Amps) -> Ohms {
        let (low, high) = (quotient(self.low, amps.high), quotient(self.high, amps.low));
        Ohms::between(low, high)
    }
}

impl Mul<Ohms> for Amps {
    type Output = Volts;

    /// Ohm's law: the volts dropped.
    fn mul(self, ohms: Ohms) -> Volts {
        Volts::between(product(self.low, ohms.low), product(self.high, ohms.high))
    }
}

impl<M: Dimension> fmt::Display for Bounded<M> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.shown(), M::SYMBOL)
    }
}

impl<M: Dimension> Serialize for Bounded<M> {
    /// As `{"low": 0.3, "high": 0.4, "unit": "Ω"}`; no upper bound is `null`.
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut out = serializer.serialize_struct("Bounded", 3)?;
        out.serialize_field("low", &self.low)?;
        out.serialize_field("high", &self.high.is_finite().then_some(self.high))?;
        out.serialize_field("unit", M::SYMBOL)?;
        out.end()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Number;
    use proptest::prelude::*;

    fn reading(text: &str) -> Reading {
        Reading::exact(text.parse::<Number>().unwrap())
    }

    #[test]
    fn a_reading_without_a_unit_takes_the_tests_own() {
        assert_eq!(
            Ohms::from_reading(&reading("0.34"), None),
            Ok(Ohms::exact(0.34))
        );
        assert_eq!(
            MegOhms::from_reading(&reading("200"), None),
            Ok(MegOhms::exact(200.0))
        );
    }

    #[test]
    fn a_reading_in_another_unit_of_the_kind_is_converted() {
        let kilohms = reading("500").in_unit(Unit::KiloOhm);
        assert_eq!(
            MegOhms::from_reading(&kilohms, None),
            Ok(MegOhms::exact(0.5))
        );
    }

    #[test]
    fn a_reading_in_a_unit_of_another_kind_is_refused() {
        let volts = reading("230").in_unit(Unit::Volt);
        assert!(Ohms::from_reading(&volts, None).is_err());
    }

    #[test]
    fn over_range_is_a_lower_bound_and_never_the_number() {
        let over =
            MegOhms::from_reading(&reading("999").with_relation(Relation::Over), None).unwrap();
        assert!(over.low() > 999.0 && over.is_unbounded());
        assert_eq!(over.is_at_least(MegOhms::exact(999.0)), Truth::Yes);
        assert_eq!(over.is_at_least(MegOhms::exact(2000.0)), Truth::CannotSay);
        let bare = MegOhms::from_reading(&Reading::over_range(), None).unwrap();
        assert_eq!(bare.is_at_least(MegOhms::exact(1.0)), Truth::CannotSay);
        let ranged = MegOhms::from_reading(&Reading::over_range(), Some(1000.0)).unwrap();
        assert_eq!(ranged.is_at_least(MegOhms::exact(1.0)), Truth::Yes);
    }

    #[test]
    fn under_is_an_upper_bound() {
        let under =
            Ohms::from_reading(&reading("0.01").with_relation(Relation::Under), None).unwrap();
        assert_eq!(under.is_at_most(Ohms::exact(0.01)), Truth::Yes);
        assert_eq!(under.to_string(), "<0.01 Ω");
    }

    #[test]
    fn units_of_one_kind_convert() {
        assert_eq!(
            MilliOhms::exact(7.41).to::<measure::Ohm>(),
            Ohms::exact(7.41 * 1e-3)
        );
    }

    #[test]
    fn two_of_one_and_a_half_megohms_make_three_quarters() {
        let board = MegOhms::parallel([MegOhms::exact(1.5), MegOhms::exact(1.5)]);
        assert_eq!(board, MegOhms::exact(0.75));
    }

    prop_compose! {
        fn any_bounds()(a in 0.0..1e4f64, b in prop_oneof![0.0..1e4f64, Just(f64::INFINITY)]) -> Ohms {
            Ohms::between(a, b)
        }
    }

    proptest! {
        #[test]
        fn bounds_never_invert(a in any_bounds(), b in any_bounds(), k in 0.0..10.0f64) {
            for made in [a + b, a.less(b), a.times(k), a.hull(b), a.widened(b), Ohms::parallel([a, b])] {
                prop_assert!(made.low() <= made.high() && made.low() >= 0.0, "{:?}", made);
            }
            let amps = Volts::exact(230.0) / a;
            prop_assert!(amps.low() <= amps.high());
        }

        #[test]
        fn parallel_is_never_above_the_smallest(all in prop::collection::vec(any_bounds(), 1..12)) {
            let together = Ohms::parallel(all.iter().copied());
            for one in all {
                prop_assert!(together.low() <= one.low() && together.high() <= one.high());
            }
        }

        #[test]
        fn a_value_inside_the_bounds_stays_inside_through_a_sum_and_a_parallel(
            a in any_bounds(), b in any_bounds(), t in 0.0..1.0f64,
        ) {
            let pick = |x: Ohms| {
                let top = if x.is_unbounded() { x.low() + 1e6 } else { x.high() };
                x.low() + (top - x.low()) * t
            };
            let (x, y) = (Ohms::exact(pick(a)), Ohms::exact(pick(b)));
            let slack = Ohms::exact(1e-6);
            prop_assert_eq!((x + y).is_within((a + b).widened(slack)), Truth::Yes);
            let inside = Ohms::parallel([x, y]).is_within(Ohms::parallel([a, b]).widened(slack));
            prop_assert_eq!(inside, Truth::Yes);
        }
    }
}
