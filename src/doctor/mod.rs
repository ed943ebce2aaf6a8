//! Whether this machine is ready, and what to do where it is not.

use crate::speech::ear::Acoustics;
use jiff::{Timestamp, ToSpan, ZonedDateTime};
use serde::Serialize;
use std::fmt;
use std::io::Write;
use std::path::Path;
#[cfg(any(feature = "microphone", feature = "system-voice"))]
use std::time::Duration;
use std::time::{Instant, SystemTime};

/// What is to be checked.
#[derive(Debug, Clone)]
pub struct ToCheck<'a> {
    /// The folder where logs will be kept.
    pub folder: &'a Path,
    /// Whether there is to be a microphone; nothing when everything will be typed.
    pub microphone: bool,
    /// Its name; the default one when not given.
    pub device: Option<&'a str>,
    /// Whether prompts are to be spoken.
    pub voice: bool,
}

/// What one check found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DoctorFinding {
    what: &'static str,
    state: State,
    found: String,
    /// What to do about it.
    advice: Option<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
enum State {
    NotChecked,
    Good,
    /// It works, but look at it.
    Look,
    /// It does not work, and a session needs it.
    Missing,
}

impl DoctorFinding {
    fn good(what: &'static str, found: impl Into<String>) -> Self {
        Self {
            what,
            state: State::Good,
            found: found.into(),
            advice: None,
        }
    }

    fn look(what: &'static str, found: impl Into<String>, advice: impl Into<String>) -> Self {
        Self {
            state: State::Look,
            advice: Some(advice.into()),
            ..Self::good(what, found)
        }
    }

    fn missing(what: &'static str, found: impl Into<String>, advice: impl Into<String>) -> Self {
        Self {
            state: State::Missing,
            ..Self::look(what, found, advice)
        }
    }

    fn not_checked(what: &'static str, why: &str) -> Self {
        Self {
            state: State::NotChecked,
            ..Self::good(what, why)
        }
    }
}

impl fmt::Display for DoctorFinding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = match self.state {
            State::NotChecked => "not checked",
            State::Good => "good",
            State::Look => "look",
            State::Missing => "MISSING",
        };
        write!(f, "{sign:<12}{:<12}{}", self.what, self.found)?;
        if let Some(advice) = &self.advice {
            write!(f, "\n{:<24}What to do: {advice}", "")?;
        }
        Ok(())
    }
}

/// Checks one thing after another and gives each finding as it is made; tells whether all that a
/// session needs is there.
///
/// # Errors
/// What `told` says.
pub fn examine(
    wanted: &ToCheck<'_>,
    told: &mut dyn FnMut(&DoctorFinding) -> anyhow::Result<()>,
) -> anyhow::Result<bool> {
    let checks: [&dyn Fn() -> DoctorFinding; 5] = [
        &model,
        &|| disk(wanted.folder),
        &|| clock(wanted.folder),
        &|| {
            if wanted.microphone {
                microphone(wanted.device)
            } else {
                DoctorFinding::not_checked("microphone", "everything will be typed")
            }
        },
        &|| {
            if wanted.voice {
                voice()
            } else {
                DoctorFinding::not_checked("voice", "prompts will be read on the screen")
            }
        },
    ];
    let mut worst = State::Good;
    for check in checks {
        let finding = check();
        told(&finding)?;
        worst = worst.max(finding.state);
    }
    Ok(worst != State::Missing)
}

fn model() -> DoctorFinding {
    const WHAT: &str = "model";
    let begun = Instant::now();
    let ear = match Acoustics::shipped(1) {
        Ok(ear) => ear,
        Err(error) => {
            return DoctorFinding::missing(
                WHAT,
                format!("the speech model that is part of this program does not load: {error}"),
                "this copy of the program is damaged; install it again",
            );
        }
    };
    let loaded = begun.elapsed();
    const SECONDS: f32 = 2.0;
    let sound = vec![0.0; (SECONDS * crate::audio::SAMPLE_RATE as f32) as usize];
    let begun = Instant::now();
    if let Err(error) = ear.log_probs(&sound) {
        return DoctorFinding::missing(
            WHAT,
            format!("the speech model does not run: {error}"),
            "this copy of the program is damaged; install it again",
        );
    }
    let share = begun.elapsed().as_secs_f32() / SECONDS;
    let found = format!(
        "loaded in {:.1} s; listening to a second of speech takes {:.2} s",
        loaded.as_secs_f32(),
        share
    );
    if share > 0.5 {
        DoctorFinding::look(
            WHAT,
            found,
            "the machine is slow or busy: answers will come late; end other programs, or use a faster machine",
        )
    } else {
        DoctorFinding::good(WHAT, found)
    }
}

/// Below this a day's log may not fit.
const SCARCE: u64 = 1 << 30;
/// Below this not even a session's may.
const FULL: u64 = 100 << 20;

