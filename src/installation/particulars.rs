//! What is on record of the supply and of the origin, as schedules head their results with it.

use super::Job;
use crate::quantity::tidy;

impl Job {
    /// What it is, and what the job file says of it; only what it says.
    pub fn particulars(&self) -> Vec<(&'static str, String)> {
        let supply = &self.supply;
        let amps = |amps: f64| format!("{} A", tidy(amps));
        let mm2 = |mm2: f64| format!("{} mm², copper", tidy(mm2));
        let fuse = supply
            .fuse
            .as_ref()
            .map(|fuse| format!("{} {}", fuse.shown(), amps(fuse.amps)));
        let switch = supply.main_switch.as_ref().map(|switch| {
            let poles = switch.poles.map(|poles| format!(", {poles} poles"));
            let location = switch.location.as_ref().map(|place| format!(", {place}"));
            format!(
                "{} {}{}{}",
                switch.standard,
                amps(switch.amps),
                poles.unwrap_or_default(),
                location.unwrap_or_default()
            )
        });
        let all = [
            ("Ze given by", supply.ze_by.map(|by| by.shown().to_owned())),
            (
                "Fault current given by",
                supply.fault_current_by.map(|by| by.shown().to_owned()),
            ),
            (
                "Frequency",
                supply.hertz.map(|hertz| format!("{} Hz", tidy(hertz))),
            ),
            ("Maximum demand", supply.max_demand_amps.map(amps)),
            ("Supply fuse", fuse),
            ("Main switch", switch),
            ("Earthing conductor", supply.earthing_conductor_mm2.map(mm2)),
            ("Main bonding conductors", supply.bonding_mm2.map(mm2)),
        ];
        all.into_iter()
            .filter_map(|(what, value)| Some((what, value?)))
            .collect()
    }
}
