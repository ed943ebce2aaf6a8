use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::path::Path;

/// What is marked.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Criterion {
    /// Isolated before anything was tested dead.
    Isolation,
    /// The indicator proved before and after.
    Indicator,
    /// Every pair proved dead.
    EveryPair,
    /// The test voltage fits what is connected.
    TestVoltage,
    /// The earthing conductor and the bonds went back at once.
    Earth,
    /// Whatever else was out or linked went back.
    PutBack,
    /// Nothing was to be energised that must not be.
    Energising,
    /// The instrument and its leads.
    Leads,
    /// The ring was crossed as each stage needs it.
    Ring,
    /// The order of the work.
    Order,
    /// Every test was made.
    Complete,
    /// Readings were read as they were shown.
    Readings,
    /// Values and limits were predicted.
    Predictions,
    /// The fault was named, and its place.
    Diagnosis,
    /// No more tests than it takes.
    Economy,
    /// Without help.
    Help,
}

impl Criterion {
    /// All of them, in the order of a sheet.
    pub const ALL: [Self; 16] = [
        Self::Isolation,
        Self::Indicator,
        Self::EveryPair,
        Self::TestVoltage,
        Self::Earth,
        Self::PutBack,
        Self::Energising,
        Self::Leads,
        Self::Ring,
        Self::Order,
        Self::Complete,
        Self::Readings,
        Self::Predictions,
        Self::Diagnosis,
        Self::Economy,
        Self::Help,
    ];

    /// As it stands on a sheet.
    pub fn shown(self) -> &'static str {
        match self {
            Self::Isolation => "isolated before testing dead",
            Self::Indicator => "indicator proved before and after",
            Self::EveryPair => "every pair proved dead",
            Self::TestVoltage => "test voltage fits what is connected",
            Self::Earth => "earthing and bonds back at once",
            Self::PutBack => "everything back",
            Self::Energising => "nothing energised that must not be",
            Self::Leads => "instrument and leads",
            Self::Ring => "ring crossed as needed",
            Self::Order => "order of the work",
            Self::Complete => "every test made",
            Self::Readings => "readings as shown",
            Self::Predictions => "predictions",
            Self::Diagnosis => "fault and place named",
            Self::Economy => "no more tests than it takes",
            Self::Help => "without help",
        }
    }

    /// Its name in a file of criteria.
    pub fn written(self) -> String {
        serde_json::to_value(self)
            .ok()
            .and_then(|name| name.as_str().map(str::to_owned))
            .unwrap_or_default()
    }

    /// Whether one lapse fails the whole, unless a file of criteria says otherwise: what can kill.
    fn is_critical(self) -> bool {
        matches!(
            self,
            Self::Isolation
                | Self::Indicator
                | Self::EveryPair
                | Self::TestVoltage
                | Self::Earth
                | Self::PutBack
                | Self::Energising
        )
    }

    /// Its weight where a file of criteria gives none. Ours, and an instructor's to change.
    fn usual_weight(self) -> f64 {
        match self {
            Self::Leads | Self::Ring | Self::Economy | Self::Help => 5.0,
            Self::Order | Self::Predictions => 10.0,
            Self::Complete => 15.0,
            Self::Readings => 20.0,
            Self::Diagnosis => 25.0,
            _ => 0.0,
        }
    }
}

/// How a criterion counts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Weights {
    /// One lapse fails the whole.
    PassOrFail,
    /// So much of the mark.
    Points(f64),
    /// It is told, and counts for nothing.
    NotCounted,
}

/// An instructor's criteria.
#[derive(Debug, Clone, PartialEq)]
pub struct Criteria {
    of: BTreeMap<Criterion, Weights>,
    /// The share of the points with which a session is passed, from 0 to 1.
    pub pass_from: f64,
    /// What each lapse of a criterion with points takes off it, as a share of those points.
    pub each_lapse: f64,
}

/// A file of criteria, as it is written.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct File {
    /// The percentage of the points with which a session is passed.
    #[serde(default = "usual_pass")]
    pass_from: f64,
    /// What each lapse takes off its criterion, per cent.
    #[serde(default = "usual_lapse")]
    each_lapse: f64,
    /// Criteria by name: points, "pass or fail", or 0.
    #[serde(default)]
    weight: BTreeMap<Criterion, Written>,
}

#[derive(Debug, Deserialize, JsonSchema)]
#[serde(untagged)]
enum Written {
    Points(f64),
    Words(String),
}

fn usual_pass() -> f64 {
    70.0
}

