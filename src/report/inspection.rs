//! The schedule of inspection and what was observed, as data and on the pages. Marks and codes are those
//! of the wiring standard's model form.

use crate::installation::InspectionItem;
use crate::log::Log;
use crate::sequence::procedures::inspection::OUTCOME;
use crate::sequence::{Agenda, Event, EventNo, Observation, Picture, StepOutcome, say};
use crate::terms::Statement;
use jiff::Timestamp;
use serde::Serialize;

/// The schedule of inspection of one session.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct InspectionReport {
    /// Where numbers and texts of the items come from.
    pub edition: String,
    /// What of the installation the visit covers.
    pub extent: Option<String>,
    /// What was agreed to be left out.
    pub agreed_limitations: Option<String>,
    /// With whom.
    pub agreed_with: Option<String>,
    /// What could not be done on the day.
    pub operational_limitations: Option<String>,
    /// In the order of the list.
    pub sections: Vec<SectionRows>,
    /// What the person said of the whole; nothing while that was not said.
    pub outcome: Option<OutcomeRow>,
}

/// A section of the schedule of inspection.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SectionRows {
    /// Its number.
    pub number: u16,
    /// What it is about.
    pub name: String,
    /// Its items.
    pub items: Vec<ItemRow>,
}

/// An item of the schedule of inspection.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ItemRow {
    /// Its number.
    pub number: String,
    /// What is looked at.
    pub text: String,
    /// The regulations that it rests on.
    pub regulation: Option<String>,
    /// ✓, C1, C2, C3, FI, LIM, N/V or N/A; nothing while it is open.
    pub mark: Option<&'static str>,
    /// What was said, in words; the reason where it was left out.
    pub said: String,
    /// The event that brought it.
    pub event: Option<EventNo>,
}

/// What was said of the whole.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OutcomeRow {
    /// "satisfactory" or "unsatisfactory".
    pub said: &'static str,
    /// The event that brought it.
    pub event: EventNo,
    /// The codes that stand against it, where it was said to be satisfactory all the same.
    pub against: Option<String>,
}

impl OutcomeRow {
    /// Whether it is unsatisfactory.
    pub fn is_unsatisfactory(&self) -> bool {
        self.said == Statement::Unsatisfactory.shown()
    }

    /// The form's rule, where the outcome was said against it.
    pub fn rule(&self) -> Option<String> {
        self.against.as_ref().map(|codes| {
            let stand = if codes.contains(',') { "stand" } else { "stands" };
            format!(
                "Affirmed while {codes} {stand}: by the form's own rule, with C1, C2 or FI the outcome is unsatisfactory."
            )
        })
    }
}

/// Something that was seen, with its code.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ObservationRow {
    /// From 1, in the order in which they were made.
    pub number: usize,
    /// C1, C2, C3 or FI.
    pub code: &'static str,
    /// What the code means.
    pub means: &'static str,
    /// The item of the inspection that it belongs to.
    pub item: Option<String>,
    /// The board's number.
    pub board: u16,
    /// The circuit, when one was named.
    pub circuit: Option<u16>,
    /// Where.
    pub place: Option<String>,
    /// What was typed.
    pub words: Vec<String>,
    /// The events that hold what was spoken, as sound.
    pub sounds: Vec<EventNo>,
    /// Its photographs.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub photos: Vec<PhotoRow>,
    /// The code, as it was said.
    #[serde(skip)]
    pub said: Statement,
    /// The event that began it.
    pub event: EventNo,
    /// When.
    pub at: Timestamp,
}

/// A photograph of something that was seen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PhotoRow {
    /// The event that holds it.
    pub event: EventNo,
    /// What sort of file it is, and how large.
    pub what: String,
    /// The picture itself.
    #[serde(skip)]
    pub picture: Picture,
}

impl ObservationRow {
    fn of(number: usize, seen: &Observation, log: &Log) -> Self {
        let (typed, sounds): (Vec<_>, Vec<_>) =
            seen.noted.iter().partition(|(_, text)| text.is_some());
        Self {
            number,
            code: seen.code.form_mark().unwrap_or_default(),
            means: seen.code.code_means().unwrap_or_default(),
            item: seen.item.map(|item| item.to_string()),
            board: seen.board,
            circuit: seen.circuit,
            place: seen.place.as_ref().map(ToString::to_string),
            words: typed
                .into_iter()
                .filter_map(|(_, text)| text.clone())
                .collect(),
            sounds: sounds.into_iter().map(|(no, _)| *no).collect(),
            photos: seen
                .photos
                .iter()
                .filter_map(|no| photo(log, *no))
                .collect(),
            said: seen.code,
            event: seen.no,
            at: seen.at,
        }
    }

    /// Where it is: "board 1, circuit 3, socket 2, item 4.3".
    pub fn place(&self) -> String {
        let parts = [
            Some(format!("board {}", self.board)),
            self.circuit.map(|circuit| format!("circuit {circuit}")),
            self.place.clone(),
            self.item.as_ref().map(|item| format!("item {item}")),
        ];
        parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
    }

    /// The more dangerous, the smaller.
    pub(super) fn rank(&self) -> (bool, Option<usize>) {
        let place = Statement::CODES.iter().position(|code| *code == self.said);
        (!self.said.is_against_satisfactory(), place)
    }

