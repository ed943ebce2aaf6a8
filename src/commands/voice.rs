//! How prompts come.

#[cfg(feature = "system-voice")]
use bothhands::voice::WithFallback;
use bothhands::voice::{Profile, Silent, Terminal, Voice};

/// How prompts come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum VoiceKind {
    System,
    Terminal,
    None,
}

/// The voice asked for; without a wish, the system's where the microphone is used and the
/// terminal otherwise. Where the screen shows every line, nothing else may write over it.
pub fn voice(
    wanted: Option<VoiceKind>,
    live: bool,
    profile: Profile,
    on_screen: bool,
) -> Box<dyn Voice> {
    let terminal = || -> Box<dyn Voice + Send> {
        if on_screen {
            Box::new(Silent)
        } else {
            Box::new(Terminal::stdout())
        }
    };
    let wanted = wanted.unwrap_or(if live {
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

#[cfg(feature = "system-voice")]
fn system_voice(profile: Profile, shown: Box<dyn Voice + Send>) -> Box<dyn Voice> {
    Box::new(WithFallback::system(profile, shown))
}

#[cfg(not(feature = "system-voice"))]
fn system_voice(_profile: Profile, shown: Box<dyn Voice + Send>) -> Box<dyn Voice> {
    eprintln!("This build has no spoken voice; prompts are shown instead.");
    shown
}
