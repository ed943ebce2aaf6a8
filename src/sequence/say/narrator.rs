use super::about::{self, Told, recap};
use super::line::Line;
use super::lines::lines;
use super::numbers::{capital, duration};
use super::prompt::prompt;
use super::refusals::is_told_like;
use super::{asked, brief, level, questions};
use crate::installation::board_said;
use crate::sequence::agenda::Agenda;
use crate::sequence::facts::{Edition, Event, EventNo, Mode, Refusal, Step, StepKind, Withdrawal};
use crate::sequence::state::{OutEntry, Question};
use crate::terms::{Level, Manner, Part, Stage};
use jiff::Timestamp;
use std::collections::BTreeSet;

/// Says what comes of whole turns: the words of each event, then what must not be forgotten, then
/// what is asked next. The same for a session and for the report of its log.
#[derive(Debug, Clone, Default)]
pub struct Narrator {
    /// Kinds of step whose full prompt was said since the session was begun or taken up.
    prompted: BTreeSet<StepKind>,
    /// The last refusal, which is not said in full twice running.
    refusal: Option<Refusal>,
    /// The entry a live test was last said to show.
    exposed: Option<EventNo>,
    /// How often running something was not understood.
    failed: u32,
    /// The circuit that was last spoken of.
    on: Option<(u16, Option<u16>)>,
}

impl Narrator {
    /// Takes the agenda through the events of one turn and says what comes of them. A log's first
    /// event is in the agenda already.
    pub fn tell(&mut self, agenda: &mut Agenda, events: &[Event], at: Timestamp) -> Vec<Line> {
        if events.iter().any(|e| matches!(e, Event::Resumed { .. })) {
            *self = Self::default();
        }
        let level = agenda.level();
        let started = agenda.clone();
        let mut told = Vec::new();
        let mut out_is_told = false;
        // What is asked comes last.
        let mut asked = Vec::new();
        let mut as_expected = true;
        for (n, event) in events.iter().enumerate() {
            let before = agenda.clone();
            if !matches!(event, Event::Opened { .. }) {
                agenda.apply(event, at);
            }
            as_expected &= brief::goes_on_as_expected(&before, event);
            let followed = events.len() > n + 1;
            let mut said = lines(&before, &as_meant(event, followed), agenda);
            self.help_after_two(event, agenda, &mut said);
            out_is_told |= tells_what_is_out(&before, event);
            if matches!(event, Event::AskedIfOut { .. } | Event::AskedAnew { .. }) {
                asked = said;
            } else {
                told.extend(self.not_twice(event, said, agenda.question().is_some()));
            }
        }
        if events.iter().all(at_the_desk) {
            return told;
        }
        let after = self.after_the_turn(&started, agenda, events, at, (out_is_told, as_expected));
        told.extend(after.into_iter().filter(|line| level::follows(level, line)));
        let still = started
            .question()
            .filter(|before| Some(*before) == agenda.question());
        // What was put back or taken out meanwhile has not answered it.
        if still.is_some()
            && events
                .iter()
                .any(|e| matches!(e, Event::PutBack { .. } | Event::TakenOut { .. }))
        {
            asked.extend(questions::asked_now(agenda));
        }
        // Taken up, the question is the prompt.
        if !events.iter().any(|e| matches!(e, Event::Resumed { .. })) {
            told.extend(asked);
        }
        told
    }

    /// What could have been two things, twice running, is asked with the phrases that the step takes.
    fn help_after_two(&mut self, event: &Event, agenda: &Agenda, said: &mut [Line]) {
        match event {
            Event::Unclear { .. } => self.failed += 1,
            // What was typed is answered so at once.
            Event::NotTaken { .. }
            | Event::NeighbourHeard { .. }
            | Event::ReadBackCut { .. }
            | Event::Asked { .. }
            | Event::CameBack { .. } => return,
            _ => self.failed = 0,
        }
        if self.failed >= 2
            && agenda.level() == Level::Led
            && let Some(line) = said.last_mut()
        {
            line.text = format!("{} {}", line.text, asked::phrases_taken(agenda));
        }
    }

