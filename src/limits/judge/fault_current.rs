//! Prospective fault current at a board.

use super::{arrow, typed};
use crate::limits::{Outcome, Phases, Tables, Verdict};
use crate::quantity::{Conductors, KiloAmps, Pair, Reading, Truth, measure, tidy};

/// The largest prospective fault current at a board against the smallest rated breaking capacity
/// of its devices.
///
/// `readings` are line to neutral, line to earth, and between lines where measured. On three
/// phases without a reading between lines the line to neutral value counts twice.
pub fn fault_current(
    tables: &Tables,
    supply_phases: Phases,
    breaking: Option<KiloAmps>,
    readings: &[(Pair, Reading)],
) -> Verdict {
    let clause = &tables.fault_current.clause;
    let text = match breaking {
        Some(capacity) => format!("at most {capacity}, the smallest breaking capacity here"),
        None => "at most the rated breaking capacity".to_owned(),
    };
    let mut values = Vec::new();
    for (pair, reading) in readings {
        match typed::<measure::KiloAmp>(tables, reading, None, &text, clause) {
            Ok(value) => values.push((*pair, value)),
            Err(verdict) => return *verdict,
        }
    }
    let between_lines = |p: &Pair| !p.to_earth() && p.to() != Conductors::N;
    let mut shown: Vec<_> = values.iter().map(|(p, v)| format!("{p} {v}")).collect();
    let mut largest: Option<KiloAmps> = None;
    let mut count = |v: KiloAmps| {
        largest = Some(largest.map_or(v, |l| {
            KiloAmps::between(l.low().max(v.low()), l.high().max(v.high()))
        }));
    };
    let all_measured = values.iter().any(|(p, _)| between_lines(p));
    for (pair, value) in &values {
        count(*value);
        let to_neutral = pair.to() == Conductors::N;
        if supply_phases == Phases::Three && !all_measured && to_neutral {
            let factor = tables.fault_current.three_phase_factor;
            let doubled = value.times(factor);
            shown.push(format!(
                "three-phase {} × {} = {doubled}",
                tidy(factor),
                value.shown()
            ));
            count(doubled);
        }
    }
    let Some(largest) = largest else {
        return Verdict::new(tables, Outcome::CannotSay, text, clause, "nothing read");
    };
    let Some(capacity) = breaking else {
        return Verdict::new(
            tables,
            Outcome::CannotSay,
            text,
            clause,
            format!("{}; largest {largest}", shown.join(", ")),
        )
        .remarked(
            "No device here has a breaking capacity in the job file: read it off the devices and \
             write breaking_ka.",
        );
    };
    let holds = largest.is_at_most(capacity);
    let verdict = Verdict::new(
        tables,
        holds.into(),
        text,
        clause,
        format!("{}; {}", shown.join(", "), arrow(holds, largest, capacity)),
    );
    match holds {
        Truth::No => verdict.remarked(
            "Above the devices' own breaking capacity: only a device upstream that limits the energy, \
             by its maker's tables, could change that (434.5.1, 536).",
        ),
        Truth::Yes | Truth::CannotSay => verdict,
    }
}
