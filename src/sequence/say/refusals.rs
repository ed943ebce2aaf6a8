use super::line::Line;
use super::numbers::{capital, plural};
use super::prompt::{self, first_comes};
use super::questions::question;
use super::{about, asked};
use crate::grammar::Intent;
use crate::installation::{board_said, part_said};
use crate::sequence::agenda::Agenda;
use crate::sequence::amend::circuit_of;
use crate::sequence::facts::{Destination, Electronics, LeftOut, Mode, Refusal, Step};
use crate::sequence::procedures::{Fault, fault_of};
use crate::sequence::state::OutEntry;
use crate::terms::{Predicted, Stage, Statement};

/// What a refusal was for, in few words, wherever it was met: for a list of them.
pub fn refused_in_short(refusal: &Refusal) -> String {
    match refusal {
        Refusal::NotProvedDead { board } => format!("{} not proved dead", part_said(*board)),
        Refusal::ElectronicsInCircuit { circuit, .. } => {
            format!("more than 250 volts with electronics in circuit {circuit}")
        }
        Refusal::StillOut { entries } => {
            format!("{} still out", plural(*entries, "thing", "things"))
        }
        Refusal::MustGoBack { .. } => "what must go back first was off".to_owned(),
        Refusal::DeadTestsFailed { steps, .. } => {
            format!(
                "{} outside the limit before energising",
                plural(*steps, "dead test", "dead tests")
            )
        }
        Refusal::FirstComes { .. } => "another step comes first".to_owned(),
        Refusal::MustBePutRight { .. } => {
            "a fault that must be put right before energising".to_owned()
        }
        Refusal::Joined { .. } => "a link or crossing was on".to_owned(),
        Refusal::CircuitOff { circuit } => format!("circuit {circuit} stays off"),
        Refusal::ObservationNeeded => "what was seen was not told".to_owned(),
        Refusal::SayDead => "a voltage said where dead is the word".to_owned(),
        Refusal::DeadTestsOpen { steps, .. } => {
            format!(
                "{} open before energising",
                plural(*steps, "dead test", "dead tests")
            )
        }
        Refusal::NotEnergised { board } => format!("{} not energised", part_said(*board)),
        Refusal::Energised { board } => {
            format!("a dead test on {}, energised", part_said(*board))
        }
        Refusal::QuestionOpen => "a question was open".to_owned(),
        Refusal::Waiting { .. } => "the session waited".to_owned(),
        Refusal::Finished => "the session was finished".to_owned(),
        Refusal::NoSuchPlace { .. } => "no such place".to_owned(),
        Refusal::WrongQuantity { .. } => "another quantity was asked for".to_owned(),
        Refusal::NothingToCalculate { .. } => "nothing to calculate from".to_owned(),
        Refusal::NotAskedNow { .. } => "not asked for then".to_owned(),
        Refusal::NotIsolated { board } => {
            format!("a circuit of {} that was not isolated", part_said(*board))
        }
        Refusal::InANote => "said inside a note".to_owned(),
        Refusal::CodeNeeded => "an item without its code".to_owned(),
        Refusal::ItemByItem => "a whole section at once".to_owned(),
        Refusal::NotOut => "nothing like it was out".to_owned(),
        Refusal::WhichOne { .. } => "it could have been several".to_owned(),
        Refusal::WhereIsIt => "its place was not said".to_owned(),
        Refusal::ReasonNeeded { .. } => "no reason was given".to_owned(),
        Refusal::NothingToAnswer => "nothing was asked".to_owned(),
        Refusal::CannotBeSkipped => "a step that can't be left out".to_owned(),
        Refusal::NoSuchPoint { place } => format!("no {place} there"),
        Refusal::CircuitThere { circuit, .. } => format!("circuit {circuit} was there already"),
        Refusal::CircuitNotClear { circuit, .. } => {
            format!("what was said of circuit {circuit} was not clear")
        }
        Refusal::NameTheFault => "the fault was not named".to_owned(),
        Refusal::PredictFirst { .. } => "it was not predicted".to_owned(),
    }
}

/// Whether what is in circuit is the surge protection of the board alone.
fn is_surge_protection(inside: &[Electronics]) -> bool {
    let surge = |one: &Electronics| matches!(one, Electronics::Listed(place) if place.is_surge_protection());
    !inside.is_empty() && inside.iter().all(surge)
}

/// The same after what was said.
pub fn refused_to(said: &Intent, refusal: &Refusal) -> String {
    format!("{}: {}", said.words(), refused_in_short(refusal))
}

