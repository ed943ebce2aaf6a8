//! What a job file says that can be, but deserves a second look.

use super::{Accessory, Board, Circuit, CircuitKind, CpcIs, DeviceKind, InstrumentUse, Job, Rcd};
use crate::limits::earth_loop::Clearing;
use crate::limits::{
    CableInsulation, Earthing, Metal, SystemVoltage, Tables, conductor, earth_loop,
};
use crate::quantity::{Amps, KiloAmps, Ohms, SquareMillimetres, Truth, Volts, tidy};
use jiff::civil::Date;

/// Socket-outlets up to this rated current need additional protection (BS 7671 411.3.3).
const SOCKETS_NEED_RCD_AMPS: f64 = 32.0;

/// Main bonds where neutral and earth are combined in the supply (BS 7671 Table 54.8, from memory), mm².
const PME_BOND_MM2: f64 = 10.0;
/// The least main bond of any other (544.1.1), mm².
const LEAST_BOND_MM2: f64 = 6.0;

impl Job {
    /// Odd things about the job as a whole. `today` is compared with calibration dates.
    pub fn oddities(&self, tables: &Tables, today: Date) -> Vec<String> {
        let mut odd = Vec::new();
        let supply = &self.supply;
        if let Some(ze) = supply.ze_ohms {
            let usual = earth_loop::usual_ze(tables, supply.earthing);
            if supply.earthing != Earthing::Tt
                && Ohms::exact(ze.value()).is_at_most(usual) == Truth::No
            {
                odd.push(format!(
                    "ze_ohms {ze} is more than distributors usually declare on {} ({usual})",
                    supply.earthing.name()
                ));
            }
        }
        odd.extend(self.at_the_intake(tables));
        for instrument in &self.instruments {
            if let Some(due) = instrument.calibration_due.filter(|due| *due < today) {
                odd.push(format!(
                    "{} {}: calibration was due {due}",
                    instrument.name, instrument.serial
                ));
            }
            if instrument.used_for.contains(&InstrumentUse::Insulation)
                && instrument.insulation_range_megohms.is_none()
            {
                odd.push(format!(
                    "{}: without insulation_range_megohms \"over range\" settles nothing",
                    instrument.name
                ));
            }
        }
        odd.extend(self.above_breaking_capacity());
        odd.extend(self.not_noted());
        odd.extend(self.whole_out_of_scope());
        let circuits = || self.boards.iter().flat_map(|b| &b.circuits);
        let needs = [
            (InstrumentUse::Continuity, "continuity", true),
            (InstrumentUse::Insulation, "insulation", true),
            (InstrumentUse::Loop, "loop", true),
            (
                InstrumentUse::Rcd,
                "RCD tests",
                circuits().any(|c| c.rcd.is_some())
                    || self.boards.iter().any(|b| !b.rcds.is_empty()),
            ),
        ];
        for (what, name, needed) in needs {
            if needed && self.instruments.iter().all(|i| !i.used_for.contains(&what)) {
                odd.push(format!("no instrument is listed for {name}"));
            }
        }
        odd
    }

    /// Maximum demand beside the fuse, and the sizes of earthing and bonding conductors.
    fn at_the_intake(&self, tables: &Tables) -> Vec<String> {
        let supply = &self.supply;
        let mut odd = Vec::new();
        if let (Some(demand), Some(fuse)) = (supply.max_demand_amps, &supply.fuse)
            && demand > fuse.amps
        {
            odd.push(format!(
                "maximum demand {} A is more than the supply fuse, {} A: see the distributor",
                tidy(demand),
                tidy(fuse.amps)
            ));
        }
        if let Some(bond) = supply.bonding_mm2 {
            let half = supply.earthing_conductor_mm2.map_or(0.0, |mm2| mm2 / 2.0);
            let (least, source) = match supply.earthing {
                Earthing::TnCS => (
                    PME_BOND_MM2,
                    "M: Table 54.8, with a neutral of the supply up to 35 mm²",
                ),
                // Not more than 25 mm² is asked for.
                _ => (half.clamp(LEAST_BOND_MM2, 25.0), "P: 544.1.1"),
            };
            if bond < least {
                odd.push(format!(
                    "main bonding conductors of {} mm²: at least {} mm² is asked for [{source}]",
                    tidy(bond),
                    tidy(least)
                ));
            }
        }
        odd.extend(self.earthing_conductor(tables));
        odd
    }

