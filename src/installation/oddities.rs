//! What a job file says that can be, but deserves a second look.

use super::{Board, Circuit, CircuitKind, InstrumentUse, Job};
use crate::limits::{Earthing, SystemVoltage, Tables, conductor, earth_loop};
use crate::quantity::{KiloAmps, Ohms, SquareMillimetres, Truth, tidy};
use jiff::civil::Date;

/// Socket-outlets up to this rated current need additional protection (BS 7671 411.3.3).
const SOCKETS_NEED_RCD_AMPS: f64 = 32.0;

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
        for instrument in &self.instruments {
            if instrument.calibration_due < today {
                odd.push(format!(
                    "{} {}: calibration was due {}",
                    instrument.name, instrument.serial, instrument.calibration_due
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
        let circuits = || self.boards.iter().flat_map(|b| &b.circuits);
        let needs = [
            (InstrumentUse::Continuity, "continuity", true),
            (InstrumentUse::Insulation, "insulation", true),
            (InstrumentUse::Loop, "loop", true),
            (
                InstrumentUse::Rcd,
                "RCD tests",
                circuits().any(|c| c.rcd.is_some()),
            ),
        ];
        for (what, name, needed) in needs {
            if needed && self.instruments.iter().all(|i| !i.used_for.contains(&what)) {
                odd.push(format!("no instrument is listed for {name}"));
            }
        }
        odd
    }

    /// Odd things about one circuit.
    pub fn circuit_oddities(
        &self,
        tables: &Tables,
        board: &Board,
        circuit: &Circuit,
    ) -> Vec<String> {
        let mut odd = Vec::new();
        if let Some(cable) = &circuit.cable {
            if cable.cpc_mm2 > cable.line_mm2 {
                odd.push(format!(
                    "cpc {} mm² is larger than line {} mm²: the right way round?",
                    tidy(cable.cpc_mm2),
                    tidy(cable.line_mm2)
                ));
            }
            for mm2 in [cable.line_mm2, cable.cpc_mm2] {
                let size = SquareMillimetres::exact(mm2);
                if conductor::per_metre(tables, size, cable.class).is_none() {
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
        let declared = self.supply.fault_current_ka.map(|n| n.value());
        if let (Some(device), Some(declared)) = (device, declared)
            && board.fed_from.is_none()
            && let Some(capacity) = device.breaking_ka
            && KiloAmps::exact(declared).is_at_most(KiloAmps::exact(capacity)) == Truth::No
        {
            odd.push(format!(
                "declared fault current {} kA is above the device's {} kA",
                tidy(declared),
                tidy(capacity)
            ));
        }
        let extra_low = matches!(circuit.system, SystemVoltage::Selv | SystemVoltage::Pelv);
        if extra_low {
            return odd;
        }
        let sockets = matches!(circuit.kind, CircuitKind::Ring | CircuitKind::Radial)
            && device.is_some_and(|d| d.amps <= SOCKETS_NEED_RCD_AMPS);
        let additional = tables.rcd.additional_milliamps;
        if sockets
            && circuit
                .rcd
                .as_ref()
                .is_none_or(|r| r.milliamps > additional)
        {
            odd.push(format!(
                "no RCD of {} mA or less is listed: socket-outlets up to {} A need one (411.3.3); is \
                 it upstream?",
                tidy(additional),
                tidy(SOCKETS_NEED_RCD_AMPS)
            ));
        }
        if self.supply.earthing == Earthing::Tt && circuit.rcd.is_none() {
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