fn disk(folder: &Path) -> DoctorFinding {
    const WHAT: &str = "disk";
    let shown = folder.display();
    let probe = folder.join(format!(".bothhands-doctor-{}", std::process::id()));
    if let Err(error) = write_through(&probe) {
        return DoctorFinding::missing(
            WHAT,
            format!("{shown}: nothing can be written there: {error}"),
            "choose a folder of your own with --folder, or have it made writable; without one nothing said can be kept",
        );
    }
    match fs4::available_space(folder) {
        Err(error) => DoctorFinding::look(
            WHAT,
            format!("{shown} can be written, but its free space is unknown: {error}"),
            "make sure that there is 1 GB free",
        ),
        Ok(free) => space(&shown.to_string(), free),
    }
}

fn space(folder: &str, free: u64) -> DoctorFinding {
    const WHAT: &str = "disk";
    let found = format!("{folder}: {:.1} GB free", free as f64 / 1e9);
    let advice = "make room: an hour of speech with its recordings takes some 60 MB";
    if free < FULL {
        DoctorFinding::missing(WHAT, found, advice)
    } else if free < SCARCE {
        DoctorFinding::look(WHAT, found, advice)
    } else {
        DoctorFinding::good(WHAT, found)
    }
}

/// Writes a file to the disk itself and removes it.
fn write_through(path: &Path) -> std::io::Result<()> {
    let written = std::fs::File::create_new(path).and_then(|mut file| {
        file.write_all(b"bothhands doctor")?;
        file.sync_all()
    });
    let removed = std::fs::remove_file(path);
    written.and(removed)
}

fn clock(folder: &Path) -> DoctorFinding {
    let newest = std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .filter_map(|entry| entry.metadata().ok()?.modified().ok())
        .max();
    let installed = std::env::current_exe()
        .and_then(|program| program.metadata()?.modified())
        .ok();
    plausible(&ZonedDateTime::now(), newest, installed)
}

/// A machine without a battery for its clock, and without a network, starts in the past. Nothing
/// proves a clock right, so the person is shown it.
fn plausible(
    now: &ZonedDateTime,
    newest: Option<SystemTime>,
    installed: Option<SystemTime>,
) -> DoctorFinding {
    const WHAT: &str = "clock";
    let shown = now.strftime("%A %-d %B %Y, %H:%M (%Z)").to_string();
    let advice =
        "set the machine's date and time by your watch; every reading in the log carries them";
    let slack = 2.minutes();
    let later = |time: Option<SystemTime>| {
        let time = Timestamp::try_from(time?).ok()?;
        let limit = now.timestamp().checked_add(slack).ok()?;
        (time > limit).then(|| time.to_zoned_datetime(now.time_zone().clone()))
    };
    if let Some(later) = later(newest) {
        return DoctorFinding::missing(
            WHAT,
            format!(
                "{shown}, but a file in the logs' folder is from {}",
                later.strftime("%-d %B %Y, %H:%M")
            ),
            advice,
        );
    }
    if let Some(later) = later(installed) {
        return DoctorFinding::missing(
            WHAT,
            format!(
                "{shown}, but the program was installed on {}",
                later.strftime("%-d %B %Y")
            ),
            advice,
        );
    }
    DoctorFinding::good(WHAT, format!("{shown}: compare it with your watch"))
}

#[cfg(not(feature = "microphone"))]
fn microphone(_name: Option<&str>) -> DoctorFinding {
    DoctorFinding::missing(
        "microphone",
        "this build has none",
        "use a build with the feature `microphone`, or type: --words -",
    )
}

#[cfg(feature = "microphone")]
fn microphone(name: Option<&str>) -> DoctorFinding {
    use crate::audio::microphone::{
        LineEvent, Loudness, Microphone, MicrophoneError, Notice, QUIETEST,
    };
    const WHAT: &str = "microphone";
    let mut microphone = match Microphone::open(name) {
        Ok(microphone) => microphone,
        Err(error) => {
            let advice = match error {
                MicrophoneError::None => {
                    "plug a headset in; on Linux see that a sound server runs (`pactl info`) and that ALSA's default device reaches it (Debian: libasound2-plugins)"
                }
                MicrophoneError::Permission { .. } => "see above, then log in again",
                _ => "`bothhands devices` lists what there is",
            };
            return DoctorFinding::missing(WHAT, error.to_string(), advice);
        }
    };
    let device = microphone.device().to_owned();
    let mut heard: Vec<f32> = Vec::new();
    let end = Instant::now() + Duration::from_secs(6);
    while Instant::now() < end && heard.len() < crate::audio::SAMPLE_RATE as usize * 2 {
        match microphone.next(Duration::from_millis(100)) {
            Some(LineEvent::Sound(samples)) => heard.extend(samples),
            Some(LineEvent::Notice(Notice::Lost { reason, .. })) => {
                return DoctorFinding::missing(
                    WHAT,
                    format!("`{device}` opens but gives no sound: {reason}"),
                    "check its plug; if it is shared by a sound server, restart that, or choose another with --device",
                );
            }
            Some(LineEvent::Notice(_)) | None => {}
        }
    }
    let level = Loudness::of(&heard);
    let found = format!("`{device}`: {level}, {} overruns", microphone.overruns());
    if heard.is_empty() {
        DoctorFinding::missing(
            WHAT,
            format!("`{device}` opens but gives no sound"),
            "check its plug, or choose another with --device",
        )
    } else if level.peak <= QUIETEST {
        DoctorFinding::look(
            WHAT,
            format!("`{device}` gives nothing but silence"),
            "check its mute switch, and that it is the one the machine records from",
        )
    } else if level.clipped {
        DoctorFinding::look(
            WHAT,
            found,
            "turn the microphone down until speech no longer reaches 0 dB",
        )
    } else if level.mean > -30.0 {
        DoctorFinding::look(
            WHAT,
            found,
            "it is loud here, or the microphone is turned up too far: use a headset close to the mouth",
        )
    } else if microphone.overruns() > 0 {
        DoctorFinding::look(
            WHAT,
            found,
            "the machine is too busy to listen: end other programs",
        )
    } else {
        DoctorFinding::good(WHAT, found)
    }
}

