//! The profile: how the program speaks, and in its part `[hearing]` how it hears.

use crate::speech::VoiceProfile;
use crate::voice::Profile;
use anyhow::Context;

/// The two parts of a profile's text.
///
/// # Errors
/// When it is no TOML, or says something that is not known or out of range.
pub fn settings(text: &str) -> anyhow::Result<(Profile, Option<VoiceProfile>)> {
    let mut all: toml::Table = toml::from_str(text)?;
    let hearing: Option<VoiceProfile> = all
        .remove("hearing")
        .map(toml::Value::try_into)
        .transpose()
        .context("[hearing]")?;
    if let Some(hearing) = &hearing {
        hearing.check().map_err(anyhow::Error::msg)?;
    }
    Ok((all.try_into()?, hearing))
}

/// A profile's text with another part `[hearing]`, everything else as it was; unchanged without
/// one.
///
/// # Errors
/// When the text is no profile.
pub fn with_hearing(text: &str, hearing: Option<&VoiceProfile>) -> anyhow::Result<String> {
    let mut profile: toml_edit::DocumentMut = text.parse()?;
    settings(text)?;
    if let Some(hearing) = hearing {
        let part: toml_edit::DocumentMut = toml::to_string(hearing)?.parse()?;
        profile.insert("hearing", toml_edit::Item::Table(part.as_table().clone()));
    }
    Ok(profile.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::speech::ear::Thresholds;
    use crate::speech::hearing::conclude;

    #[test]
    fn only_the_part_on_hearing_changes_in_a_profile() {
        let before = "# mine\nrate = 10   # faster\n\n[hearing]\nrehearsed = \"2026-01-01T00:00:00Z\"\nphrases = 20\nright = 3\nspeech_dbfs = -20.0\nroom_dbfs = -50.0\nprobability_below = 0.9\nfit_below = -1.3\n";
        let hearing = conclude(
            &[],
            &Thresholds::shipped().unwrap(),
            jiff::Timestamp::UNIX_EPOCH,
        );
        let after = with_hearing(before, Some(&hearing)).unwrap();
        assert!(
            after.starts_with("# mine\nrate = 10   # faster\n"),
            "{after}"
        );
        assert_eq!(after.matches("[hearing]").count(), 1);
        assert_eq!(settings(&after).unwrap().1, Some(hearing));
    }

    #[test]
    fn what_is_no_profile_is_refused_before_anybody_reads() {
        for wrong in [
            "rate = 1000",
            "[hearing]\nright = 1",
            "loudness = 3",
            "rate =",
        ] {
            assert!(with_hearing(wrong, None).is_err(), "{wrong}");
        }
    }
}
