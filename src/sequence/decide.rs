use super::event::{Bar, Event, EventNo, Mode, Withdrawal};
use super::out_list;
use super::plan::{Ask, Step};
use super::readings;
use super::speak::{self, Line};
use super::state::{Question, State};
use crate::grammar::Said;
use crate::quantity::TestVoltage;
use crate::terms::{Alteration, Change, Part, Stage, Statement};

/// What comes of something said: events to keep, and what to answer once they are kept.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Reply {
    pub events: Vec<Event>,
    pub lines: Vec<Line>,
}

impl Reply {
    /// One event and its answer.
    pub fn event(event: Event, line: Line) -> Self {
        Self {
            events: vec![event],
            lines: vec![line],
        }
    }

    /// A refusal with its reason. It is kept too: a reviewer sees what was tried.
    pub fn refused(state: &State, said: &Said, bar: Bar) -> Self {
        let line = Line::warning(speak::bar(state, &bar));
        Self::event(
            Event::Refused {
                said: said.clone(),
                bar,
            },
            line,
        )
    }

    /// This and then that.
    #[must_use]
    pub fn then(mut self, next: Self) -> Self {
        self.events.extend(next.events);
        self.lines.extend(next.lines);
        self
    }
}

/// Decides what something said means in this state. Pure: no clock, no sound, no disk.
pub fn decide(state: &State, said: &Said) -> Reply {
    if let Some(reply) = while_waiting(state, said) {
        return reply;
    }
    if let Some(reply) = asked(state, said) {
        return reply;
    }
    if let Some(question) = state.question()
        && let Some(reply) = to_question(state, question, said)
    {
        return reply;
    }
    match said {
        Said::Affirm => affirm(state),
        Said::Negative => take_back(state, said, Withdrawal::Negative),
        Said::Disregard => take_back(state, said, Withdrawal::Disregard),
        Said::Correction(None) => take_back(state, said, Withdrawal::Correction),
        Said::Correction(Some(right)) => correct(state, right),
        Said::Reading {
            reading,
            place,
            half,
        } => {
            let told = readings::Told {
                place: place.as_ref(),
                half: *half,
                ..readings::Told::default()
            };
            readings::decide(state, said, reading, told)
        }
        Said::Measured {
            measure,
            reading,
            place,
        } => {
            let told = readings::Told {
                place: place.as_ref(),
                named: Some(*measure),
                ..readings::Told::default()
            };
            readings::decide(state, said, reading, told)
        }
        Said::Altered(alteration) if alteration.part == Part::Lock => lock(state, said, alteration),
        Said::Altered(alteration) => out_list::decide(state, said, alteration),
        Said::Stated(statement) => stated(state, said, *statement, &|_| true),
        Said::StatedAt {
            state: statement,
            pair,
            place,
        } => stated(state, said, *statement, &|step| {
            (pair.is_none() || step.pair == *pair) && (place.is_none() || step.place == *place)
        }),
        Said::StandBy => Reply::event(Event::StoodBy, Line::answer("Standing by.")),
        Said::Pause => Reply::event(Event::Paused, Line::answer(speak::paused(state))),
        Said::Note => Reply::event(
            Event::NoteBegun,
            Line::answer("Note. Say end of note when you have finished."),
        ),
        Said::CarryOn | Said::Resume | Said::EndOfNote => Reply::default(),
        Said::NotTested(reason) => leave_out(state, said, |step| Event::NotTested {
            step: step.id.clone(),
            reason: reason.clone(),
        }),
        Said::Skip(reason) => leave_out(state, said, |step| Event::Skipped {
            step: step.id.clone(),
            reason: reason.clone(),
        }),
        Said::Override(reason) => match overridable(state) {
            Some(bar) => Reply::event(
                Event::Overridden {
                    bar,
                    reason: reason.clone(),
                },
                Line::warning(speak::overridden(state, reason)),
            ),
            None => Reply::refused(state, said, Bar::NothingToAnswer),
        },
        Said::Circuit(number) => go_to_circuit(state, said, *number),
        Said::Board(number) => go_to(state, said, &format!("board {number}"), |step| {
            step.board == *number
        }),
        Said::GoTo(stage) => go_to_stage(state, said, *stage),
        Said::TestAt(voltage) => go_to_voltage(state, said, *voltage),
        Said::Finish => finish(state, said),
        Said::SayAgain
        | Said::WhereAreWe
        | Said::WhatIsOut
        | Said::HowLongIsLeft
        | Said::Manner(_) => Reply::default(),
    }
}

