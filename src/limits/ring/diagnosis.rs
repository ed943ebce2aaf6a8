use super::fault::RingFault;
use super::{CrossedPair, Ends, Leg, PointReading, round_the_ring};
use crate::limits::conductor;
use crate::limits::facts::CableRun;
use crate::limits::tables::Tables;
use crate::limits::words::{Said, said};
use crate::quantity::{Celsius, Metres, Ohms, Truth, measure};
use serde::Serialize;

/// What the readings of a ring say.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RingDiagnosis {
    /// Everything that looks wrong; empty for a ring that reads as it should. A spur that the job
    /// file declares is listed too.
    pub faults: Vec<RingFault>,
    /// The highest line to cpc reading that settles a value: R1+R2 of the circuit.
    pub r1_r2: Option<Ohms>,
    /// The numbers, one sum a line, to be recomputed by hand.
    pub numbers: Vec<Said>,
    /// Whether every leg and both stages at every point have been read.
    pub complete: bool,
}

impl RingDiagnosis {
    /// Whether nothing looks wrong: no fault but declared spurs.
    pub fn looks_sound(&self) -> bool {
        self.faults
            .iter()
            .all(|f| matches!(f, RingFault::Spur { declared: true, .. }))
    }
}

/// Reads the pattern of a ring's readings. `points` in their order from the board; `run` gives the
/// sizes and the length round the ring, where known.
pub fn diagnose(
    tables: &Tables,
    run: Option<&CableRun>,
    ends: &Ends,
    points: &[PointReading],
) -> RingDiagnosis {
    let mut found = RingDiagnosis {
        faults: Vec::new(),
        r1_r2: None,
        numbers: Vec::new(),
        complete: points
            .iter()
            .all(|p| p.line_neutral.is_some() && p.line_cpc.is_some())
            && !points.is_empty(),
    };
    legs(tables, run, ends, &mut found);
    let no_ring = |f: &RingFault| matches!(f, RingFault::OpenLeg { .. } | RingFault::NoLoop { .. });
    if found.faults.iter().any(no_ring) {
        return found;
    }
    let round = Round {
        tables,
        run,
        ends,
        points,
    };
    round.stages(&mut found);
    round.points(&mut found);
    found
}

fn legs(tables: &Tables, run: Option<&CableRun>, ends: &Ends, found: &mut RingDiagnosis) {
    let all = [
        (Leg::Line, "r1", ends.line),
        (Leg::Neutral, "rn", ends.neutral),
        (Leg::Cpc, "r2", ends.cpc),
    ];
    let open: Vec<_> = all
        .iter()
        .filter(|(_, _, r)| r.is_unbounded())
        .map(|(leg, _, _)| *leg)
        .collect();
    for (_, symbol, r) in all {
        found.numbers.push(said!(LegReads, symbol, r));
    }
    if !open.is_empty() {
        found.faults.push(RingFault::OpenLeg { legs: open });
        return;
    }
    let least = Ohms::exact(tables.ring.least_ohms);
    for (leg, _, r) in all {
        if r.is_at_most(least) == Truth::Yes {
            found.faults.push(RingFault::NoLoop { leg });
        }
    }
    let within = Ohms::exact(tables.ring.within_ohms);
    let (line, neutral) = (ends.line, ends.neutral);
    for (higher, a, b) in [(Leg::Line, line, neutral), (Leg::Neutral, neutral, line)] {
        if a.is_at_most(b + within) == Truth::No {
            found.faults.push(RingFault::UnequalLegs { higher });
        }
    }
    let Some(run) = run else { return };
    let Some((expected, tolerated)) = cpc_beside_line(tables, run, line.hull(neutral)) else {
        return;
    };
    found.numbers.push(said!(
        RatioReads,
        run.line.shown(),
        run.cpc.shown(),
        expected
    ));
    match ends.cpc.is_within(tolerated) {
        Truth::No => found.faults.push(RingFault::CpcRatio {
            higher: ends.cpc.low() > expected.high(),
        }),
        Truth::Yes | Truth::CannotSay => {}
    }
}

/// What r2 should be beside r1, and how far it may stray: r1 times the ratio of the sizes, and of
/// the tabulated resistances, which differ a little.
pub fn cpc_beside_line(tables: &Tables, run: &CableRun, line: Ohms) -> Option<(Ohms, Ohms)> {
    let by_size = run.line.value()? / run.cpc.value()?;
    let each = conductor::line_per_metre(tables, run)?.value()?;
    let by_table = conductor::cpc_per_metre(tables, run)?.value()? / each;
    let ratio = (by_size.min(by_table), by_size.max(by_table));
    let expected = Ohms::between(line.low() * ratio.0, line.high() * ratio.1);
    // A reading error in r1 comes back multiplied by the ratio.
    let within = Ohms::exact(tables.ring.within_ohms).times(ratio.1.clamp(1.0, 10.0));
    let slack = within + expected.times(tables.ring.cpc_within_factor);
    Some((expected, expected.widened(slack)))
}