    /// The earthing conductor beside the heat of an earth fault at the origin (543.1.3): with the Ze that
    /// was given, in the time of the supply fuse.
    fn earthing_conductor(&self, tables: &Tables) -> Option<String> {
        let supply = &self.supply;
        let mm2 = supply.earthing_conductor_mm2?;
        let fuse = supply.fuse.as_ref()?;
        let ze = Ohms::exact(supply.ze_ohms?.value());
        if supply.earthing == Earthing::Tt {
            return None;
        }
        let current: Amps = Volts::exact(supply.volts) / ze;
        let Clearing::Within(seconds) = earth_loop::clearing(tables, &fuse.facts(), current) else {
            return None;
        };
        let adiabatic = &tables.adiabatic;
        let least = earth_loop::least_cpc(current, seconds, adiabatic.k_separate);
        (SquareMillimetres::exact(mm2).is_at_least(least) == Truth::No).then(|| {
            format!(
                "the earthing conductor of {} mm² is below √({current}² × {} s) ÷ {} = {least} [{}: {}]",
                tidy(mm2),
                tidy(seconds),
                tidy(adiabatic.k_separate),
                adiabatic.mark.letter(),
                adiabatic.clause
            )
        })
    }

    /// Devices whose own breaking capacity is below the declared fault current, once for all boards.
    fn above_breaking_capacity(&self) -> Option<String> {
        let declared = self.supply.fault_current_ka?;
        let at_origin = self.boards.iter().filter(|board| board.fed_from.is_none());
        let devices = at_origin.flat_map(|board| &board.circuits);
        let least = devices
            .filter_map(|circuit| circuit.device.as_ref()?.breaking_ka)
            .min_by(f64::total_cmp)?;
        let above = KiloAmps::exact(declared.value()).is_at_most(KiloAmps::exact(least));
        (above == Truth::No).then(|| {
            format!(
                "the declared fault current, {declared} kA, is above the {} kA of devices at the origin: \
                 usual in a board to BS EN 61439-3, which is rated together with its maker's devices, \
                 often at 16 kA [C]. See that the devices are those it is rated with; what is measured \
                 is compared with the devices' own {} kA",
                tidy(least),
                tidy(least)
            )
        })
    }

    /// Protection that the job file does not speak of.
    fn not_noted(&self) -> Option<String> {
        let circuits = || self.boards.iter().flat_map(|board| &board.circuits);
        let names = circuits().flat_map(|circuit| {
            let points = circuit.points.iter();
            let points = points.flat_map(|p| [Some(&p.name), p.sensitive.as_ref()]);
            points.flatten().chain([&circuit.name])
        });
        let surge = names.map(|name| name.to_lowercase()).any(|name| {
            name.split(|c: char| !c.is_alphanumeric())
                .any(|word| word == "surge" || word == "spd")
        });
        let surge = surge || self.boards.iter().any(|board| board.surge.is_some());
        let mut missing = Vec::new();
        if !surge {
            missing.push(
                "surge protection: fitted, or decided against with its reason [P: 443.4]"
                    .to_owned(),
            );
        }
        if !circuits().any(|circuit| circuit.afdd) {
            missing.push(
                "arc fault detection: asked for in some kinds of building, advised for socket-outlet \
                 circuits up to 32 A in others [P: 421.1.7]"
                    .to_owned(),
            );
        }
        (!missing.is_empty()).then(|| format!("nothing is noted of {}", missing.join("; nor of ")))
    }