    fn after_the_turn(
        &mut self,
        started: &Agenda,
        agenda: &Agenda,
        events: &[Event],
        at: Timestamp,
        (out_is_told, as_expected): (bool, bool),
    ) -> Vec<Line> {
        if events.iter().any(|e| matches!(e, Event::Resumed { .. })) {
            let away = at.duration_since(started.last_event_at());
            let recap = match agenda.level() {
                Level::Led => format!("Resuming after {}. {}", duration(away), recap(agenda)),
                _ => format!("Resuming after {}.", duration(away)),
            };
            let mut lines = vec![Line::answer(recap)];
            lines.extend(older_edition(agenda));
            lines.extend(unplanned(agenda));
            if agenda.mode() != Mode::Finished {
                self.due(agenda, false, false);
                lines.push(prompt(agenda).again());
            }
            return lines;
        }
        let stood = started.current().map(|step| step.order);
        let mut lines = match self.on_entering(agenda, stood) {
            Some(line) => vec![line],
            None if out_is_told => Vec::new(),
            None => on_leaving(started, agenda),
        };
        if wants_prompt(events, agenda) {
            // Only a reading could land on a step that was passed over.
            let at_once = agenda
                .current()
                .is_some_and(|step| step.measure().is_none() || is_next(agenda, stood, step));
            lines.push(self.due(agenda, as_expected, at_once));
        }
        lines
    }

    /// The prompt that is due: full the first time for a kind of step, brief later.
    pub fn prompt(&self, agenda: &Agenda) -> Line {
        let prompt = prompt(agenda);
        match agenda.current() {
            Some(step) if self.prompted.contains(&step.kind) => Line::prompt(prompt.brief),
            _ => prompt.due(),
        }
    }

    /// The prompt that is due, now said.
    fn due(&mut self, agenda: &Agenda, as_expected: bool, at_once: bool) -> Line {
        let asked = prompt(agenda);
        let heard_before = |step: &Step| self.prompted.contains(&step.kind);
        let heard = agenda.current().is_some_and(heard_before);
        let brief = as_expected && agenda.delivery().manner == Manner::Brief;
        let in_short = brief && (!asked.caution || heard);
        let short = asked.short.filter(|_| in_short);
        let known = match &short {
            Some(short) => short.is_empty() || asked.known && heard,
            None => false,
        };
        let begins = agenda
            .current()
            .is_some_and(|step| self.on != Some((step.board, step.circuit)));
        let cautioned = brief && asked.caution && !heard;
        let (in_full, in_brief) = match cautioned {
            true => asked.unanswered,
            false => (asked.full, asked.brief),
        };
        let (text, told) = match short {
            Some(_) if known && asked.as_before && begins && at_once => {
                (String::new(), Told::default())
            }
            Some(short) if !known => (short, asked.in_short),
            _ if heard || !asked.first => (in_brief, asked.in_brief),
            _ => (in_full, asked.in_full),
        };
        let mut line = Line::prompt(text);
        if let Some(step) = agenda.current() {
            self.prompted.insert(step.kind);
            let on = Some((step.board, step.circuit));
            if agenda.level() != Level::Led {
                return line;
            }
            if self.on != on {
                line.text = about::with_circuit(step, &line.text, &told);
            }
            // Two boards may have a circuit of the same number.
            let several = agenda.job().how_many_boards() > 1;
            let another = |board| board_said(board) != board_said(step.board);
            if several && self.on.is_some_and(|(board, _)| another(board)) {
                line.text = about::with_board(step, &line.text, &told);
            }
            // A tone stands for it only where nothing had to be added.
            if known && at_once && self.on == on {
                line = Line::tone(line.text);
            }
            self.on = on;
        }
        line
    }

    /// A refusal that was just given is given again in brief: its first sentences only. Not while a
    /// question is open: what is asked is never left out.
    fn not_twice(&mut self, event: &Event, lines: Vec<Line>, asked: bool) -> Vec<Line> {
        let Event::Refused { refusal, .. } = event else {
            self.refusal = None;
            return lines;
        };
        let tells_what_to_say = matches!(
            refusal,
            Refusal::FirstComes { .. }
                | Refusal::NotAskedNow { .. }
                | Refusal::NothingToAnswer
                | Refusal::NotOut
        );
        if asked || tells_what_to_say {
            self.refusal = None;
            return lines;
        }
        // Nothing came in between: it is refused in the same words.
        let before = self.refusal.replace(refusal.clone());
        if !before.is_some_and(|before| is_told_like(&before, refusal)) {
            return lines;
        }
        lines.into_iter().map(Line::again).collect()
    }

