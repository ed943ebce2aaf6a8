//! What a session shows as plain lines.

use super::shown;
use bothhands::dialogue::{DialogueManager, Observer, Tally};
use bothhands::sequence::Mode;
use bothhands::speech::{Decision, Recognition};
use std::path::Path;

/// Shows what was heard.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct ToTerminal {
    /// Shows nothing.
    pub quiet: bool,
    /// Shows how long hearing took.
    pub timed: bool,
}

impl ToTerminal {
    /// With the time that hearing took.
    pub(super) fn timed() -> Self {
        Self {
            quiet: false,
            timed: true,
        }
    }
}

impl Observer for ToTerminal {
    fn no_voice(&mut self, name: &str) {
        if !self.quiet {
            show(format!("(ignored: no voice in {name})"));
        }
    }

    fn unsaid(&mut self, line: &str) {
        shown::note(line);
    }

    fn heard(&mut self, words: &str, heard: Option<&Recognition>) {
        if self.quiet {
            return;
        }
        let took = match heard {
            Some(heard) if self.timed => format!("   [heard in {} ms]", heard.took.as_millis()),
            _ => String::new(),
        };
        match heard.map(|h| h.outcome) {
            Some(Decision::Reject) => show(format!("(ignored: not for us){took}")),
            Some(Decision::Confirm) => show(format!("you:  {words} (?){took}")),
            Some(Decision::Accept) | None => show(format!("you:  {words}{took}")),
        }
    }
}

/// What was heard is shown for the eyes only: where it can't be, the session goes on.
fn show(line: String) {
    let _ = shown::line(line);
}

/// Says at the end of a session what came of it, where the log is and, in the last line, how it
/// can be known again.
pub(super) fn summed_up(tally: &Tally, conductor: &DialogueManager<'_>, db: &Path, stopped: bool) {
    let finished = conductor.session.state().mode() == Mode::Finished;
    let how = match (finished, stopped) {
        (true, _) => "Finished",
        (false, true) => "Stopped",
        (false, false) => "Nothing more to hear",
    };
    shown::note(format!(
        "{how}. {} taken, {} asked again, {} ignored, {} not understood. The log is {}.",
        tally.taken,
        tally.asked_again,
        tally.ignored,
        tally.not_understood,
        db.display()
    ));
    if conductor.session.state().practises() && finished {
        shown::note(format!(
            "Next: `bothhands mark {0}` for the sheet of marks, `bothhands review {0}` to look back.",
            db.display()
        ));
    } else if finished {
        shown::note(format!(
            "Next: `bothhands schedule {0}` for the schedule of test results, `bothhands review {0}` to look back and put readings right.",
            db.display()
        ));
    } else {
        shown::note("The same command takes it up again where it is.");
    }
    match conductor
        .store
        .still_there()
        .and_then(|()| conductor.store.heads())
    {
        Ok(heads) => {
            for head in heads {
                shown::note(format!(
                    "Head of the log: {}. Write it down: `bothhands verify {} --head {0}` tells \
                     later whether all of it is still there.",
                    head.short(),
                    db.display()
                ));
            }
        }
        Err(why) => shown::note(format!("WARNING: {why}")),
    }
}