struct Round<'r> {
    tables: &'r Tables,
    run: Option<&'r CableRun>,
    ends: &'r Ends,
    points: &'r [PointReading],
}

impl Round<'_> {
    fn tolerance(&self) -> Ohms {
        Ohms::exact(self.tables.ring.point_within_ohms)
    }

    fn reading(&self, point: &PointReading, stage: CrossedPair) -> Option<Ohms> {
        match stage {
            CrossedPair::LineNeutral => point.line_neutral,
            CrossedPair::LineCpc => point.line_cpc,
        }
    }

    /// How much more than a sound ring a point reads, at the least and at the most, since its
    /// place on the ring is not known; nothing when it was not read or is open.
    fn excess(&self, point: &PointReading, stage: CrossedPair) -> Option<(f64, f64)> {
        let reading = self.reading(point, stage)?;
        if reading.is_unbounded() {
            return None;
        }
        let ring = round_the_ring(self.ends, stage);
        Some((
            reading.middle() - ring.high(),
            reading.middle() - ring.low(),
        ))
    }

    /// Faults of a whole stage: not joined, or not crossed; and the numbers.
    fn stages(&self, found: &mut RingDiagnosis) {
        let symbols = [
            (CrossedPair::LineNeutral, "rn"),
            (CrossedPair::LineCpc, "r2"),
        ];
        for (stage, other) in symbols {
            let ring = round_the_ring(self.ends, stage);
            let (ra, rb) = stage.pair(self.ends);
            found.numbers.push(said!(
                CrossedReads,
                stage.said(),
                other,
                ra.shown(),
                rb.shown(),
                (ra + rb).times(0.25),
                ring
            ));
            let read: Vec<_> = self
                .points
                .iter()
                .filter_map(|p| Some((p, self.reading(p, stage)?)))
                .collect();
            if !read.is_empty() && read.iter().all(|(_, r)| r.is_unbounded()) {
                if read.len() > 1 {
                    found.faults.push(RingFault::EndsNotJoined { stage });
                }
                continue;
            }
            let floor = Ohms::exact((ring.low() - self.tolerance().high()).max(0.0));
            let low: Vec<_> = read
                .iter()
                .enumerate()
                .filter(|(_, (_, r))| r.is_at_least(floor) == Truth::No)
                .collect();
            let at_an_end = |i: usize| i == 0 || i + 1 == read.len();
            // Only points near the board fall far below; towards the middle the two ways of
            // joining read alike.
            let crossed_wrong = low.len() > 1 || low.iter().any(|(i, _)| at_an_end(*i));
            if crossed_wrong {
                found.faults.push(RingFault::EndsNotCrossed { stage });
            } else {
                for (_, (point, _)) in low {
                    let point = point.name.clone();
                    found.faults.push(RingFault::TooLow { point, stage });
                }
            }
            if stage == CrossedPair::LineCpc {
                found.r1_r2 = read
                    .iter()
                    .map(|(_, r)| *r)
                    .filter(|r| !r.is_unbounded())
                    .max_by(|a, b| a.middle().total_cmp(&b.middle()));
            }
        }
    }

    /// Faults of single points, or of several neighbours.
    fn points(&self, found: &mut RingDiagnosis) {
        let whole_stage = |stage: CrossedPair| {
            found.faults.iter().any(|f| {
                matches!(f, RingFault::EndsNotJoined { stage: s } | RingFault::EndsNotCrossed { stage: s } if *s == stage)
            })
        };
        let (ln_off, le_off) = (
            whole_stage(CrossedPair::LineNeutral),
            whole_stage(CrossedPair::LineCpc),
        );
        let mut faults = Vec::new();
        let mut high: Vec<(usize, f64)> = Vec::new();
        let threshold = self.tables.ring.point_within_ohms;
        for (i, point) in self.points.iter().enumerate() {
            let name = || point.name.clone();
            let open = |r: Option<Ohms>, off: bool| r.filter(|_| !off).map(|r| r.is_unbounded());
            let ln_open = open(point.line_neutral, ln_off);
            let le_open = open(point.line_cpc, le_off);
            match (ln_open, le_open) {
                (Some(true), Some(true)) => {
                    faults.push(RingFault::NeutralCpcReversed { point: name() });
                    continue;
                }
                (Some(true), _) => {
                    faults.push(RingFault::LineCpcReversed { point: name() });
                    continue;
                }
                (_, Some(true)) => {
                    faults.push(RingFault::LineNeutralReversed { point: name() });
                    continue;
                }
                _ => {}
            }
            let ln = self
                .excess(point, CrossedPair::LineNeutral)
                .filter(|_| !ln_off);
            let le = self.excess(point, CrossedPair::LineCpc).filter(|_| !le_off);
            match (ln, le) {
                (Some(ln), Some(le)) if ln.0.max(le.0) > threshold => {
                    // A spur shows in both stages, a joint of one conductor in one.
                    if ln.1 < le.0 * ONE_SIDED && ln.1 < threshold {
                        let leg = Leg::Cpc;
                        faults.push(RingFault::HighJoint { point: name(), leg });
                    } else if le.1 < ln.0 * ONE_SIDED && le.1 < threshold {
                        let leg = Leg::Neutral;
                        faults.push(RingFault::HighJoint { point: name(), leg });
                    } else {
                        high.push((i, ln.0));
                    }
                }
                (Some((one, _)), None) | (None, Some((one, _))) if one > threshold => {
                    high.push((i, one));
                }
                _ => {}
            }
        }
        self.spurs_and_bridges(&high, &mut faults);
        found.faults.append(&mut faults);
    }

    /// Neighbours that read high, with the highest not last, are inside a bridged part of the ring;
    /// points that grow outward, or stand alone, are on spurs.
    fn spurs_and_bridges(&self, high: &[(usize, f64)], faults: &mut Vec<RingFault>) {
        let mut groups: Vec<Vec<(usize, f64)>> = Vec::new();
        for &(i, excess) in high {
            match groups.last_mut() {
                Some(group)
                    if group.last().is_some_and(|(last, _)| last + 1 == i)
                        && !self.declared(i)
                        && group.iter().all(|(j, _)| !self.declared(*j)) =>
                {
                    group.push((i, excess));
                }
                _ => groups.push(vec![(i, excess)]),
            }
        }
        for group in groups {
            if self.bridged(&group) {
                let points = group.iter().filter_map(|(i, _)| self.name(*i)).collect();
                faults.push(RingFault::Interconnection { points });
                continue;
            }
            for (i, _) in group {
                let Some(point) = self.points.get(i) else {
                    continue;
                };
                faults.push(RingFault::Spur {
                    point: point.name.clone(),
                    declared: point.spur,
                    length: self.spur_length(point),
                });
            }
        }
    }

    fn declared(&self, i: usize) -> bool {
        self.points.get(i).is_some_and(|p| p.spur)
    }

    fn name(&self, i: usize) -> Option<String> {
        self.points.get(i).map(|p| p.name.clone())
    }

    fn bridged(&self, group: &[(usize, f64)]) -> bool {
        if group.iter().any(|(i, _)| self.declared(*i)) {
            return false;
        }
        let most = group.iter().map(|(_, e)| *e).fold(0.0, f64::max);
        let short = self.shortfall().is_some_and(|s| s > SHORTFALL * most);
        let grows = group
            .windows(2)
            .all(|w| w[1].1 > w[0].1 + self.tables.ring.point_within_ohms / 2.0);
        match group {
            [_] => short,
            _ => !grows || short,
        }
    }

    /// How much less the line reads end to end than its length gives; a bridge takes at least
    /// twice the highest excess off.
    fn shortfall(&self) -> Option<f64> {
        let run = self.run?;
        let t = Celsius::exact(self.tables.temperature.test_celsius);
        let each = conductor::line_per_metre(self.tables, run)?;
        let whole = conductor::of_length(self.tables, each, run.length?, t);
        let read = self.ends.line.hull(self.ends.neutral).middle();
        let short = whole.middle() - read;
        (short > whole.middle() * ESTIMATE).then_some(short)
    }

    /// Length of the spur from how much more than the ring the point reads, in both stages.
    fn spur_length(&self, point: &PointReading) -> Option<Metres> {
        let run = self.run?;
        let line: Ohms = conductor::line_per_metre(self.tables, run)?.to::<measure::Ohm>();
        let cpc: Ohms = conductor::cpc_per_metre(self.tables, run)?.to::<measure::Ohm>();
        let by = |reading: Option<Ohms>, stage: CrossedPair, each: Ohms| {
            let reading = reading.filter(|r| !r.is_unbounded())?;
            let spur = reading.less(round_the_ring(self.ends, stage));
            let (low, high) = spur.ratio(each);
            Some(Metres::between(low, high))
        };
        let ln = by(point.line_neutral, CrossedPair::LineNeutral, line + line);
        let le = by(point.line_cpc, CrossedPair::LineCpc, line + cpc);
        match (ln, le) {
            (Some(a), Some(b)) => Some(a.hull(b)),
            (a, b) => a.or(b),
        }
    }
}

/// An excess in one stage below this share of the other's belongs to one conductor.
const ONE_SIDED: f64 = 0.3;
/// A bridge takes at least twice the highest excess off the end-to-end reading; some of it is lost
/// in the estimate of the length.
const SHORTFALL: f64 = 1.6;
/// How far an estimated length may be out.
const ESTIMATE: f64 = 0.12;
