use crate::terms::{Delivery, Manner, ProsodyChange, ProsodyNow, Wording};
use serde::{Deserialize, Serialize};

/// How the person likes the program to speak. Written in a settings file as
///
/// ```
/// let profile: bothhands::voice::Profile = toml::from_str(
///     r#"
///     rate = 10                        # -100 (slowest) to 100 (fastest)
///     volume = 90                      # 0 to 100
///     voice = "English (Great Britain)"
///     tail_ms = 250                    # how long the room rings on after a word
///     manner = "brief"                 # "full"; or a tone for what is no value
///     wording = "british"              # "nought point", "yes"; or "radio": "zero decimal", "affirm"
///     "#,
/// )?;
/// assert_eq!(profile.volume.get(), 90);
/// # Ok::<(), toml::de::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Profile {
    /// How fast it speaks.
    pub rate: Rate,
    /// How loud.
    pub volume: Volume,
    /// A voice of the speech service by name, or part of its name; when absent, the one the
    /// machine is set to.
    pub voice: Option<String>,
    /// Milliseconds after the last word during which the room still rings and the microphone is
    /// disregarded.
    pub tail_ms: u16,
    /// How much it says.
    pub manner: Manner,
    /// Whose words it uses.
    pub wording: Wording,
}

impl Default for Profile {
    fn default() -> Self {
        Self {
            rate: Rate::default(),
            volume: Volume::default(),
            voice: None,
            tail_ms: 250,
            manner: Manner::default(),
            wording: Wording::default(),
        }
    }
}

/// A number outside the range of a [`Rate`] or [`Volume`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("{value} is out of range: {what} goes from {least} to {most}")]
pub struct OutOfRange {
    value: i32,
    what: &'static str,
    least: i32,
    most: i32,
}

macro_rules! ranged {
    ($name:ident, $what:literal, $least:literal..=$most:literal, $default:literal, $doc:literal) => {
        #[doc = $doc]
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(try_from = "i32", into = "i32")]
        pub struct $name(i32);

        impl $name {
            /// The number.
            pub fn get(self) -> i32 {
                self.0
            }

            /// This much more or less, stopping at the end of the range.
            #[must_use]
            pub fn by(self, step: i32) -> Self {
                Self((self.0 + step).clamp($least, $most))
            }
        }

        impl Default for $name {
            fn default() -> Self {
                Self($default)
            }
        }

        impl TryFrom<i32> for $name {
            type Error = OutOfRange;

            fn try_from(value: i32) -> Result<Self, OutOfRange> {
                if ($least..=$most).contains(&value) {
                    Ok(Self(value))
                } else {
                    Err(OutOfRange {
                        value,
                        what: $what,
                        least: $least,
                        most: $most,
                    })
                }
            }
        }

        impl From<$name> for i32 {
            fn from(value: $name) -> i32 {
                value.0
            }
        }

        impl std::str::FromStr for $name {
            type Err = String;

            fn from_str(text: &str) -> Result<Self, String> {
                let value: i32 = text
                    .parse()
                    .map_err(|_| format!("`{text}` is no whole number"))?;
                Self::try_from(value).map_err(|error| error.to_string())
            }
        }
    };
}

ranged!(
    Rate,
    "rate",
    -100..=100,
    0,
    "How fast: -100 (slowest) to 100 (fastest), 0 as usual."
);
ranged!(
    Volume,
    "volume",
    0..=100,
    100,
    "How loud, in percent of what the machine is set to."
);

impl Profile {
    /// How what is said is worded.
    pub fn delivery(&self) -> Delivery {
        Delivery {
            manner: self.manner,
            wording: self.wording,
        }
    }

    /// One step of volume or rate in the wanted direction, and where it is now.
    pub fn adjust(&mut self, manner: ProsodyChange) -> ProsodyNow {
        const VOLUME_STEP: i32 = 15;
        const RATE_STEP: i32 = 20;
        let (volume, rate) = (self.volume, self.rate);
        match manner {
            // Never down to nothing by voice: there would be no voice left to undo it by.
            ProsodyChange::Quieter => {
                self.volume = self.volume.by(-VOLUME_STEP).max(Volume(VOLUME_STEP));
            }
            ProsodyChange::Louder => self.volume = self.volume.by(VOLUME_STEP),
            ProsodyChange::Slower => self.rate = self.rate.by(-RATE_STEP),
            ProsodyChange::Faster => self.rate = self.rate.by(RATE_STEP),
        }
        match manner {
            _ if (volume, rate) == (self.volume, self.rate) => ProsodyNow::AtItsEnd,
            ProsodyChange::Quieter | ProsodyChange::Louder => ProsodyNow::Volume(self.volume.get()),
            ProsodyChange::Slower | ProsodyChange::Faster => ProsodyNow::Rate(self.rate.get()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_manner_moves_one_thing_and_stops_at_its_end() {
        let mut profile = Profile::default();
        assert_eq!(profile.adjust(ProsodyChange::Louder), ProsodyNow::AtItsEnd);
        assert_eq!(
            profile.adjust(ProsodyChange::Quieter),
            ProsodyNow::Volume(85)
        );
        for _ in 0..20 {
            profile.adjust(ProsodyChange::Quieter);
        }
        assert_eq!(profile.volume.get(), 15, "never silent by voice");
        assert_eq!(profile.adjust(ProsodyChange::Slower), ProsodyNow::Rate(-20));
        for _ in 0..20 {
            profile.adjust(ProsodyChange::Slower);
        }
        assert_eq!(profile.rate.get(), -100);
        assert_eq!(profile.adjust(ProsodyChange::Slower), ProsodyNow::AtItsEnd);
    }

    #[test]
    fn a_settings_file_with_a_wrong_number_is_told_the_range() {
        let error = toml::from_str::<Profile>("volume = 130").unwrap_err();
        assert!(
            error.to_string().contains("volume goes from 0 to 100"),
            "{error}"
        );
        assert!("fast".parse::<Rate>().is_err());
        assert_eq!("-40".parse::<Rate>().map(Rate::get), Ok(-40));
    }
}
