use super::about::{self, Told};
use super::line::Line;
use super::numbers::{capital, value};
use super::questions;
use crate::grammar::Intent;
use crate::installation::{Board, Earthing, InstrumentUse, JobKind, Phases, Source, board_said};
use crate::limits::insulation::Pattern;
use crate::quantity::{Conductors, Unit};
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Doubt, Edition, EventNo, Mode, Refusal, Step, StepKind};
use crate::sequence::procedures::{self, Catalogue, Fault, SUPPLY_VOLTAGE};
use crate::sequence::state::{OutEntry, Question};
use crate::terms::{Alteration, Change, HalfCycle, Level, Part, Place, Stage, Statement};
use serde::Deserialize;
use std::collections::HashMap;
use std::sync::LazyLock;

/// What is asked for now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Prompt {
    /// The first time, and when it is asked for again.
    pub full: String,
    /// When steps like it were done before.
    pub brief: String,
    /// In the brief manner, where it comes as expected: place and pair, nothing where there never is
    /// anything to say; `None` where it is never shortened.
    pub short: Option<String>,
    /// Whether even that is known to whoever has heard the first of its kind.
    pub known: bool,
    /// Whether it is known from an earlier circuit, so that the circuit is enough where one begins.
    pub as_before: bool,
    /// Whether the first of its kind is said in full in the brief manner too.
    pub caution: bool,
    /// The grammar rule answers are heard with.
    pub rule: &'static str,
    /// Whether the full prompt is due: nothing like it has been done yet.
    pub first: bool,
    /// Every answer that it puts into the person's mouth.
    pub answers: Vec<Intent>,
    /// What each of the three tells.
    pub(super) in_full: Told,
    pub(super) in_brief: Told,
    pub(super) in_short: Told,
    /// The full and the brief one without the sentence that tells what to answer.
    pub(super) unanswered: (String, String),
}

impl Prompt {
    /// One with the same words whenever it is said.
    fn plain(text: &str, rule: &'static str, answers: Vec<Intent>, told: Told) -> Self {
        Self {
            full: text.to_owned(),
            brief: text.to_owned(),
            short: None,
            known: false,
            as_before: false,
            caution: false,
            rule,
            first: false,
            answers,
            in_full: told.clone(),
            in_brief: told,
            in_short: Told::default(),
            unanswered: (text.to_owned(), text.to_owned()),
        }
    }

    /// As first said: full the first time, brief later.
    pub fn due(&self) -> Line {
        Line::prompt(if self.first { &self.full } else { &self.brief })
    }

    /// The full prompt, for "say again".
    pub fn again(&self) -> Line {
        Line::prompt(&self.full)
    }
}

/// One entry of the file of prompts.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    kind: String,
    #[serde(default)]
    when: Vec<String>,
    full: String,
    brief: Option<String>,
    short: Option<String>,
    #[serde(default)]
    known: Vec<String>,
    #[serde(default)]
    caution: bool,
    first: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(default)]
    prompt: Vec<Entry>,
}

/// The prompts by kind, each with its variants in order.
#[derive(Debug, Default)]
pub struct Prompts(HashMap<String, Vec<Entry>>);

static SHIPPED: LazyLock<Prompts> = LazyLock::new(|| {
    // A test reads the file that is built in: every prompt is there and can be filled.
    Prompts::parse(include_str!("prompts.toml")).unwrap_or_default()
});

impl Prompts {
    /// Reads a file of prompts.
    ///
    /// # Errors
    /// What is wrong with it, and where.
    pub fn parse(text: &str) -> Result<Self, toml::de::Error> {
        let file: File = toml::from_str(text)?;
        let mut prompts = Self::default();
        for entry in file.prompt {
            prompts.0.entry(entry.kind.clone()).or_default().push(entry);
        }
        Ok(prompts)
    }

    fn find(&self, kind: &str, holds: &dyn Fn(&str) -> bool) -> Option<&Entry> {
        self.0
            .get(kind)?
            .iter()
            .find(|entry| entry.when.iter().all(|when| holds(when)))
    }
}

