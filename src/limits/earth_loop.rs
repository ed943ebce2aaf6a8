//! Earth fault loop impedance, disconnection, fault current, protective conductor size and
//! voltage drop.

use super::conductor::temperature_factor;
use super::facts::{Acts, CircuitFacts, Overcurrent};
use super::kinds::Earthing;
use super::tables::{Fuse, FuseRow, Provenance, TABLE_VOLTS, Tables};
use super::words::{Said, said};
use crate::quantity::{
    Amps, Celsius, KiloAmps, MilliAmps, Ohms, SquareMillimetres, Truth, Volts, measure, tidy,
};

/// The largest earth fault loop impedance that lets a device disconnect in time.
#[derive(Debug, Clone, PartialEq)]
pub struct MaximumZs {
    /// The limit, Ω.
    pub ohms: Ohms,
    /// The number as the table prints it, with its trailing noughts: 1.70.
    pub shown: String,
    /// The sum in one line.
    pub arithmetic: Said,
    /// Regulation and table.
    pub clause: String,
    /// How well it is founded.
    pub mark: Provenance,
    /// The time it is for, s; shorter than asked when only a stricter table is at hand.
    pub seconds: f64,
    /// Whether only a stricter table than needed was at hand: more than the limit settles nothing.
    pub stricter: bool,
}

impl MaximumZs {
    /// The most that may be read cold by the rule of thumb, 0.8 of the limit.
    pub fn cold(&self, tables: &Tables) -> Ohms {
        self.ohms.times(tables.loop_cold.factor)
    }
}

/// The current that makes a circuit-breaker trip instantaneously, Ia = multiple × In, or its setting
/// with its tolerance; nothing for a fuse.
pub fn instantaneous(tables: &Tables, device: &Overcurrent) -> Option<Amps> {
    if let Some(Acts::AtSetting { instantaneous, .. }) = device.acts {
        return Some(Amps::exact(instantaneous * tables.setting.tolerance));
    }
    Some(device.amps.times(tables.breaker_multiple(device.kind)?))
}

/// The setting that acts within so many seconds: the lower one where its delay is short enough.
fn setting(device: &Overcurrent, seconds: f64) -> Option<f64> {
    match device.acts? {
        Acts::AtSetting {
            short_time: Some((amps, delay)),
            ..
        } if delay <= seconds => Some(amps),
        Acts::AtSetting { instantaneous, .. } => Some(instantaneous),
        Acts::FromAmps(_) | Acts::WithinOhms(_) => None,
    }
}

/// The current that operates a device within so many seconds, by the multiple of a circuit-breaker
/// or the row of a fuse; a shorter time's where there is no row for this one. With how well it is
/// founded.
pub fn operating(
    tables: &Tables,
    device: &Overcurrent,
    seconds: f64,
) -> Option<(Amps, Provenance)> {
    if let Some((multiple, mark)) = tables.breaker_multiple_in(device.kind, seconds) {
        return Some((device.amps.times(multiple), mark));
    }
    if let Some(amps) = setting(device, seconds) {
        let amps = Amps::exact(amps * tables.setting.tolerance);
        return Some((amps, tables.setting.mark));
    }
    match device.acts {
        Some(Acts::FromAmps(ia)) => return Some((Amps::exact(ia), Provenance::Published)),
        Some(Acts::WithinOhms(ohms)) => {
            let ia = tables.earth_loop.cmin * TABLE_VOLTS / ohms;
            return Some((Amps::exact(ia), Provenance::Published));
        }
        Some(Acts::AtSetting { .. }) | None => {}
    }
    let (_, row) = fuse_row(tables, device, seconds)?;
    Some((Amps::exact(tables.operating_current(row)), row.mark))
}

/// How soon a device clears a current, as far as the tables tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Clearing {
    /// Under so many seconds: only the maker's let-through energy tells more.
    Under(f64),
    /// In at most so many seconds.
    Within(f64),
    /// No row of the tables says that it clears it.
    NotSaid,
}