fn while_waiting(state: &State, said: &Said) -> Option<Reply> {
    let mode = state.mode();
    let reply = match (mode, said) {
        (Mode::Running, _) => return None,
        (Mode::Noting, Said::EndOfNote) => {
            Reply::event(Event::NoteEnded, Line::answer("Note kept."))
        }
        (Mode::Noting, _) => Reply {
            events: vec![Event::Noted],
            lines: Vec::new(),
        },
        (Mode::StandingBy, Said::CarryOn | Said::Resume) => {
            Reply::event(Event::CarriedOn, Line::answer("Carrying on."))
        }
        (Mode::Paused, Said::Resume | Said::CarryOn) => {
            Reply::event(Event::Unpaused, Line::answer(speak::recap(state)))
        }
        (Mode::Finished, Said::Finish) => Reply::default(),
        (
            _,
            Said::WhereAreWe
            | Said::WhatIsOut
            | Said::SayAgain
            | Said::HowLongIsLeft
            | Said::Manner(_),
        ) => return None,
        (Mode::Finished, _) => Reply::refused(state, said, Bar::Finished),
        // Voltage found is never put off.
        (_, Said::Stated(Statement::Live)) => return None,
        (Mode::StandingBy | Mode::Paused, _) => Reply::refused(state, said, Bar::Waiting { mode }),
    };
    Some(reply)
}

/// Questions about the session change nothing in it.
fn asked(state: &State, said: &Said) -> Option<Reply> {
    let line = match said {
        Said::SayAgain => speak::prompt(state).again(),
        Said::WhereAreWe => Line::answer(speak::where_are_we(state)),
        Said::WhatIsOut => Line::answer(speak::what_is_out(state)),
        Said::HowLongIsLeft => Line::answer(speak::how_long_is_left(state)),
        Said::Manner(_) => Line::answer("Is this better?"),
        _ => return None,
    };
    Some(Reply::event(Event::Asked { said: said.clone() }, line))
}

fn to_question(state: &State, question: &Question, said: &Said) -> Option<Reply> {
    let of = question.about();
    let withdraw = |why| Reply {
        events: vec![Event::Withdrawn { of, why }],
        lines: vec![Line::answer(speak::not_so(state, question))],
    };
    let reply = match said {
        Said::Affirm => match question {
            Question::Finish(..) => match state.nothing_out() {
                Ok(()) => finished(state, Vec::new()),
                Err(bar) => Reply::refused(state, said, bar),
            },
            _ => Reply {
                events: vec![Event::Affirmed { of }],
                lines: speak::affirmed(state, question),
            },
        },
        Said::Negative => withdraw(Withdrawal::Negative),
        Said::Disregard => withdraw(Withdrawal::Disregard),
        Said::Correction(None) => withdraw(Withdrawal::Correction),
        Said::Correction(Some(right)) => match question {
            Question::NeverOut(_, entry)
                if matches!(right.as_ref(), Said::Altered(a)
                    if matches!(a.change, Change::Out | Change::Linked)) =>
            {
                corrected(state, *entry, right)
            }
            Question::NeverOut(..) => Reply::refused(state, said, Bar::QuestionOpen),
            _ => corrected(state, of, right),
        },
        Said::Reading { reading, .. } | Said::Measured { reading, .. } => {
            let same = matches!(question, Question::Reading(no)
                if state.reading(*no).is_some_and(|kept| readings::same(&kept.reading, reading)));
            if same {
                Reply {
                    events: Vec::new(),
                    lines: vec![Line::question(speak::question(state, question))],
                }
            } else if matches!(question, Question::Reading(_)) {
                corrected(state, of, said)
            } else {
                Reply::refused(state, said, Bar::QuestionOpen)
            }
        }
        Said::Altered(_)
        | Said::Stated(Statement::Live)
        | Said::StandBy
        | Said::Pause
        | Said::Note => return None,
        _ => Reply::refused(state, said, Bar::QuestionOpen),
    };
    Some(reply)
}