/// The entry for a step, from the file or from its procedure.
fn entry_of(agenda: &Agenda, step: &Step) -> Entry {
    let holds = |when: &str| holds(agenda, step, when);
    let kind = step.kind.name();
    if let Some(entry) = SHIPPED.find(kind, &holds) {
        return entry.clone();
    }
    let own = Prompts::parse(agenda.procedure(step).prompts()).unwrap_or_default();
    own.find(kind, &holds).cloned().unwrap_or_else(|| Entry {
        kind: kind.to_owned(),
        when: Vec::new(),
        full: "{Subject}".to_owned(),
        brief: None,
        short: None,
        known: Vec::new(),
        caution: false,
        first: None,
    })
}

/// Kinds of step that a catalogue plans for any job and that have no prompt: none.
pub fn without_prompt(catalogue: &Catalogue) -> Vec<&'static str> {
    let own: Vec<Prompts> = catalogue
        .all()
        .filter_map(|procedure| Prompts::parse(procedure.prompts()).ok())
        .collect();
    StepKind::ALL
        .iter()
        .map(|kind| kind.name())
        .filter(|name| {
            !SHIPPED.0.contains_key(*name) && !own.iter().any(|p| p.0.contains_key(*name))
        })
        .collect()
}

/// What is asked for now, at the level of the session: who is asked, or examined, is not told.
pub fn prompt(agenda: &Agenda) -> Prompt {
    let prompt = in_full(agenda);
    let instead = match agenda.level() {
        Level::Led => return prompt,
        _ if agenda.question().is_some() || agenda.mode() != Mode::Running => return prompt,
        // A danger is told to everybody, but to whoever is examined where there is none.
        level if is_dangerous(agenda) && (level == Level::Asked || !agenda.practises()) => {
            return prompt;
        }
        Level::Asked => WHAT_NEXT,
        Level::Silent => "",
    };
    Prompt {
        known: prompt.known,
        as_before: prompt.as_before,
        caution: prompt.caution,
        first: prompt.first,
        ..Prompt::plain(instead, prompt.rule, prompt.answers, Told::default())
    }
}

/// What stands for a prompt where who learns is asked.
pub(super) const WHAT_NEXT: &str = "What comes next?";

/// Whether a circuit is to be made safe now.
fn is_dangerous(agenda: &Agenda) -> bool {
    let current = agenda.current();
    current.is_some_and(|step| step.stage == Stage::MakeSafe)
}

/// The same as it is told to whoever is led, or asks for help; and to whoever teaches.
pub fn in_full(agenda: &Agenda) -> Prompt {
    let state = match agenda.mode() {
        Mode::Finished => "finished",
        Mode::Paused => "paused",
        Mode::StandingBy => "standing by",
        Mode::Noting if agenda.told_now().is_some() => "observing",
        Mode::Noting => "noting",
        Mode::Running => "nothing left",
    };
    let Some(step) = agenda.current().filter(|_| agenda.mode() == Mode::Running) else {
        return without_step(state);
    };
    if let Some(asked) = agenda.question() {
        return of_question(agenda, step, asked);
    }
    of_step(agenda, step)
}

/// What waits for an answer.
fn of_question(agenda: &Agenda, step: &Step, asked: &Question) -> Prompt {
    let text = questions::question(agenda, asked);
    let doubt = match asked {
        Question::Reading(no) => agenda.reading(*no).and_then(|record| record.doubt),
        _ => None,
    };
    let rule = match asked {
        Question::Circuit(..) => "circuit",
        _ => step.rule,
    };
    let (rule, answers) = match doubt {
        Some(Doubt::MaybeVolts) => (
            "which_unit",
            [Statement::Megohms, Statement::Volts]
                .map(Intent::Stated)
                .into(),
        ),
        Some(Doubt::LoadOrShort) => (step.rule, vec![load_out(), Intent::Affirm]),
        _ => (rule, vec![Intent::Affirm, Intent::Negative]),
    };
    // These name words besides "affirm" and "negative".
    let told = Told {
        to_say: doubt == Some(Doubt::LoadOrShort) || matches!(asked, Question::Circuit(..)),
        ..Told::default()
    };
    Prompt::plain(&text, rule, answers, told)
}

