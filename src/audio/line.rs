//! A line on which sound comes in as it is spoken: a microphone of this machine, or one elsewhere.

use super::SAMPLE_RATE;
use std::fmt;
use std::time::Duration;

/// Samples in each [`LineEvent::Sound`]: 20 ms.
pub const CHUNK: usize = SAMPLE_RATE as usize / 50;

/// What the microphone has to give.
#[derive(Debug, Clone, PartialEq)]
pub enum LineEvent {
    /// [`CHUNK`] samples, mono, 16 kHz, -1 to 1.
    Sound(Vec<f32>),
    /// Something the person should know.
    Notice(Notice),
}

/// What happened to the microphone. `Display` gives a sentence to say and show.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Notice {
    /// No sound arrives any more; it is being looked for.
    Lost {
        /// Its name.
        device: String,
        /// What the sound system said.
        reason: String,
    },
    /// Sound arrives again after `away`. Words begun before were cut off.
    Back {
        /// Its name.
        device: String,
        /// How long there was no sound of it.
        away: Duration,
    },
    /// Nothing but exact zeros arrives: muted, or unplugged behind the sound server.
    OnlySilence {
        /// Its name.
        device: String,
    },
    /// There is sound again after [`Notice::OnlySilence`].
    SoundAgain {
        /// Its name.
        device: String,
    },
    /// The program or the machine was too slow: `lost` of sound is missing.
    Overrun {
        /// How much sound.
        lost: Duration,
    },
    /// The sound system says that sound was lost on its way to the program, but not how much.
    Gap,
    /// Sound of a phone was given up on its way here.
    LostOnTheWay,
    /// No sound of the phone arrives any more.
    Unreached,
    /// It arrives again after `away`.
    ReachedAgain {
        /// How long nothing came.
        away: Duration,
    },
    /// The phone's page was not shown for `away`, in which it does not listen.
    Hidden {
        /// How long.
        away: Duration,
    },
    /// The phone says that its microphone was muted, or taken from the page.
    Muted,
}

impl Notice {
    /// Whether what is being said when it comes has lost some of its sound.
    pub fn spoils(&self) -> bool {
        match self {
            Self::Back { .. }
            | Self::OnlySilence { .. }
            | Self::SoundAgain { .. }
            | Self::ReachedAgain { .. } => false,
            Self::Lost { .. }
            | Self::Overrun { .. }
            | Self::Gap
            | Self::LostOnTheWay
            | Self::Unreached
            | Self::Hidden { .. }
            | Self::Muted => true,
        }
    }
}

impl fmt::Display for Notice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Lost { .. } => f.write_str(
                "The microphone is lost. Check its plug and switch; you can type meanwhile.",
            ),
            Self::Back { .. } => f.write_str("The microphone is back. Say the last thing again."),
            Self::OnlySilence { .. } => f.write_str(
                "The microphone gives only silence. Check its mute switch and that it is the one in use.",
            ),
            Self::SoundAgain { .. } => f.write_str("The microphone gives sound again."),
            Self::Overrun { lost } => write!(
                f,
                "The machine was too slow and missed {:.1} seconds of sound. Say the last thing again.",
                lost.as_secs_f64()
            ),
            Self::Gap => {
                f.write_str("The sound system lost some sound. Say the last thing again.")
            }
            Self::LostOnTheWay => f.write_str(
                "Some of the phone's sound was lost on its way. Say the last thing again.",
            ),
            Self::Unreached => f.write_str(
                "No sound comes from the phone. Look at its page, and whether it is near enough to the network. What was read back is kept.",
            ),
            Self::ReachedAgain { .. } => {
                f.write_str("The phone is heard again. Say the last thing again.")
            }
            Self::Hidden { away } => write!(
                f,
                "The phone's page was hidden for {} seconds, and nothing that was said meanwhile counts. Say the last thing again.",
                away.as_secs().max(1)
            ),
            Self::Muted => f.write_str(
                "The phone's microphone is muted, or another app has it. Look at its page.",
            ),
        }
    }
}

/// How loud it is, in decibels below full scale (0 is the loudest there can be).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loudness {
    /// Mean over the last chunk.
    pub mean: f32,
    /// Largest sample of the last chunk.
    pub peak: f32,
    /// Whether the last chunk touched full scale: turn the microphone down.
    pub clipped: bool,
}

/// The level shown when there is nothing but zeros.
pub const QUIETEST: f32 = -99.0;

impl Loudness {
    /// Measures samples of -1 to 1. No samples are silence.
    pub fn of(samples: &[f32]) -> Self {
        let peak = samples.iter().fold(0.0_f32, |most, s| most.max(s.abs()));
        let power = samples.iter().map(|s| s * s).sum::<f32>() / samples.len().max(1) as f32;
        Self {
            mean: decibels(power.sqrt()),
            peak: decibels(peak),
            clipped: peak >= 0.999,
        }
    }
}

pub(super) fn decibels(amplitude: f32) -> f32 {
    super::levels::decibels(amplitude).max(QUIETEST)
}

/// A meter of twenty steps over 60 dB, for a terminal: `[##########          ] -30 dB`.
impl fmt::Display for Loudness {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&super::bar(self.mean))?;
        if self.clipped {
            f.write_str(" too loud")?;
        }
        Ok(())
    }
}

/// Where sound comes from while somebody speaks.
pub trait SoundLine {
    /// The next thing from it; waits for it at most `limit`.
    fn next(&mut self, limit: Duration) -> Option<LineEvent>;

    /// How loud the last chunk was.
    fn level(&self) -> Loudness;

    /// Whether the program's own voice may be in the sound that was given last, where the line knows
    /// better than the voice: sound from elsewhere comes later than it was made.
    fn program_spoke(&self) -> Option<bool> {
        None
    }

    /// What it missed, for the end of a session: "3 overruns".
    fn missed(&self) -> String;
}
