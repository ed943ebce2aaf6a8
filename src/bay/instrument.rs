//! The instrument: what it can show, and how wrong it may be.

use crate::quantity::{Number, Reading, Relation, Unit};
use crate::terms::Printed;

/// Ranges of a display: up to this number, with so many decimals.
type Ranges = &'static [(f64, u8)];

// What such instruments have: common practice. The currents and voltages that the standards ask for are from
// memory of BS EN 61557: part 2, insulation, at least 1 mA at the test voltage and at most 15 mA into a short;
// part 4, continuity, at least 200 mA and 4 V to 24 V. In use an instrument may be 30 % wrong by parts 2, 3
// (loop) and 4, and 10 % of a break time by part 6 (RCDs), from memory too; ours is better, as most are.
/// Ω on the continuity range.
const CONTINUITY: Ranges = &[(19.99, 2), (199.9, 1), (1999.0, 0)];
/// The same where the lowest range was not chosen.
const COARSE: Ranges = &[(199.9, 1), (1999.0, 0)];
/// MΩ, below the last range, which is the instrument's own.
const INSULATION: Ranges = &[(19.99, 2), (199.9, 1)];
/// MΩ where the lowest range was chosen.
const LOW_INSULATION: Ranges = &[(19.99, 2)];
/// Ω of a loop.
const LOOP: Ranges = &[(19.99, 2), (199.9, 1), (1999.0, 0)];
/// kA.
const FAULT_CURRENT: Ranges = &[(19.99, 2), (49.9, 1)];
/// ms.
const TIME: Ranges = &[(1999.0, 0)];
/// V.
const VOLTAGE: Ranges = &[(999.0, 0)];

/// Resistance of both leads with their probes, Ω, from and to.
pub(super) const LEADS: (f64, f64) = (0.06, 0.14);
/// How wrong an instrument is, as a share of what it reads: at most so much.
pub(super) const WRONG_BY: f64 = 0.015;
/// Open voltage of the continuity range, V, and the current into a short, A.
pub(super) const CONTINUITY_SOURCE: (f64, f64) = (5.0, 0.2);
/// Current of the insulation range into a short, A.
pub(super) const INSULATION_SHORT: f64 = 0.006;
/// Resistance between the probes of a voltage indicator, Ω.
pub(super) const VOLTMETER: f64 = 300e3;
/// An instrument that is to test what is dead shows this voltage, and more, and does not test, V.
pub(super) const LIVE_FROM: f64 = 25.0;
/// A loop test wants this share of the nominal voltage.
pub(super) const SUPPLY_FROM: f64 = 0.5;
/// Current of the loop test to earth, A: the one that trips no sound RCD of 30 mA.
pub(super) const NO_TRIP_CURRENT: f64 = 0.015;
/// The source that an indicator is proved on, V.
pub(super) const PROVING_VOLTS: f64 = 230.0;
/// Range of the insulation test where the job does not say, MΩ.
const INSULATION_RANGE: f64 = 999.0;

/// An instrument as it came out of its bag.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Instrument {
    /// Of both leads, Ω.
    pub(super) leads: f64,
    /// What it multiplies by: continuity, insulation, loop, voltage, time.
    pub(super) gain: [f64; 5],
    /// Largest insulation resistance, MΩ.
    pub(super) range: Option<Number>,
    /// Nulling does not hold.
    pub(super) never_nulled: bool,
    /// The range is chosen by hand, and wrong.
    pub(super) wrong_range: bool,
}

/// A quantity with what an instrument makes of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Measured {
    /// Resistance at low voltage, Ω; infinite where nothing joins.
    Ohms(f64),
    /// Insulation resistance, Ω.
    Insulation(f64),
    /// Loop impedance, Ω.
    Loop(f64),
    /// Prospective fault current, A.
    FaultCurrent(f64),
    /// Voltage, V.
    Volts(f64),
    /// Voltage where something dead was to be tested, V.
    Live(f64),
    /// A residual current device tripped after so many seconds.
    Tripped(f64),
    /// It did not trip.
    NoTrip,
    /// The order of the phases.
    Sequence(bool),
    /// No supply where one is needed.
    NoSupply,
    /// What is printed on a device.
    Printed(Printed),
}

impl Instrument {
    /// One that makes no error, of the same ranges.
    pub(super) fn perfect(&self) -> Self {
        Self {
            leads: 0.0,
            gain: [1.0; 5],
            range: self.range,
            never_nulled: false,
            wrong_range: false,
        }
    }