fn load_out() -> Intent {
    Intent::Altered(Alteration {
        part: Part::Load,
        change: Change::Out,
        place: None,
        both: false,
        parked: None,
    })
}

/// What is said where no step is asked for.
fn without_step(state: &str) -> Prompt {
    let mut answers = Vec::new();
    let entry = SHIPPED.find(state, &|_| false);
    let filled = entry.map(|entry| {
        fill(&entry.full, &mut |name| match name.strip_prefix("say:") {
            Some(key) => said(key).map(|said| in_mouth(&mut answers, said)),
            None => None,
        })
    });
    let filled = filled.unwrap_or_default();
    Prompt::plain(&filled.text, "anything", answers, filled.told)
}

/// The prompt of a step, whether or not it is asked for now.
pub fn of_step(agenda: &Agenda, step: &Step) -> Prompt {
    let entry = entry_of(agenda, step);
    let mut answers = Vec::new();
    let mut filled = |text: &str| {
        fill(text, &mut |name| match name.strip_prefix("say:") {
            Some(key) => said_at(agenda, step, key).map(|said| in_mouth(&mut answers, said)),
            None => slot(agenda, step, name),
        })
    };
    // Each live test of a board that stays in use has its warning.
    let live = holds(agenda, step, "live board");
    let warned = |filled: Filled| {
        if live {
            Filled {
                text: format!("Live work. {}", filled.text),
                unanswered: format!("Live work. {}", filled.unanswered),
                ..filled
            }
        } else {
            filled
        }
    };
    let full = warned(filled(&entry.full));
    let brief = entry.brief.as_deref().map(&mut filled).map(warned);
    let brief = brief.unwrap_or_else(|| full.clone());
    let known = !entry.known.is_empty() && entry.known.iter().all(|k| holds(agenda, step, k));
    let short = entry.short.as_deref().filter(|_| !live);
    let short = short.map(&mut filled);
    Prompt {
        in_full: full.told,
        in_brief: brief.told,
        in_short: short
            .as_ref()
            .map_or_else(Told::default, |s| s.told.clone()),
        unanswered: (full.unanswered, brief.unanswered),
        full: full.text,
        brief: brief.text,
        short: short.map(|short| short.text),
        known,
        as_before: known && entry.known.iter().any(|k| k == AS_BEFORE),
        caution: entry.caution || live,
        rule: step.rule,
        first: !agenda
            .plan()
            .steps
            .iter()
            .any(|other| other.kind == step.kind && agenda.outcome(other).is_some()),
        answers,
    }
}

/// What is said of a step that comes before the one wanted, and what that tells.
pub(super) fn first_comes(agenda: &Agenda, step: &Step) -> (String, Told) {
    // What is asked for now comes before that, where it puts back what is out on the same circuit.
    let goes_back =
        |now: &&Step| now.kind.puts_back() && now.beside(step) && now.order < step.order;
    let step = agenda.current().filter(goes_back).unwrap_or(step);
    let entry = entry_of(agenda, step);
    // Whoever is sent back to isolation is told in full what to do there.
    let brief = entry.brief.filter(|_| step.stage != Stage::Isolation);
    let text = entry.first.or(brief).unwrap_or(entry.full);
    let filled = fill(&text, &mut |name| match name.strip_prefix("say:") {
        Some(key) => said_at(agenda, step, key).map(|said| in_mouth(&mut Vec::new(), said)),
        None => slot(agenda, step, name),
    });
    // Its words are taken where it is asked for.
    let asked_now = agenda.current().map(|now| now.order) == Some(step.order);
    let text = match asked_now {
        true => filled.text,
        false => filled.unanswered,
    };
    (text, filled.told)
}

