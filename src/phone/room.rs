//! A room full of learners: a phone each, and the page of whoever teaches them.

use super::own_voice::InRoom;
use super::server::Open;
use super::watching::{Watched, Watching};
use super::{Ends, Phone, Settings, link, open, qr};
use anyhow::ensure;
use std::sync::Arc;
use std::time::Instant;
use tokio::sync::watch;

/// Where a learner works.
#[derive(Debug, Clone)]
pub struct LearnerAt {
    /// The learner.
    pub learner: String,
    /// The title of the job.
    pub job: String,
    /// Whether it is a practice.
    pub practice: bool,
    /// How the phone is served.
    pub profile: crate::voice::Profile,
}

/// The phones of a room, served until this and all of them are dropped.
pub struct Classroom {
    watching: Arc<Watching>,
    open: Arc<Open>,
}

impl Classroom {
    /// Opens the door to a phone for each learner, and to the instructor.
    ///
    /// # Errors
    /// As [`Phone::open`], and when there is no learner.
    pub fn open(
        settings: &Settings<'_>,
        learners: &[LearnerAt],
    ) -> anyhow::Result<(Self, Vec<Phone>)> {
        ensure!(!learners.is_empty(), "a room needs a learner");
        let any = Arc::new(watch::Sender::new(0));
        let watching = Arc::new(Watching::new(Arc::clone(&any))?);
        let names = learners.iter().map(|at| at.learner.clone()).collect();
        let ends = learners
            .iter()
            .zip(InRoom::of(names))
            .map(|(at, place)| {
                let own = Settings {
                    profile: at.profile.clone(),
                    ..settings.clone()
                };
                Ends::of(&own, &at.learner, Watched::of(at), Some(place), &any)
            })
            .collect::<anyhow::Result<Vec<Ends>>>()?;
        let phones = ends.iter().map(|end| Arc::clone(&end.shared)).collect();
        let open = open(settings, phones, Some(Arc::clone(&watching)))?;
        let phones = ends
            .into_iter()
            .zip(learners)
            .map(|(end, at)| end.phone(&at.profile, &open))
            .collect();
        Ok((Self { watching, open }, phones))
    }

    /// The address for the instructor to pair with: good for once, and for ten minutes.
    ///
    /// # Errors
    /// When the machine has no random numbers.
    pub fn link(&self) -> anyhow::Result<String> {
        link(&mut self.watching.lock().pairing, &self.open.address)
    }

    /// The same as a code.
    ///
    /// # Errors
    /// As [`Classroom::link`].
    pub fn code(&self) -> anyhow::Result<String> {
        qr::text(&self.link()?)
    }

    /// By which the machine's authority is known.
    pub fn fingerprint(&self) -> &str {
        &self.open.fingerprint
    }

    /// Whether the instructor's page is paired, and was heard of a moment ago.
    pub fn is_paired(&self) -> bool {
        self.watching.lock().pairing.is_there(Instant::now())
    }

    /// What the person at the bench is to know of the instructor's page since last asked.
    pub fn notices(&self) -> Vec<String> {
        std::mem::take(&mut self.watching.lock().notices)
    }
}