    /// What it shows. `nulled`: whether the leads' resistance was nulled.
    pub(super) fn shows(&self, measured: Measured, nulled: bool) -> Option<(Reading, Kind)> {
        let [continuity, insulation, loops, volts, time] = self.gain;
        let leads = if nulled && !self.never_nulled {
            0.0
        } else {
            self.leads
        };
        let plain = |value, unit, ranges| (display(value, unit, ranges), Kind::Value);
        Some(match measured {
            Measured::Ohms(ohms) => {
                let ranges = if self.wrong_range { COARSE } else { CONTINUITY };
                plain((ohms + leads) * continuity, Unit::Ohm, ranges)
            }
            Measured::Insulation(ohms) => (self.insulation(ohms * insulation / 1e6), Kind::Value),
            Measured::Loop(ohms) => {
                let ranges = if self.wrong_range { COARSE } else { LOOP };
                plain(ohms * loops, Unit::Ohm, ranges)
            }
            Measured::FaultCurrent(amps) => plain(amps / loops / 1e3, Unit::KiloAmp, FAULT_CURRENT),
            Measured::Volts(v) => plain(v * volts, Unit::Volt, VOLTAGE),
            Measured::Live(v) => (display(v * volts, Unit::Volt, VOLTAGE), Kind::Live),
            Measured::Tripped(seconds) => (
                display(seconds * 1e3 * time, Unit::MilliSecond, TIME),
                Kind::Tripped,
            ),
            Measured::NoTrip
            | Measured::Sequence(_)
            | Measured::NoSupply
            | Measured::Printed(_) => return None,
        })
    }

    fn insulation(&self, megohms: f64) -> Reading {
        let range = self
            .range
            .unwrap_or_else(|| Number::whole(INSULATION_RANGE as u32));
        let (most, ranges) = if self.wrong_range {
            (Number::new(1999, 2).unwrap_or(range), LOW_INSULATION)
        } else {
            (range, INSULATION)
        };
        let shown = ranges
            .iter()
            .find_map(|(most, places)| rounded(megohms, *most, *places));
        let shown = shown.or_else(|| rounded(megohms, range.value(), 0));
        match shown.filter(|shown| shown.value() <= most.value()) {
            Some(shown) => Reading::exact(shown),
            None => Reading::exact(most).with_relation(Relation::Over),
        }
        .in_unit(Unit::MegOhm)
    }
}

/// How a reading is to be understood.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// A value.
    Value,
    /// Voltage instead of a test.
    Live,
    /// The time after which an RCD tripped.
    Tripped,
}

/// A number on the first range that holds it; over range past the last.
fn display(value: f64, unit: Unit, ranges: Ranges) -> Reading {
    let shown = ranges
        .iter()
        .find_map(|(most, places)| rounded(value, *most, *places));
    match shown {
        Some(number) => Reading::exact(number).in_unit(unit),
        None => Reading::over_range().in_unit(unit),
    }
}

/// To so many decimals, unless that is more than the range shows.
fn rounded(value: f64, most: f64, places: u8) -> Option<Number> {
    let scaled = (value.max(0.0) * 10f64.powi(places.into())).round();
    let most = (most * 10f64.powi(places.into())).round();
    (scaled <= most)
        .then(|| Number::new(scaled as u64, places))
        .flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn instrument() -> Instrument {
        Instrument {
            leads: 0.08,
            gain: [1.0; 5],
            range: None,
            never_nulled: false,
            wrong_range: false,
        }
    }

    fn shown(instrument: &Instrument, measured: Measured, nulled: bool) -> String {
        instrument.shows(measured, nulled).unwrap().0.to_string()
    }

    #[test]
    fn each_range_has_its_decimals_and_the_last_an_end() {
        let one = instrument();
        for (ohms, text) in [
            (0.3449, "0.34 Ω"),
            (19.994, "19.99 Ω"),
            (19.996, "20.0 Ω"),
            (250.4, "250 Ω"),
            (5e3, "over range"),
            (f64::INFINITY, "over range"),
        ] {
            assert_eq!(shown(&one, Measured::Ohms(ohms), true), text);
        }
        for (ohms, text) in [
            (0.9e6, "0.90 MΩ"),
            (150.04e6, "150.0 MΩ"),
            (998.7e6, "999 MΩ"),
            (999.6e6, ">999 MΩ"),
            (f64::INFINITY, ">999 MΩ"),
        ] {
            assert_eq!(shown(&one, Measured::Insulation(ohms), true), text);
        }
    }

    #[test]
    fn leads_count_until_they_are_nulled() {
        let one = instrument();
        assert_eq!(shown(&one, Measured::Ohms(0.0), false), "0.08 Ω");
        assert_eq!(shown(&one, Measured::Ohms(0.0), true), "0.00 Ω");
        let forgets = Instrument {
            never_nulled: true,
            ..one
        };
        assert_eq!(shown(&forgets, Measured::Ohms(0.0), true), "0.08 Ω");
    }

    #[test]
    fn the_wrong_range_shows_fewer_digits_or_its_end() {
        let wrong = Instrument {
            wrong_range: true,
            ..instrument()
        };
        assert_eq!(shown(&wrong, Measured::Ohms(0.34), true), "0.3 Ω");
        assert_eq!(
            shown(&wrong, Measured::Insulation(500e6), true),
            ">19.99 MΩ"
        );
        assert_eq!(shown(&wrong, Measured::Insulation(5e6), true), "5.00 MΩ");
    }
}
