use super::{Board, Circuit, CircuitKind, InstrumentUse, Job};
use crate::limits::{CableRun, CircuitFacts, CircuitUse, Overcurrent, Residual};
use crate::quantity::{Amps, Celsius, KiloAmps, Metres, MilliAmps, SquareMillimetres, Volts};

impl Job {
    /// The board of this job that feeds another one, and the circuit there, as far as the job file
    /// says. Nothing where it is at odds with itself: of a board that it does not have, or round
    /// again to the board it began with.
    pub fn feeder_of(&self, board: u16) -> Option<(u16, Option<u16>)> {
        let above = |number: u16| {
            let board = self.boards.iter().find(|board| board.number == number)?;
            let (by, circuit) = board.feeder()?;
            Some((by?, circuit))
        };
        let (by, circuit) = above(board)?;
        let known = self.boards.iter().any(|board| board.number == by);
        // No way up to the origin is longer than there are boards.
        let mut boards = self.boards.iter();
        let round = boards.try_fold(by, |at, _| above(at).map(|(by, _)| by));
        (known && round.is_none()).then_some((by, circuit))
    }

    /// What the limits need to know of a circuit, before anything is measured.
    ///
    /// The declared Ze counts for boards at the origin only; on a board further on the loop as
    /// far as the board has to be measured.
    pub fn facts(&self, board: &Board, circuit: &Circuit) -> CircuitFacts {
        let at_origin = board.fed_from.is_none();
        let insulation = self
            .instruments
            .iter()
            .find(|i| i.used_for.contains(&InstrumentUse::Insulation));
        CircuitFacts {
            earthing: self.supply.earthing,
            u0: Volts::exact(self.supply.volts),
            phases: circuit.phases,
            supply_phases: self.supply.phases,
            serves: circuit.kind.serves(),
            ring: circuit.kind == CircuitKind::Ring,
            system: circuit.system,
            device: circuit.device.as_ref().map(|d| Overcurrent {
                kind: d.kind,
                amps: Amps::exact(d.amps),
                breaking: d.breaking_ka.map(KiloAmps::exact),
            }),
            rcd: circuit.rcd.as_ref().map(|r| Residual {
                milliamps: MilliAmps::exact(r.milliamps),
                delay: r.delay,
            }),
            cable: circuit.cable.as_ref().map(|c| CableRun {
                line: SquareMillimetres::exact(c.line_mm2),
                cpc: SquareMillimetres::exact(c.cpc_mm2),
                length: c.metres.map(Metres::exact),
                class: c.class,
            }),
            ze: self
                .supply
                .ze_ohms
                .filter(|_| at_origin)
                .map(|n| CircuitFacts::declared(n.value())),
            temperature: self.site.ambient_celsius.map(Celsius::exact),
            insulation_range: insulation
                .and_then(|i| i.insulation_range_megohms)
                .map(|n| n.value()),
        }
    }
}

impl CircuitKind {
    /// What it serves, as the disconnection times and the voltage drop ask. A ring or a radial is
    /// taken to have socket-outlets; cookers, heaters and motors are fixed equipment.
    pub fn serves(self) -> CircuitUse {
        match self {
            Self::Ring | Self::Radial => CircuitUse::Sockets,
            Self::Lighting => CircuitUse::Lighting,
            Self::SinglePoint | Self::Motor => CircuitUse::FixedEquipment,
            Self::Distribution => CircuitUse::Distribution,
        }
    }

    /// As said aloud.
    pub fn spoken(self) -> &'static str {
        match self {
            Self::Radial => "radial",
            Self::Ring => "ring",
            Self::Lighting => "lighting",
            Self::SinglePoint => "single point",
            Self::Motor => "motor",
            Self::Distribution => "distribution",
        }
    }
}

impl Board {
    /// The board and the circuit that feed it, as far as `fed_from` says which: "board 1, circuit 3".
    /// Nothing at the origin.
    pub fn feeder(&self) -> Option<(Option<u16>, Option<u16>)> {
        let text = self.fed_from.as_ref()?.to_lowercase();
        let number_after = |word: &str| {
            let (_, rest) = text.split_once(word)?;
            let digits = rest.trim_start_matches(|c: char| !c.is_ascii_digit());
            let end = digits.find(|c: char| !c.is_ascii_digit());
            digits.get(..end.unwrap_or(digits.len()))?.parse().ok()
        };
        Some((number_after("board"), number_after("circuit")))
    }

    /// The smallest rated breaking capacity among its devices, kA; nothing when one with a device
    /// does not say, since that one might be the smallest.
    pub fn least_breaking(&self) -> Option<KiloAmps> {
        let mut least: Option<f64> = None;
        for device in self.circuits.iter().filter_map(|c| c.device.as_ref()) {
            let ka = device.breaking_ka?;
            least = Some(least.map_or(ka, |l| l.min(ka)));
        }
        least.map(KiloAmps::exact)
    }
}