/// How soon a device clears a current: a circuit-breaker in its instantaneous region and a fuse
/// at its gate in under a tenth of a second; a fuse above the current of its 0.4 s row in 0.4 s; and
/// so on.
pub fn clearing(tables: &Tables, device: &Overcurrent, current: Amps) -> Clearing {
    let reached = |ia: f64| current.is_at_least(Amps::exact(ia)) == Truth::Yes;
    let Some(amps) = device.amps.value() else {
        return Clearing::NotSaid;
    };
    let quick = match instantaneous(tables, device) {
        Some(ia) => ia.value(),
        None => tables.fuse_gate(device.kind, amps),
    };
    if quick.is_some_and(reached) {
        return Clearing::Under(tables.adiabatic.makers_seconds);
    }
    let slow = tables.breaker(device.kind).and_then(|breaker| breaker.slow);
    let slow = slow.map(|slow| (slow.seconds, slow.multiple * amps));
    let delayed = match device.acts {
        Some(Acts::AtSetting {
            short_time: Some((amps, delay)),
            ..
        }) => Some((delay, amps * tables.setting.tolerance)),
        _ => None,
    };
    let rows = tables
        .fuses
        .iter()
        .filter(|fuse| fuse.kind == device.kind)
        .filter_map(|fuse| {
            let row = fuse.zs.iter().find(|row| row.amps == amps)?;
            Some((fuse.seconds, tables.operating_current(row)))
        });
    slow.into_iter()
        .chain(delayed)
        .chain(rows)
        .filter(|(_, ia)| reached(*ia))
        .map(|(seconds, _)| seconds)
        .min_by(f64::total_cmp)
        .map_or(Clearing::NotSaid, Clearing::Within)
}

/// The row of a fuse for the longest time that is not longer than this.
fn fuse_row<'t>(
    tables: &'t Tables,
    device: &Overcurrent,
    seconds: f64,
) -> Option<(&'t Fuse, &'t FuseRow)> {
    let amps = device.amps.value()?;
    tables
        .fuses
        .iter()
        .filter(|fuse| fuse.kind == device.kind && fuse.seconds <= seconds)
        .filter_map(|fuse| Some((fuse, fuse.zs.iter().find(|row| row.amps == amps)?)))
        .max_by(|(a, _), (b, _)| a.seconds.total_cmp(&b.seconds))
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
    let earth_loop = &tables.earth_loop;
    let cmin = (earth_loop.cmin != 1.0).then_some(earth_loop.cmin);
    if let Some((multiple, mark)) = tables.breaker_multiple_in(device.kind, seconds) {
        let amps = device.amps.value()?;
        let exact = earth_loop.cmin * volts / (multiple * amps);
        let ohms = rounded(exact, earth_loop.places);
        let shown = fixed(ohms, earth_loop.places);
        return Some(MaximumZs {
            ohms: Ohms::exact(ohms),
            arithmetic: match cmin {
                Some(cmin) => said!(BreakerSumCmin, cmin, volts, multiple, amps, shown),
                None => said!(BreakerSum, volts, multiple, amps, shown),
            },
            shown,
            clause: earth_loop.clause.clone(),
            mark,
            seconds,
            stricter: false,
        });
    }
    if let Some(limit) = by_setting(tables, device, volts, seconds) {
        return Some(limit);
    }
    if let Some(acts) = device.acts {
        return by_its_own(tables, acts, volts, seconds);
    }
    let (table, row) = fuse_row(tables, device, seconds)?;
    let printed = as_printed(row.ohms);
    let from = match (row.ia, row.older) {
        (Some(ia), _) => {
            let sum = said!(FuseByCurrent, TABLE_VOLTS, ia);
            let sum = cmin.map_or(sum.clone(), |cmin| said!(Times, cmin, sum));
            Some((sum, earth_loop.cmin * TABLE_VOLTS / ia))
        }
        (None, Some(older)) => {
            let printed = as_printed(older);
            let sum = match cmin {
                Some(cmin) => said!(FuseByOlderCmin, cmin, printed),
                None => said!(FuseByOlder, printed),
            };
            Some((sum, earth_loop.cmin * older))
        }
        (None, None) => None,
    };
    let from = match from {
        Some((sum, value)) if rounded(value, earth_loop.places) == row.ohms => {
            said!(FuseSum, sum, printed)
        }
        Some((sum, value)) => said!(FuseRounded, sum, value, printed),
        None => said!(FuseOhms, printed),
    };
    let ohms = if volts == TABLE_VOLTS {
        row.ohms
    } else {
        rounded(row.ohms * volts / TABLE_VOLTS, earth_loop.places)
    };
    let shown = as_printed(ohms);
    let from = if volts == TABLE_VOLTS {
        from
    } else {
        said!(FuseScaled, from, printed, volts, TABLE_VOLTS, shown)
    };
    Some(MaximumZs {
        ohms: Ohms::exact(ohms),
        shown,
        arithmetic: said!(FuseTable, device.kind, device.amps, table.seconds, from),
        clause: table.clause.clone(),
        mark: row.mark,
        seconds: table.seconds,
        stricter: table.seconds < seconds,
    })
}