/// The words for an answer, which is remembered.
fn in_mouth(answers: &mut Vec<Intent>, said: Intent) -> String {
    let words = said.words();
    if !answers.contains(&said) {
        answers.push(said);
    }
    words
}

/// A text of the file with its braces filled.
#[derive(Debug, Clone, Default)]
struct Filled {
    text: String,
    /// Without what stands in brackets.
    unanswered: String,
    told: Told,
}

/// What is filled by the number of the step's circuit, or by words that hold it.
const NAMES_CIRCUIT: [&str; 6] = [
    "subject",
    "circuit",
    "number",
    "rcd",
    "whose button",
    "last",
];

/// Fills what stands in braces; a name that is not known stays as it is, which a test finds. What stands
/// in brackets tells what to say.
fn fill(text: &str, value: &mut dyn FnMut(&str) -> Option<String>) -> Filled {
    let mut filled = Filled::default();
    let mut answering = false;
    let mut rest = text;
    while let Some(at) = rest.find(['{', '[', ']']) {
        let (before, after) = rest.split_at(at);
        filled.push(before, answering);
        let mark = after.chars().next();
        rest = after.get(1..).unwrap_or_default();
        if mark != Some('{') {
            answering = mark == Some('[');
            filled.told.to_say = true;
            if answering {
                let end = filled.unanswered.trim_end().len();
                filled.unanswered.truncate(end);
            }
            continue;
        }
        let Some((name, after)) = rest.split_once('}') else {
            filled.push("{", answering);
            continue;
        };
        let lower = name.to_lowercase();
        filled.told.circuit |= NAMES_CIRCUIT.contains(&lower.as_str());
        filled.told.board |= lower == "board";
        filled.told.to_say |= lower.starts_with("say:");
        match value(name) {
            Some(value) => filled.push(&value, answering),
            None => filled.push(&format!("{{{name}}}"), answering),
        }
        rest = after;
    }
    filled.push(rest, answering);
    filled
}

impl Filled {
    fn push(&mut self, text: &str, answering: bool) {
        self.text.push_str(text);
        if !answering {
            self.unanswered.push_str(text);
        }
    }
}

