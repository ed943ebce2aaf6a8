//! Warnings: voltage where there should be none. Heard before anything else, whatever waits.

use super::events::{asked, not_asked, refused};
use crate::grammar::{Intent, number};
use crate::installation::Phases;
use crate::quantity::{Number, Reading, Unit};
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Ask, Event, Mode, Refusal, Step, StepKind};
use crate::sequence::procedures::{is_test_voltage, like_the_supply};
use crate::sequence::state::Question;
use crate::terms::Statement;

/// What is said of voltage at a dead step; nothing when something else is said, or it is live.
pub(super) fn decide(agenda: &Agenda, said: &Intent) -> Option<Vec<Event>> {
    if agenda.mode() == Mode::Finished {
        return None;
    }
    let current = agenda.current();
    // Volts where volts are asked for are the answer.
    let value = matches!(said, Intent::Reading { .. } | Intent::Measured { .. });
    let answered = value && asks_volts(agenda);
    if matches!(agenda.question(), Some(Question::IfLive(_))) && said.is_a_warning() && !answered {
        return Some(found_here(agenda));
    }
    let is_dead_work = current.is_none_or(|step| is_dead_work(agenda, step));
    let board = current.map_or_else(|| agenda.first_board(), |step| step.board);
    let found = |reading| voltage_found(agenda, board, reading);
    match said {
        Intent::Stated(Statement::Live | Statement::Volts)
        | Intent::StatedAt {
            state: Statement::Live | Statement::Volts,
            ..
        } => Some(match current {
            _ if is_dead_work => found(None),
            // The supply is live there; whether more is must be said.
            Some(step) if step.incoming => vec![Event::AskedIfLive {
                words: said.words(),
            }],
            _ => not_asked(said),
        }),
        Intent::Stated(Statement::Stop) => Some(if is_dead_work {
            found(None)
        } else if current.is_some_and(|step| step.incoming) {
            // The supply is live there; whether more is must be said.
            vec![Event::AskedIfLive {
                words: said.words(),
            }]
        } else if agenda.mode() == Mode::Running {
            vec![Event::StoodBy]
        } else {
            Vec::new()
        }),
        Intent::Correction(Some(right)) => {
            let is_live = matches!(
                right.as_ref(),
                Intent::Stated(Statement::Live)
                    | Intent::StatedAt {
                        state: Statement::Live,
                        ..
                    }
            );
            (is_live && is_dead_work).then(|| found(None))
        }
        Intent::Reading { reading, .. } if is_dead_work => {
            of_volts(agenda, current, said, reading, &found)
                .or_else(|| like_the_supply_meanwhile(agenda, said, reading))
        }
        _ => None,
    }
}

/// Whether volts are asked for now.
pub(super) fn asks_volts(agenda: &Agenda) -> bool {
    let measure = agenda.current().and_then(Step::measure);
    measure.is_some_and(|measure| measure.unit == Unit::Volt)
}

/// Voltage was found where the work is.
pub(super) fn found_here(agenda: &Agenda) -> Vec<Event> {
    let here = agenda.current().map(|step| step.board);
    voltage_found(agenda, here.unwrap_or_else(|| agenda.first_board()), None)
}

/// A circuit that is just made safe by itself is locked off anew, and proved dead after that.
fn voltage_found(agenda: &Agenda, board: u16, reading: Option<Reading>) -> Vec<Event> {
    let found = Event::VoltageFound {
        board,
        reading,
        heard: None,
    };
    let made_safe = |step: &&Step| matches!(step.kind, StepKind::OffLock | StepKind::OffTerminals);
    let again = agenda.current().filter(made_safe).and_then(|step| {
        let circuit = step.circuit?;
        let mut beside = agenda.plan().beside(step);
        let lock = beside.find(|other| other.kind == StepKind::OffLock)?;
        agenda.outcome(lock)?;
        let back = Event::Moved {
            to: lock.id.clone(),
            passed_over: 0,
            again: Some(false),
        };
        Some([back, Event::StaysOff { board, circuit }])
    });
    std::iter::once(found)
        .chain(again.into_iter().flatten())
        .collect()
}

