//! What holds for every job until it is said otherwise: a file in the usual place for such files.

use crate::installation::{Instrument, JobError, read_settings};
use crate::terms::{Manner, Wording};
use crate::voice::{Rate, Volume};
use etcetera::BaseStrategy;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// The environment variable that names another configuration file.
pub const NAMED_BY: &str = "BOTHHANDS_CONFIG";

/// How prompts come.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum VoiceKind {
    /// The system's speech service.
    System,
    /// Lines on the terminal.
    Terminal,
    /// Not at all.
    None,
}

/// The configuration: what stands in a new job file, on what is printed, and how the program speaks.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Config {
    /// Who tests: stands in every new job file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tester: Option<String>,
    /// Who supervises, when the tester is a learner: stands in every new job file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supervisor: Option<String>,
    /// What stands at the head of a schedule: the name and the address of who hands it over.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub heading: Option<String>,
    /// A picture beside the heading: its path, from the folder of this file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub logo: Option<PathBuf>,
    /// How prompts come: `system`, `terminal` or `none`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub voice: Option<VoiceKind>,
    /// A voice of the speech service, by its name or a part of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub voice_name: Option<String>,
    /// How fast prompts are spoken: -100 (slowest) to 100 (fastest), 0 as usual.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<i8>", range(min = -100, max = 100))]
    pub rate: Option<Rate>,
    /// How loud prompts are spoken, 0 to 100.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<u8>", range(max = 100))]
    pub volume: Option<Volume>,
    /// How much is said: `full`, or `brief` with a tone for what goes as expected.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub manner: Option<Manner>,
    /// Whose words are used: `radio` ("zero decimal", "affirm") or `british` ("nought point", "yes").
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wording: Option<Wording>,
    /// The profile that `bothhands rehearse` wrote: its path, from the folder of this file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub profile: Option<PathBuf>,
    /// Test instruments: stand in every new job file.
    #[serde(default, rename = "instrument", skip_serializing_if = "Vec::is_empty")]
    pub instruments: Vec<Instrument>,
}

/// The configuration's schema (JSON Schema 2020-12).
pub fn schema() -> schemars::Schema {
    schemars::schema_for!(Config)
}

/// Where the configuration is, and what it says.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundConfig {
    /// The file, whether it is there or not; none where the machine has no home folder.
    pub path: Option<PathBuf>,
    /// Whether it was named by the environment.
    pub named: bool,
    /// Whether there is one.
    pub exists: bool,
    /// What it says; nothing where there is none. Paths are as they can be opened.
    pub config: Config,
}

/// The configuration of this machine's user: the file that the environment names, or
/// `bothhands/config.toml` in the usual folder. Without a file nothing is set.
///
/// # Errors
/// [`JobError`] when it is there and cannot be used, or was named and is not there.
pub fn find() -> Result<FoundConfig, JobError> {
    let named = std::env::var_os(NAMED_BY).filter(|name| !name.is_empty());
    let path = match &named {
        Some(name) => Some(PathBuf::from(name)),
        None => etcetera::choose_base_strategy()
            .ok()
            .map(|base| base.config_dir().join("bothhands").join("config.toml")),
    };
    let Some(at) = &path else {
        return Ok(FoundConfig {
            path,
            named: false,
            exists: false,
            config: Config::default(),
        });
    };
    match std::fs::read_to_string(at) {
        Ok(text) => Ok(FoundConfig {
            config: Config::parse(&text, at)?,
            named: named.is_some(),
            exists: true,
            path,
        }),
        Err(why) if why.kind() == ErrorKind::NotFound && named.is_none() => Ok(FoundConfig {
            path,
            named: false,
            exists: false,
            config: Config::default(),
        }),
        Err(why) => Err(JobError::whole(
            &at.display().to_string(),
            format!(
                "the configuration cannot be read ({why}): check the path, or what {NAMED_BY} names"
            ),
        )),
    }
}

impl Config {
    /// Reads a configuration; paths in it are from the folder of `path`.
    ///
    /// # Errors
    /// [`JobError`] with every problem that was found.
    pub fn parse(text: &str, path: &Path) -> Result<Self, JobError> {
        let name = path.display().to_string();
        let (mut config, instruments): (Self, _) = read_settings(text, &name, "the configuration")?;
        config.instruments = instruments;
        let folder = path.parent().unwrap_or(Path::new(""));
        for one in [&mut config.logo, &mut config.profile]
            .into_iter()
            .flatten()
        {
            *one = folder.join(&*one);
        }
        Ok(config)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_it_says_is_read_and_paths_are_from_its_folder() {
        let text = "tester = 'A. Learner'\nheading = 'Kingfisher Rowing Club'\nlogo = 'mark.png'\n\
                    voice = 'terminal'\nrate = -10\nprofile = '/elsewhere/mine.toml'\n\
                    [[instrument]]\nname = 'tester'\nserial = 'IT-1'\ncalibration_due = 2027-03-31\n\
                    used_for = ['ir', 'zs']\n";
        let config = Config::parse(text, Path::new("/home/me/config.toml")).unwrap();
        assert_eq!(config.logo, Some(PathBuf::from("/home/me/mark.png")));
        assert_eq!(config.profile, Some(PathBuf::from("/elsewhere/mine.toml")));
        assert_eq!(config.voice, Some(VoiceKind::Terminal));
        assert_eq!(config.instruments[0].used_for.len(), 2);
    }

    #[test]
    fn what_is_not_known_is_refused_with_its_line_and_a_near_word() {
        for (text, told) in [
            (
                "testr = 'A'",
                "c.toml:1: `testr` is not a key of the configuration, did you mean `tester`?",
            ),
            ("\nrate = 1000", "c.toml:2: rate: "),
            ("voice = 'sytem'", "did you mean \"system\"?"),
            (
                "[[instrument]]\nname = 'x'\nserial = '1'\nused_for = ['loop']",
                "needs `calibration_due`",
            ),
            (
                "rate = 'fast'",
                "rate: `fast` cannot stand here: write rate = -20",
            ),
            ("rate =", "c.toml:1:"),
        ] {
            let why = Config::parse(text, Path::new("c.toml"))
                .unwrap_err()
                .to_string();
            assert!(why.contains(told), "{text}: {why}");
        }
    }
}
