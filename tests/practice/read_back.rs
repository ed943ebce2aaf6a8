//! A value counts against a learner only if its read-back was given: one that somebody spoke over is kept as
//! broken off, by what speaks it, and stands on the sheet as not read back.

use super::learner::{Habit, JOB, Learner};
use super::marks::times;
use bothhands::dialogue::{
    DialogueManager, Input, InputSource, Observer, RunBy, grammar_for, open_session,
};
use bothhands::installation::Job;
use bothhands::log::{Log, SharedClock, take_up};
use bothhands::marking::{Criteria, Economy, Judged, Judgement, Sheet, mark};
use bothhands::practice::{Bench, Hidden};
use bothhands::report::{SoundsByHash, dialogue, sheet_html};
use bothhands::sequence::{Event, EventNo, prompt};
use bothhands::speech::Recognition;
use bothhands::terms::{Level, Practice};
use bothhands::voice::{Saying, Voice};
use std::cell::RefCell;
use std::collections::VecDeque;
use std::rc::Rc;
use std::sync::Arc;

/// What is being said, and what somebody spoke over.
#[derive(Default)]
struct Aloud {
    lines: Vec<String>,
    cut: Vec<String>,
}

/// A voice that takes its time: it speaks until the next thing that comes in.
struct Slow(Rc<RefCell<Aloud>>);

impl Voice for Slow {
    fn put(&mut self, line: Saying<'_>) -> anyhow::Result<()> {
        self.0.borrow_mut().lines.push(line.text.to_owned());
        Ok(())
    }

    fn speaking(&self) -> bool {
        !self.0.borrow().lines.is_empty()
    }

    fn cut_short(&mut self) {
        let mut aloud = self.0.borrow_mut();
        let dropped = std::mem::take(&mut aloud.lines);
        aloud.cut.extend(dropped);
    }

    fn cut_off(&mut self) -> Vec<String> {
        std::mem::take(&mut self.0.borrow_mut().cut)
    }
}

/// Lines that are typed once the voice is silent, and, where it is told, somebody who speaks over it first.
struct Typed {
    aloud: Rc<RefCell<Aloud>>,
    lines: VecDeque<String>,
    over: &'static str,
}

const SPEAKS_OVER: &str = "(speaks over it)";

impl InputSource for Typed {
    fn next(&mut self, voice: &mut dyn Voice) -> anyhow::Result<Option<Input>> {
        if self.lines.front().is_some_and(|line| line == SPEAKS_OVER) {
            self.lines.pop_front();
            // All but what was said before the line that is spoken over.
            let at = (self.aloud.borrow().lines.iter()).position(|l| l.contains(self.over));
            self.aloud
                .borrow_mut()
                .lines
                .drain(..at.unwrap_or_default());
            voice.cut_short();
            return Ok(Some(Input::Waiting));
        }
        self.aloud.borrow_mut().lines.clear();
        Ok(self.lines.pop_front().map(Input::Words))
    }
}

struct Nobody;

impl Observer for Nobody {
    fn heard(&mut self, _words: &str, _heard: Option<&Recognition>) {}

    fn unsaid(&mut self, line: &str) {
        panic!("not said: {line}");
    }
}

/// Words of a learner who reads one value a decimal place off, and which of them that is.
fn words() -> (Vec<String>, usize) {
    let habit = Some(Habit::DecimalPlaceOff);
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Led, habit);
    learner.go_to_the_end();
    let sheet = learner.sheet();
    let wrong = sheet.readings.iter().find(|j| j.is_wrong()).unwrap();
    let number = wrong.said.number.unwrap();
    let words: Vec<String> = learner
        .diary
        .iter()
        .filter_map(|line| Some(line.strip_prefix("> ")?.to_owned()))
        .collect();
    let said = bothhands::grammar::Intent::Reading {
        reading: bothhands::quantity::Reading::exact(number),
        place: None,
        half: None,
    };
    let said = said.words();
    let at = words.iter().position(|w| w.starts_with(&said)).unwrap();
    (words, at)
}

