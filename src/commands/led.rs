//! A job that is to be led, by whichever source and voice.

use bothhands::dialogue::{RunBy, grammar_for, open_session};
use bothhands::grammar::{Grammar, SaidInstead};
use bothhands::installation::Job;
use bothhands::log::{Log, SharedClock};
use bothhands::practice::{Bench, Hidden};
use bothhands::sequence::{Session, Turn};
use bothhands::store::{OpenMode, Store};
use bothhands::terms::{BayEdition, Delivery, Practice, Simulated};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A job with what is hidden in it and what can be said of it, before there is a log.
pub(super) struct Led {
    /// The job, and its file's text.
    pub job: Job,
    pub text: String,
    /// Where its log is, or will be.
    pub db: PathBuf,
    /// How somebody learns by it, or is examined.
    pub practice: Option<Practice>,
    /// What can be said.
    pub grammar: Arc<Grammar>,
    /// What to say for what can't be said as it is written.
    pub other_words: Vec<SaidInstead>,
    hidden: Option<Hidden>,
    bench: Option<Bench>,
}

/// A session that has begun, and the first turn of it.
pub(super) struct Begun {
    pub session: Session,
    pub first: Turn,
    pub bench: Option<Bench>,
}

impl Led {
    /// Makes a job ready: `hides` gives what is hidden in it, when it is a practice, and `practice` how
    /// somebody learns by it. What can't be hidden in that job begins no log.
    ///
    /// # Errors
    /// When that can't be hidden in it.
    pub(super) fn of(
        job: Job,
        text: String,
        db: PathBuf,
        by_voice: bool,
        hides: impl FnOnce(&Job, BayEdition) -> anyhow::Result<Option<Hidden>>,
        practice: impl FnOnce(&Job, Option<Simulated>) -> Option<Practice>,
    ) -> anyhow::Result<Self> {
        let hidden = hides(&job, edition_of(&db))?;
        let bench = hidden
            .clone()
            .map(|hidden| Bench::of(&job, hidden))
            .transpose()?;
        let practice = practice(&job, hidden.as_ref().map(Hidden::seal));
        let (grammar, other_words) = grammar_for(&job, by_voice, practice.is_some())?;
        Ok(Self {
            job,
            text,
            db,
            practice,
            grammar: Arc::new(grammar),
            other_words,
            hidden,
            bench,
        })
    }

    /// Says what another does, where both lead the same job in the same way: what can be said is then worked out
    /// once for both. Both are led by voice, or neither.
    pub(super) fn says_as(&mut self, other: &Self) {
        let learns = |led: &Self| led.practice.is_some();
        if self.text == other.text && learns(self) == learns(other) {
            self.grammar = Arc::clone(&other.grammar);
        }
    }

    /// Begins its session, or takes it up where its log ends.
    ///
    /// # Errors
    /// When the log is of another job or practice, or could not be begun.
    pub(super) fn begin(
        &self,
        store: &mut Store,
        log: &Log,
        by: &str,
        changed: bool,
        delivery: Delivery,
        clock: &SharedClock,
    ) -> anyhow::Result<Begun> {
        let bench = match &self.hidden {
            Some(hidden) if !log.entries.is_empty() => {
                Bench::resumed(hidden.clone(), log.events())?
            }
            _ => self.bench.clone(),
        };
        let run = RunBy {
            by,
            changed,
            delivery,
            practice: self.practice.as_ref(),
        };
        let (session, first) = open_session(store, log, self.job.clone(), &self.text, run, clock)?;
        Ok(Begun {
            session,
            first,
            bench,
        })
    }
}

/// What the simulated installation does of a log that there is; of a new one, what it does now. What is wrong
/// with the log is told where it is taken up.
fn edition_of(db: &Path) -> BayEdition {
    let left = || {
        Log::read(&Store::open(db, OpenMode::Read).ok()?)
            .ok()?
            .agenda()
            .ok()
    };
    let left = db.exists().then(left).flatten();
    let practised = left.filter(|left| left.practises());
    practised.map_or(BayEdition::NOW, |left| left.bay_edition())
}
