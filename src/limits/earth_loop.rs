//! Earth fault loop impedance, disconnection, fault current, protective conductor size and
//! voltage drop.

use super::conductor::temperature_factor;
use super::facts::{CircuitFacts, Overcurrent};
use super::kinds::Earthing;
use super::tables::{Provenance, Tables};
use crate::quantity::{
    Amps, Celsius, KiloAmps, MilliAmps, Ohms, SquareMillimetres, Volts, measure, tidy,
};

/// The voltage that the fuse tables of BS 7671 are made for.
const TABLE_VOLTS: f64 = 230.0;

/// The largest earth fault loop impedance that lets a device disconnect in time.
#[derive(Debug, Clone, PartialEq)]
pub struct MaximumZs {
    /// The limit, Ω.
    pub ohms: Ohms,
    /// The sum in one line.
    pub arithmetic: String,
    /// Regulation and table.
    pub clause: String,
    /// How well it is founded.
    pub mark: Provenance,
    /// The time it is for, s; shorter than asked when only a stricter table is at hand.
    pub seconds: f64,
    /// Whether only a stricter table than needed was at hand: more than the limit settles nothing.
    pub stricter: bool,
}

/// The current that makes a circuit-breaker trip instantaneously, Ia = multiple × In; nothing for
/// a fuse.
pub fn instantaneous(tables: &Tables, device: &Overcurrent) -> Option<Amps> {
    Some(device.amps.times(tables.breaker_multiple(device.kind)?))
}

/// Zs ≤ U0·Cmin/Ia for circuit-breakers (411.4.4, rounded as Table 41.3 is), the table for fuses.
/// Nothing when the tables have no value for the device.
pub fn maximum_zs(
    tables: &Tables,
    device: &Overcurrent,
    u0: Volts,
    seconds: f64,
) -> Option<MaximumZs> {
    let volts = u0.value()?;
    if let Some(multiple) = tables.breaker_multiple(device.kind) {
        let amps = device.amps.value()?;
        let earth_loop = &tables.earth_loop;
        let exact = earth_loop.cmin * volts / (multiple * amps);
        let ohms = rounded(exact, earth_loop.places);
        let cmin = if earth_loop.cmin == 1.0 {
            String::new()
        } else {
            format!("{} × ", tidy(earth_loop.cmin))
        };
        return Some(MaximumZs {
            ohms: Ohms::exact(ohms),
            arithmetic: format!(
                "{cmin}{} V ÷ ({} × {} A) = {} Ω",
                tidy(volts),
                tidy(multiple),
                tidy(amps),
                fixed(ohms, earth_loop.places)
            ),
            clause: earth_loop.clause.clone(),
            mark: earth_loop.mark,
            seconds,
            stricter: false,
        });
    }
    let amps = device.amps.value()?;
    let table = tables
        .fuses
        .iter()
        .filter(|f| f.kind == device.kind && f.seconds <= seconds)
        .filter(|f| f.zs.iter().any(|(a, _)| *a == amps))
        .max_by(|a, b| a.seconds.total_cmp(&b.seconds))?;
    let tabulated = table.zs.iter().find(|(a, _)| *a == amps)?.1;
    let places = tables.earth_loop.places;
    let ohms = if volts == TABLE_VOLTS {
        tabulated
    } else {
        rounded(tabulated * volts / TABLE_VOLTS, places)
    };
    let scaled = if volts == TABLE_VOLTS {
        String::new()
    } else {
        format!(" × {} V ÷ {TABLE_VOLTS} V = {} Ω", tidy(volts), tidy(ohms))
    };
    Some(MaximumZs {
        ohms: Ohms::exact(ohms),
        arithmetic: format!(
            "table, {} {} A in {} s: {tabulated} Ω{scaled}",
            device.kind,
            tidy(amps),
            tidy(table.seconds)
        ),
        clause: table.clause.clone(),
        mark: table.mark,
        seconds: table.seconds,
        stricter: table.seconds < seconds,
    })
}