/// "Affirm" with no question open answers a step that only wants to hear "done".
fn affirm(state: &State) -> Reply {
    match state.current() {
        Some(step) if matches!(&step.ask, Ask::Statement(s) if s.first() == Some(&Statement::Done)) => {
            stated(state, &Said::Affirm, Statement::Done, &|_| true)
        }
        _ => Reply::refused(state, &Said::Affirm, Bar::NothingToAnswer),
    }
}

/// The bar that an override would lift: the one just met, or the one before the step asked for.
fn overridable(state: &State) -> Option<Bar> {
    let met = state.last_bar().cloned();
    let ahead = || {
        let step = state.current()?;
        match step.stage {
            Stage::PutBack => state.nothing_out().err(),
            _ => state.guard(step).err(),
        }
    };
    met.filter(Bar::may_be_overridden)
        .or_else(|| ahead().filter(Bar::may_be_overridden))
}

/// A lock that comes off before the board is due to be energised ends its isolation.
fn lock(state: &State, said: &Said, alteration: &Alteration) -> Reply {
    let Some(step) = state.current() else {
        return not_asked(state, said);
    };
    let asked = Event::Asked { said: said.clone() };
    match (alteration.change, step.stage) {
        (Change::Out, Stage::Energise) if state.guard(step).is_ok() => {
            Reply::event(asked, Line::answer("Lock off."))
        }
        (Change::Out, _) if state.isolation_begun(step.board) => Reply::event(
            Event::LockRemoved { board: step.board },
            Line::warning(speak::lock_removed()),
        ),
        (Change::Back, Stage::Isolation) if step.like == "lock" => {
            stated(state, said, Statement::LockedOff, &|_| true)
        }
        _ => not_asked(state, said),
    }
}

/// What was put on the out-list is not taken off it without asking: it may well be out.
fn take_back(state: &State, said: &Said, why: Withdrawal) -> Reply {
    match state.last_taken() {
        Some(of) if state.open_entries().any(|entry| entry.no == of) => Reply::event(
            Event::ProposedNeverOut { entry: of },
            Line::question(speak::never_out(state, of)),
        ),
        Some(of) => Reply::event(
            Event::Withdrawn { of, why },
            Line::answer(speak::taken_back(state, of)),
        ),
        None => Reply::refused(state, said, Bar::NothingToAnswer),
    }
}

fn correct(state: &State, right: &Said) -> Reply {
    match state.last_taken() {
        // What is out is only replaced by what is out instead; anything else is taken beside it.
        Some(of)
            if state.open_entries().any(|entry| entry.no == of)
                && !matches!(right, Said::Altered(a)
                    if matches!(a.change, Change::Out | Change::Linked)) =>
        {
            decide(state, right)
        }
        Some(of) => corrected(state, of, right),
        None => decide(state, right),
    }
}

fn corrected(state: &State, of: EventNo, right: &Said) -> Reply {
    let withdrawn = Event::Withdrawn {
        of,
        why: Withdrawal::Correction,
    };
    let mut after = state.clone();
    after.apply(&withdrawn, state.last_event_at());
    let next = decide(&after, right);
    // A correction that is refused changes nothing that is out.
    if state.open_entries().any(|entry| entry.no == of)
        && next
            .events
            .iter()
            .any(|event| matches!(event, Event::Refused { .. }))
    {
        return next;
    }
    Reply {
        events: vec![withdrawn],
        lines: vec![Line::answer(speak::corrected(state, of))],
    }
    .then(next)
}