/// Of a breaker that is judged by its setting.
fn by_setting(
    tables: &Tables,
    device: &Overcurrent,
    volts: f64,
    seconds: f64,
) -> Option<MaximumZs> {
    let amps = setting(device, seconds)?;
    let (cmin, places) = (tables.earth_loop.cmin, tables.earth_loop.places);
    let tolerance = tables.setting.tolerance;
    // Down, where it is small: a hundredth is much of it.
    let ohms = rounded_down(cmin * volts / (tolerance * amps), places.max(3));
    let shown = fixed(ohms, places.max(3));
    Some(MaximumZs {
        ohms: Ohms::exact(ohms),
        arithmetic: said!(SettingSum, cmin, volts, tolerance, amps, shown),
        shown,
        clause: tables.setting.clause.clone(),
        mark: tables.setting.mark,
        seconds,
        stricter: false,
    })
}

/// Of a device that brings a limit of its own.
fn by_its_own(tables: &Tables, acts: Acts, volts: f64, seconds: f64) -> Option<MaximumZs> {
    let (cmin, places) = (tables.earth_loop.cmin, tables.earth_loop.places);
    let (ohms, shown, arithmetic) = match acts {
        Acts::FromAmps(ia) => {
            let ohms = rounded(cmin * volts / ia, places);
            let shown = fixed(ohms, places);
            (
                ohms,
                shown.clone(),
                said!(OwnCurrentSum, cmin, volts, ia, shown),
            )
        }
        Acts::WithinOhms(ohms) => {
            let shown = as_printed(ohms);
            (ohms, shown.clone(), said!(OwnLimit, shown))
        }
        Acts::AtSetting { .. } => return None,
    };
    Some(MaximumZs {
        ohms: Ohms::exact(ohms),
        shown,
        arithmetic,
        clause: tables.earth_loop.clause.clone(),
        // The job file names its source.
        mark: Provenance::Published,
        seconds,
        stricter: false,
    })
}

fn rounded_down(value: f64, places: u8) -> f64 {
    let scale = 10f64.powi(places.min(9).into());
    (value * scale + 1e-9).floor() / scale
}

/// Resistance measured at `t`, as it is with the conductors at their running temperature:
/// × (1 + 0.004 × 50) / (1 + 0.004 (t - 20)) where that is 70 °C.
pub fn heating_factor(tables: &Tables, t: Celsius, running: f64) -> (f64, f64) {
    let (running, _) = temperature_factor(tables, Celsius::exact(running));
    let (cold, warm) = temperature_factor(tables, t);
    (running / warm, running / cold)
}

/// Zs with the conductors at running temperature: Ze + (Zs - Ze) × heating factor.
///
/// Without Ze only bounds can be given: from nothing of the loop warming to all of it.
pub fn running_zs(tables: &Tables, zs: Ohms, ze: Option<Ohms>, t: Celsius, running: f64) -> Ohms {
    let (low, high) = heating_factor(tables, t, running);
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
pub fn voltage_drop(tables: &Tables, load: Amps, r1_rn: Ohms, t: Celsius, running: f64) -> Volts {
    let (low, high) = heating_factor(tables, t, running);
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

/// A number as the fuse tables print it, three digits of it or two decimals: 16.8, 9.10, 0.50.
fn as_printed(value: f64) -> String {
    let least = if value >= 10.0 { 1 } else { 2 };
    let needed = tidy(value).split_once('.').map_or(0, |(_, d)| d.len());
    format!("{value:.*}", needed.max(least))
}

fn fixed(value: f64, places: u8) -> String {
    format!("{value:.*}", usize::from(places.min(9)))
}