/// Why something is refused, in words.
#[derive(Debug, Default)]
pub(super) struct Why {
    /// Whether it begins with "No.".
    no: bool,
    why: String,
    /// What to do instead, and what else there is to say.
    way: String,
}

impl Why {
    /// "No.", and a sentence.
    fn no(why: impl Into<String>) -> Self {
        Self {
            no: true,
            ..Self::told(why)
        }
    }

    /// A sentence that tells by itself that it is not done.
    fn told(why: impl Into<String>) -> Self {
        Self {
            why: why.into(),
            ..Self::default()
        }
    }

    /// With what to do instead.
    fn way(self, way: impl Into<String>) -> Self {
        Self {
            way: way.into(),
            ..self
        }
    }

    fn joined(parts: [&str; 3]) -> String {
        let parts = parts.into_iter().filter(|part| !part.is_empty());
        parts.collect::<Vec<_>>().join(" ")
    }

    fn before(&self) -> &'static str {
        if self.no { "No." } else { "" }
    }

    /// All of it.
    fn in_full(&self) -> String {
        Self::joined([self.before(), &self.why, &self.way])
    }

    /// What is enough where it was just said.
    fn in_brief(&self) -> String {
        Self::joined([self.before(), &self.why, ""])
    }

    /// All of it but for the "No.".
    pub(super) fn without_no(&self) -> String {
        Self::joined(["", &self.why, &self.way])
    }
}

/// A refusal as it is said: in brief where it was just said.
pub(super) fn refused(agenda: &Agenda, refusal: &Refusal) -> Line {
    let why = self::refusal(agenda, refusal);
    Line::warning(why.in_full()).once(why.in_brief())
}

/// Why something is refused, and what to do instead.
pub(super) fn refusal(agenda: &Agenda, refusal: &Refusal) -> Why {
    match refusal {
        Refusal::NotProvedDead { .. }
        | Refusal::ElectronicsInCircuit { .. }
        | Refusal::StillOut { .. }
        | Refusal::MustBePutRight { .. }
        | Refusal::Joined { .. }
        | Refusal::MustGoBack { .. }
        | Refusal::DeadTestsFailed { .. }
        | Refusal::DeadTestsOpen { .. }
        | Refusal::NotEnergised { .. }
        | Refusal::Energised { .. }
        | Refusal::CircuitOff { .. }
        | Refusal::NotIsolated { .. }
        | Refusal::FirstComes { .. }
        | Refusal::CannotBeSkipped => by_a_guard(agenda, refusal),
        Refusal::ObservationNeeded
        | Refusal::InANote
        | Refusal::CodeNeeded
        | Refusal::ItemByItem
        | Refusal::SayDead
        | Refusal::ReasonNeeded { .. }
        | Refusal::WhichOne { .. }
        | Refusal::WhereIsIt
        | Refusal::NameTheFault
        | Refusal::PredictFirst { .. } => not_whole(agenda, refusal),
        Refusal::QuestionOpen
        | Refusal::Waiting { .. }
        | Refusal::Finished
        | Refusal::NoSuchPlace { .. }
        | Refusal::WrongQuantity { .. }
        | Refusal::NothingToCalculate { .. }
        | Refusal::NotAskedNow { .. }
        | Refusal::NotOut
        | Refusal::NothingToAnswer
        | Refusal::NoSuchPoint { .. }
        | Refusal::CircuitThere { .. }
        | Refusal::CircuitNotClear { .. } => not_now(agenda, refusal),
    }
}

/// Whether two refusals are told in the same words where nothing came between them: how many steps or entries
/// they count is not said.
pub(super) fn is_told_like(one: &Refusal, other: &Refusal) -> bool {
    match (one, other) {
        (Refusal::MustBePutRight { board, .. }, Refusal::MustBePutRight { board: same, .. })
        | (Refusal::DeadTestsFailed { board, .. }, Refusal::DeadTestsFailed { board: same, .. }) => {
            board == same
        }
        (Refusal::StillOut { .. }, Refusal::StillOut { .. })
        | (Refusal::MustGoBack { .. }, Refusal::MustGoBack { .. })
        | (Refusal::NotEnergised { .. }, Refusal::NotEnergised { .. })
        | (Refusal::Energised { .. }, Refusal::Energised { .. }) => true,
        _ => one == other,
    }
}

