use crate::log::Log;
use crate::marking::{Criteria, Economy, mark};
use crate::practice::Given;
use crate::sequence::say::refused_in_short;
use crate::sequence::{Agenda, Event, EventNo, ReadingStatus, ReplayError, StepOutcome, probing};
use std::collections::BTreeMap;

/// What is folded and how, as a server keeps it with each log. Raise it when folding or marking changes:
/// then every log that is handed in again is folded anew there, though no event is new.
pub(super) const FOLDED_AS: i32 = 2;

/// What became of one reading, or of one entry of the out-list: a row of `bothhands.folded`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoldedRow {
    /// "reading" or "out".
    pub item: &'static str,
    /// The event that brought it.
    pub number: u64,
    /// The spoken reading that it stands for: another than itself only for what was put right at
    /// the desk.
    pub origin: u64,
    /// Of a reading: counts, waits for affirm, taken back, replaced; of an entry: out, back, never
    /// out.
    pub stands: &'static str,
    /// The event that replaced it or put it back.
    pub by: Option<u64>,
    /// Of a reading: whether it is the one that its step was closed with.
    pub on_schedule: Option<bool>,
    /// Of an entry: whether the person went on with it out, with a reason.
    pub left_out: Option<bool>,
    /// Of a reading that was judged: the words of its limit, its arithmetic and its remark.
    pub said: [Option<String>; 3],
}

/// A refusal, or a probing in practice that would have been refused on site: a row of
/// `bothhands.folded_refusals`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RefusalRow {
    /// The event.
    pub number: u64,
    /// The board, where a step was asked for or probes were put.
    pub board: Option<u16>,
    /// The circuit.
    pub circuit: Option<u16>,
    /// The step that was asked for then.
    pub step: Option<String>,
    /// What was asked for, or where the probes were said to be.
    pub said: String,
    /// Why not, in a few words.
    pub why: String,
}

/// What the program makes of a log that somebody learned by.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum Marks {
    /// Nobody learned by it: an installation was tested.
    #[default]
    None,
    /// Its sheet by the usual criteria, as JSON.
    Sheet(String),
    /// Why it can't be marked.
    NotMarked(String),
}

/// A log as the program folds it, so that a server need not follow events by rules of its own.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Folded {
    /// The last event that was folded.
    pub last: u64,
    /// What became of everything.
    pub rows: Vec<FoldedRow>,
    /// What was refused.
    pub refusals: Vec<RefusalRow>,
    /// What it is worth to who learned by it.
    pub marks: Marks,
}

/// Folds a log. `hidden` is what is hidden in a practice that is not finished. `economy` remembers what it took to find out for other logs of the same job.
///
/// # Errors
/// When it is empty or does not begin with the job.
pub fn folded(
    log: &Log,
    hidden: Option<&Given>,
    economy: &mut Economy,
) -> Result<Folded, ReplayError> {
    let (agenda, refusals) = replayed(log)?;
    let mut origin: BTreeMap<EventNo, EventNo> = BTreeMap::new();
    for entry in &log.entries {
        if let Event::CorrectedAtDesk { of, .. } = entry.event {
            let first = origin.get(&of).copied().unwrap_or(of);
            origin.insert(entry.no, first);
        }
    }
    let readings = agenda.readings().map(|record| {
        let (stands, by) = match record.status {
            ReadingStatus::Counts => ("counts", None),
            ReadingStatus::Questioned => ("waits for affirm", None),
            ReadingStatus::Withdrawn => ("taken back", None),
            ReadingStatus::Replaced(by) => ("replaced", Some(by.0)),
        };
        let closed_with = agenda.outcome_of(&record.step);
        FoldedRow {
            item: "reading",
            number: record.no.0,
            origin: origin.get(&record.no).unwrap_or(&record.no).0,
            stands,
            by,
            on_schedule: Some(closed_with == Some(&StepOutcome::Read(record.no))),
            left_out: None,
            said: match &record.verdict {
                Some(verdict) => [
                    Some(verdict.limit.to_string()),
                    Some(verdict.arithmetic.to_string()),
                    verdict.remark.as_ref().map(ToString::to_string),
                ],
                None => Default::default(),
            },
        }
    });
    let out = agenda.out_list().iter().map(|entry| {
        let by = entry.back.map(|(by, _)| by.0);
        FoldedRow {
            item: "out",
            number: entry.no.0,
            origin: entry.no.0,
            stands: match (entry.withdrawn, by) {
                (true, _) => "never out",
                (false, Some(_)) => "back",
                (false, None) => "out",
            },
            by,
            on_schedule: None,
            left_out: Some(entry.overridden),
            said: Default::default(),
        }
    });
    Ok(Folded {
        last: agenda.next_event().0.saturating_sub(1),
        rows: readings.chain(out).collect(),
        refusals,
        marks: marks(log, &agenda, hidden, economy),
    })
}

/// The log at its end, and each refusal with what was asked for when it came.
fn replayed(log: &Log) -> Result<(Agenda, Vec<RefusalRow>), ReplayError> {
    let mut events = log.entries.iter();
    let first = events.next().ok_or(ReplayError::Empty)?;
    let mut agenda = Agenda::open(&first.event, first.at)?;
    let mut refusals = Vec::new();
    for entry in events {
        let (said, refusal, probe) = match &entry.event {
            Event::Refused { said, refusal } => (said.words(), Some(refusal), None),
            Event::Probed { probe, refusal, .. } => {
                (probing::said(probe).words(), refusal.as_ref(), Some(probe))
            }
            _ => (String::new(), None, None),
        };
        if let Some(refusal) = refusal {
            let step = agenda.current();
            refusals.push(RefusalRow {
                number: entry.no.0,
                board: probe.map_or(step.map(|step| step.board), |probe| Some(probe.board)),
                circuit: probe.map_or(step.and_then(|step| step.circuit), |probe| probe.circuit),
                step: step.map(|step| step.id.to_string()),
                said,
                why: refused_in_short(refusal),
            });
        }
        agenda.apply(&entry.event, entry.at);
    }
    Ok((agenda, refusals))
}

fn marks(log: &Log, agenda: &Agenda, hidden: Option<&Given>, economy: &mut Economy) -> Marks {
    if agenda.practice().is_none() {
        return Marks::None;
    }
    let hidden = hidden.and_then(|given| given.of_log(agenda));
    let sheet = mark(log, hidden.as_ref(), None, &Criteria::default(), economy)
        .map_err(|why| why.to_string())
        .and_then(|sheet| serde_json::to_string(&sheet).map_err(|why| why.to_string()));
    match sheet {
        Ok(sheet) => Marks::Sheet(sheet),
        Err(why) => Marks::NotMarked(why),
    }
}
