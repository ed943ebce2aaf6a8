//! How prompts come.

use super::configured;
use anyhow::Context;
use bothhands::config::{Config, VoiceKind};
use bothhands::dialogue::settings;
use bothhands::speech::{Rehearsed, VoiceProfile};
use bothhands::terms::{Manner, Wording};
#[cfg(feature = "system-voice")]
use bothhands::voice::WithFallback;
use bothhands::voice::{Profile, Rate, Silent, Terminal, Voice, Volume};
use std::path::{Path, PathBuf};

/// The options on how the program speaks and, in a profile, how it hears.
#[derive(Debug, Clone, Default, clap::Args)]
pub(super) struct VoiceArgs {
    /// How prompts come: the system's speech service, the terminal, or not at all.
    #[arg(long, value_enum)]
    voice: Option<VoiceKind>,
    /// A profile (TOML): how the program speaks (rate, volume, voice, the room's tail), and in
    /// [hearing] how it hears you, as `bothhands rehearse` writes it.
    #[arg(long, value_name = "FILE")]
    profile: Option<PathBuf>,
    /// How fast prompts are spoken: -100 (slowest) to 100 (fastest), 0 as usual.
    #[arg(long, allow_negative_numbers = true)]
    rate: Option<Rate>,
    /// How loud prompts are spoken, 0 to 100.
    #[arg(long)]
    volume: Option<Volume>,
    /// A voice of the speech service, by name or part of it.
    #[arg(long, value_name = "NAME")]
    voice_name: Option<String>,
    /// How much is said: everything in words, or values and permissions in words and a tone for what
    /// goes as expected.
    #[arg(long, value_enum)]
    manner: Option<Manner>,
    /// Whose words are used: those of radiotelephony ("zero decimal", "affirm") or those usual in
    /// Britain ("nought point", "yes").
    #[arg(long, value_enum)]
    wording: Option<Wording>,
}

/// The part `[hearing]` of the profile at `path`, with what lies beside it.
///
/// # Errors
/// When that can't be used.
pub(super) fn rehearsed(
    hearing: Option<VoiceProfile>,
    path: &Path,
) -> anyhow::Result<Option<Rehearsed>> {
    let folder = path.parent().unwrap_or(Path::new(""));
    hearing.map(|h| Rehearsed::open(h, folder)).transpose()
}

/// How the program speaks and hears by a profile; as usual without one.
///
/// # Errors
/// When it can't be used.
#[cfg(feature = "phone")]
pub(super) fn of_profile(profile: Option<PathBuf>) -> anyhow::Result<(Profile, Option<Rehearsed>)> {
    let only = VoiceArgs {
        profile,
        ..VoiceArgs::default()
    };
    only.profile()
}

impl VoiceArgs {
    /// With what the configuration says wherever no option was given. A profile that was given stands
    /// alone: its rate, volume and voice are not those of the configuration.
    pub(super) fn or_configured(&self) -> Self {
        let Config {
            voice,
            voice_name,
            rate,
            volume,
            profile,
            manner,
            wording,
            ..
        } = configured::or_usual();
        let with_profile = self.profile.is_some();
        Self {
            voice: self.voice.or(voice),
            rate: self.rate.or(rate.filter(|_| !with_profile)),
            volume: self.volume.or(volume.filter(|_| !with_profile)),
            voice_name: self
                .voice_name
                .clone()
                .or(voice_name.filter(|_| !with_profile)),
            manner: self.manner.or(manner.filter(|_| !with_profile)),
            wording: self.wording.or(wording.filter(|_| !with_profile)),
            profile: self.profile.clone().or(profile),
        }
    }

    /// Whether it was said which voice.
    pub(super) fn has_voice(&self) -> bool {
        self.voice.is_some()
    }

    /// Lines on the terminal and nothing spoken here; nothing where the screen shows them.
    pub(super) fn only_shown(on_screen: bool) -> Box<dyn Voice + Send> {
        if on_screen {
            Box::new(Silent)
        } else {
            Box::new(Terminal::stdout())
        }
    }

    /// Whether a profile was given.
    pub(super) fn has_profile(&self) -> bool {
        self.profile.is_some()
    }

    /// The same without a profile.
    pub(super) fn without_profile(self) -> Self {
        Self {
            profile: None,
            ..self
        }
    }

    /// Whether there is to be no voice at all.
    pub(super) fn is_none(&self) -> bool {
        self.voice == Some(VoiceKind::None)
    }

    /// The voice asked for; without a wish, the system's where the microphone is used and the
    /// terminal otherwise. Where the screen shows every line, nothing else may write over it.
    pub(super) fn open(&self, live: bool, profile: Profile, on_screen: bool) -> Box<dyn Voice> {
        let terminal = || Self::only_shown(on_screen);
        let wanted = self.voice.unwrap_or(if live {
            VoiceKind::System
        } else {
            VoiceKind::Terminal
        });
        match wanted {
            VoiceKind::None => Box::new(Silent),
            VoiceKind::Terminal => terminal(),
            VoiceKind::System => system_voice(profile, terminal()),
        }
    }

    /// The profile, from its file when one is given: how the program speaks, changed by the
    /// options, and how it hears.
    ///
    /// # Errors
    /// When it can't be read or is none.
    pub(super) fn profile(&self) -> anyhow::Result<(Profile, Option<Rehearsed>)> {
        let (mut profile, hearing) = match &self.profile {
            None => (Profile::default(), None),
            Some(path) => {
                let text = std::fs::read_to_string(path)
                    .with_context(|| format!("{}: can't read the profile", path.display()))?;
                let (speaks, hearing) =
                    settings(&text).with_context(|| format!("{}", path.display()))?;
                (speaks, rehearsed(hearing, path)?)
            }
        };
        if let Some(rate) = self.rate {
            profile.rate = rate;
        }
        if let Some(volume) = self.volume {
            profile.volume = volume;
        }
        if self.voice_name.is_some() {
            profile.voice.clone_from(&self.voice_name);
        }
        if let Some(manner) = self.manner {
            profile.manner = manner;
        }
        if let Some(wording) = self.wording {
            profile.wording = wording;
        }
        Ok((profile, hearing))
    }
}

#[cfg(feature = "system-voice")]
fn system_voice(profile: Profile, shown: Box<dyn Voice + Send>) -> Box<dyn Voice> {
    Box::new(WithFallback::system(profile, shown))
}

#[cfg(not(feature = "system-voice"))]
fn system_voice(_profile: Profile, shown: Box<dyn Voice + Send>) -> Box<dyn Voice> {
    super::shown::note("This build has no spoken voice; prompts are shown instead.");
    shown
}
