//! Words for parts of the session: a step, the out-list, where it stands.

use super::numbers::{capital, duration, plural};
use crate::installation::{Board, board_said, circuits_by_number};
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Electronics, EventNo, Quantity, Step};
use crate::sequence::state::{OutEntry, State, StepOutcome, count, place_of};
use crate::terms::{HalfCycle, Part, Place, Statement};

/// The place where a step is done, or its pair, in words; for prompts and reports.
pub fn subject(step: &Step) -> String {
    let mut parts = Vec::new();
    if let Some(circuit) = step.circuit {
        parts.push(format!("circuit {circuit}"));
    }
    if let Some(item) = step.item() {
        parts.push(format!("item {item}"));
    }
    if let Some(place) = &step.place {
        parts.push(place.to_string());
    }
    if let Some(pair) = step.pair {
        parts.push(pair.spoken());
    }
    if let Some(half) = step.measure().and_then(|measure| measure.half) {
        parts.push(HalfCycle::shown(half).to_owned());
    }
    parts.join(", ")
}

/// What of a board is isolated, to begin a sentence: "The board is", "Circuit 6 is", "Circuits 2, 3 are".
pub(super) fn isolated_is(agenda: &Agenda, number: u16) -> String {
    let board = agenda.board(number);
    let Some(board) = board.filter(|board| board.isolates_circuits()) else {
        return "The board is".to_owned();
    };
    let numbers: Vec<u16> = board.circuits.iter().map(|one| one.number).collect();
    let verb = if numbers.len() == 1 { "is" } else { "are" };
    format!("{} {verb}", capital(&circuits_by_number(&numbers)))
}

/// What a step that asks for a reading wants: "megohms, line to neutral".
pub(super) fn wanted(step: &Step) -> Option<String> {
    let unit = step.measure()?.unit.spoken();
    let subject = subject(step);
    Some(if subject.is_empty() {
        unit.to_owned()
    } else {
        format!("{unit}, {subject}")
    })
}

/// Electronics in a circuit: "socket 2 and something across line and neutral".
pub(super) fn electronics(inside: &[Electronics]) -> String {
    let names: Vec<String> = inside
        .iter()
        .map(|one| match one {
            Electronics::Listed(place) => place.to_string(),
            Electronics::Suspected => "something across line and neutral".to_owned(),
        })
        .collect();
    names.join(" and ")
}

/// Dead tests of a board outside their limits, in words.
pub(super) fn failed(agenda: &Agenda, board: u16) -> String {
    listed(agenda, failed_with(agenda, board))
}

/// Dead tests outside their limits on a board and on those that become live with it.
pub(super) fn failed_with(agenda: &Agenda, board: u16) -> impl Iterator<Item = &Step> {
    let boards = agenda.energised_with(board);
    boards
        .into_iter()
        .flat_map(|board| agenda.failed_dead(board))
}

/// Those of them that no reason passes, and what is wrong with the supply.
pub(super) fn fatal(agenda: &Agenda, board: u16) -> String {
    let dead = failed_with(agenda, board).filter(|step| agenda.no_reason_passes(step));
    listed(agenda, dead.chain(agenda.supply_faults(board)))
}

/// The circuit of the first of them.
pub(super) fn fatal_circuit(agenda: &Agenda, board: u16) -> Option<u16> {
    let mut dead = failed_with(agenda, board).filter(|step| agenda.no_reason_passes(step));
    dead.find_map(|step| step.circuit)
}

/// Steps by what they test and where, three at most.
fn listed<'a>(agenda: &'a Agenda, steps: impl Iterator<Item = &'a Step>) -> String {
    let several = agenda.job().how_many_boards() > 1;
    let name = |step: &Step| {
        let mut parts = Vec::new();
        if several {
            parts.push(format!("board {}", board_said(step.board)));
        }
        let subject = subject(step);
        if !subject.is_empty() {
            parts.push(subject);
        }
        if step.place.is_none() && step.pair.is_none() || step.circuit.is_none() {
            parts.push(step.stage.to_string());
        }
        parts.join(", ")
    };
    let all: Vec<_> = steps.map(name).collect();
    let shown = all.iter().take(3).cloned().collect::<Vec<_>>().join("; ");
    match all.len() {
        0..=3 => shown,
        more => format!("{shown}; and {} more", more - 3),
    }
}

/// The circuit of the first dead test outside its limit.
pub(super) fn failed_circuit(agenda: &Agenda, board: u16) -> Option<u16> {
    failed_with(agenda, board).find_map(|step| step.circuit)
}

/// What answered a step, by the event that did: a statement, or that it was not tested.
pub(super) fn answered_by(agenda: &Agenda, event: EventNo) -> Option<String> {
    let of_step = agenda
        .plan()
        .steps
        .iter()
        .filter_map(|step| agenda.outcome(step));
    let outcome = of_step
        .chain(agenda.answered_before())
        .find(|outcome| outcome.no() == event)?;
    Some(match outcome {
        StepOutcome::Stated(_, statement) => statement.shown().to_owned(),
        StepOutcome::NotTested(_, reason) => format!("not tested, {reason},"),
        _ => return None,
    })
}