/// Volts that were read; while proving dead any number is one.
fn of_volts(
    agenda: &Agenda,
    current: Option<&Step>,
    said: &Intent,
    reading: &Reading,
    found: &dyn Fn(Option<Reading>) -> Vec<Event>,
) -> Option<Vec<Event>> {
    let proving = current.is_some_and(|step| step.kind.proves_dead());
    let volts = reading.unit == Some(Unit::Volt) || (proving && reading.unit.is_none());
    if !volts {
        return None;
    }
    let zero = reading.number.is_some_and(|number| number.value() == 0.0);
    if zero {
        return Some(if proving {
            refused(said, Refusal::SayDead)
        } else {
            not_asked(said)
        });
    }
    // "Five hundred volts" where insulation is tested names the voltage of the test.
    let names_the_test = current
        .and_then(Step::measure)
        .is_some_and(|m| m.at.is_some());
    if names_the_test && is_test_voltage(reading) {
        let at_it = current.and_then(Step::measure).and_then(|m| m.at);
        return Some(match at_it.map(|at| u64::from(at.volts())) {
            Some(volts) if reading.number.and_then(|n| n.as_whole()) == Some(volts) => {
                asked(&Intent::SayAgain)
            }
            _ => super::moving::to_test_voltage(agenda, said, reading),
        });
    }
    Some(found(Some(*reading)))
}

/// A number that could be the voltage of the supply, while it is asked whether something is out, or no value
/// is asked for: it answers nothing, and is not passed over.
fn like_the_supply_meanwhile(
    agenda: &Agenda,
    said: &Intent,
    reading: &Reading,
) -> Option<Vec<Event>> {
    // Where no value is asked for, it answers nothing either.
    let no_value = agenda
        .current()
        .is_some_and(|step| step.measure().is_none());
    let asked = matches!(agenda.question(), Some(Question::IfOut(..))) || no_value;
    let three_phase = agenda.job().supply.phases == Phases::Three;
    let maybe = reading.unit.is_none() && reading.at.is_none();
    (asked && maybe && like_the_supply(reading, three_phase)).then(|| {
        vec![Event::AskedIfLive {
            words: said.words(),
        }]
    })
}

/// Whether what is asked for is done on what should be dead.
pub(in crate::sequence) fn is_dead_work(agenda: &Agenda, step: &Step) -> bool {
    let at_the_supply = step.incoming && step.ask != Ask::Event;
    // A circuit that stays off is worked on while the rest of its board is live.
    let one_circuit = matches!(step.kind, StepKind::OffLock | StepKind::OffTerminals);
    (one_circuit || !agenda.energised(step.board)) && !at_the_supply
}

/// Whether words that were not understood are about voltage: better asked once too often than
/// missed. Not where they say that there is none.
pub fn sounds_like_a_warning(words: &str) -> bool {
    const ABOUT: [&str; 18] = [
        "alive",
        "volt",
        "volts",
        "voltage",
        "stop",
        "shock",
        "emergency",
        "energised",
        "sparks",
        "hot",
        "danger",
        "help",
        "power",
        "powered",
        "belt",
        "backfeed",
        "sparked",
        "lit",
    ];
    let words: Vec<String> = words
        .split(|c: char| !c.is_alphanumeric() && c != '\'')
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect();
    let says = |all: &[&str]| words.iter().any(|word| all.contains(&word.as_str()));
    let pair = |a: &str, b: &str| words.windows(2).any(|two| two == [a, b]);
    // The trade's "live" is also a conductor's name.
    let is_a_name = |at: usize| {
        let at_least = |n: usize| words.get(n).map(String::as_str);
        let before = at.checked_sub(1).and_then(at_least);
        let next = at_least(at + 1);
        let joined = matches!(next, Some("and" | "to"))
            && matches!(
                at_least(at + 2),
                Some("neutral" | "earth" | "cpc" | "n" | "e")
            );
        let named = matches!(
            next,
            Some("terminal" | "terminals" | "conductor" | "conductors" | "wire" | "wires" | "leg")
        );
        joined || named || matches!(before, Some("between" | "and" | "to"))
    };
    let named = |word: &String| word == "live" || word == "lives";
    let live = words
        .iter()
        .enumerate()
        .any(|(at, word)| named(word) && !is_a_name(at));
    let names_a_test = words.windows(2).any(|two| {
        matches!(two[0].as_str(), "250" | "500" | "1000")
            && matches!(two[1].as_str(), "v" | "volt" | "volts")
    });
    let none = ["no", "zero", "nought", "without"]
        .iter()
        .any(|none| ["volt", "volts", "voltage"].iter().any(|v| pair(none, v)));
    let not_live = pair("not", "live") || pair("isn't", "live");
    let not_dead = pair("not", "dead") || pair("isn't", "dead") || pair("still", "on");
    let isolated = pair("not", "isolated")
        || pair("isn't", "isolated")
        || pair("longer", "isolated")
        || pair("isolation", "lost")
        || pair("not", "locked");
    let lights = says(&["indicator", "tester", "lamp"])
        && says(&["lights", "glows", "lit"])
        && says(&["up", "glows", "lit"]);
    let bitten = says(&["bit", "bitten", "zapped", "belted"]);
    let gone = says(&["off", "gone", "missing"]) && says(&["lock's", "padlock's"]);
    not_dead
        || isolated
        || lights
        || bitten
        || gone
        || is_back_on(&words)
        || is_on(&words)
        || (live || says(&ABOUT)) && !none && !not_live && !names_a_test
        || has_the_supply(&words.join(" "))
}