/// What comes of these lines, and its marks.
fn marked(lines: Vec<String>, over: &'static str) -> (Log, Sheet) {
    let folder = tempfile::tempdir().unwrap();
    let clock = SharedClock::default();
    let (mut store, log) = take_up(&folder.path().join("over.db"), &clock).unwrap();
    let job = Job::parse(JOB, "bay.toml").unwrap();
    let bench = Bench::of(&job, Hidden::nothing()).unwrap();
    let practice = Practice {
        learner: "A. Learner".to_owned(),
        level: Level::Led,
        predict: false,
        simulated: Some(bench.hidden().seal()),
    };
    let run_by = RunBy {
        practice: Some(&practice),
        ..RunBy::from("a test")
    };
    let (grammar, _) = grammar_for(&job, false, true).unwrap();
    let (session, first) = open_session(&mut store, &log, job, JOB, run_by, &clock).unwrap();
    let aloud = Rc::<RefCell<Aloud>>::default();
    let mut manager = DialogueManager {
        session,
        store: &mut store,
        clock,
        grammar: &grammar,
        bench: Some(bench),
        recogniser: None,
        voice: &mut Slow(Rc::clone(&aloud)),
        observer: &mut Nobody,
        stop: Arc::default(),
        live: false,
    };
    manager.open(&first);
    let mut typed = Typed {
        aloud,
        lines: lines.into(),
        over,
    };
    manager.run(&mut typed).unwrap();
    let log = Log::read(&store).unwrap();
    let sheet = mark(
        &log,
        None,
        None,
        &Criteria::default(),
        &mut Economy::default(),
    )
    .unwrap();
    (log, sheet)
}

fn wrong(sheet: &Sheet) -> &Judged {
    let wrong = |judged: &&Judged| judged.judgement == Judgement::Decimal;
    sheet.readings.iter().find(wrong).unwrap()
}

fn cuts(log: &Log) -> usize {
    let cut = |event: &Event| matches!(event, Event::ReadBackCut { .. });
    log.entries.iter().filter(|entry| cut(&entry.event)).count()
}

/// Spoken over before it was said whole, it stands on the sheet and does not count; told again, or with what
/// follows spoken over, it counts.
#[test]
fn what_was_not_read_back_does_not_count_against_the_learner() {
    let (words, at) = words();
    // It surprises, and is affirmed.
    assert_eq!(words[at + 1], "affirm");
    let with = |at_once: &[&str], affirmed: &[&str]| {
        let some = |lines: &[&str]| {
            lines
                .iter()
                .map(|line| (*line).to_owned())
                .collect::<Vec<_>>()
        };
        let mut lines = words.clone();
        lines.splice(at + 2..at + 2, some(affirmed));
        lines.splice(at + 1..at + 1, some(at_once));
        lines
    };
    let (log, sheet) = marked(with(&[], &[]), "ohms");
    assert_eq!(cuts(&log), 0);
    assert!(wrong(&sheet).is_wrong());
    assert_eq!(sheet.wrong_readings(), 1);
    let fewer = sheet.points;

    let (log, sheet) = marked(with(&[SPEAKS_OVER], &[]), "ohms");
    assert_eq!(cuts(&log), 1);
    let judged = wrong(&sheet);
    assert!(judged.not_read_back && judged.is_excused() && !judged.is_wrong());
    assert_eq!(sheet.wrong_readings(), 0);
    assert!(sheet.points > fewer);
    assert!(sheet.readings.iter().filter(|j| j.not_read_back).count() == 1);
    let told = dialogue(&log).unwrap();
    let told = told.iter().any(|exchange| {
        let said = exchange.understood.as_deref();
        said == Some(format!("(the read-back of #{} was broken off)", judged.event).as_str())
    });
    assert!(told);
    let page = sheet_html(&sheet, &SoundsByHash::new(), &times());
    assert!(page.contains("read-back not given, not counted"), "{page}");

    let (log, sheet) = marked(with(&[SPEAKS_OVER], &["what did i say"]), "ohms");
    assert_eq!(cuts(&log), 1);
    assert!(wrong(&sheet).is_wrong());
    // And that spoken over as well.
    let told_over = ["what did i say", SPEAKS_OVER];
    let (log, sheet) = marked(with(&[SPEAKS_OVER], &told_over), "ohms");
    assert_eq!(cuts(&log), 2);
    assert!(!wrong(&sheet).is_wrong());
}

/// It changes nothing else: the same is asked, and whoever was away is still away.
#[test]
fn it_changes_nothing_else() {
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Led, None);
    learner.go_to("bond/water");
    let before = learner.session.state().clone();
    let later = learner.now + jiff::SignedDuration::from_hours(3);
    let turn = learner.session.read_back_cut(EventNo(12), later);
    assert_eq!(turn.events, [Event::ReadBackCut { of: EventNo(12) }]);
    let kept = serde_json::to_value(&turn.events[0]).unwrap();
    assert_eq!(
        kept,
        serde_json::json!({"event": "read-back-cut", "of": 12})
    );
    assert!(turn.lines.is_empty());
    let after = learner.session.state();
    assert_eq!(prompt(after).full, prompt(&before).full);
    assert_eq!(after.last_event_at(), before.last_event_at());
    assert_eq!(
        after.open_steps().map(|step| &step.id).collect::<Vec<_>>(),
        before.open_steps().map(|step| &step.id).collect::<Vec<_>>()
    );
}
