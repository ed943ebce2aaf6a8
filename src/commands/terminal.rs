//! What a session shows as plain lines.

use bothhands::dialogue::Observer;
use bothhands::speech::{Heard, Outcome};

/// Shows what was heard.
#[derive(Debug, Clone, Copy, Default)]
pub struct ToTerminal {
    /// Shows nothing.
    pub quiet: bool,
    /// Shows how long hearing took.
    pub timed: bool,
}

impl ToTerminal {
    /// With the time that hearing took.
    pub fn timed() -> Self {
        Self {
            quiet: false,
            timed: true,
        }
    }
}

impl Observer for ToTerminal {
    fn no_voice(&mut self, name: &str) {
        if !self.quiet {
            println!("(ignored: no voice in {name})");
        }
    }

    fn unsaid(&mut self, line: &str) {
        eprintln!("{line}");
    }

    fn heard(&mut self, words: &str, heard: Option<&Heard>) {
        if self.quiet {
            return;
        }
        let took = match heard {
            Some(heard) if self.timed => format!("   [heard in {} ms]", heard.took.as_millis()),
            _ => String::new(),
        };
        match heard.map(|h| h.outcome) {
            Some(Outcome::NotForUs) => println!("(ignored: not for us){took}"),
            Some(Outcome::AskAgain) => println!("you:  {words} (?){took}"),
            Some(Outcome::Taken) | None => println!("you:  {words}{took}"),
        }
    }
}
