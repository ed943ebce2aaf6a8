//! Twenty phrases read before the first job: how well the program hears one voice at one
//! microphone.

use super::source::{Input, InputSource};
use crate::audio::{Levels, Utterance};
use crate::grammar::Grammar;
use crate::speech::ear::Thresholds;
use crate::speech::hearing::{Came, PhraseAttempt};
use crate::speech::{DecodeContext, Recogniser, VoiceProfile};
use crate::voice::Silent;
use anyhow::{Context, bail};
use std::io::Write;
use std::time::Duration;

/// What is read: every digit, the words that are most easily taken for each other, and what a
/// session needs all the time.
pub const PHRASES: [&str; 20] = [
    "line to earth over nine nine nine megohms",
    "line to neutral nought point three five megohms",
    "neutral to earth two hundred and six megohms",
    "nought point four five ohms",
    "one point five four",
    "two oh seven point one",
    "fifteen milliseconds",
    "fifty megohms",
    "nineteen point eight milliseconds",
    "ninety",
    "six eight six",
    "under nought point two",
    "neutral out at socket four",
    "neutral back at socket four",
    "line and earth linked",
    "affirm",
    "negative",
    "correction two nine nine",
    "what is out",
    "dead",
];

/// The grammar's rule for all of them.
pub const RULE: &str = "anything";
/// After so many sounds that were none of our words the next phrase is asked for.
const PATIENCE: u32 = 3;
/// How long nothing may be heard before the person is told that the microphone is listening.
const QUIET: Duration = Duration::from_secs(15);

/// Has every phrase read, and tells on `out` what was heard.
///
/// # Errors
/// When the sound ends or `stopped` says so before the last phrase, or something fails.
pub fn read_aloud(
    recogniser: &mut dyn Recogniser,
    grammar: &Grammar,
    source: &mut dyn InputSource,
    live: bool,
    stopped: &dyn Fn() -> bool,
    out: &mut dyn Write,
) -> anyhow::Result<Vec<PhraseAttempt>> {
    let mut attempts = Vec::new();
    for (n, phrase) in PHRASES.iter().enumerate() {
        let wanted = grammar
            .understand(RULE, phrase)
            .with_context(|| format!("\"{phrase}\" is not in the grammar; please report this"))?;
        writeln!(out, "\n{:2} of {}   say: {phrase}", n + 1, PHRASES.len())?;
        let mut ignored = 0;
        let attempt = loop {
            let Some(utterance) = next(source, stopped, out)? else {
                let why = if stopped() {
                    "stopped"
                } else {
                    "the sound ended"
                };
                bail!(
                    "{why} after {} of {} phrases: nothing is kept. Begin again when you are ready",
                    attempts.len(),
                    PHRASES.len()
                );
            };
            let expected = DecodeContext {
                rule: RULE.to_owned(),
                excluded: Vec::new(),
            };
            let attempt = PhraseAttempt {
                phrase: (*phrase).to_owned(),
                wanted: wanted.clone(),
                heard: recogniser.recognise(&utterance.samples, &expected)?,
                levels: Levels::of(&utterance.samples),
                samples: utterance.samples,
            };
            writeln!(out, "           {}", told(&attempt))?;
            ignored += u32::from(attempt.result() == Came::Ignored);
            if attempt.result() != Came::Ignored || ignored == PATIENCE || !live {
                break attempt;
            }
        };
        attempts.push(attempt);
    }
    Ok(attempts)
}

/// The next utterance; nothing at the end or when told to stop.
fn next(
    source: &mut dyn InputSource,
    stopped: &dyn Fn() -> bool,
    out: &mut dyn Write,
) -> anyhow::Result<Option<Utterance>> {
    let mut quiet = Duration::ZERO;
    while !stopped() {
        match source.next(&mut Silent)? {
            None => return Ok(None),
            Some(Input::Sound(utterance) | Input::OverlapsPrompt(utterance)) => {
                return Ok(Some(utterance));
            }
            Some(Input::NoVoice(name)) => {
                bail!("{name}: no voice in it; record the phrase again, nearer to the microphone")
            }
            Some(Input::Notice(text)) => writeln!(out, "{text}")?,
            Some(Input::Idle(length)) => {
                quiet += length;
                if quiet >= QUIET {
                    quiet = Duration::ZERO;
                    writeln!(
                        out,
                        "           (listening, and hearing no voice: `bothhands doctor` checks the microphone)"
                    )?;
                }
            }
            Some(
                Input::Partial(_)
                | Input::Words(_)
                | Input::Touched { .. }
                | Input::Neighbour { .. }
                | Input::Waiting,
            ) => {}
        }
    }
    Ok(None)
}

/// What was heard of a phrase.
fn told(attempt: &PhraseAttempt) -> String {
    let words = &attempt.heard.words;
    let what = match attempt.result() {
        Came::Right => format!("heard: {words}"),
        Came::Wrong => format!("heard: {words}   WRONG"),
        Came::AskedAgain => format!("in doubt: {words}, would ask again"),
        Came::Ignored => "taken for other talk or noise".to_owned(),
    };
    format!("{what}   [{:.0} dB]", attempt.levels.loud)
}

/// What came of all of them, and what the person can do about it.
pub fn report(attempts: &[PhraseAttempt], hearing: &VoiceProfile, shipped: &Thresholds) -> String {
    let count = |came: Came| attempts.iter().filter(|a| a.result() == came).count();
    let mut lines = vec![format!(
        "Of {} phrases: {} right, {} asked again, {} wrong, {} not taken for yours.",
        attempts.len(),
        count(Came::Right),
        count(Came::AskedAgain),
        count(Came::Wrong),
        count(Came::Ignored)
    )];
    for attempt in attempts.iter().filter(|a| a.result() != Came::Right) {
        lines.push(format!("  \"{}\": {}", attempt.phrase, told(attempt)));
    }
    lines.push(format!(
        "Your voice {:.0} dB of full scale, the room {:.0} dB.",
        hearing.speech_dbfs, hearing.room_dbfs
    ));
    lines.extend(advice(attempts, hearing));
    lines.push(hearing.told(shipped));
    lines.push(
        "Every value is read back all the same: listen, and say \"negative\" when it is wrong."
            .to_owned(),
    );
    lines.join("\n")
}

/// What the person can do about it.
fn advice(attempts: &[PhraseAttempt], hearing: &VoiceProfile) -> Vec<String> {
    let mut advice = Vec::new();
    if attempts.iter().any(|a| a.levels.clipped > 0.001) {
        advice.push("The microphone is overdriven: turn its level down.".to_owned());
    }
    if hearing.speech_dbfs < -45.0 {
        advice.push(
            "Your voice is faint: turn the microphone's level up, or bring it nearer.".to_owned(),
        );
    }
    if hearing.speech_dbfs - hearing.room_dbfs < 15.0 {
        advice.push(
            "The room is nearly as loud as you: a headset with a boom microphone helps most."
                .to_owned(),
        );
    }
    let right = f64::from(hearing.right) / f64::from(hearing.phrases.max(1));
    if right < 0.7 {
        advice.push(
            "You are not heard well here. Try another microphone, or a quieter place, and rehearse again before you rely on it.".to_owned(),
        );
    }
    advice
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_phrase_is_one_that_a_session_takes_and_every_digit_is_among_them() {
        let grammar = Grammar::built_in().unwrap();
        for phrase in PHRASES {
            assert!(grammar.understand(RULE, phrase).is_some(), "{phrase}");
        }
        let all = PHRASES.join(" ");
        for digit in [
            "nought", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
        ] {
            assert!(all.split(' ').any(|word| word == digit), "{digit}");
        }
    }
}
