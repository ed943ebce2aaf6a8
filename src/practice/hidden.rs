use super::showing::Tests;
use crate::bay::Bay;
use crate::installation::Job;
use crate::sequence::Agenda;
use crate::terms::{BayEdition, FaultKind, HiddenFault, Simulated};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::path::Path;

/// What is hidden in a simulated installation: its faults, and the salt that its lengths, leakage and
/// trip times are drawn by. Its seal stands in the log from the beginning, so that nothing is hidden
/// differently later; what it is stands there at the end.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Hidden {
    /// The faults.
    pub faults: Vec<HiddenFault>,
    /// In hexadecimal.
    pub salt: String,
}

/// What somebody says is hidden: by a file of an instructor, or by the number that draws it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Given {
    /// Of a file.
    File(Hidden),
    /// Of a number.
    Drawn {
        /// The number.
        seed: u64,
        /// How many faults.
        how_many: usize,
        /// Of which kinds; of all where none is named.
        from: Vec<FaultKind>,
    },
}

impl Given {
    /// What is hidden in a job, in a practice of that edition.
    pub fn hidden(&self, job: &Job, edition: BayEdition) -> Hidden {
        match self {
            Self::File(hidden) => hidden.clone(),
            Self::Drawn {
                seed,
                how_many,
                from,
            } => Hidden::drawn_as(job, *seed, *how_many, from, edition),
        }
    }

    /// What is hidden in the practice of a log; nothing where its seal is another one, or it is no practice.
    pub fn of_log(&self, agenda: &Agenda) -> Option<Hidden> {
        let simulated = agenda.practice()?.simulated.as_ref()?;
        let hidden = self.hidden(agenda.job(), simulated.edition);
        let of_log = |hidden: &Hidden| hidden.seal().seal == simulated.seal;
        // What an earlier program drew may be what no test of the job shows.
        let before = || self.drawn_before(agenda.job(), simulated.edition);
        Some(hidden)
            .filter(of_log)
            .or_else(|| before().filter(of_log))
    }

    /// What was drawn when a fault could be one that no test of the job shows; nothing of a file.
    fn drawn_before(&self, job: &Job, edition: BayEdition) -> Option<Hidden> {
        match self {
            Self::File(_) => None,
            Self::Drawn {
                seed,
                how_many,
                from,
            } => {
                let from = kinds(from, edition);
                Some(Hidden::of_seed(*seed, |_| {
                    Bay::draw(job, *seed, *how_many, from)
                }))
            }
        }
    }
}

/// A file of faults.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct File {
    /// Any number that nobody else knows: without it a learner could try all faults against the seal.
    #[serde(default)]
    seed: u64,
    /// The faults.
    #[serde(default, rename = "fault")]
    faults: Vec<HiddenFault>,
}

/// Why a file of faults can't be used.
#[derive(Debug, thiserror::Error)]
pub enum HiddenError {
    /// It can't be read.
    #[error("{path}: can't be read: {source}")]
    Read {
        /// The file.
        path: String,
        /// Why.
        source: std::io::Error,
    },
    /// It is not as it should be.
    #[error(
        "{path}: {why}\nIt holds a seed, and a [[fault]] for each with kind, circuit, place and conductor; `bothhands practise --help` lists the kinds"
    )]
    Wrong {
        /// The file.
        path: String,
        /// What is wrong, and where.
        why: String,
    },
}

impl Hidden {
    /// What an instructor wrote into a file.
    ///
    /// # Errors
    /// When it can't be read, or holds what is no fault.
    pub fn load(path: &Path) -> Result<Self, HiddenError> {
        let name = path.display().to_string();
        let text = std::fs::read_to_string(path).map_err(|source| HiddenError::Read {
            path: name.clone(),
            source,
        })?;
        Self::parse(&text, &name)
    }

    /// The same from its text; `name` is for messages.
    ///
    /// # Errors
    /// When it holds what is no fault.
    pub fn parse(text: &str, name: &str) -> Result<Self, HiddenError> {
        let file: File = toml::from_str(text).map_err(|why| HiddenError::Wrong {
            path: name.to_owned(),
            why: why.to_string(),
        })?;
        Ok(Self {
            salt: salted(&["faults of a file", &file.seed.to_string()]),
            faults: file.faults,
        })
    }

    /// What a seed draws: so many faults of these kinds, each possible in the job and shown by one of its tests at
    /// least; of all kinds where none is named. It may be fewer, where there are no more.
    pub fn drawn(job: &Job, seed: u64, how_many: usize, from: &[FaultKind]) -> Self {
        Self::drawn_as(job, seed, how_many, from, BayEdition::NOW)
    }

    /// The same as an edition draws it.
    fn drawn_as(
        job: &Job,
        seed: u64,
        how_many: usize,
        from: &[FaultKind],
        edition: BayEdition,
    ) -> Self {
        let from = kinds(from, edition);
        Self::of_seed(seed, |sealed| {
            let mut tests = Tests::of(job, sealed.seed(), edition);
            Bay::draw_of(job, seed, how_many, from, &mut |fault| tests.show(fault))
        })
    }

    /// What a seed draws in that way, of an installation of which the rest is known.
    fn of_seed(seed: u64, draw: impl FnOnce(&Self) -> Vec<HiddenFault>) -> Self {
        let mut hidden = Self {
            faults: Vec::new(),
            salt: salted(&["faults of a seed", &seed.to_string()]),
        };
        hidden.faults = draw(&hidden);
        hidden
    }

    /// Nothing hidden.
    pub fn nothing() -> Self {
        Self {
            faults: Vec::new(),
            salt: salted(&["no faults"]),
        }
    }

    /// What a log tells at its end.
    pub fn revealed(faults: &[HiddenFault], salt: &str) -> Self {
        Self {
            faults: faults.to_vec(),
            salt: salt.to_owned(),
        }
    }

    /// The seal: what is hidden can be told to be this, and not found out from it.
    pub fn seal(&self) -> Simulated {
        // Plain data: it can always be written.
        let text = serde_json::to_string(self).unwrap_or_default();
        Simulated {
            seal: hex::encode(Sha256::digest(text.as_bytes())),
            edition: BayEdition::NOW,
        }
    }

    /// What the installation is drawn by.
    pub fn seed(&self) -> u64 {
        let digest = Sha256::digest(self.salt.as_bytes());
        digest
            .iter()
            .take(8)
            .fold(0, |seed, byte| (seed << 8) | u64::from(*byte))
    }
}

/// The kinds that are drawn from.
fn kinds(from: &[FaultKind], edition: BayEdition) -> &[FaultKind] {
    match from {
        [] => FaultKind::of(edition),
        from => from,
    }
}

fn salted(parts: &[&str]) -> String {
    hex::encode(Sha256::digest(parts.join("\n").as_bytes()))
}