/// What a guard refuses.
fn by_a_guard(agenda: &Agenda, refusal: &Refusal) -> Why {
    match refusal {
        Refusal::NotProvedDead { board } => {
            let asked_now = agenda
                .current()
                .is_some_and(|step| step.stage == Stage::Isolation);
            let way = if asked_now {
                String::new()
            } else {
                format!(" Say {}.", to_isolation())
            };
            Why::no(format!(
                "{} not proved dead.",
                about::isolated_is(agenda, *board)
            ))
            .way(format!("Isolation comes first.{way}"))
        }
        Refusal::ElectronicsInCircuit {
            inside, circuit, ..
        } if is_surge_protection(inside) => Why::no(
            "Neutral to earth at five hundred volts goes across the surge protection.",
        )
        .way(format!(
            "Take it out, or the neutral of circuit {circuit} out of its bar, and say so."
        )),
        Refusal::ElectronicsInCircuit { inside, what, .. } => {
            let what = what.clone().unwrap_or_else(|| about::electronics(inside));
            Why::no(format!("Not at five hundred volts with {what} in circuit."))
                .way("Take it out, or link line and neutral and test to earth.")
        }
        Refusal::StillOut { .. } => {
            let out: Vec<_> = agenda.barring_entries().map(|entry| entry.no).collect();
            Why::no(format!(
                "Still out: {}.",
                about::entries(agenda, &out, "; ")
            ))
            .way(format!(
                "{}{}.",
                dead_first(agenda).unwrap_or_else(|| "Put it back and say so".to_owned()),
                or_stays_off(agenda.barring_entries().find_map(|entry| entry.circuit))
            ))
        }
        Refusal::MustBePutRight { board, .. } => Why::no(format!(
            "{}: no reason goes past that.",
            capital(&about::fatal(agenda, *board))
        ))
        .way(format!(
            "Put it right and test again{}.",
            or_stays_off(about::fatal_circuit(agenda, *board))
        )),
        Refusal::Joined { entries } => Why::no(format!(
            "{}: that would be read, and not the circuit.",
            capital(&about::entries(agenda, entries, "; "))
        ))
        .way(format!(
            "{}.",
            dead_first(agenda).unwrap_or_else(|| "Take it off first".to_owned())
        )),
        Refusal::CircuitOff { circuit } => {
            Why::told(format!("Circuit {circuit} stays off.")).way(format!(
                "To work on it again, say {}.",
                Intent::Circuit(*circuit).words()
            ))
        }
        Refusal::NotIsolated { board } => Why::no(format!(
            "Circuits of board {} are isolated each by its own device, and this one was not.",
            board_said(*board)
        ))
        .way("Test it at a visit of its own, or isolate the board."),
        Refusal::MustGoBack { .. } => {
            Why::no(format!("{}.", capital(&must_go_back(agenda)))).way(format!(
                "That goes back first, and no reason goes past it.{}",
                dead_first(agenda).map_or_else(String::new, |how| format!(" {how}."))
            ))
        }
        Refusal::DeadTestsFailed { board, .. } => Why::no(format!(
            "Outside the limit: {}.",
            about::failed(agenda, *board)
        ))
        .way(format!(
            "Put it right and test again{}; or say {}.",
            or_stays_off(about::failed_circuit(agenda, *board)),
            what_passes(agenda, *board)
        )),
        Refusal::FirstComes { step, what } => {
            let asked = || {
                let step = agenda.step(step.as_ref()?)?;
                Some(first_comes(agenda, step).0)
            };
            let what = what.clone().or_else(asked).unwrap_or_default();
            Why::no(format!("First: {what}"))
        }
        Refusal::DeadTestsOpen { steps } => Why::no(format!(
            "{} first, or say not tested and a reason.",
            plural(*steps, "dead test is open", "dead tests are open")
        )),
        Refusal::NotEnergised { .. } => {
            Why::no("Live tests come after energising, and energising after the dead tests.")
        }
        Refusal::Energised { .. } => Why::no("You said it is energised.")
            .way(format!("Before any dead test, say {}.", to_isolation())),
        _ => {
            let current = agenda.current();
            match current.filter(|step| agenda.has_a_result(step)) {
                Some(step) => Why::no("What was found there stands.").way(format!(
                    "Test it again, or say where to go on{}.",
                    or_stays_off(step.circuit)
                )),
                None => Why::no("That can't be left out."),
            }
        }
    }
}

