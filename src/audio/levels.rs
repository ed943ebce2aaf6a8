use super::SAMPLE_RATE;

/// How loud a stretch of speech is, in dB of full scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Levels {
    /// RMS of its louder moments: one in twenty is louder.
    pub loud: f32,
    /// RMS of its quieter moments, the room between the words: one in twenty is quieter.
    pub quiet: f32,
    /// The highest sample.
    pub peak: f32,
    /// Share of samples that stand at full scale, 0 to 1: the microphone was overdriven.
    pub clipped: f32,
}

impl Levels {
    /// The level of no sound at all.
    pub const SILENCE: f32 = -120.0;

    /// Measures mono sound of -1 to 1.
    pub fn of(samples: &[f32]) -> Self {
        const FRAME: usize = SAMPLE_RATE as usize / 40;
        const FULL: f32 = 0.999;
        let mut powers: Vec<f32> = samples
            .chunks(FRAME)
            .map(|frame| frame.iter().map(|s| s * s).sum::<f32>() / frame.len().max(1) as f32)
            .collect();
        powers.sort_by(f32::total_cmp);
        let at = |share: usize| {
            let power = powers
                .get(powers.len() * share / 20)
                .copied()
                .unwrap_or(0.0);
            decibels(power.sqrt())
        };
        let peak = samples.iter().fold(0.0, |peak: f32, s| peak.max(s.abs()));
        let clipped = samples.iter().filter(|s| s.abs() >= FULL).count();
        Self {
            loud: at(19),
            quiet: at(1),
            peak: decibels(peak),
            clipped: clipped as f32 / samples.len().max(1) as f32,
        }
    }
}

/// A level in dB of full scale as a bar of `#` and a number; from -60 dB, a quiet room, on.
pub fn bar(level: f32) -> String {
    let marks = ((level + 60.0) / 3.0).clamp(0.0, 20.0) as usize;
    format!("[{:<20}] {level:.0} dB", "#".repeat(marks))
}

/// An amplitude in dB of full scale.
pub(crate) fn decibels(level: f32) -> f32 {
    (20.0 * level.log10()).max(Levels::SILENCE)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(level: f32, seconds: usize) -> Vec<f32> {
        (0..seconds * SAMPLE_RATE as usize)
            .map(|n| level * (n as f32 * 0.3).sin())
            .collect()
    }

    #[test]
    fn a_sine_of_full_scale_has_minus_three_decibels() {
        let levels = Levels::of(&tone(1.0, 1));
        assert!((levels.loud + 3.01).abs() < 0.1, "{levels:?}");
        assert!(levels.peak.abs() < 0.1);
        assert!(levels.clipped > 0.01);
    }

    #[test]
    fn the_room_is_told_from_the_voice() {
        let mut sound = tone(0.001, 1);
        sound.extend(tone(0.1, 1));
        let levels = Levels::of(&sound);
        assert!(
            (levels.loud - levels.quiet - 40.0).abs() < 0.5,
            "{levels:?}"
        );
        assert_eq!(levels.clipped, 0.0);
    }

    #[test]
    fn silence_and_nothing_have_a_level_too() {
        assert_eq!(Levels::of(&[0.0; 800]).loud, Levels::SILENCE);
        assert_eq!(Levels::of(&[]).quiet, Levels::SILENCE);
    }
}