/// What a step tests, in a few spoken words, where its place does not say it.
pub(super) fn test_name(step: &Step) -> Option<&'static str> {
    Some(match step.measure()?.quantity {
        Quantity::LeadsOpen => "leads apart",
        Quantity::LeadsShorted => "leads joined",
        Quantity::Bond => "bonding",
        Quantity::R1R2 => "R one plus R two",
        Quantity::R2 => "R two",
        Quantity::RingEndToEnd => "ring, end to end",
        Quantity::RingLineNeutral => "ring, line and neutral crossed",
        Quantity::RingLineEarth => "ring, line and earth crossed",
        Quantity::Insulation => "insulation",
        Quantity::ExternalLoop => "external loop",
        Quantity::SupplyVoltage => "supply voltage",
        Quantity::FaultCurrent => "fault current",
        Quantity::LoopImpedance => "loop impedance",
        Quantity::RcdHalf => "RCD, half the rated current",
        Quantity::RcdTime => "RCD, rated current",
        Quantity::RcdFiveTimes => "RCD, five times the rated current",
        Quantity::LoopCheck => "loop tester",
        Quantity::RcdCheck => "RCD tester",
        Quantity::Noted => return None,
    })
}

/// What the words of a prompt tell, known by what they were made of.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Told {
    /// Whether they name the circuit.
    pub circuit: bool,
    /// Whether they name the board.
    pub board: bool,
    /// Whether they tell what to say.
    pub to_say: bool,
}

/// A prompt that names its circuit: whoever comes from another one must not take it for that.
pub(super) fn with_circuit(step: &Step, text: &str, told: &Told) -> String {
    match step.circuit.filter(|_| !told.circuit) {
        Some(circuit) => format!("Circuit {circuit}. {text}").trim_end().to_owned(),
        None => text.to_owned(),
    }
}

/// A prompt that names its board.
pub(super) fn with_board(step: &Step, text: &str, told: &Told) -> String {
    if told.board {
        text.to_owned()
    } else {
        format!("Board {}. {text}", board_said(step.board))
    }
}

/// "Circuit 3", with its board where another has a circuit of this number too.
pub(super) fn on_which_board(state: &State, board: u16, circuit: u16) -> String {
    match is_on_another_board(state, board, circuit) {
        true => format!("Board {}, circuit {circuit}", board_said(board)),
        false => format!("Circuit {circuit}"),
    }
}

/// Whether a board that people know by another number has a circuit of this one.
fn is_on_another_board(state: &State, board: u16, circuit: u16) -> bool {
    let mut boards = state.job().boards.iter();
    boards.any(|other| {
        board_said(other.number) != board_said(board)
            && other.circuits.iter().any(|c| c.number == circuit)
    })
}

/// An entry of the list, with its circuit and board where another could be meant.
pub fn what(state: &State, entry: &OutEntry) -> String {
    let what = entry.what();
    let circuits = || state.job().boards.iter().flat_map(|board| &board.circuits);
    let at_board = entry
        .place
        .as_ref()
        .is_none_or(|place| *place == Place::board());
    let several = circuits().nth(1).is_some();
    let elsewhere = || {
        circuits()
            .filter(|c| c.points.iter().any(|p| Some(place_of(p)) == entry.place))
            .nth(1)
            .is_some()
    };
    let of_its_own = |circuit: u16| {
        let circuit = state.job().circuit(entry.board, circuit);
        let mut points = circuit.into_iter().flat_map(|circuit| &circuit.points);
        points.any(|point| Some(place_of(point)) == entry.place)
    };
    match entry.circuit {
        Some(circuit) if several && (at_board || elsewhere() || !of_its_own(circuit)) => {
            let board = board_said(entry.board);
            match is_on_another_board(state, entry.board, circuit) {
                true if entry.is_at_board() => format!("{what} {board}, circuit {circuit}"),
                true => format!("{what}, board {board}, circuit {circuit}"),
                false => format!("{what}, circuit {circuit}"),
            }
        }
        _ => what,
    }
}

/// An entry of the list as a state it is in: "neutral at socket 3 out", "line and earth linked".
pub(super) fn as_it_is(state: &State, entry: &OutEntry) -> String {
    let what = what(state, entry);
    match entry.part {
        _ if entry.linked => what,
        Part::EarthingConductor | Part::Bond | Part::Cover => format!("{what} off"),
        Part::Switch => format!("{what} changed"),
        _ => format!("{what} out"),
    }
}

/// What is out now, in words, those that `which` picks.
pub(super) fn out(state: &State, which: impl Fn(&OutEntry) -> bool) -> String {
    let what: Vec<_> = state
        .open_entries()
        .filter(|entry| which(entry))
        .map(|entry| self::what(state, entry))
        .collect();
    what.join("; ")
}