/// What was said is not whole, or is said otherwise.
fn not_whole(agenda: &Agenda, refusal: &Refusal) -> Why {
    match refusal {
        Refusal::ObservationNeeded => Why::told("Not without what you saw.").way(format!(
            "Say {}, then what you found, then {}.",
            Intent::Observe.words(),
            Intent::EndOfNote.words()
        )),
        Refusal::InANote => {
            Why::told("Kept as words of the note, and as nothing else.").way(format!(
                "If it is so, say {}, then say it again.",
                Intent::EndOfNote.words()
            ))
        }
        Refusal::CodeNeeded => {
            let codes = Statement::CODES.map(about::code_with_meaning);
            let codes = match codes.split_last() {
                Some((last, others)) => format!("{}; or {last}", others.join("; ")),
                None => String::new(),
            };
            Why::told("Not satisfactory: say its code.").way(format!("{}.", capital(&codes)))
        }
        Refusal::ItemByItem => Why::no("That something is as it should be is said item by item."),
        Refusal::SayDead => Why::told(format!(
            "{} is no voltage found.",
            capital(agenda.delivery().wording.digit('0'))
        ))
        .way("If it is dead, say dead."),
        Refusal::ReasonNeeded {
            what: LeftOut::Danger,
        } => {
            let here = agenda.current();
            let circuit = here.and_then(|step| about::failed_circuit(agenda, step.board));
            Why::told("Code one: danger present.").way(format!(
                "Tell the person in charge now. Then say {}{}.",
                Statement::StaysOn.spoken(),
                or_stays_off(circuit)
            ))
        }
        Refusal::ReasonNeeded { .. } => {
            Why::told("Why? Say reason, and one of them, such as reason no access.")
        }
        Refusal::WhichOne { entries } => Why::told(format!(
            "Which one: {}?",
            about::entries(agenda, entries, ", or ")
        )),
        Refusal::WhereIsIt => {
            Why::told("Where? Say it with its place, such as neutral out at socket three.")
        }
        Refusal::NameTheFault => Why::told(
            "First, what is the fault, and where? Say the fault is, then its kind, conductor, place and circuit; or there is no fault.",
        ),
        Refusal::PredictFirst {
            of: Predicted::Value,
        } => Why::told("First, what do you expect? Say i expect, and the value."),
        _ => Why::told("And the limit? Say the limit is, and the value; or there is no limit."),
    }
}

/// Something else is asked for, or there is no such thing.
fn not_now(agenda: &Agenda, refusal: &Refusal) -> Why {
    match refusal {
        Refusal::QuestionOpen => match agenda.question() {
            Some(asked) => Why::told("That first:").way(question(agenda, asked)),
            None => {
                let wording = agenda.delivery().wording;
                let agree = capital(wording.agree());
                Why::told(format!(
                    "{agree}, {} or correction first.",
                    wording.refuse()
                ))
            }
        },
        Refusal::Waiting { mode: Mode::Paused } => {
            Why::told("Paused.").way(format!("Say {} first.", Intent::Resume.words()))
        }
        Refusal::Waiting { .. } => {
            Why::told("Standing by.").way(format!("Say {} first.", Intent::CarryOn.words()))
        }
        Refusal::Finished => Why::told("The session is finished.").way("Nothing more is taken."),
        Refusal::NoSuchPlace { to, what } => Why::told(no_such_place(agenda, *to, what.as_ref())),
        Refusal::WrongQuantity { wanted } => Why::told(format!(
            "I asked for {}.",
            asked_for(agenda, wanted.as_ref())
        )),
        Refusal::NothingToCalculate { external, r1_r2 } => {
            let missing = match (external, r1_r2) {
                (true, true) => "The loop outside and R1 plus R2 are",
                (true, false) => "The loop outside is",
                _ => "R1 plus R2 is",
            };
            Why::no(format!(
                "{missing} not known as a number: measure Z s, or say not tested and why."
            ))
        }
        Refusal::NotAskedNow { wanted } => {
            let asked = prompt::in_full(agenda);
            // An old log has the words themselves.
            let words = wanted.as_ref().unwrap_or(&asked.brief);
            let phrases = asked::phrases_taken(agenda);
            Why::told("Not that now.").way(match asked.in_brief.to_say {
                true => words.clone(),
                false => format!("{words} {phrases}"),
            })
        }
        Refusal::NotOut => Why::told("Nothing like that is on the list of things out.")
            .way(asked::phrases_taken(agenda)),
        Refusal::NothingToAnswer => {
            Why::told("There is nothing to answer.").way(asked::phrases_taken(agenda))
        }
        Refusal::NoSuchPoint { place } => Why::told(format!(
            "There is no {place} there, or on several circuits."
        ))
        .way("Say it with its circuit."),
        Refusal::CircuitThere { board, circuit } => {
            let name = agenda.circuit(*board, *circuit).map(|c| c.name.as_str());
            Why::told(format!(
                "Circuit {circuit} is there already: {}.",
                name.unwrap_or_default()
            ))
            .way(format!(
                "Say {} to go to it, or add it under another number.",
                Intent::Circuit(*circuit).words()
            ))
        }
        Refusal::CircuitNotClear {
            board,
            circuit,
            said,
        } => Why::told(match circuit_of(agenda.job(), *board, *circuit, said) {
            Err(why) => format!("Circuit {circuit}: {why}."),
            Ok(_) => format!("Circuit {circuit}: say it again."),
        }),
        _ => Why::default(),
    }
}

