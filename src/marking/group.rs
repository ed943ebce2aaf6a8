use super::{Criterion, Sheet};
use crate::terms::{FaultKind, Stage};
use jiff::Timestamp;
use serde::Serialize;
use std::collections::BTreeMap;

/// The sheets of a group, side by side.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Group {
    /// Every attempt, by learner and then by time.
    pub attempts: Vec<Attempt>,
    /// Which faults were missed most.
    pub missed: Vec<Missed>,
    /// Which kinds of step took longest.
    pub steps: Vec<StepTimes>,
    /// How often each criterion was lapsed in, and by how many learners.
    pub criteria: Vec<(Criterion, usize, usize)>,
}

/// One attempt in a line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Attempt {
    /// Which sheet, by its place in the list that was given.
    pub sheet: usize,
    /// Who.
    pub learner: String,
    /// The learner's first, second, third attempt.
    pub number: usize,
    /// When it was begun.
    pub begun: Timestamp,
    /// Whether it is passed.
    pub passed: bool,
    /// The share of the points.
    pub points: Option<f64>,
    /// By how much that is more than the attempt before.
    pub gained: Option<f64>,
    /// How long it took, s.
    pub seconds: i64,
}

/// A kind of fault, and how it was found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Missed {
    /// The kind.
    pub kind: FaultKind,
    /// How often it was hidden.
    pub hidden: usize,
    /// How often its kind was named.
    pub named: usize,
}

/// How long steps of a kind took.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StepTimes {
    /// Their stage.
    pub stage: Stage,
    /// Their kind, by its name.
    pub kind: &'static str,
    /// The middle one of all attempts, s.
    pub middle: i64,
    /// The longest, s.
    pub longest: i64,
}

impl Group {
    /// Puts sheets side by side.
    pub fn of(sheets: &[Sheet]) -> Self {
        Self {
            attempts: attempts(sheets),
            missed: missed(sheets),
            steps: steps(sheets),
            criteria: Criterion::ALL
                .into_iter()
                .filter_map(|criterion| {
                    let lapsed = |sheet: &&Sheet| sheet.against(criterion).next().is_some();
                    let lapses = sheets.iter().map(|s| s.against(criterion).count()).sum();
                    let learners = sheets.iter().filter(lapsed).count();
                    (learners > 0).then_some((criterion, lapses, learners))
                })
                .collect(),
        }
    }
}

fn attempts(sheets: &[Sheet]) -> Vec<Attempt> {
    let mut order: Vec<usize> = (0..sheets.len()).collect();
    order.sort_by(|a, b| {
        let key = |n: &usize| {
            sheets
                .get(*n)
                .map(|sheet| (sheet.learner.clone(), sheet.begun))
        };
        key(a).cmp(&key(b))
    });
    let mut attempts: Vec<Attempt> = Vec::new();
    for n in order {
        let Some(sheet) = sheets.get(n) else { continue };
        let before = attempts
            .last()
            .filter(|before| before.learner == sheet.learner)
            .cloned();
        attempts.push(Attempt {
            sheet: n,
            learner: sheet.learner.clone(),
            number: before.as_ref().map_or(1, |before| before.number + 1),
            begun: sheet.begun,
            passed: sheet.passed,
            points: sheet.points,
            gained: before
                .and_then(|before| before.points)
                .zip(sheet.points)
                .map(|(before, now)| now - before),
            seconds: sheet.seconds(),
        });
    }
    attempts
}

fn missed(sheets: &[Sheet]) -> Vec<Missed> {
    let mut kinds: BTreeMap<FaultKind, (usize, usize)> = BTreeMap::new();
    for diagnosis in sheets.iter().filter_map(|sheet| sheet.diagnosis.as_ref()) {
        for fault in diagnosis.hidden.iter().flatten() {
            let (hidden, named) = kinds.entry(fault.kind).or_default();
            *hidden += 1;
            *named += usize::from(diagnosis.named.iter().any(|n| n.kind == fault.kind));
        }
    }
    let mut missed: Vec<Missed> = kinds
        .into_iter()
        .map(|(kind, (hidden, named))| Missed {
            kind,
            hidden,
            named,
        })
        .collect();
    missed.sort_by_key(|m| std::cmp::Reverse(m.hidden.saturating_sub(m.named)));
    missed
}

fn steps(sheets: &[Sheet]) -> Vec<StepTimes> {
    let mut of: BTreeMap<(Stage, &'static str), Vec<i64>> = BTreeMap::new();
    for sheet in sheets {
        for time in &sheet.times {
            let kind = (time.stage, time.kind);
            of.entry(kind).or_default().push(time.seconds);
        }
    }
    let mut times: Vec<StepTimes> = of
        .into_iter()
        .map(|((stage, kind), mut seconds)| {
            seconds.sort_unstable();
            StepTimes {
                stage,
                kind,
                middle: seconds.get(seconds.len() / 2).copied().unwrap_or(0),
                longest: seconds.last().copied().unwrap_or(0),
            }
        })
        .collect();
    times.sort_by_key(|time| std::cmp::Reverse(time.middle));
    times
}
