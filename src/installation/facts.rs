use super::job::half_and_once;
use super::{
    Board, Cable, Circuit, CircuitKind, Device, GroupRcd, InstrumentUse, Job, Rcd, RcdDelay,
};
use crate::limits::{
    Acts, CableInsulation, CableMake, CableRun, CircuitFacts, CircuitUse, CpcIs, Metal,
    Overcurrent, Residual, Tables,
};
use crate::quantity::{Amps, Celsius, KiloAmps, Metres, MilliAmps, SquareMillimetres, Volts, tidy};

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

    /// The board at the origin that a board is fed from in the end, where earthing and bonds are; itself where
    /// nothing is said of its feed.
    pub fn origin_of(&self, board: u16) -> u16 {
        let up = |at: u16| self.feeder_of(at).map(|(by, _)| by);
        std::iter::successors(Some(board), |at| up(*at))
            .last()
            .unwrap_or(board)
    }

    /// The smallest rated breaking capacity at a board, all of its parts taken together.
    pub fn least_breaking(&self, board: u16) -> Option<KiloAmps> {
        let mut circuits = self.boards_said(board).flat_map(|board| &board.circuits);
        least_breaking(&mut circuits)
    }

    /// The residual current device that a fault of a circuit trips: its own or its board's, else the one over the
    /// circuit that feeds the board, and so on up to the origin.
    pub fn residual_over(&self, board: &Board, circuit: &Circuit) -> Option<Rcd> {
        board.residual_of(circuit).or_else(|| {
            let (by, feeding) = self.feeder_of(board.number)?;
            let above = self.boards.iter().find(|above| above.number == by)?;
            self.residual_over(above, self.circuit(by, feeding?)?)
        })
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
            device: circuit.device.as_ref().map(Device::facts),
            device_source: circuit.device.as_ref().and_then(|d| d.source.clone()),
            rcd: self.residual_over(board, circuit).as_ref().map(Rcd::facts),
            cable: circuit.cable.as_ref().map(Cable::facts),
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

/// Circuits by their numbers: "circuit 3", "circuits 1, 3".
pub fn circuits_by_number(numbers: &[u16]) -> String {
    let named: Vec<String> = numbers.iter().map(u16::to_string).collect();
    match named.as_slice() {
        [only] => format!("circuit {only}"),
        all => format!("circuits {}", all.join(", ")),
    }
}

impl GroupRcd {
    /// The circuits that it is over: "every circuit" where none is named.
    pub fn over(&self) -> String {
        match self.circuits.as_slice() {
            [] => "every circuit".to_owned(),
            numbers => circuits_by_number(numbers),
        }
    }

    /// What it is, as a table has it: "RCD 1: 30 mA, type A, 63 A, BS EN 61008".
    pub fn written(&self) -> String {
        let waveform = self.waveform.as_ref().map(|kind| format!("type {kind}"));
        let delayed = (self.delay == RcdDelay::S).then(|| "type S".to_owned());
        let amps = self.amps.map(|amps| format!("{} A", tidy(amps)));
        let tests = (self.tests != half_and_once()).then(|| {
            let named: Vec<&str> = self.tests.iter().map(|test| test.written()).collect();
            format!("tests {}", named.join(" "))
        });
        let figures: Vec<String> = std::iter::once(format!("{} mA", tidy(self.milliamps)))
            .chain(waveform)
            .chain(delayed)
            .chain(amps)
            .chain(self.standard.clone())
            .chain(tests)
            .collect();
        format!("RCD {}: {}", self.number, figures.join(", "))
    }
}

impl Rcd {
    /// What the limits need to know of it.
    pub fn facts(&self) -> Residual {
        Residual {
            milliamps: MilliAmps::exact(self.milliamps),
            delay: self.delay,
        }
    }
}

impl Device {
    /// What the limits need to know of it.
    pub fn facts(&self) -> Overcurrent {
        let short_time = self.short_time_amps.zip(self.short_time_seconds);
        let setting = |instantaneous| Acts::AtSetting {
            instantaneous,
            short_time,
        };
        let acts = self.instantaneous_amps.map(setting);
        let acts = acts.or_else(|| self.zs_ohms.map(|zs| Acts::WithinOhms(zs.value())));
        Overcurrent {
            kind: self.kind,
            amps: Amps::exact(self.amps),
            breaking: self.breaking_ka.map(KiloAmps::exact),
            acts: acts.or_else(|| self.ia_amps.map(Acts::FromAmps)),
        }
    }
}

impl Cable {
    /// Its sizes and what it is made of: "2.5/1.5 mm²", "7/.029 (2.98) and 3/.029 (1.28) mm²", "10/39 mm², armour as cpc, XLPE".
    pub fn shown(&self) -> String {
        let size = |mm2: f64| match Tables::shipped().cables.imperial_name(mm2) {
            Some(name) if self.metal == Metal::Copper => format!("{name} ({mm2})"),
            _ => mm2.to_string(),
        };
        let (line, cpc) = (size(self.line_mm2), size(self.cpc_mm2));
        // A name with a stroke in it is not written with another.
        let between = if line.contains('/') { " and " } else { "/" };
        let mut text = format!("{line}{between}{cpc} mm²");
        text.push_str(match self.cpc_is {
            CpcIs::Core => "",
            CpcIs::Separate => ", cpc separate",
            CpcIs::Armour => ", armour as cpc",
            CpcIs::Sheath => ", sheath as cpc",
        });
        text.push_str(match self.insulation {
            CableInsulation::Pvc => "",
            CableInsulation::Xlpe => ", XLPE 90 °C",
            CableInsulation::MineralCovered => ", mineral, covered",
            CableInsulation::MineralBare => ", mineral, bare",
        });
        text.push_str(match self.metal {
            Metal::Copper => "",
            Metal::Aluminium => ", aluminium",
        });
        text
    }

    /// What the limits need to know of it.
    pub fn facts(&self) -> CableRun {
        CableRun {
            line: SquareMillimetres::exact(self.line_mm2),
            cpc: SquareMillimetres::exact(self.cpc_mm2),
            length: self.metres.map(Metres::exact),
            class: self.class,
            made: CableMake {
                metal: self.metal,
                insulation: self.insulation,
                cpc: self.cpc_is,
            },
        }
    }
}

impl Board {
    /// The board and the circuit that feed it, as far as `fed_from` says which: "board 1, circuit 3".
    /// Nothing at the origin.
    pub fn feeder(&self) -> Option<(Option<u16>, Option<u16>)> {
        let text = self.fed_from.as_ref()?;
        let by = number_of("board", text);
        Some((by, by.and_then(|_| number_of("circuit", text))))
    }

    /// The residual current device that protects a circuit: its own, or the one of several circuits; the
    /// most sensitive where there are both.
    pub fn residual_of(&self, circuit: &Circuit) -> Option<Rcd> {
        let group = self.group_of(circuit).map(GroupRcd::rcd);
        match (&circuit.rcd, group) {
            (Some(own), Some(group)) if group.milliamps < own.milliamps => Some(group),
            (Some(own), _) => Some(own.clone()),
            (None, group) => group,
        }
    }

    /// The most sensitive of the residual current devices that protect several circuits, this among them.
    pub fn group_of(&self, circuit: &Circuit) -> Option<&GroupRcd> {
        let groups = self.rcds.iter().filter(|rcd| rcd.protects(circuit.number));
        groups.min_by(|a, b| a.milliamps.total_cmp(&b.milliamps))
    }
}

/// The number behind a word, as in "board 1", "board no. 1", "board number 1"; nothing where the number of
/// something else may follow.
pub fn number_of(word: &str, text: &str) -> Option<u16> {
    let text = text.to_lowercase();
    let mut words = text
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .peekable();
    words.by_ref().find(|one| *one == word)?;
    while words
        .next_if(|one| matches!(*one, "no" | "number"))
        .is_some()
    {}
    words.next()?.parse().ok()
}

/// The smallest rated breaking capacity among the devices of circuits, kA; nothing when one with a device
/// does not say, since that one might be the smallest.
fn least_breaking(circuits: &mut dyn Iterator<Item = &Circuit>) -> Option<KiloAmps> {
    let mut least: Option<f64> = None;
    for device in circuits.filter_map(|c| c.device.as_ref()) {
        let ka = device.breaking_ka?;
        least = Some(least.map_or(ka, |l| l.min(ka)));
    }
    least.map(KiloAmps::exact)
}