    /// A live test that a conductor left out would spoil says so before it is made.
    fn on_entering(&mut self, agenda: &Agenda, stood: Option<usize>) -> Option<Line> {
        let step = agenda.current().filter(|_| agenda.level() == Level::Led)?;
        if Some(step.order) == stood || !step.is_live_test() {
            return None;
        }
        let left = agenda
            .open_on(step.board, step.circuit?)
            .find(|entry| matches!(entry.part, Part::Conductors(_)) && !entry.linked)?;
        if self.exposed == Some(left.no) {
            return None;
        }
        self.exposed = Some(left.no);
        Some(Line::reminder(format!(
            "{} is still out: this test may not read there, and that would be why.",
            capital(&left.what())
        )))
    }

    /// The reminder due when nothing has been said for a while; nothing when nothing is out or
    /// the session waits.
    pub fn idle(agenda: &Agenda) -> Option<Line> {
        let out = about::out(agenda, OutEntry::is_surely_out);
        let running = agenda.mode() == Mode::Running;
        let told = agenda.level() != Level::Silent;
        (running && told && !out.is_empty())
            .then(|| Line::reminder(format!("Remember: out is {out}.")))
    }
}

/// Whether an event belongs to the turn of the one before it, kept at the same time.
pub fn is_of_the_same_turn(before: &Event, event: &Event) -> bool {
    if matches!(
        event,
        Event::Ordered { .. } | Event::AskedIfOut { .. } | Event::AskedAnew { .. }
    ) {
        return true;
    }
    match before {
        Event::CameBack { .. } | Event::SetAside { .. } => true,
        Event::Ordered { .. } => matches!(event, Event::Reading { .. } | Event::Stated { .. }),
        Event::NoteEnded => matches!(
            event,
            Event::Overridden { .. }
                | Event::Refused { .. }
                | Event::Observed { .. }
                | Event::Stated { .. }
        ),
        Event::Noted { .. } => matches!(
            event,
            Event::VoltageFound { .. }
                | Event::Refused {
                    refusal: Refusal::InANote,
                    ..
                }
        ),
        Event::Refused { .. } => matches!(event, Event::Observed { .. }),
        Event::VoltageFound { .. } => matches!(event, Event::Moved { .. }),
        Event::Moved { .. } => matches!(event, Event::StaysOff { .. }),
        Event::Affirmed { .. } => {
            matches!(
                event,
                Event::TakenOut { .. } | Event::Stated { .. } | Event::JobChanged { .. }
            )
        }
        Event::TakenOut { .. } => matches!(event, Event::TakenOut { .. }),
        Event::Stated { .. } => matches!(
            event,
            Event::StaysOff { .. } | Event::Observed { .. } | Event::JobChanged { .. }
        ),
        // The place of what was out came into the job.
        Event::PutBack { .. } => matches!(event, Event::JobChanged { .. }),
        Event::Withdrawn {
            why: Withdrawal::Negative,
            ..
        } => matches!(event, Event::TakenOut { .. }),
        Event::Opened { .. }
        | Event::Resumed { .. }
        | Event::JobChanged { .. }
        | Event::JudgedAnew { .. }
        | Event::CalibrationOverdue { .. } => matches!(
            event,
            Event::CalibrationOverdue { .. } | Event::JobChanged { .. } | Event::JudgedAnew { .. }
        ),
        Event::Withdrawn { why, .. } => why.is_replaced(),
        _ => false,
    }
}

/// An event of the first version, as this one would write it: "correction" stood for what was
/// taken back and for what was replaced.
fn as_meant(event: &Event, followed: bool) -> Event {
    match event {
        Event::Withdrawn {
            of,
            why: Withdrawal::Correction,
        } if followed => Event::Withdrawn {
            of: *of,
            why: Withdrawal::Replaced,
        },
        other => other.clone(),
    }
}

