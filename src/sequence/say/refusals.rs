use super::numbers::{capital, plural};
use super::prompt::{self, first_comes};
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

/// Why something is refused, and what to do instead.
pub(super) fn refusal(agenda: &Agenda, refusal: &Refusal) -> String {
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
            format!(
                "No. {} not proved dead. Isolation comes first.{way}",
                about::isolated_is(agenda, *board)
            )
        }
        Refusal::ElectronicsInCircuit {
            inside, circuit, ..
        } if is_surge_protection(inside) => format!(
            "No. Neutral to earth at five hundred volts goes across the surge protection. Take it out, or the neutral of circuit {circuit} out of its bar, and say so."
        ),
        Refusal::ElectronicsInCircuit { inside, what, .. } => {
            let what = what.clone().unwrap_or_else(|| about::electronics(inside));
            format!(
                "No. Not at five hundred volts with {what} in circuit. Take it out, or link line and neutral and test to earth."
            )
        }
        Refusal::StillOut { .. } => format!(
            "No. Still out: {}. {}{}.",
            about::entries(
                agenda,
                &agenda
                    .barring_entries()
                    .map(|entry| entry.no)
                    .collect::<Vec<_>>(),
                "; "
            ),
            dead_first(agenda).unwrap_or_else(|| "Put it back and say so".to_owned()),
            or_stays_off(agenda.barring_entries().find_map(|entry| entry.circuit))
        ),
        Refusal::MustBePutRight { board, .. } => format!(
            "No. {}: no reason goes past that. Put it right and test again{}.",
            capital(&about::fatal(agenda, *board)),
            or_stays_off(about::fatal_circuit(agenda, *board))
        ),
        Refusal::Joined { entries } => format!(
            "No. {}: that would be read, and not the circuit. {}.",
            capital(&about::entries(agenda, entries, "; ")),
            dead_first(agenda).unwrap_or_else(|| "Take it off first".to_owned())
        ),
        Refusal::CircuitOff { circuit } => format!(
            "Circuit {circuit} stays off. To work on it again, say {}.",
            Intent::Circuit(*circuit).words()
        ),
        Refusal::ObservationNeeded => format!(
            "Not without what you saw. Say {}, then what you found, then {}.",
            Intent::Observe.words(),
            Intent::EndOfNote.words()
        ),
        Refusal::NotIsolated { board } => format!(
            "No. Circuits of board {} are isolated each by its own device, and this one was not. Test it at a visit of its own, or isolate the board.",
            board_said(*board)
        ),
        Refusal::InANote => format!(
            "Kept as words of the note, and as nothing else. If it is so, say {}, then say it again.",
            Intent::EndOfNote.words()
        ),
        Refusal::CodeNeeded => {
            let codes = Statement::CODES.map(about::code_with_meaning).join("; ");
            let codes = match codes.rsplit_once("; ") {
                Some((others, last)) => format!("{others}; or {last}"),
                None => codes,
            };
            format!("Not satisfactory: say its code. {}.", capital(&codes))
        }
        Refusal::ItemByItem => {
            "No. That something is as it should be is said item by item.".to_owned()
        }
        Refusal::SayDead => format!(
            "{} is no voltage found. If it is dead, say dead.",
            capital(agenda.delivery().wording.digit('0'))
        ),
        Refusal::ReasonNeeded {
            what: LeftOut::Danger,
        } => format!(
            "Code one: danger present. Tell the person in charge now. Then say {}{}.",
            Statement::StaysOn.spoken(),
            or_stays_off(
                agenda
                    .current()
                    .and_then(|step| about::failed_circuit(agenda, step.board))
            )
        ),
        Refusal::MustGoBack { .. } => format!(
            "No. {}. That goes back first, and no reason goes past it.{}",
            capital(&must_go_back(agenda)),
            dead_first(agenda).map_or_else(String::new, |how| format!(" {how}."))
        ),
        Refusal::DeadTestsFailed { board, .. } => format!(
            "No. Outside the limit: {}. Put it right and test again{}; or say {}.",
            about::failed(agenda, *board),
            or_stays_off(about::failed_circuit(agenda, *board)),
            what_passes(agenda, *board)
        ),
        Refusal::FirstComes { step, what } => {
            let asked = || {
                let step = agenda.step(step.as_ref()?)?;
                Some(first_comes(agenda, step))
            };
            let what = what.clone().or_else(asked).unwrap_or_default();
            format!("No. First: {what}")
        }
        Refusal::DeadTestsOpen { steps } => format!(
            "No. {} first, or say not tested and a reason.",
            plural(*steps, "dead test is open", "dead tests are open")
        ),
        Refusal::NotEnergised { .. } => {
            "No. Live tests come after energising, and energising after the dead tests.".to_owned()
        }
        Refusal::Energised { .. } => format!(
            "No. You said it is energised. Before any dead test, say {}.",
            to_isolation()
        ),
        Refusal::QuestionOpen => agenda.question().map_or_else(
            || {
                let wording = agenda.delivery().wording;
                let agree = capital(wording.agree());
                format!("{agree}, {} or correction first.", wording.refuse())
            },
            |asked| format!("That first: {}", super::question(agenda, asked)),
        ),
        Refusal::Waiting { mode: Mode::Paused } => {
            format!("Paused. Say {} first.", Intent::Resume.words())
        }
        Refusal::Waiting { .. } => format!("Standing by. Say {} first.", Intent::CarryOn.words()),
        Refusal::Finished => "The session is finished. Nothing more is taken.".to_owned(),
        Refusal::NoSuchPlace {
            to: Some(Destination::Item(item)),
            ..
        } => format!("There is no item {item} on the list of this job."),
        Refusal::NoSuchPlace {
            to: Some(Destination::Circuit(circuit)),
            ..
        } if agenda.job().boards.iter().all(|board| {
            board.circuits.iter().all(|known| known.number != *circuit)
        }) => format!("There is no circuit {circuit} in this job."),
        Refusal::NoSuchPlace { to, what } => {
            let what = what.clone().or_else(|| to.map(destination));
            format!(
                "There is nothing left to do at {}.",
                what.unwrap_or_default()
            )
        }
        Refusal::WrongQuantity { wanted } => {
            format!("I asked for {}.", asked_for(agenda, wanted.as_ref()))
        }
        Refusal::NothingToCalculate { external, r1_r2 } => {
            let missing = match (external, r1_r2) {
                (true, true) => "The loop outside and R1 plus R2 are",
                (true, false) => "The loop outside is",
                _ => "R1 plus R2 is",
            };
            format!("No. {missing} not known as a number: measure Z s, or say not tested and why.")
        }
        Refusal::NotAskedNow { wanted } => with_what_to_say(
            agenda,
            format!("Not that now. {}", asked_now(agenda, wanted.as_ref())),
        ),
        Refusal::NotOut => with_what_to_say(
            agenda,
            "Nothing like that is on the list of things out.".to_owned(),
        ),
        Refusal::WhichOne { entries } => {
            format!("Which one: {}?", about::entries(agenda, entries, ", or "))
        }
        Refusal::WhereIsIt => {
            "Where? Say it with its place, such as neutral out at socket three.".to_owned()
        }
        Refusal::ReasonNeeded { .. } => {
            "Why? Say reason, and one of them, such as reason no access.".to_owned()
        }
        Refusal::NothingToAnswer => {
            with_what_to_say(agenda, "There is nothing to answer.".to_owned())
        }
        Refusal::NoSuchPoint { place } => {
            format!("There is no {place} there, or on several circuits. Say it with its circuit.")
        }
        Refusal::CircuitThere { board, circuit } => {
            let name = agenda.circuit(*board, *circuit).map(|c| c.name.as_str());
            format!(
                "Circuit {circuit} is there already: {}. Say {} to go to it, or add it under another number.",
                name.unwrap_or_default(),
                Intent::Circuit(*circuit).words()
            )
        }
        Refusal::CircuitNotClear {
            board,
            circuit,
            said,
        } => match circuit_of(agenda.job(), *board, *circuit, said) {
            Err(why) => format!("Circuit {circuit}: {why}."),
            Ok(_) => format!("Circuit {circuit}: say it again."),
        },
        Refusal::NameTheFault => {
            "First, what is the fault, and where? Say the fault is, then its kind, conductor, place and circuit; or there is no fault.".to_owned()
        }
        Refusal::PredictFirst {
            of: Predicted::Value,
        } => "First, what do you expect? Say i expect, and the value.".to_owned(),
        Refusal::PredictFirst {
            of: Predicted::Limit,
        } => "And the limit? Say the limit is, and the value; or there is no limit.".to_owned(),
        Refusal::CannotBeSkipped => {
            let current = agenda.current();
            match current.filter(|step| agenda.has_a_result(step)) {
                Some(step) => format!(
                    "No. What was found there stands. Test it again, or say where to go on{}.",
                    or_stays_off(step.circuit)
                ),
                None => "No. That can't be left out.".to_owned(),
            }
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

/// With the phrases that the step takes, where the text has none.
fn with_what_to_say(agenda: &Agenda, text: String) -> String {
    if text.to_lowercase().contains("say ") {
        return text;
    }
    format!("{text} {}", asked::what_is_taken(agenda))
}

fn asked_now(agenda: &Agenda, old: Option<&String>) -> String {
    old.cloned()
        .unwrap_or_else(|| prompt::in_full(agenda).brief)
}