/// A statement answers the step asked for, or, when it names another pair or place, the step of
/// the same stage that is about that.
fn stated(
    state: &State,
    said: &Said,
    statement: Statement,
    is_meant: &dyn Fn(&Step) -> bool,
) -> Reply {
    let Some(current) = state.current() else {
        return not_asked(state, said);
    };
    if statement == Statement::Live && !state.energised(current.board) {
        return Reply::event(
            Event::VoltageFound {
                board: current.board,
                heard: "live".to_owned(),
            },
            Line::warning(speak::voltage_found()),
        );
    }
    if statement == Statement::NotProved && current.stage == Stage::Isolation {
        let proving = state
            .plan()
            .isolation(current.board)
            .find(|step| accepts(step, statement).is_some());
        if let Some(step) = proving {
            return take_statement(state, step, statement);
        }
    }
    if let Some(meant) = accepts(current, statement)
        && is_meant(current)
    {
        return match state.guard(current) {
            Ok(()) => take_statement(state, current, meant),
            Err(bar) => Reply::refused(state, said, bar),
        };
    }
    let elsewhere = state.open_steps().find(|step| {
        step.board == current.board
            && statement != Statement::Done
            && accepts(step, statement).is_some()
            && is_meant(step)
            && (step.stage == Stage::Energise || step.stage == current.stage)
    });
    match elsewhere.map(|step| (step, state.guard(step))) {
        Some((_, Err(bar))) => Reply::refused(state, said, bar),
        // Dead between a pair, or polarity at a place, said before it was asked for.
        Some((step, Ok(()))) if said_where(said) || step.stage == Stage::Energise => {
            take_statement(state, step, statement)
        }
        _ if whole_circuit_fault(current, said) => match state.guard(current) {
            Ok(()) => take_statement(state, current, statement),
            Err(bar) => Reply::refused(state, said, bar),
        },
        _ => not_asked(state, said),
    }
}

fn said_where(said: &Said) -> bool {
    matches!(said, Said::StatedAt { .. })
}

/// "Polarity reversed at socket three" answers the polarity of the whole circuit.
fn whole_circuit_fault(step: &Step, said: &Said) -> bool {
    matches!(
        said,
        Said::StatedAt {
            state: Statement::PolarityReversed | Statement::Fail,
            ..
        }
    ) && matches!(step.stage, Stage::Polarity | Stage::Functional)
}

/// The statement a step would take this one for.
fn accepts(step: &Step, statement: Statement) -> Option<Statement> {
    let wanted: &[Statement] = match &step.ask {
        Ask::Statement(wanted) => wanted,
        Ask::Reading(_) => {
            let allowed = step.procedure.instead_of_reading(step);
            return allowed.contains(&statement).then_some(statement);
        }
        Ask::Event => return None,
    };
    if wanted.contains(&statement) {
        Some(statement)
    } else if statement == Statement::Done && wanted.len() == 1 && step.procedure.done_will_do() {
        wanted.first().copied()
    } else {
        None
    }
}

fn take_statement(state: &State, step: &Step, statement: Statement) -> Reply {
    let mut lines = vec![Line::read_back(speak::statement(step, statement))];
    lines.extend(step.procedure.after_statement(state, step, statement));
    Reply {
        events: vec![Event::Stated {
            step: step.id.clone(),
            statement,
        }],
        lines,
    }
}

fn not_asked(state: &State, said: &Said) -> Reply {
    let wanted = speak::prompt(state).brief;
    Reply::refused(state, said, Bar::NotAskedNow { wanted })
}

fn leave_out(state: &State, said: &Said, event: impl Fn(&Step) -> Event) -> Reply {
    let Some(step) = state.current() else {
        return not_asked(state, said);
    };
    if !step.procedure.may_be_left_out(step) {
        return Reply::refused(state, said, Bar::CannotBeSkipped);
    }
    let event = event(step);
    let line = Line::answer(speak::left_out(step, &event));
    Reply::event(event, line)
}

fn go_to_circuit(state: &State, said: &Said, number: u16) -> Reply {
    let board = state
        .current()
        .map(|step| step.board)
        .filter(|board| state.circuit(*board, number).is_some());
    go_to(state, said, &format!("circuit {number}"), |step| {
        step.circuit == Some(number) && board.is_none_or(|board| step.board == board)
    })
}

fn go_to_stage(state: &State, said: &Said, stage: Stage) -> Reply {
    let here = state.current().map(|step| (step.board, step.circuit));
    if stage == Stage::Isolation {
        return isolate_again(state, said, here.map(|(board, _)| board));
    }
    let name = speak::stage(stage);
    let on_circuit = |step: &Step| step.stage == stage && Some((step.board, step.circuit)) == here;
    if state.open_steps().any(on_circuit) {
        return go_to(state, said, name, on_circuit);
    }
    let on_board = |step: &Step| step.stage == stage && Some(step.board) == here.map(|(b, _)| b);
    if state.open_steps().any(on_board) {
        return go_to(state, said, name, on_board);
    }
    go_to(state, said, name, |step| step.stage == stage)
}

