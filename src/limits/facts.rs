use super::kinds::{
    CableInsulation, CircuitUse, CpcIs, DeviceKind, Earthing, Metal, Phases, RcdDelay,
    SystemVoltage,
};
use super::tables::Tables;
use crate::quantity::{Amps, Celsius, KiloAmps, Metres, MilliAmps, Ohms, SquareMillimetres, Volts};

/// What is known of a circuit before it is tested: everything that the limits ask about it.
///
/// Made from a job file with `Job::facts`; here so that the limits need not know of jobs.
#[derive(Debug, Clone, PartialEq)]
pub struct CircuitFacts {
    /// How the installation is earthed.
    pub earthing: Earthing,
    /// Nominal voltage to earth, U0.
    pub u0: Volts,
    /// Phases of the circuit.
    pub phases: Phases,
    /// Phases of the supply.
    pub supply_phases: Phases,
    /// What the circuit serves.
    pub serves: CircuitUse,
    /// Whether it is a ring final circuit.
    pub ring: bool,
    /// The voltage band.
    pub system: SystemVoltage,
    /// The overcurrent device.
    pub device: Option<Overcurrent>,
    /// Where the limit of the overcurrent device is from, when it brings its own.
    pub device_source: Option<String>,
    /// The residual current device.
    pub rcd: Option<Residual>,
    /// The cable.
    pub cable: Option<CableRun>,
    /// External earth fault loop impedance: its value where it was measured; where it is only
    /// declared, anything up to that ([`declared`](Self::declared)).
    pub ze: Option<Ohms>,
    /// Temperature of the conductors during the test; the table's default when nothing.
    pub temperature: Option<Celsius>,
    /// The largest insulation resistance that the instrument shows, MΩ.
    pub insulation_range: Option<f64>,
}

impl CircuitFacts {
    /// A declared Ze is the most that it will be: it bounds the value from above.
    pub fn declared(ze: f64) -> Ohms {
        Ohms::between(0.0, ze)
    }
}

/// An overcurrent device.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Overcurrent {
    /// Its standard and type.
    pub kind: DeviceKind,
    /// Rated current In.
    pub amps: Amps,
    /// Rated breaking capacity.
    pub breaking: Option<KiloAmps>,
    /// What makes it act, where its kind and rated current do not say so.
    pub acts: Option<Acts>,
}

/// What makes a device act that no table has.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Acts {
    /// A moulded-case breaker as it is set.
    AtSetting {
        /// At once, from this current on, A.
        instantaneous: f64,
        /// After a delay, from this current on: A and seconds.
        short_time: Option<(f64, f64)>,
    },
    /// From this current on, A, by its own source.
    FromAmps(f64),
    /// With a loop of at most so many Ω, by its own source.
    WithinOhms(f64),
}

/// A residual current device.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Residual {
    /// Rated residual operating current IΔn.
    pub milliamps: MilliAmps,
    /// General or time-delayed.
    pub delay: RcdDelay,
}

/// A run of cable.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CableRun {
    /// Cross-section of each live conductor.
    pub line: SquareMillimetres,
    /// Cross-section of the protective conductor.
    pub cpc: SquareMillimetres,
    /// Length to the furthest point, or right round a ring.
    pub length: Option<Metres>,
    /// Conductor class of IEC 60228.
    pub class: u8,
    /// What it is made of.
    pub made: CableMake,
}

/// What a cable is made of: copper in PVC with the protective conductor as a core, where nothing else
/// is said.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct CableMake {
    /// The live conductors, and the protective one where it is a conductor.
    pub metal: Metal,
    /// What they are insulated with.
    pub insulation: CableInsulation,
    /// What the protective conductor is.
    pub cpc: CpcIs,
}

impl CircuitFacts {
    /// The temperature of the conductors under full load, °C.
    pub fn running_celsius(&self, tables: &Tables) -> f64 {
        self.cable
            .map_or(tables.temperature.running_celsius, |run| {
                run.made.running_celsius(tables)
            })
    }
}

impl CableMake {
    /// The temperature of the conductors under full load, °C.
    pub fn running_celsius(self, tables: &Tables) -> f64 {
        match self.insulation {
            CableInsulation::Pvc => tables.temperature.running_celsius,
            other => tables.cables.of(other).running_celsius,
        }
    }
}