/// "Breaker is on", "main switch on": what was off.
fn is_on(words: &[String]) -> bool {
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let what = ["breaker", "breaker's", "switch", "mcb", "fuse", "rcbo"];
    let ordered = matches!(words.first(), Some(&("put" | "switch" | "turn" | "leave")));
    let off = words.iter().any(|word| what.contains(word));
    matches!(words.as_slice(), [.., "on"]) && off && !ordered && words.len() <= 5
}

/// Whether the words end in that it, or the supply, is on: "power's back on", "someone switched it on".
fn is_back_on(words: &[String]) -> bool {
    const WHAT: [&str; 9] = [
        "supply", "power's", "feed", "it's", "it", "someone", "somebody", "they", "they've",
    ];
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let ends = matches!(words.as_slice(), [.., "on"] | [.., "on", "again"]);
    let ordered = matches!(
        words.first(),
        Some(&("put" | "switch" | "turn" | "leave" | "move"))
    );
    ends && !ordered && words.iter().any(|word| WHAT.contains(word))
}

/// Whether the words are a number that could be the voltage of the supply, alone or of a pair of conductors: "line
/// to earth two thirty", and not "230 millimetres from the door".
fn has_the_supply(words: &str) -> bool {
    if words.len() > 100 {
        return false;
    }
    const BESIDE: [&str; 25] = [
        "line", "neutral", "earth", "to", "and", "it's", "is", "reads", "there's", "i'm", "i",
        "am", "have", "got", "getting", "reading", "shows", "showing", "probes", "meter", "show",
        "on", "this", "still", "v",
    ];
    let in_figures = number::in_digits(words);
    let parts: Vec<&str> = in_figures.split_whitespace().collect();
    let numbers: Vec<Number> = parts.iter().filter_map(|word| word.parse().ok()).collect();
    let beside = parts.iter().filter(|word| BESIDE.contains(word)).count();
    let nothing_else = beside + numbers.len() == parts.len();
    let numbers = numbers.into_iter().filter(|_| nothing_else);
    numbers
        .map(Reading::exact)
        .any(|reading| like_the_supply(&reading, true))
}

#[cfg(test)]
mod tests {
    use super::sounds_like_a_warning;

    #[test]
    fn words_about_voltage_are_known_and_those_about_none_are_not() {
        for words in [
            "live",
            "no wait it's still on",
            "there's 240 volts here",
            "it isn't dead",
            "STOP!",
            "two thirty",
            "line to earth 230",
            "probes show 230 V",
            "i'm reading 230",
            "there's 240 on this",
            "supply is on",
            "power's back on",
            "someone switched it on",
            "not isolated",
            "backfeed",
            "it bit me",
            "the lock's off",
            "no longer isolated",
            "not locked off",
            "isolation lost",
            "main switch on",
            "breaker is on",
            "indicator lights up",
            "it sparked",
            "live and dangerous",
        ] {
            assert!(sounds_like_a_warning(words), "{words}");
        }
        for words in [
            "no volts",
            "zero volts",
            "it's not live",
            "both ends in",
            "put the lamp back on",
            "hang on it goes back later",
            "lock off",
            "it's on circuit three",
            "move on",
            "resistance between live and earth",
            "live terminals are shrouded",
            "between live and neutral",
            "insulation test L-N 250 volts",
            "socket three",
            "230 millimetres from the door",
            "cable two hundred and forty long",
        ] {
            assert!(!sounds_like_a_warning(words), "{words}");
        }
    }
}