fn usual_lapse() -> f64 {
    25.0
}

/// Why a file of criteria can't be used.
#[derive(Debug, thiserror::Error)]
#[error(
    "{path}: {why}\n`bothhands mark --criteria-file` writes one with every name, to be changed"
)]
pub struct CriteriaError {
    path: String,
    why: String,
}

impl Default for Criteria {
    fn default() -> Self {
        Self::from(File {
            pass_from: usual_pass(),
            each_lapse: usual_lapse(),
            weight: BTreeMap::new(),
        })
    }
}

impl From<File> for Criteria {
    fn from(file: File) -> Self {
        let weight = |criterion: Criterion| match file.weight.get(&criterion) {
            Some(Written::Points(points)) if *points > 0.0 => Weights::Points(*points),
            Some(Written::Points(_)) => Weights::NotCounted,
            Some(Written::Words(_)) => Weights::PassOrFail,
            None if criterion.is_critical() => Weights::PassOrFail,
            None => Weights::Points(criterion.usual_weight()),
        };
        Self {
            of: Criterion::ALL
                .into_iter()
                .map(|criterion| (criterion, weight(criterion)))
                .collect(),
            pass_from: file.pass_from / 100.0,
            each_lapse: file.each_lapse / 100.0,
        }
    }
}

impl Criteria {
    /// Reads an instructor's file.
    ///
    /// # Errors
    /// When it can't be read, or holds something else: what, and how to begin one.
    pub fn load(path: &Path) -> Result<Self, CriteriaError> {
        let wrong = |why: String| CriteriaError {
            path: path.display().to_string(),
            why,
        };
        let text = std::fs::read_to_string(path).map_err(|why| wrong(why.to_string()))?;
        Self::parse(&text).map_err(wrong)
    }

    /// Reads criteria from text.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn parse(text: &str) -> Result<Self, String> {
        let file: File = toml::from_str(text).map_err(|why| why.to_string())?;
        for (criterion, written) in &file.weight {
            let name = criterion.written();
            match written {
                Written::Points(points) if !(0.0..=1000.0).contains(points) => {
                    return Err(format!("{name}: points are from 0 to 1000"));
                }
                Written::Words(words) if words != "pass or fail" => {
                    return Err(format!(
                        "{name}: \"{words}\" is neither points nor \"pass or fail\""
                    ));
                }
                _ => {}
            }
        }
        for (name, percent) in [
            ("pass_from", file.pass_from),
            ("each_lapse", file.each_lapse),
        ] {
            if !(0.0..=100.0).contains(&percent) {
                return Err(format!("{name} is a percentage, from 0 to 100"));
            }
        }
        Ok(Self::from(file))
    }

    /// How a criterion counts.
    pub fn of(&self, criterion: Criterion) -> Weights {
        self.of
            .get(&criterion)
            .copied()
            .unwrap_or(Weights::NotCounted)
    }

    /// A file with all of it as it is, to be changed.
    pub fn written(&self) -> String {
        let mut text = format!(
            "# What is marked, and how much it counts: points, or \"pass or fail\", or 0 to leave it out.\npass_from = {}\neach_lapse = {}\n\n[weight]\n",
            self.pass_from * 100.0,
            self.each_lapse * 100.0
        );
        for (criterion, weight) in &self.of {
            let weight = match weight {
                Weights::PassOrFail => "\"pass or fail\"".to_owned(),
                Weights::Points(points) => points.to_string(),
                Weights::NotCounted => "0".to_owned(),
            };
            text.push_str(&format!(
                "{} = {weight} # {}\n",
                criterion.written(),
                criterion.shown()
            ));
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read_back() {
        let usual = Criteria::default();
        assert_eq!(Criteria::parse(&usual.written()).unwrap(), usual);
        let own =
            Criteria::parse("pass_from = 50\n[weight]\nreadings = \"pass or fail\"\nhelp = 0\n")
                .unwrap();
        assert_eq!(own.of(Criterion::Readings), Weights::PassOrFail);
        assert_eq!(own.of(Criterion::Help), Weights::NotCounted);
        assert_eq!(own.of(Criterion::Isolation), Weights::PassOrFail);
    }

    #[test]
    fn a_slip_is_told() {
        for text in [
            "[weight]\nreading = 5",
            "[weight]\nreadings = -1",
            "[weight]\nreadings = \"some\"",
            "pass_from = 120",
        ] {
            assert!(Criteria::parse(text).is_err(), "{text}");
        }
    }
}