/// Whether a variant's condition holds.
fn holds(agenda: &Agenda, step: &Step, when: &str) -> bool {
    let phases = agenda.circuit_of(step).map(|circuit| circuit.phases);
    let first_like_it = || {
        let mut like_it = agenda.plan().beside(step).filter(|o| o.kind == step.kind);
        like_it.next().map(|first| first.order) == Some(step.order)
    };
    match when {
        "megohms" => step.measure().is_some_and(|m| m.unit == Unit::MegOhm),
        "three-phase" => phases == Some(Phases::Three) && step.pair.is_some(),
        "first point" | "first pair" => first_like_it(),
        "not the first" => !first_like_it(),
        AS_BEFORE => is_as_before(agenda, step),
        "other half, or as before" => !first_like_it() || is_as_before(agenda, step),
        "place known" => is_place_known(agenda, step),
        "nothing isolated" => {
            agenda.plan().isolation(step.board).next().is_none()
                || procedures::to_put_back(agenda.state(), step).any(|entry| is_live(agenda, entry))
        }
        "every line" => phases == Some(Phases::Three) && agenda.edition() >= Edition::Fourth,
        "was read" => agenda.has_a_result(step),
        "functional earth in" => may_have_a_functional_earth(agenda, step),
        "energised" => agenda.energised(step.board),
        "all together" => procedures::waits_for_all_together(agenda.state(), step.board),
        "surge listed" => agenda
            .board(step.board)
            .is_some_and(|board| board.surge.is_some()),
        "circuits" => agenda
            .board(step.board)
            .is_some_and(Board::isolates_circuits),
        "all off" => agenda.all_stay_off(step.board),
        "board is live" => agenda.energised(step.board),
        "nothing comes out" => {
            agenda.job().kind == JobKind::LiveRetest && agenda.edition() >= Edition::Fifth
        }
        "live board" => {
            let board = agenda.board(step.board);
            board.is_some_and(|board| agenda.job().tests_live(board)) && step.is_live_work()
        }
        "electronics in" => matches!(
            agenda.procedure(step).guard(agenda.state(), step),
            Err(Refusal::ElectronicsInCircuit { .. })
        ),
        "failed" => about::failed_with(agenda, step.board).next().is_some(),
        "must be put right" => {
            let mut failed = about::failed_with(agenda, step.board);
            failed.any(|step| agenda.no_reason_passes(step))
        }
        "supply wrong" => agenda.supply_faults(step.board).next().is_some(),
        "supply reversed" => agenda
            .supply_faults(step.board)
            .any(|fault| fault.measure().is_none()),
        "found reversed" => about::failed_with(agenda, step.board)
            .any(|step| procedures::fault_of(agenda.state(), step) == Some(Fault::Reversed)),
        "ring" => agenda.is_on_a_ring(step),
        "incoming" => step.incoming,
        "volts asked" => {
            let mut beside = agenda.plan().beside(step);
            beside.any(|other| other.kind == SUPPLY_VOLTAGE)
        }
        "reopened" => step.circuit.is_some_and(|circuit| {
            !procedures::reopened(agenda.state(), step.board, circuit).is_empty()
        }),
        "suspected" => step
            .circuit
            .is_some_and(|circuit| agenda.suspicion(step.board, circuit).is_some()),
        // Of several RCDs it is told which, wherever its tests begin.
        "first of its RCD" => agenda.group_of(step).is_some_and(|group| {
            let mut all = agenda.plan().on(step.board, None);
            let same =
                |other: &&Step| agenda.group_of(other).map(|of| of.number) == Some(group.number);
            all.find(same).map(|first| first.order) == Some(step.order)
        }),
        "electrode" => agenda.job().supply.earthing == Earthing::Tt,
        _ => false,
    }
}

/// Whether it is out of what stays live while circuits of its board are isolated: earthing, a bond.
pub(super) fn is_live(agenda: &Agenda, entry: &OutEntry) -> bool {
    let board = agenda.board(entry.board);
    let of_all = matches!(entry.part, Part::EarthingConductor | Part::Bond);
    of_all && board.is_some_and(Board::isolates_circuits)
}

/// The condition that an earlier circuit had the same.
const AS_BEFORE: &str = "as before";

/// Whether an earlier circuit of the board had the same done, with the same residual current where that
/// is the matter: single-phase, where the pairs are the same too.
fn is_as_before(agenda: &Agenda, step: &Step) -> bool {
    let about = |step: &Step| {
        let circuit = agenda.circuit_of(step)?;
        let milliamps = circuit.rcd.as_ref().map(|rcd| rcd.milliamps);
        let residual = step.stage == Stage::Rcd;
        Some((circuit.phases, milliamps.filter(|_| residual)))
    };
    let mut earlier = agenda
        .plan()
        .steps
        .iter()
        .take_while(|other| other.order < step.order);
    let here = about(step).filter(|(phases, _)| *phases == Phases::Single);
    here.is_some()
        && earlier.any(|other| {
            let same = (other.kind, other.board) == (step.kind, step.board);
            same && other.circuit != step.circuit && !agenda.is_open(other) && about(other) == here
        })
}