/// Isolation may be begun again at any time, also when it was done: nothing is safer.
fn isolate_again(state: &State, said: &Said, board: Option<u16>) -> Reply {
    let first = state.plan().steps.iter().find(|step| {
        step.stage == Stage::Isolation && board.is_none_or(|board| step.board == board)
    });
    match first {
        Some(step) => moved(state, step),
        None => Reply::refused(
            state,
            said,
            Bar::NoSuchPlace {
                what: speak::stage(Stage::Isolation).to_owned(),
            },
        ),
    }
}

fn go_to_voltage(state: &State, said: &Said, voltage: TestVoltage) -> Reply {
    let here = state.current().map(|step| (step.board, step.circuit));
    go_to(state, said, &format!("tests at {voltage}"), |step| {
        Some((step.board, step.circuit)) == here
            && step.measure().is_some_and(|m| m.at == Some(voltage))
    })
}

fn go_to(state: &State, said: &Said, what: &str, wanted: impl Fn(&Step) -> bool) -> Reply {
    let open: Vec<&Step> = state.open_steps().filter(|step| wanted(step)).collect();
    if let Some(step) = open.iter().find(|step| state.guard(step).is_ok()) {
        return moved(state, step);
    }
    // What is done may be done again: where a fault was put right, before energising.
    let may = |step: &&Step| matches!(state.guard(step), Ok(()) | Err(Bar::FirstComes { .. }));
    if let Some(done) = to_do_again(state, &wanted, may) {
        return moved(state, done);
    }
    let again = to_do_again(state, &wanted, |_| true);
    let first = open.first().copied().or(again);
    let bar = first.and_then(|step| state.guard(step).err());
    let nothing_there = Bar::NoSuchPlace {
        what: what.to_owned(),
    };
    Reply::refused(state, said, bar.unwrap_or(nothing_there))
}

/// A step that was done, to be done again: one that is outside its limit before any other.
fn to_do_again(
    state: &State,
    wanted: impl Fn(&Step) -> bool,
    may: impl Fn(&&Step) -> bool,
) -> Option<&Step> {
    let tested = |step: &&Step| {
        (step.is_dead_test() || step.is_live_test())
            && step.ask != Ask::Event
            && wanted(step)
            && state.done(step).is_some()
            && may(step)
    };
    let done = || state.plan().steps.iter().filter(tested);
    done()
        .find(|step| state.has_failed(step) && step.procedure.settles(step))
        .or_else(|| done().next())
}

fn moved(state: &State, step: &Step) -> Reply {
    let passed_over = state
        .open_steps()
        .filter(|open| open.order < step.order)
        .count();
    let passed_over = u32::try_from(passed_over).unwrap_or(u32::MAX);
    Reply::event(
        Event::Moved {
            to: step.id.clone(),
            passed_over,
        },
        Line::answer(speak::moved(step, passed_over)),
    )
}

fn finish(state: &State, said: &Said) -> Reply {
    if let Err(bar) = state.nothing_out() {
        return Reply::refused(state, said, bar);
    }
    let left = left_undone(state);
    if left == 0 {
        return finished(state, Vec::new());
    }
    Reply::event(
        Event::ProposedFinish { left },
        Line::question(speak::finish_early(left)),
    )
}

fn finished(state: &State, mut events: Vec<Event>) -> Reply {
    let left_open = u32::try_from(state.open_entries().count()).unwrap_or(u32::MAX);
    let still_out = (left_open > 0).then(|| Line::reminder(speak::what_is_out(state)));
    events.push(Event::Finished {
        left_open,
        left_undone: left_undone(state),
    });
    let lines = still_out
        .into_iter()
        .chain([Line::answer(speak::finished())])
        .collect();
    Reply { events, lines }
}

fn left_undone(state: &State) -> u32 {
    let steps = state
        .open_steps()
        .filter(|step| step.ask != Ask::Event)
        .count();
    u32::try_from(steps).unwrap_or(u32::MAX)
}
