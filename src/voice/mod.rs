//! Prompts out: to the system's speech service, to the terminal, or to nothing.

mod fallback;
mod profile;
mod silent;
#[cfg(feature = "phone")]
pub mod sounded;
mod speakable;
#[cfg(any(feature = "phone", feature = "system-voice"))]
mod spoken;
#[cfg(feature = "system-voice")]
mod system;
mod tame;
mod terminal;
mod tones;

pub use fallback::{Failing, Opener, WithFallback};
pub use profile::{OutOfRange, Profile, Rate, Volume};
pub use silent::Silent;
pub use speakable::{paced, speakable};
#[cfg(feature = "phone")]
pub(crate) use spoken::longest;
#[cfg(any(feature = "phone", feature = "system-voice"))]
pub use spoken::{Piece, pieces};
#[cfg(feature = "system-voice")]
pub use system::System;
pub use tame::{is_wild, tame};
pub use terminal::Terminal;

use crate::terms::{ProsodyChange, ProsodyNow};
use std::ops::Range;
use std::time::{Duration, Instant};

/// How a line is to sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// A prompt or an answer.
    Plain,
    /// A reading read back.
    ReadBack,
    /// A question that needs "affirm" or "negative".
    Question,
    /// A reminder of something that is out.
    Reminder,
    /// A warning: preceded by a tone where there is sound.
    Warning,
    /// What an instrument shows: in another voice than the program's own.
    Instrument,
}

impl Tone {
    /// What stands before a line that is shown, so that colour is never the only sign.
    pub fn sign(self) -> &'static str {
        match self {
            Self::Plain => "",
            Self::ReadBack => "read back: ",
            Self::Question => "question: ",
            Self::Reminder => "reminder: ",
            Self::Warning => "WARNING: ",
            Self::Instrument => "instrument: ",
        }
    }
}

/// A line to be said.
#[derive(Debug, Clone, Copy)]
pub struct Saying<'a> {
    /// How it is to sound.
    pub tone: Tone,
    /// The words.
    pub text: &'a str,
    /// Stretches of them that are said slowly and each by itself.
    pub doubtful: &'a [Range<usize>],
}

/// A short tone that tells whether the program listens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Earcon {
    /// Two rising notes: speak now.
    Listening,
    /// One note, in the brief manner: taken as said, and on to what comes next; or on to the next
    /// point or pair, which is known.
    Taken,
    /// Two falling notes: nothing is taken until the next [`Earcon::Listening`].
    NotListening,
}

/// Says lines aloud, or shows them.
pub trait Voice {
    /// Says a line; returns when it has been said or handed over.
    ///
    /// # Errors
    /// When it could not be said; the caller falls back to the terminal.
    fn put(&mut self, line: Saying<'_>) -> anyhow::Result<()>;

    /// Says `text`, none of it in doubt.
    ///
    /// # Errors
    /// As [`Voice::put`].
    fn say(&mut self, tone: Tone, text: &str) -> anyhow::Result<()> {
        self.put(Saying {
            tone,
            text,
            doubtful: &[],
        })
    }

    /// Whether it is speaking at this moment, so that the microphone can be told to disregard it.
    /// Stays true until the room has gone quiet after the last word.
    fn speaking(&self) -> bool;

    /// Cuts short what is being said and drops what waits to be said.
    fn stop(&mut self) {}

    /// Cuts short what is being said because somebody speaks over it, and drops what waits; but
    /// never a warning or a reminder, which a noise must not silence.
    fn cut_short(&mut self) {
        self.stop();
    }

    /// The lines that were cut short, or dropped, because somebody spoke over them, since this was last
    /// asked; each as it was given. None for a voice that nobody can speak over.
    fn cut_off(&mut self) -> Vec<String> {
        Vec::new()
    }

    /// Sounds a mark, where there is sound.
    fn mark(&mut self, _mark: Earcon) {}

    /// Sounds a mark in place of words, which are shown where there is something to show them on.
    fn mark_for(&mut self, mark: Earcon, _words: &str) {
        self.mark(mark);
    }

    /// Speaks differently from now on, and tells how; `None` when this voice has no such thing.
    fn adjust(&mut self, _manner: ProsodyChange) -> Option<ProsodyNow> {
        None
    }

    /// How loud the microphone is, in dB below full scale; for a voice with something to show it on.
    fn level(&mut self, _decibels: f32) {}

    /// What happened to the voice since last asked, in sentences to show. Ask a few times a
    /// second: this is also when a voice that has failed is replaced.
    fn notices(&mut self) -> Vec<String> {
        Vec::new()
    }
}

/// Waits until a voice has said all it was given, at most `limit`; tells whether it has.
pub fn until_quiet(voice: &dyn Voice, limit: Duration) -> bool {
    let end = Instant::now() + limit;
    while voice.speaking() {
        if Instant::now() > end {
            return false;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    true
}

impl<V: Voice + ?Sized> Voice for Box<V> {
    fn put(&mut self, line: Saying<'_>) -> anyhow::Result<()> {
        (**self).put(line)
    }

    fn speaking(&self) -> bool {
        (**self).speaking()
    }

    fn stop(&mut self) {
        (**self).stop();
    }

    fn cut_short(&mut self) {
        (**self).cut_short();
    }

    fn cut_off(&mut self) -> Vec<String> {
        (**self).cut_off()
    }

    fn mark(&mut self, mark: Earcon) {
        (**self).mark(mark);
    }

    fn mark_for(&mut self, mark: Earcon, words: &str) {
        (**self).mark_for(mark, words);
    }

    fn level(&mut self, decibels: f32) {
        (**self).level(decibels);
    }

    fn adjust(&mut self, manner: ProsodyChange) -> Option<ProsodyNow> {
        (**self).adjust(manner)
    }

    fn notices(&mut self) -> Vec<String> {
        (**self).notices()
    }
}