/// Whether its place is known without being named: the only one; number 1 where it comes first; or the next number after the one
/// before, and not the last, by whose name a person who has left one out would find it.
fn is_place_known(agenda: &Agenda, step: &Step) -> bool {
    if agenda.zs_place(step) != step.place {
        return false;
    }
    let alike = |other: &&Step| other.kind == step.kind && other.pair == step.pair;
    let all: Vec<&Step> = agenda.plan().beside(step).filter(alike).collect();
    if all.len() < 2 {
        return true;
    }
    let numbered = |step: &Step| {
        let place = step.place.as_ref()?;
        Some((place.name.clone(), place.number?))
    };
    let Some(at) = all.iter().position(|other| other.order == step.order) else {
        return false;
    };
    let is_last = at + 1 == all.len();
    let before = at.checked_sub(1).and_then(|before| all.get(before));
    match (before, numbered(step)) {
        (None, Some((_, number))) => number == 1,
        (Some(before), Some((name, number))) if !is_last => {
            numbered(before).is_some_and(|(same, last)| name == same && number == last + 1)
        }
        _ => false,
    }
}

/// What a name in braces stands for; a capital first letter asks for one.
fn slot(agenda: &Agenda, step: &Step, name: &str) -> Option<String> {
    let lower = name.to_lowercase();
    if lower != name {
        return slot(agenda, step, &lower).map(|text| capital(&text));
    }
    let circuit = || agenda.circuit_of(step);
    match name {
        "subject" => Some(about::subject(step)),
        "board" => Some(board_said(step.board).to_string()),
        "board name" => agenda.board(step.board).map(|board| board.name.clone()),
        "sources" => Some(sources(&agenda.job().supply.sources)),
        "item" => step.item().map(|number| number.to_string()),
        "item text" => {
            let number = step.item()?;
            let inspection = agenda.job().inspection.as_ref()?;
            Some(inspection.item(&number)?.text.clone())
        }
        "codes" => Some(about::codes(agenda)),
        "circuits" => agenda.board(step.board).map(|board| {
            let off = |circuit: u16| {
                step.stage == Stage::Energise && agenda.stays_off(step.board, circuit)
            };
            about::circuits_of(board, off)
        }),
        "number" => step.circuit.map(|number| number.to_string()),
        "circuit" => circuit().map(|c| format!("circuit {}, {}", c.number, c.name)),
        "tester on its reference" => {
            let (tester, reads) = procedures::reference_of(agenda.job(), step)?;
            let reads = value(&reads, agenda.delivery().wording);
            Some(format!("{tester}, on its reference: {reads}"))
        }
        "rcd" if agenda.group_of(step).is_some() => agenda.group_of(step).map(|group| {
            format!(
                "RCD {}, {} milliamps, of {}",
                group.number,
                group.milliamps,
                group.over()
            )
        }),
        "rcd" => circuit().and_then(|c| {
            let rcd = c.rcd.as_ref()?;
            Some(format!(
                "circuit {}, {} milliamp RCD",
                c.number, rcd.milliamps
            ))
        }),
        // Where there is one line only, it needs no name.
        ", line of several" => Some(match (holds(agenda, step, "three-phase"), step.pair) {
            (true, Some(pair)) => {
                let place = slot(agenda, step, "place")?;
                format!(", {} at {place}", pair.from().spoken())
            }
            _ => String::new(),
        }),
        ", another rating" => Some(match is_as_before(agenda, step) {
            true => String::new(),
            // That of several circuits is named with its rating.
            false => circuit()
                .and_then(|c| c.rcd.as_ref())
                .map(|rcd| format!(", {} milliamps", rcd.milliamps))
                .unwrap_or_default(),
        }),
        ", pair of several" => Some(match (holds(agenda, step, "three-phase"), step.pair) {
            (true, Some(pair)) => format!(", {}", pair.spoken()),
            _ => String::new(),
        }),
        // Where it begins with number 1 it begins as it should.
        " place past one" => Some(match &step.place {
            Some(place) if place.number == Some(1) => String::new(),
            Some(place) => format!(" {}.", capital(&place.to_string())),
            None => String::new(),
        }),
        "milliamps" if agenda.group_of(step).is_some() => {
            let group = agenda.group_of(step);
            group.map(|group| format!("RCD {}, {} milliamps", group.number, group.milliamps))
        }
        // The device that a button belongs to.
        "whose button" => match agenda.group_of(step) {
            Some(group) => Some(format!("RCD {}", group.number)),
            None => step.circuit.map(|number| format!("circuit {number}")),
        },
        "milliamps" => {
            circuit().and_then(|c| Some(format!("{} milliamps", c.rcd.as_ref()?.milliamps)))
        }
        "place" => Some(match agenda.zs_place(step) {
            Some(place) => place.to_string(),
            None => "the furthest point".to_owned(),
        }),
        "bond" => step
            .place
            .as_ref()
            .map(|place| place.name.trim_end_matches(" bond").to_owned()),
        "pair" => step.pair.map(|pair| pair.spoken()),
        "line" => step.pair.map(|pair| pair.from().spoken()),
        "joined" => step
            .pair
            .map(|pair| format!("{} joined, to {}", pair.from().spoken(), pair.to().spoken())),
        "conductor" => step.conductor.map(Conductors::spoken),
        "voltage" => Some(step.measure()?.at?.to_string()),
        "volts" => Some(step.measure()?.at?.volts().to_string()),
        "half" => Some(match step.measure()?.half? {
            HalfCycle::Positive => "positive".to_owned(),
            HalfCycle::Negative => "negative".to_owned(),
        }),
        "lives" => Some(lives(agenda, step).spoken()),
        "inside" => {
            let inside = match agenda.procedure(step).guard(agenda.state(), step) {
                Err(Refusal::ElectronicsInCircuit { inside, .. }) => inside,
                _ => agenda.electronics_in(step.board, step.circuit?),
            };
            Some(about::electronics(&inside))
        }
        "finding" => Some(finding(agenda, step)),
        "failed" => Some(about::failed(agenda, step.board)),
        "fatal" => Some(about::fatal(agenda, step.board)),
        "reopened" => {
            let places = procedures::reopened(agenda.state(), step.board, step.circuit?);
            let names: Vec<_> = places.iter().map(ToString::to_string).collect();
            Some(names.join(" and "))
        }
        "to put back" => {
            let all = || procedures::to_put_back(agenda.state(), step);
            if step.circuit.is_some() {
                let what: Vec<_> = all().map(OutEntry::what).collect();
                return Some(what.join("; "));
            }
            // Between dead tests, only what bars them all: on no circuit, or on any; or a link on one
            // of those that are tested together.
            let joined = joined_in_all(agenda, step.board);
            let bars_all = |entry: &OutEntry| {
                let anywhere = entry.circuit.is_none() && !procedures::is_surge(entry);
                anywhere || joined.contains(&entry.no)
            };
            let between = agenda.open_dead_tests(step.board) > 0 && all().any(bars_all);
            let what: Vec<_> = all()
                .filter(|entry| !between || bars_all(entry))
                .map(|entry| about::what(agenda.state(), entry))
                .collect();
            Some(what.join("; "))
        }
        "instrument" => Some(instrument(agenda, step)),
        "last" => step.id.tail.rsplit('/').next().map(str::to_owned),
        _ => None,
    }
}