/// Resistance measured at `t`, as it is with the conductors at their running temperature:
/// × (1 + 0.004 × 50) / (1 + 0.004 (t - 20)).
pub fn heating_factor(tables: &Tables, t: Celsius) -> (f64, f64) {
    let (running, _) =
        temperature_factor(tables, Celsius::exact(tables.temperature.running_celsius));
    let (cold, warm) = temperature_factor(tables, t);
    (running / warm, running / cold)
}

/// Zs with the conductors at running temperature: Ze + (Zs - Ze) × heating factor.
///
/// Without Ze only bounds can be given: from nothing of the loop warming to all of it.
pub fn running_zs(tables: &Tables, zs: Ohms, ze: Option<Ohms>, t: Celsius) -> Ohms {
    let (low, high) = heating_factor(tables, t);
    let heat = |r: Ohms| Ohms::between(r.times(low).low(), r.times(high).high());
    match ze {
        Some(ze) => {
            // The larger part of one reading cannot be both external and internal: work from
            // the ends of Ze.
            let with = |z: f64| Ohms::exact(z) + heat(zs.less(Ohms::exact(z)));
            if ze.is_unbounded() {
                zs.hull(heat(zs))
            } else {
                with(ze.low()).hull(with(ze.high()))
            }
        }
        None => zs.hull(heat(zs)),
    }
}

/// The largest RA or Zs for which an RCD keeps the touch voltage at 50 V: RA·IΔn ≤ 50 V
/// (411.5.3), rounded to whole ohms as Table 41.5 is.
pub fn rcd_maximum(tables: &Tables, residual: MilliAmps) -> Ohms {
    let ohms = Volts::exact(tables.tt.touch_volts) / residual.to::<measure::Amp>();
    Ohms::between(rounded(ohms.low(), 0), rounded(ohms.high(), 0))
}

/// Prospective fault current, U0 ÷ Z.
pub fn fault_current(u0: Volts, z: Ohms) -> KiloAmps {
    (u0 / z).to::<measure::KiloAmp>()
}

/// Least cross-section of a protective conductor against heat, S = √(I²t) ÷ k (543.1.3).
///
/// `k` in A·√s/mm².
pub fn least_cpc(current: Amps, seconds: f64, k: f64) -> SquareMillimetres {
    let root = seconds.max(0.0).sqrt() / k;
    SquareMillimetres::between(current.low() * root, current.high() * root)
}

/// Volts dropped by the load current in a resistance read at `t`, with the conductors running hot.
pub fn voltage_drop(tables: &Tables, load: Amps, r1_rn: Ohms, t: Celsius) -> Volts {
    let (low, high) = heating_factor(tables, t);
    load * Ohms::between(r1_rn.times(low).low(), r1_rn.times(high).high())
}

/// The disconnection time that applies to a circuit, s, and its regulation.
pub fn disconnection_time<'t>(tables: &'t Tables, facts: &CircuitFacts) -> Option<(f64, &'t str)> {
    let amps = facts.device.map_or(0.0, |d| d.amps.high());
    tables.disconnection_time(facts.earthing, facts.u0.high(), facts.serves, amps)
}

/// What a distributor usually declares for Ze, where one is usual: TN-S 0.8 Ω, TN-C-S 0.35 Ω, TT
/// 21 Ω without the consumer's electrode.
pub fn usual_ze(tables: &Tables, earthing: Earthing) -> Ohms {
    Ohms::exact(match earthing {
        Earthing::TnS => tables.external.tn_s_ohms,
        Earthing::TnCS => tables.external.tn_c_s_ohms,
        Earthing::Tt => tables.external.tt_electrode_ohms,
    })
}

/// Rounded to so many places, halves away from nothing, as the tables of BS 7671 are.
pub fn rounded(value: f64, places: u8) -> f64 {
    let scale = 10f64.powi(places.min(9).into());
    (value * scale).round() / scale
}

fn fixed(value: f64, places: u8) -> String {
    format!("{value:.*}", usize::from(places.min(9)))
}
