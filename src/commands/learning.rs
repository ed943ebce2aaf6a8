//! How much a session tells, for whoever learns by it or is examined.

use bothhands::installation::Job;
use bothhands::terms::{Level, Practice, Simulated};

/// How much is told.
#[derive(Debug, clap::Args)]
pub(crate) struct LearningArgs {
    /// How much is told: `led` tells every step, `asked` asks what comes next and helps when asked,
    /// `silent` is an examination, which only reads back. A log keeps the level it was begun with.
    #[arg(long, value_enum, default_value_t, value_name = "LEVEL")]
    level: Level,
    /// Who learns, or is examined; the tester of the job when not given.
    #[arg(long, value_name = "NAME")]
    learner: Option<String>,
    /// Before each reading, its value and its limit are to be predicted.
    #[arg(long)]
    predict: bool,
}

impl LearningArgs {
    /// What the log's first event says of it: nothing for a plain test of an installation.
    pub(crate) fn practice(&self, job: &Job, simulated: Option<Simulated>) -> Option<Practice> {
        let plain = self.level == Level::Led && self.learner.is_none() && !self.predict;
        (!plain || simulated.is_some()).then(|| Practice {
            learner: self.learner.clone().unwrap_or_else(|| job.tester.clone()),
            level: self.level,
            predict: self.predict,
            simulated,
        })
    }
}