/// An RCBO may have an earth of its own, through which its electronics would be read, or harmed. Common
/// practice; BS 7671 643.3.3 for what may be harmed.
fn may_have_a_functional_earth(agenda: &Agenda, step: &Step) -> bool {
    let circuit = step.circuit.and_then(|no| agenda.circuit(step.board, no));
    let device = circuit.and_then(|circuit| circuit.device.as_ref());
    let out = |entry: &OutEntry| {
        entry.part == Part::FunctionalEarth
            && entry.board == step.board
            && entry.circuit.is_none_or(|no| Some(no) == step.circuit)
    };
    device.is_some_and(|device| device.kind.is_rcbo()) && !agenda.sure_entries().any(out)
}

/// The links by which a test of all circuits of a board together would be joined.
fn joined_in_all(agenda: &Agenda, board: u16) -> Vec<EventNo> {
    let mut steps = agenda.open_steps();
    let joined = steps.find_map(|step| {
        let together = step.board == board && step.circuit.is_none() && step.is_dead_test();
        match agenda.guard_of_a_move(step) {
            Err(Refusal::Joined { entries }) if together => Some(entries),
            _ => None,
        }
    });
    joined.unwrap_or_default()
}

/// What a `{say:...}` means at a step.
fn said_at(agenda: &Agenda, step: &Step, key: &str) -> Option<Intent> {
    match key {
        "stays-off" => about::fatal_circuit(agenda, step.board)
            .or_else(|| about::failed_circuit(agenda, step.board))
            .or(step.circuit)
            .map(Intent::StaysOff),
        key => said(key),
    }
}

