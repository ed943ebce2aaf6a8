use super::{Number, Pair};
use serde::{Deserialize, Serialize};
use std::fmt;

/// How a shown number relates to the true value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Relation {
    /// The number shown is the value.
    Exact,
    /// The value is greater than the number: a lower bound (">999").
    Over,
    /// The value is less than the number: an upper bound ("<0.01").
    Under,
    /// The instrument shows "over range" and no number: a lower bound that only the instrument's
    /// range can tell.
    OverRange,
}

/// Units as they are said. Typed quantities for arithmetic are made from a [`Reading`] by the
/// functions that need them; this is only what the person named.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Unit {
    /// Ω
    #[serde(rename = "Ω")]
    Ohm,
    /// mΩ
    #[serde(rename = "mΩ")]
    MilliOhm,
    /// kΩ
    #[serde(rename = "kΩ")]
    KiloOhm,
    /// MΩ
    #[serde(rename = "MΩ")]
    MegOhm,
    /// GΩ
    #[serde(rename = "GΩ")]
    GigOhm,
    /// V
    #[serde(rename = "V")]
    Volt,
    /// A
    #[serde(rename = "A")]
    Amp,
    /// mA
    #[serde(rename = "mA")]
    MilliAmp,
    /// kA
    #[serde(rename = "kA")]
    KiloAmp,
    /// ms
    #[serde(rename = "ms")]
    MilliSecond,
}

impl Unit {
    /// The symbol: Ω, MΩ, ms.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Ohm => "Ω",
            Self::MilliOhm => "mΩ",
            Self::KiloOhm => "kΩ",
            Self::MegOhm => "MΩ",
            Self::GigOhm => "GΩ",
            Self::Volt => "V",
            Self::Amp => "A",
            Self::MilliAmp => "mA",
            Self::KiloAmp => "kA",
            Self::MilliSecond => "ms",
        }
    }

    /// As said aloud, in the plural.
    pub fn spoken(self) -> &'static str {
        match self {
            Self::Ohm => "ohms",
            Self::MilliOhm => "milliohms",
            Self::KiloOhm => "kilohms",
            Self::MegOhm => "megohms",
            Self::GigOhm => "gigohms",
            Self::Volt => "volts",
            Self::Amp => "amps",
            Self::MilliAmp => "milliamps",
            Self::KiloAmp => "kiloamps",
            Self::MilliSecond => "milliseconds",
        }
    }

    /// The unit's size in the base unit of its kind (ohm, volt, amp, second).
    pub fn scale(self) -> f64 {
        match self {
            Self::Ohm | Self::Volt | Self::Amp => 1.0,
            Self::MilliOhm | Self::MilliAmp | Self::MilliSecond => 1e-3,
            Self::KiloOhm | Self::KiloAmp => 1e3,
            Self::MegOhm => 1e6,
            Self::GigOhm => 1e9,
        }
    }
}

/// The d.c. voltage of an insulation test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum TestVoltage {
    /// 250 V: extra-low voltage, and wherever equipment may be connected.
    #[serde(rename = "250")]
    V250,
    /// 500 V: circuits up to 500 V.
    #[serde(rename = "500")]
    V500,
    /// 1000 V: circuits above 500 V.
    #[serde(rename = "1000")]
    V1000,
}

impl TestVoltage {
    /// Volts d.c.
    pub fn volts(self) -> u16 {
        match self {
            Self::V250 => 250,
            Self::V500 => 500,
            Self::V1000 => 1000,
        }
    }
}

impl fmt::Display for TestVoltage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} V", self.volts())
    }
}

/// A reading as it was said. What was not said (pair, unit, voltage) is left open here; the step
/// that asked for the reading fills it in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Reading {
    /// Between which conductors.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pair: Option<Pair>,
    /// How the number relates to the value.
    pub relation: Relation,
    /// The number; none only for [`Relation::OverRange`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<Number>,
    /// The unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// The insulation test voltage.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<TestVoltage>,
}

impl Reading {
    /// A bare exact number.
    pub fn exact(number: Number) -> Self {
        Self {
            pair: None,
            relation: Relation::Exact,
            number: Some(number),
            unit: None,
            at: None,
        }
    }

    /// "Over range": past what the instrument can show.
    pub fn over_range() -> Self {
        Self {
            pair: None,
            relation: Relation::OverRange,
            number: None,
            unit: None,
            at: None,
        }
    }

    /// The same with another relation.
    pub fn with_relation(self, relation: Relation) -> Self {
        Self { relation, ..self }
    }

    /// The same between `pair`.
    pub fn between(self, pair: Pair) -> Self {
        Self {
            pair: Some(pair),
            ..self
        }
    }