    /// What is to be done about it, for whoever is in charge.
    pub(super) fn advice(&self) -> &'static str {
        match self.said {
            Statement::DangerCodeOne => "Keep away from it, and have it made safe at once.",
            Statement::CodeTwo => "Have it put right without delay.",
            Statement::FurtherInvestigation => "Have it looked into without delay.",
            _ => "It is advised to have it improved.",
        }
    }

    /// What is said in place of its photographs: "photo of observation 2: no lid on the board".
    pub(super) fn instead_of_photo(&self) -> String {
        format!("photo of observation {}: {}", self.number, self.text())
    }

    /// What was seen, in the person's words.
    pub fn text(&self) -> String {
        let sounds = self.sounds.iter();
        let sounds = sounds.map(|no| format!("kept as sound, event {no}"));
        let all: Vec<String> = self.words.iter().cloned().chain(sounds).collect();
        if all.is_empty() {
            "not described".to_owned()
        } else {
            all.join("; ")
        }
    }
}

fn photo(log: &Log, no: EventNo) -> Option<PhotoRow> {
    match &log.entry(no)?.event {
        Event::Photographed { picture, .. } => Some(PhotoRow {
            event: no,
            what: picture.shown(),
            picture: picture.clone(),
        }),
        _ => None,
    }
}

/// What was seen and not taken back.
pub(super) fn observations(log: &Log, agenda: &Agenda) -> Vec<ObservationRow> {
    let seen = agenda.observations().enumerate();
    seen.map(|(n, seen)| ObservationRow::of(n + 1, seen, log))
        .collect()
}

/// The schedule of inspection, where one belongs to the job.
pub(super) fn inspected(agenda: &Agenda) -> Option<InspectionReport> {
    let inspection = agenda.job().inspection.as_ref()?;
    let list = inspection.items.as_ref()?;
    let sections = list.sections.iter().map(|section| SectionRows {
        number: section.number,
        name: section.name.clone(),
        items: section.items.iter().map(|item| row(agenda, item)).collect(),
    });
    Some(InspectionReport {
        edition: list.edition.clone(),
        extent: inspection.extent.clone(),
        agreed_limitations: inspection.agreed_limitations.clone(),
        agreed_with: inspection.agreed_with.clone(),
        operational_limitations: inspection.operational_limitations.clone(),
        sections: sections.collect(),
        outcome: outcome(agenda),
    })
}

fn row(agenda: &Agenda, item: &InspectionItem) -> ItemRow {
    let step = agenda.plan().item(item.number);
    let (mark, said, event) = match step.and_then(|step| agenda.outcome(step)) {
        Some(StepOutcome::Stated(no, said)) => {
            (said.form_mark(), said.shown().to_owned(), Some(*no))
        }
        Some(StepOutcome::NotTested(no, reason)) => (
            Statement::Limitation.form_mark(),
            format!("not inspected: {reason}"),
            Some(*no),
        ),
        Some(StepOutcome::Skipped(no, reason)) => {
            (None, format!("left for later: {reason}"), Some(*no))
        }
        // A board that stays live is not looked into.
        None if step.is_none() => (
            Statement::Limitation.form_mark(),
            "not inspected: the board stays live at this visit".to_owned(),
            None,
        ),
        Some(StepOutcome::Read(_)) | None => (None, "not yet".to_owned(), None),
    };
    ItemRow {
        number: item.number.to_string(),
        text: item.text.clone(),
        regulation: item.regulation.clone(),
        mark,
        said,
        event,
    }
}

fn outcome(agenda: &Agenda) -> Option<OutcomeRow> {
    let step = agenda
        .plan()
        .steps
        .iter()
        .find(|step| step.kind == OUTCOME)?;
    let StepOutcome::Stated(event, said) = agenda.outcome(step)? else {
        return None;
    };
    // Those that stood when it was affirmed.
    let against = |seen: &&Observation| seen.no < *event && seen.code.is_against_satisfactory();
    let codes: Vec<&str> = agenda
        .observations()
        .filter(against)
        .filter_map(|seen| seen.code.form_mark())
        .collect();
    let all_the_same = *said == Statement::Satisfactory && !codes.is_empty();
    Some(OutcomeRow {
        said: said.shown(),
        event: *event,
        against: all_the_same.then(|| codes.join(", ")),
    })
}

impl InspectionReport {
    /// Extent and limitations, by name.
    pub fn agreed(&self) -> Vec<(&'static str, String)> {
        let with = self.agreed_with.as_ref();
        let agreed = self.agreed_limitations.as_ref().map(|text| match with {
            Some(with) => format!("{text} (agreed with {with})"),
            None => text.clone(),
        });
        [
            ("Extent", self.extent.clone()),
            ("Agreed limitations", agreed),
            (
                "Operational limitations",
                self.operational_limitations.clone(),
            ),
        ]
        .into_iter()
        .filter_map(|(name, text)| Some((name, text?)))
        .collect()
    }

    /// What was said of the whole, in a sentence.
    pub fn outcome_shown(&self) -> String {
        match &self.outcome {
            None => "Outcome of the whole: not said yet.".to_owned(),
            Some(outcome) => {
                let rule = outcome.rule().map(|rule| format!(" {rule}"));
                format!(
                    "Outcome of the whole, as the person who inspected says: {}.{}",
                    outcome.said,
                    rule.unwrap_or_default()
                )
            }
        }
    }

    /// What the numbers and texts rest on, and what the marks mean.
    pub fn key(&self) -> String {
        let codes = Statement::OF_AN_ITEM.into_iter().filter_map(|said| {
            let means = said.code_means().unwrap_or(said.shown());
            Some(format!("{} {means}", said.form_mark()?))
        });
        format!(
            "{}. Items: {}.",
            codes.collect::<Vec<_>>().join("; "),
            self.edition
        )
    }
}

/// The mark of an item, as it is shown.
pub(super) fn mark(item: &ItemRow) -> &'static str {
    item.mark.unwrap_or("–")
}

/// What an item's mark is when read aloud or looked at closely.
pub(super) fn aloud(item: &ItemRow) -> String {
    say::capital(&item.said)
}