fn no_such_place(agenda: &Agenda, to: Option<Destination>, old: Option<&String>) -> String {
    let mut circuits = agenda.job().boards.iter().flat_map(|board| &board.circuits);
    match to {
        Some(Destination::Item(item)) => {
            format!("There is no item {item} on the list of this job.")
        }
        Some(Destination::Circuit(circuit)) if circuits.all(|known| known.number != circuit) => {
            format!("There is no circuit {circuit} in this job.")
        }
        to => {
            let what = old.cloned().or_else(|| to.map(destination));
            format!(
                "There is nothing left to do at {}.",
                what.unwrap_or_default()
            )
        }
    }
}

/// What to say to begin isolation.
pub(super) fn to_isolation() -> String {
    Intent::GoTo(Stage::Isolation).words()
}

/// What lets the work go on: reversed polarity found in use is told of, anything else observed.
fn what_passes(agenda: &Agenda, board: u16) -> String {
    let reversed = |step: &&Step| fault_of(agenda.state(), step) == Some(Fault::Reversed);
    if agenda.failed_dead(board).all(|step| reversed(&step)) {
        Statement::DangerCodeOne.spoken().to_owned()
    } else {
        Intent::Observe.words()
    }
}

/// The other way out of a circuit that is not as it should be.
fn or_stays_off(circuit: Option<u16>) -> String {
    circuit
        .map(|circuit| format!(", or say {}", Intent::StaysOff(circuit).words()))
        .unwrap_or_default()
}

/// What is out on a board that is not proved dead is not put back so.
fn dead_first(agenda: &Agenda) -> Option<String> {
    let mut entries = agenda.open_entries();
    let live = |entry: &&OutEntry| prompt::is_live(agenda, entry);
    let stays_live = agenda.open_entries().find(live);
    let not_dead = entries.find(|entry| !agenda.proved_dead(entry.board));
    let board = stays_live.or(not_dead)?.board;
    let isolating = agenda
        .current()
        .is_some_and(|step| step.stage == Stage::Isolation);
    let never = agenda.plan().isolation(board).next().is_none();
    Some(if never || stays_live.is_some() {
        "Nothing is put back live: have it switched off, locked off and proved dead first, then say so"
            .to_owned()
    } else if isolating {
        "Nothing is put back before it is proved dead".to_owned()
    } else {
        format!(
            "Nothing is put back live: say {}, and prove it dead first",
            to_isolation()
        )
    })
}

fn must_go_back(agenda: &Agenda) -> String {
    let off = |entry: &OutEntry| {
        if entry.linked {
            entry.what()
        } else {
            format!("{} off", entry.what())
        }
    };
    let what: Vec<_> = agenda
        .open_entries()
        .filter(|entry| entry.must_go_back())
        .map(|entry| match entry.ordered {
            // Nobody said yet whether it is.
            Some(_) => format!("{}, if it is so", off(entry)),
            None => off(entry),
        })
        .collect();
    what.join("; ")
}

fn destination(to: Destination) -> String {
    match to {
        Destination::Circuit(number) => format!("circuit {number}"),
        Destination::Board(number) => format!("board {}", board_said(number)),
        Destination::Stage(stage) => stage.to_string(),
        Destination::TestsAt(voltage) => format!("tests at {voltage}"),
        Destination::Item(item) => format!("item {item}"),
        Destination::Section(section) => format!("section {section}, or nothing open in it"),
    }
}

/// The measure that was asked for, in the words of the log when it has them.
fn asked_for(agenda: &Agenda, old: Option<&String>) -> String {
    let wanted = || agenda.current().and_then(about::wanted);
    old.cloned()
        .or_else(wanted)
        .unwrap_or_else(|| prompt::in_full(agenda).brief)
}