    /// The same in `unit`.
    pub fn in_unit(self, unit: Unit) -> Self {
        Self {
            unit: Some(unit),
            ..self
        }
    }

    /// The same, taken at `voltage`.
    pub fn at(self, voltage: TestVoltage) -> Self {
        Self {
            at: Some(voltage),
            ..self
        }
    }

    /// Its number in base units (ohm, volt, amp, second), for putting readings in order; infinite
    /// when it is over range.
    pub fn size(&self) -> f64 {
        let scale = self.unit.map_or(1.0, Unit::scale);
        self.number
            .map_or(f64::INFINITY, |number| number.value() * scale)
    }

    /// Whether it may be of the same value as another, each of which may be wrong by `share` of the value and
    /// `digits` of the last place shown.
    pub fn agrees(&self, other: &Self, share: f64, digits: f64) -> bool {
        // One range may end where the other still shows a number.
        match (self.is_over(), other.is_over()) {
            (true, true) => return true,
            (true, false) => return self.number.is_some() && other.size() >= self.size(),
            (false, true) => return other.number.is_some() && self.size() >= other.size(),
            (false, false) => {}
        }
        let (a, b) = (self.size(), other.size());
        // Who leaves a nought out shows no less for it.
        let last = self.last_place().min(other.last_place());
        (a - b).abs() <= share * (a + b) + 2.0 * digits * last
    }

    /// Whether it tells no more than where a range ends.
    pub(crate) fn is_over(&self) -> bool {
        self.number.is_none() || self.relation == Relation::Over
    }

    /// One of the last place shown, in base units.
    fn last_place(&self) -> f64 {
        let scale = self.unit.map_or(1.0, Unit::scale);
        self.number.map_or(0.0, |number| {
            10f64.powi(-i32::from(number.places())) * scale
        })
    }

    /// The value as written on a schedule, without its unit: `0.34`, `>999`, `<0.01`, `over range`.
    pub fn shown(&self) -> String {
        let number = self.number.map(|n| n.to_string()).unwrap_or_default();
        match self.relation {
            Relation::Exact => number,
            Relation::Over => format!(">{number}"),
            Relation::Under => format!("<{number}"),
            Relation::OverRange => "over range".to_owned(),
        }
    }
}

impl Reading {
    /// The same value in another unit of the same quantity, exactly; nothing where there is no number, or the
    /// units are of two quantities.
    pub fn converted(&self, to: Unit) -> Option<Self> {
        let number = self.number?.converted(self.unit?, to)?;
        Some(Self {
            number: Some(number),
            unit: Some(to),
            ..*self
        })
    }
}

impl Number {
    /// A number of one unit in another of the same quantity, exactly, without noughts that say nothing: 50 mΩ is
    /// 0.05 Ω.
    pub fn converted(self, from: Unit, to: Unit) -> Option<Self> {
        // What is measured, and the power of ten.
        let of = |unit| match unit {
            Unit::MilliOhm => ('Ω', -3i8),
            Unit::Ohm => ('Ω', 0),
            Unit::KiloOhm => ('Ω', 3),
            Unit::MegOhm => ('Ω', 6),
            Unit::GigOhm => ('Ω', 9),
            Unit::MilliAmp => ('A', -3),
            Unit::Amp => ('A', 0),
            Unit::KiloAmp => ('A', 3),
            Unit::Volt => ('V', 0),
            Unit::MilliSecond => ('s', -3),
        };
        let ((from_what, from_power), (to_what, to_power)) = (of(from), of(to));
        if from_what != to_what {
            return None;
        }
        let places = i8::try_from(self.places()).ok()? + to_power - from_power;
        let digits: u64 = self.to_string().replace('.', "").parse().ok()?;
        match u8::try_from(places) {
            Ok(mut places) => {
                let mut digits = digits;
                while from != to && places > 0 && digits.is_multiple_of(10) {
                    (digits, places) = (digits / 10, places - 1);
                }
                Self::new(digits, places)
            }
            Err(_) => Self::new(
                digits.checked_mul(10u64.checked_pow(u32::from(places.unsigned_abs()))?)?,
                0,
            ),
        }
    }
}

impl fmt::Display for Reading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(pair) = self.pair {
            write!(f, "{pair} ")?;
        }
        f.write_str(&self.shown())?;
        if let (Some(unit), true) = (self.unit, self.number.is_some()) {
            write!(f, " {}", unit.symbol())?;
        }
        if let Some(at) = self.at {
            write!(f, " at {at}")?;
        }
        Ok(())
    }
}
