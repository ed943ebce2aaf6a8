//! How the program ends: the one table of exit statuses.

use std::process::ExitCode;

/// How the program ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Exit {
    /// What was asked for was done.
    Done,
    /// This machine lacks something.
    Lacking,
    /// It could not be done, or not wholly.
    Wrong,
    /// Ended at once.
    AtOnce,
}

/// All of them, and when each comes.
pub(crate) const TABLE: [(Exit, &str); 4] = [
    (Exit::Done, "what was asked for was done"),
    (
        Exit::Lacking,
        "this machine lacks something: `doctor` found what a session needs missing, `devices` no microphone",
    ),
    (
        Exit::Wrong,
        "it could not be done, or not wholly; why stands on standard error",
    ),
    (
        Exit::AtOnce,
        "ended by a second Ctrl-C; what was read back is kept",
    ),
];

impl Exit {
    /// Its number.
    pub(crate) fn status(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::Lacking => 1,
            Self::Wrong => 2,
            // 128 and the number of the signal, as shells have it.
            Self::AtOnce => 130,
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit.status())
    }
}