    /// Odd things about one circuit.
    pub fn circuit_oddities(
        &self,
        tables: &Tables,
        board: &Board,
        circuit: &Circuit,
    ) -> Vec<String> {
        let rcd = board.residual_of(circuit);
        let mut odd: Vec<String> = Vec::new();
        odd.extend(circuit.out_of_scope().map(str::to_owned));
        let mut points = circuit.points.iter();
        let unsaid = points.find(|point| {
            point.sensitive.is_none() && Accessory::is_electronic(&point.name.to_lowercase())
        });
        odd.extend(unsaid.map(|point| {
            format!(
                "{} may hold electronics, which 500 V would go to: give it sensitive = \"electronics\", \
                 unless it has none",
                point.name
            )
        }));
        if let Some(cable) = &circuit.cable {
            if cable.cpc_mm2 > cable.line_mm2
                && matches!(cable.cpc_is, CpcIs::Core | CpcIs::Separate)
            {
                odd.push(format!(
                    "cpc {} mm² is larger than line {} mm²: the right way round?",
                    tidy(cable.cpc_mm2),
                    tidy(cable.line_mm2)
                ));
            }
            let run = cable.facts();
            for (mm2, known) in [
                (cable.line_mm2, conductor::line_per_metre(tables, &run)),
                (cable.cpc_mm2, conductor::cpc_per_metre(tables, &run)),
            ] {
                if known.is_none() {
                    odd.push(format!(
                        "the tables have no resistance for {} mm² of class {}: its readings are not \
                         compared with length and size",
                        tidy(mm2),
                        cable.class
                    ));
                }
            }
        }
        let device = circuit.device.as_ref();
        if device
            .is_some_and(|d| d.kind == DeviceKind::MouldedCase && d.instantaneous_amps.is_none())
        {
            odd.push(
                "a moulded-case breaker without its setting: read it off and write instantaneous_amps, or its Zs \
                 has no limit here"
                    .to_owned(),
            );
        }
        let extra_low = matches!(circuit.system, SystemVoltage::Selv | SystemVoltage::Pelv);
        if extra_low {
            return odd;
        }
        let sockets = may_have_sockets(circuit);
        let additional = tables.rcd.additional_milliamps;
        let need_rcd = sockets && device.is_some_and(|d| d.amps <= SOCKETS_NEED_RCD_AMPS);
        if need_rcd && rcd.as_ref().is_none_or(|r| r.milliamps > additional) {
            odd.push(format!(
                "no RCD of {} mA or less is listed: socket-outlets up to {} A need one [P: 411.3.3]; is \
                 it upstream?",
                tidy(additional),
                tidy(SOCKETS_NEED_RCD_AMPS)
            ));
        }
        let sensitive = |r: &Rcd| r.milliamps <= additional;
        if circuit.kind == CircuitKind::Lighting && !rcd.as_ref().is_some_and(sensitive) {
            odd.push(format!(
                "no RCD of {} mA or less is listed: in a dwelling, circuits that supply luminaires need \
                 one [P: 411.3.4]; is this a dwelling, or is it upstream?",
                tidy(additional)
            ));
        }
        let type_ac = rcd.as_ref().and_then(|r| r.waveform.as_deref()) == Some("AC");
        if type_ac && sockets {
            odd.push(
                "an RCD of type AC on socket-outlets: type AC is for fixed equipment only, whose load \
                 current is known to have no d.c. in it [P: 531.3.3]"
                    .to_owned(),
            );
        }
        odd.extend(charging(tables, circuit, rcd.as_ref()));
        odd.extend(oversized(tables, circuit));
        if self.supply.earthing == Earthing::Tt && self.residual_over(board, circuit).is_none() {
            odd.push(
                "no RCD is listed on a TT system: Zs is then compared with the overcurrent device"
                    .to_owned(),
            );
        }
        if circuit.kind != CircuitKind::Ring && circuit.points.iter().any(|p| p.spur) {
            odd.push("a spur on a circuit that is not a ring".to_owned());
        }
        if circuit.kind == CircuitKind::Ring && circuit.points.is_empty() {
            odd.push("a ring without points: list them, each is read in turn".to_owned());
        }
        odd
    }
}

/// Whether there are socket-outlets on it, or could be, since nobody said what is.
fn may_have_sockets(circuit: &Circuit) -> bool {
    let is_one = |name: &str| {
        let name = name.to_lowercase();
        name.contains("socket") || name.contains("outlet")
    };
    matches!(circuit.kind, CircuitKind::Ring | CircuitKind::Radial)
        && (circuit.points.is_empty() || circuit.points.iter().any(|point| is_one(&point.name)))
}

/// A charging point for a vehicle: an RCD that is not known to be fit for it.
fn charging(tables: &Tables, circuit: &Circuit, rcd: Option<&Rcd>) -> Vec<String> {
    let fit = rcd.is_some_and(|rcd| {
        let waveform = rcd.waveform.as_deref();
        rcd.milliamps <= tables.rcd.additional_milliamps
            && matches!(waveform, Some("A" | "F" | "B"))
    });
    if !circuit.charges_vehicles() {
        return Vec::new();
    }
    let unfit = (!fit).then(|| {
        format!(
            "a charging point for a vehicle needs an RCD of {} mA or less, of type B, or of type A or F \
             with detection of smooth d.c. [M: 722.531.3]",
            tidy(tables.rcd.additional_milliamps)
        )
    });
    unfit.into_iter().collect()
}

/// A device that lets more flow than the cable carries laid in the best of the common ways.
fn oversized(tables: &Tables, circuit: &Circuit) -> Option<String> {
    let (device, cable) = (circuit.device.as_ref()?, circuit.cable.as_ref()?);
    let rating = &tables.cable_rating;
    let (amps, size) = (tidy(device.amps), tidy(cable.line_mm2));
    let source = format!("[{}: {}]", rating.mark.letter(), rating.clause);
    if circuit.kind == CircuitKind::Ring
        && cable.line_mm2 >= rating.ring_mm2
        && device.amps <= rating.ring_amps
    {
        return None;
    }
    // The table is that of copper in PVC: what others carry stands in tables of their own.
    let usual = cable.metal == Metal::Copper && cable.insulation == CableInsulation::Pvc;
    let in_a_cable = matches!(cable.cpc_is, CpcIs::Core);
    let carries = tables
        .cable_carries(cable.line_mm2)
        .filter(|_| usual && in_a_cable)?;
    if circuit.kind == CircuitKind::Ring {
        return Some(format!(
            "a ring of {size} mm² behind {amps} A: {} mm² and at most {} A are usual [P: 433.1.204]",
            tidy(rating.ring_mm2),
            tidy(rating.ring_amps)
        ));
    }
    (device.amps > carries).then(|| {
        format!(
            "{amps} A on {size} mm²: clipped to a surface it carries {} A {source}, and less in a wall; \
             right only where the load cannot overload it [P: 433.3.1]",
            tidy(carries)
        )
    })
}
