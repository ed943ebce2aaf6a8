//! What is handed over after a session: files, what opens them, and what they say.

mod files;
mod forget;
mod labels;
mod lessons;
mod notes;
mod pack;
mod photo;

use crate::looking_back::rehearsal::Rehearsal;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use tempfile::TempDir;

/// A folder with the log of a session in it.
pub struct Desk {
    folder: TempDir,
}

/// What a run of the program came to.
#[derive(Debug)]
pub struct Ran {
    pub code: Option<i32>,
    pub out: Vec<u8>,
    pub err: String,
}

impl Ran {
    #[track_caller]
    pub fn well(self) -> Self {
        assert_eq!(self.code, Some(0), "{}", self.err);
        self
    }

    /// Refused, with this in what it says.
    #[track_caller]
    pub fn refused(self, why: &str) -> Self {
        assert_eq!(self.code, Some(2), "{self:?}");
        assert!(self.err.contains(why), "no {why:?} in {}", self.err);
        self
    }

    pub fn text(&self) -> String {
        String::from_utf8(self.out.clone()).unwrap()
    }
}

impl Desk {
    /// With a finished session in `session.db`, each utterance with its sound.
    pub fn with_a_session() -> Self {
        let mut r = Rehearsal::boathouse();
        r.until("insulation-resistance/trial");
        r.unclear("fifteen", "fifty");
        r.finish_it();
        Self::with(&r)
    }

    pub fn empty() -> Self {
        Self {
            folder: tempfile::tempdir().unwrap(),
        }
    }

    /// With what came of these typed lines in `session.db`.
    pub fn typed(lines: &str) -> Self {
        let desk = Self::empty();
        fs::write(
            desk.path("job.toml"),
            include_str!("../jobs/boathouse.toml"),
        )
        .unwrap();
        fs::write(desk.path("words.txt"), lines).unwrap();
        let args = "test job.toml --db session.db --words words.txt";
        desk.run(&args.split(' ').collect::<Vec<_>>()).well();
        desk
    }

    /// With this session in `session.db`.
    pub fn with(rehearsal: &Rehearsal) -> Self {
        let desk = Self::empty();
        rehearsal.keep(&desk.path("session.db"), true);
        desk
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_bothhands"));
        command
            .current_dir(self.folder.path())
            .stdin(Stdio::null())
            .env("TZ", "Europe/London")
            .args(args);
        command
    }

    pub fn run(&self, args: &[&str]) -> Ran {
        ran(&mut self.command(args))
    }

    /// The names of the files in a folder of it, in order.
    pub fn files(&self, folder: &str) -> Vec<String> {
        names(&self.path(folder))
    }
}

pub fn ran(command: &mut Command) -> Ran {
    let output = command.output().unwrap();
    let ran = Ran {
        code: output.status.code(),
        out: output.stdout,
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
    };
    assert!(!ran.err.contains("panicked"), "{}", ran.err);
    ran
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}