/// What a log of an older edition does not ask for, and how to have it asked.
fn older_edition(agenda: &Agenda) -> Option<Line> {
    if agenda.mode() == Mode::Finished {
        return None;
    }
    let lacks = match agenda.edition() {
        Edition::First => {
            "to put back ring ends, crossings and bonds one by one, for 250 volts after equipment is back, for the supply and its voltage before energising, at outlets that were opened, "
        }
        Edition::Second => {
            "for the voltage of the supply, between every pair, before its polarity, "
        }
        Edition::Third | Edition::Fourth => "",
        Edition::Fifth => return None,
    };
    let fourth = if agenda.edition() < Edition::Fourth {
        "for surge protection out where circuits are tested one by one, for 250 volts between the lines of three phases, "
    } else {
        ""
    };
    let fifth = "for 250 volts on each circuit where all together read low, nor to prove it dead anew when a reversed supply was put right";
    Some(Line::warning(format!(
        "This log follows {} of the plan. It does not ask {lacks}{fourth}{fifth}. To be asked for that, stop here and begin again with a new log.",
        agenda.edition()
    )))
}

/// How many answers of a log are to steps that this program does not ask for.
fn unplanned(agenda: &Agenda) -> Option<Line> {
    let answers = match agenda.unplanned().count() {
        0 => return None,
        1 => "One answer in this log is to a step that this version does not ask for. It is kept and stands on the schedule as an exception; it counts for no step here.".to_owned(),
        n => format!("{n} answers in this log are to steps that this version does not ask for. They are kept and stand on the schedule as exceptions; they count for no step here."),
    };
    Some(Line::warning(answers))
}

fn at_the_desk(event: &Event) -> bool {
    matches!(
        event,
        Event::CorrectedAtDesk { .. }
            | Event::Photographed { .. }
            | Event::SoundForgotten { .. }
            | Event::Struck { .. }
    )
}

/// Whether what is said of an event names what is out.
fn tells_what_is_out(before: &Agenda, event: &Event) -> bool {
    match event {
        Event::PutBack { .. } | Event::Overridden { .. } => true,
        Event::Affirmed { .. } => matches!(before.question(), Some(Question::AllBack(..))),
        Event::Withdrawn { of, .. } => before
            .out_list()
            .iter()
            .any(|entry| entry.back.is_some_and(|(by, _)| by == *of)),
        Event::Refused { refusal, .. } => matches!(refusal, Refusal::StillOut { .. }),
        _ => false,
    }
}

/// Reminders when a circuit or a stage is left with things out.
fn on_leaving(before: &Agenda, after: &Agenda) -> Vec<Line> {
    let (Some(old), Some(new)) = (before.current(), after.current()) else {
        return Vec::new();
    };
    let left_circuit = !old.beside(new);
    let left_stage = old.stage != new.stage;
    if !(left_circuit || left_stage) || new.stage == Stage::PutBack {
        return Vec::new();
    }
    let left = |entry: &OutEntry| left_circuit || entry.circuit == old.circuit;
    let out = about::out(after, |entry| left(entry) && entry.is_surely_out());
    if out.is_empty() {
        return Vec::new();
    }
    vec![Line::reminder(format!("Still out: {out}."))]
}

/// Whether the next prompt is due: something went forward, and nothing waits for an answer. After
/// a refusal or a question about the session the old prompt still stands.
fn wants_prompt(events: &[Event], after: &Agenda) -> bool {
    let forward = events.iter().any(|event| {
        !matches!(
            event,
            Event::Refused { .. }
                | Event::Asked { .. }
                | Event::CameBack { .. }
                | Event::Unclear { .. }
                | Event::NotTaken { .. }
                | Event::NeighbourHeard { .. }
                | Event::ReadBackCut { .. }
                | Event::Noted { .. }
                | Event::Probed { .. }
                | Event::SwitchedOn { .. }
                | Event::Came { .. }
                | Event::Predicted { .. }
                | Event::Diagnosed { .. }
                | Event::Revealed { .. }
        )
    });
    forward && after.mode() == Mode::Running && after.question().is_none()
}

/// Whether none like it lies between where the session stood and this step, which is further on.
fn is_next(agenda: &Agenda, stood: Option<usize>, step: &Step) -> bool {
    let Some(stood) = stood.filter(|stood| *stood < step.order) else {
        return false;
    };
    let mut passed = agenda
        .plan()
        .steps
        .iter()
        .filter(|other| stood < other.order && other.order < step.order);
    passed.all(|other| (other.kind, other.pair) != (step.kind, step.pair))
}
