use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How the program words what it says.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Delivery {
    /// How much is said.
    #[serde(skip_serializing_if = "Manner::is_full")]
    pub manner: Manner,
    /// Whose words they are.
    #[serde(skip_serializing_if = "Wording::is_radio")]
    pub wording: Wording,
}

impl Delivery {
    /// Whether it is the one of logs that name none.
    pub fn is_usual(&self) -> bool {
        *self == Self::default()
    }
}

/// How much is said.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Manner {
    /// Everything in words.
    #[default]
    Full,
    /// Values and permissions in words; a tone for what is no value and goes as expected.
    Brief,
}

impl Manner {
    /// Whether everything is said in words.
    pub fn is_full(&self) -> bool {
        *self == Self::Full
    }
}

/// Whose words are used where there are two ways to say the same. This is the one table of them.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Wording {
    /// Those of radiotelephony (ICAO Annex 10 volume II, 5.2.1.4 and 5.2.1.5): "zero decimal three",
    /// "affirm", "negative".
    #[default]
    Radio,
    /// Those usual in Britain: "nought point three", "yes".
    British,
}

impl Wording {
    /// All of them.
    pub const ALL: [Self; 2] = [Self::Radio, Self::British];

    /// Whether it is that of radiotelephony.
    fn is_radio(&self) -> bool {
        *self == Self::Radio
    }

    /// A digit, or the point of a number.
    ///
    /// ```
    /// use bothhands::terms::Wording;
    /// let said = |wording: Wording| "0.3".chars().map(|c| wording.digit(c)).collect::<Vec<_>>().join(" ");
    /// assert_eq!(said(Wording::Radio), "zero decimal three");
    /// assert_eq!(said(Wording::British), "nought point three");
    /// ```
    pub fn digit(self, digit: char) -> &'static str {
        match (digit, self) {
            ('0', Self::Radio) => "zero",
            ('0', Self::British) => "nought",
            ('1', _) => "one",
            ('2', _) => "two",
            ('3', _) => "three",
            ('4', _) => "four",
            ('5', _) => "five",
            ('6', _) => "six",
            ('7', _) => "seven",
            ('8', _) => "eight",
            ('9', _) => "nine",
            (_, Self::Radio) => "decimal",
            (_, Self::British) => "point",
        }
    }

    /// What the person says to agree.
    pub fn agree(self) -> &'static str {
        match self {
            Self::Radio => "affirm",
            Self::British => "yes",
        }
    }

    /// What the person says to refuse. "No" alone is heard in too many other words.
    pub fn refuse(self) -> &'static str {
        match self {
            Self::Radio | Self::British => "negative",
        }
    }
}