/// What a `{say:...}` means whatever the step: a statement or a command by its name.
fn said(key: &str) -> Option<Intent> {
    let altered_at = |place, part, change| {
        Intent::Altered(Alteration {
            part,
            change,
            place,
            both: false,
            parked: None,
        })
    };
    let altered = |part, change| altered_at(None, part, change);
    match key {
        "surge-out" => Some(altered_at(
            Some(Place::surge_protection()),
            Part::Accessory,
            Change::Out,
        )),
        "load-out" => Some(load_out()),
        "bond-back" => Some(altered(Part::Bond, Change::Back)),
        "ring-ends-back" => Some(altered(Part::RingEnds, Change::Back)),
        "uncrossed" => Some(altered(Part::Link, Change::Uncrossed)),
        "observe" => Some(Intent::Observe),
        "go-to-isolation" => Some(Intent::GoTo(Stage::Isolation)),
        "go-to-supply-polarity" => Some(Intent::GoTo(Stage::SupplyPolarity)),
        "go-to-external-loop" => Some(Intent::GoTo(Stage::ExternalLoop)),
        "linked" => Some(altered(Part::Link, Change::Linked)),
        "unlinked" => Some(altered(Part::Link, Change::Unlinked)),
        "earthing-off" => Some(altered(Part::EarthingConductor, Change::Out)),
        "earthing-back" => Some(altered(Part::EarthingConductor, Change::Back)),
        "not-tested" => Some(Intent::NotTested(None)),
        "override" => Some(Intent::Override(None)),
        "finish" => Some(Intent::Finish),
        "resume" => Some(Intent::Resume),
        "carry-on" => Some(Intent::CarryOn),
        "end-of-note" => Some(Intent::EndOfNote),
        "affirm" => Some(Intent::Affirm),
        "negative" => Some(Intent::Negative),
        statement => serde_json::from_value::<Statement>(statement.into())
            .ok()
            .map(Intent::Stated),
    }
}

fn lives(agenda: &Agenda, step: &Step) -> Conductors {
    let phases = agenda.circuit_of(step).map(|circuit| circuit.phases);
    procedures::joined_to_earth(phases.unwrap_or(Phases::Single)).from()
}

/// What the readings at 250 V look like, when something is suspected.
fn finding(agenda: &Agenda, step: &Step) -> String {
    let suspected = step
        .circuit
        .is_some_and(|circuit| agenda.suspicion(step.board, circuit).is_some());
    match procedures::pattern(agenda.state(), step).filter(|_| suspected) {
        Some(Pattern::Sound) | None => String::new(),
        Some(pattern) => format!("{} ", pattern.spoken()),
    }
}

fn instrument(agenda: &Agenda, step: &Step) -> String {
    let used_for = match step.measure().map(|m| m.unit) {
        Some(Unit::MegOhm) => InstrumentUse::Insulation,
        _ => InstrumentUse::Continuity,
    };
    let mut all = agenda.job().instruments.iter();
    all.find(|i| i.used_for.contains(&used_for))
        .map(|i| format!("{}, serial {}. ", capital(&i.name), i.serial))
        .unwrap_or_default()
}

fn sources(sources: &[Source]) -> String {
    let names: Vec<_> = sources.iter().map(|source| source.shown()).collect();
    names.join(", ")
}