#[cfg(not(feature = "system-voice"))]
fn voice() -> DoctorFinding {
    DoctorFinding::missing(
        "voice",
        "this build has none",
        "use a build with the feature `system-voice`, or read the prompts on the screen",
    )
}

#[cfg(feature = "system-voice")]
fn voice() -> DoctorFinding {
    use crate::voice::{Failing, Profile, System, Tone, Voice};
    const WHAT: &str = "voice";
    const ADVICE: &str = "install the speech service and a voice (Debian: speech-dispatcher and speech-dispatcher-espeak-ng) and try `spd-say -w hello`; until then prompts are shown on the screen (--no-voice accepts that)";
    let mut voice = match System::open(Profile::default(), Duration::from_secs(10)) {
        Ok(voice) => voice,
        Err(error) => return DoctorFinding::missing(WHAT, format!("{error:#}"), ADVICE),
    };
    if let Err(error) = voice.say(Tone::Plain, "Both hands is ready to speak.") {
        return DoctorFinding::missing(WHAT, format!("{error:#}"), ADVICE);
    }
    let begun = Instant::now();
    while voice.speaking() && begun.elapsed() < Duration::from_secs(30) {
        std::thread::sleep(Duration::from_millis(20));
    }
    match voice.failed() {
        Some(reason) => {
            DoctorFinding::missing(WHAT, format!("the speech service failed: {reason}"), ADVICE)
        }
        None => DoctorFinding::good(
            WHAT,
            "it said \"Both hands is ready to speak\"; if you did not hear that, check the loudspeaker",
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> ZonedDateTime {
        text.parse().unwrap()
    }

    fn file(text: &str) -> Option<SystemTime> {
        let seconds = u64::try_from(at(text).timestamp().as_second()).unwrap();
        Some(SystemTime::UNIX_EPOCH + std::time::Duration::from_secs(seconds))
    }

    const NOW: &str = "2026-11-25T09:30:00+00:00[Europe/London]";

    #[test]
    fn a_clock_behind_the_newest_log_is_wrong() {
        let finding = plausible(
            &at(NOW),
            file("2026-11-26T08:00:00+00:00[Europe/London]"),
            None,
        );
        assert_eq!(finding.state, State::Missing);
        assert!(finding.found.contains("26 November 2026"), "{finding}");
        assert!(finding.advice.is_some());
    }

    #[test]
    fn a_clock_behind_the_program_itself_is_wrong() {
        let finding = plausible(&at("1970-01-01T00:10:00+00:00[UTC]"), None, file(NOW));
        assert_eq!(finding.state, State::Missing);
    }

    #[test]
    fn a_clock_ahead_of_everything_is_shown_to_the_person() {
        let finding = plausible(
            &at(NOW),
            file("2026-11-25T09:31:00+00:00[Europe/London]"),
            file(NOW),
        );
        assert_eq!(finding.state, State::Good);
        assert!(
            finding
                .found
                .starts_with("Wednesday 25 November 2026, 09:30"),
            "{finding}"
        );
    }

    #[test]
    fn a_disk_is_full_before_it_is_empty() {
        assert_eq!(space("logs", 5_000_000_000).state, State::Good);
        assert_eq!(space("logs", 500_000_000).state, State::Look);
        assert_eq!(space("logs", 50_000_000).state, State::Missing);
    }

    #[test]
    fn a_folder_that_is_not_there_cannot_be_written() {
        let finding = disk(Path::new("/no/such/folder"));
        assert_eq!(finding.state, State::Missing);
        assert!(
            finding
                .advice
                .is_some_and(|advice| advice.contains("--folder"))
        );
    }

    #[test]
    fn a_folder_that_can_be_written_is_left_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        assert_ne!(disk(folder.path()).state, State::Missing);
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    }

    #[test]
    fn the_model_that_ships_loads_and_runs() {
        assert!(model().state <= State::Look);
    }
}