/// Entries of the out-list by their numbers, in words.
pub fn entries(state: &State, numbers: &[EventNo], between: &str) -> String {
    let what: Vec<_> = state
        .out_list()
        .iter()
        .filter(|entry| numbers.contains(&entry.no))
        .map(|entry| self::what(state, entry))
        .collect();
    what.join(between)
}

/// What is out.
pub fn what_is_out(state: &State) -> String {
    let sure = out(state, OutEntry::is_surely_out);
    let ordered: Vec<_> = state
        .ordered_entries()
        .map(|(entry, _)| as_it_is(state, entry))
        .collect();
    let asked = format!("Asked for, and not answered yet: {}.", ordered.join("; "));
    match (sure.is_empty(), ordered.is_empty()) {
        (true, true) => "Nothing is out.".to_owned(),
        (false, true) => format!("Out: {sure}."),
        (true, false) => asked,
        (false, false) => format!("Out: {sure}. {asked}"),
    }
}

/// Where the session is.
pub fn where_are_we(agenda: &Agenda) -> String {
    let Some(step) = agenda.current() else {
        return "Nothing is left to do.".to_owned();
    };
    let circuit = agenda
        .circuit_of(step)
        .map(|c| format!(", circuit {}, {}", c.number, c.name))
        .unwrap_or_default();
    let open = count(agenda.open_steps().count());
    format!(
        "Board {}{circuit}: {}. {} open.",
        board_said(step.board),
        step.stage,
        plural(open, "step is", "steps are")
    )
}

/// When a log is opened again, or after "resume".
pub fn recap(agenda: &Agenda) -> String {
    format!("{} {}", where_are_we(agenda), what_is_out(agenda))
}

/// How long is left at the pace so far.
pub(super) fn how_long_is_left(agenda: &Agenda) -> String {
    let open = count(agenda.open_steps().count());
    let steps = capital(&plural(open, "step is open", "steps are open"));
    match agenda.time_left() {
        Some(left) => format!("{steps}. About {} at your pace.", duration(left)),
        None => format!("{steps}. Too soon to tell how long."),
    }
}

/// The place of a move.
pub(super) fn place_of_move(step: &Step) -> String {
    match step.circuit {
        Some(circuit) => format!("Circuit {circuit}, {}", step.stage),
        None => format!("Board {}, {}", board_said(step.board), step.stage),
    }
}

/// The place of a move, and what it leaves open.
pub fn moved(step: &Step, passed_over: u32) -> String {
    let place = place_of_move(step);
    if passed_over == 0 {
        format!("{place}.")
    } else {
        format!(
            "{place}. Out of order: {} left open, and recorded.",
            plural(passed_over, "step is", "steps are")
        )
    }
}

/// "Code two, potentially dangerous"; "further investigation required without delay".
pub(super) fn code_with_meaning(code: Statement) -> String {
    let means = code.code_means().unwrap_or_default();
    match code {
        // Its meaning begins with its name.
        Statement::FurtherInvestigation => means.to_owned(),
        code => format!("{}, {means}", code.code_spoken()),
    }
}

/// The codes that stand: "code two 2 times, code three"; "no code stands".
pub(super) fn codes(agenda: &Agenda) -> String {
    let standing: Vec<String> = Statement::CODES
        .into_iter()
        .filter_map(|code| {
            let times = agenda
                .observations()
                .filter(|seen| seen.code == code)
                .count();
            match times {
                0 => None,
                1 => Some(code.code_spoken().to_owned()),
                times => Some(format!("{} {times} times", code.code_spoken())),
            }
        })
        .collect();
    if standing.is_empty() {
        "no code stands".to_owned()
    } else {
        standing.join(", ")
    }
}

/// "Satisfactory" for the whole is asked about once more, with the form's own rule where a code stands
/// against it.
pub(super) fn outcome_asked(agenda: &Agenda, statement: Statement, agree: &str) -> String {
    let against = agenda
        .observations()
        .any(|seen| seen.code.is_against_satisfactory());
    let rule = if against {
        format!(
            " {}: by the form's own rule, with code one, code two or further investigation the outcome is unsatisfactory. Your answer is printed beside it.",
            capital(&codes(agenda))
        )
    } else {
        String::new()
    };
    format!(
        "The whole, {}?{rule} {}, or correct.",
        statement.shown(),
        capital(agree)
    )
}

/// The circuits of a board, by number and name: "circuit 3, sockets, and circuit 4, shower".
pub(super) fn circuits_of(board: &Board, but: impl Fn(u16) -> bool) -> String {
    let all = board.circuits.iter().filter(|c| !but(c.number));
    let all: Vec<String> = all
        .map(|c| format!("circuit {}, {}", c.number, c.name))
        .collect();
    match all.as_slice() {
        [] => "its circuits".to_owned(),
        [only] => only.clone(),
        [first @ .., last] => format!("{}, and {last}", first.join("; ")),
    }
}
