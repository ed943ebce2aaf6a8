//! Statements and observations said back, and what they mean for the work.

use super::about::{self, subject};
use super::brief::Form;
use super::line::Line;
use super::numbers::{capital, plural};
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Event, Step, StepKind};
use crate::sequence::state::count;
use crate::terms::{Place, Stage, Statement};

/// What is said of something stated or seen.
pub(super) fn told(before: &Agenda, event: &Event, form: Form) -> Vec<Line> {
    match event {
        Event::Stated {
            step,
            statement,
            place,
        } => match before.step(step) {
            Some(step) if nothing_switched_on(before, step, *statement) => vec![Line::warning(
                "Nothing is switched on. The rest of the board is live.",
            )],
            Some(step) => stated(step, *statement, place.as_ref(), form),
            None => Vec::new(),
        },
        Event::SectionStated {
            section,
            steps,
            statement,
        } => vec![Line::read_back(format!(
            "Section {section}, {}: {}.",
            plural(count(steps.len()), "item", "items"),
            statement.said_back()
        ))],
        Event::Observed {
            code,
            circuit,
            place,
            item,
            ..
        } => observed(*code, item.is_some(), *circuit, place.as_ref(), form),
        _ => Vec::new(),
    }
}

/// What was seen, by its code; danger is told as such. Beside an item, that has told the code.
fn observed(
    code: Statement,
    beside: bool,
    circuit: Option<u16>,
    place: Option<&Place>,
    form: Form,
) -> Vec<Line> {
    let circuit = circuit.map(|circuit| format!(", circuit {circuit}"));
    let place = place.map(|place| format!(", {place}"));
    let told = if beside {
        capital(code.code_means().unwrap_or_default())
    } else {
        format!("Observation, {}", about::code_with_meaning(code))
    };
    let read_back = Line::read_back(format!(
        "{told}{}{}.",
        circuit.unwrap_or_default(),
        place.unwrap_or_default()
    ));
    let danger = (code == Statement::DangerCodeOne).then(|| {
        Line::warning(
            "Danger present now. Make it safe at once if you may, keep people off it, and tell the person in charge before you leave it.",
        )
    });
    let what = Line::answer(match form {
        Form::Whole => "Say what you saw and where, then end of note.",
        Form::Bare | Form::Tone => "Say what, then end of note.",
    });
    std::iter::once(read_back)
        .chain(danger)
        .chain([what])
        .collect()
}

/// Whether a board is gone on from that nothing was switched on of: every circuit that was isolated stays off.
fn nothing_switched_on(before: &Agenda, step: &Step, statement: Statement) -> bool {
    statement == Statement::Energised && before.all_stay_off(step.board)
}

/// A statement said back, and what it means for the work.
fn stated(step: &Step, statement: Statement, place: Option<&Place>, form: Form) -> Vec<Line> {
    let at = place
        .map(|place| format!(" at {place}"))
        .unwrap_or_default();
    let said = format!("{}{at}", statement.said_back());
    let subject = match step.pair {
        Some(pair) => pair.spoken(),
        None => subject(step),
    };
    let text = if subject.is_empty() || form == Form::Bare {
        format!("{}.", capital(&said))
    } else {
        format!("{}, {said}.", capital(&subject))
    };
    let mut lines = vec![match form {
        Form::Tone => Line::tone(text),
        Form::Whole | Form::Bare => Line::read_back(text),
    }];
    lines.extend(after_statement(step, statement, form));
    lines
}

fn after_statement(step: &Step, statement: Statement, form: Form) -> Option<Line> {
    match (step.stage, statement) {
        (Stage::Isolation, Statement::NotProved) => Some(Line::warning(
            "The indicator is not proved. Nothing it showed counts. Get one that proves, and begin again.",
        )),
        (Stage::Isolation, Statement::Proved)
            if step.kind == StepKind::ProveAfter && form == Form::Whole =>
        {
            Some(Line::answer("Recorded as isolated and proved dead by you."))
        }
        (_, Statement::Energised) => {
            Some(Line::warning("You say it is energised. Live from here on."))
        }
        (_, Statement::SequenceReversed) => Some(Line::warning(
            "Sequence reversed. It stands as an exception: motors may run backwards.",
        )),
        (Stage::MakeSafe, Statement::StaysOn) => Some(Line::warning(
            "It stays on by their decision, and stands as an exception.",
        )),
        (Stage::LoopImpedance, Statement::PolarityReversed) => {
            Some(Line::warning("Polarity reversed, and it is live."))
        }
        (_, Statement::PolarityReversed) => Some(Line::warning(
            "Polarity reversed. Put it right and test again before energising.",
        )),
        (Stage::Functional, Statement::Fail | Statement::IndicatorRed) => Some(tell_in_charge()),
        (Stage::Rcd, _) if step.is_wrong(statement) => Some(Line::warning(
            "It should not do that. Tell the person in charge. It stands as an exception.",
        )),
        _ => None,
    }
}

/// A voltage at the incoming terminals that is not that of the supply.
pub(super) fn no_supply_line() -> Line {
    Line::warning(
        "That is no sound supply: nothing is energised by it, and nothing more is measured of it. Touch nothing there; have it put right, or tell the distributor, then read it again.",
    )
}

/// What is wrong and live, and no danger by itself.
pub(super) fn tell_in_charge() -> Line {
    Line::warning("Tell the person in charge. It stands as an exception.")
}
