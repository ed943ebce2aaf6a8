//! The gate, measured on speech: the program's own prompts are mixed into the microphone at -20 to
//! 0 dB of a person's level. Spoken by espeak-ng, since what is measured is whose speech gets
//! through, not how it is recognised.
//!
//!     cargo test --test it sound::gate -- --nocapture

use bothhands::audio::{self, EndpointConfig, SAMPLE_RATE, Segmenter};
use bothhands::dialogue::BargeInGate;
use std::path::Path;
use std::process::Command;

type Outcome = Result<(), Box<dyn std::error::Error>>;

const PROMPTS: [&str; 8] = [
    "Line to neutral, zero point three five ohms.",
    "Insulation resistance, line to earth, at five hundred volts. Megohms.",
    "Over nine nine nine megohms.",
    "Neutral out at socket three, in a connector.",
    "Zero point zero six? Outside the limit. Affirm, or correct.",
    "Prove the voltage indicator on a known source.",
    "One thing is out: neutral, at the door entry unit.",
    "Isolated. Lock off, keep the key, and put up the caution notice.",
];

const ANSWERS: [&str; 6] = [
    "negative",
    "say again",
    "line to earth over nine nine nine",
    "zero point three five",
    "stand by",
    "neutral back at socket three",
];

/// A person's level while speaking, in dB below full scale.
const PERSON: f32 = -20.0;
/// The room's.
const ROOM: f32 = -58.0;
/// From the voice's last sound until it says that it has ended (measured by
/// `the_voice_is_heard_and_knows_when_it_speaks`), in chunks of 20 ms.
const LAG: usize = 28;
const CHUNK: usize = SAMPLE_RATE as usize / 50;

fn speak(
    folder: &Path,
    voice: &str,
    texts: &[&str],
) -> Result<Vec<Vec<f32>>, Box<dyn std::error::Error>> {
    let mut spoken = Vec::new();
    for (n, text) in texts.iter().enumerate() {
        let file = folder.join(format!("{voice}-{n}.wav"));
        let done = Command::new("espeak-ng")
            .args(["-v", voice, "-w"])
            .arg(&file)
            .arg(text)
            .status()?;
        assert!(done.success());
        let samples = audio::read(&file)?;
        let first = samples.iter().position(|s| s.abs() > 0.02).unwrap_or(0);
        let last = samples.iter().rposition(|s| s.abs() > 0.02).unwrap_or(0);
        spoken.push(samples[first..=last].to_vec());
    }
    Ok(spoken)
}

/// Brought to a level: the mean power of what is not silence.
fn at(db: f32, samples: &[f32]) -> Vec<f32> {
    let loud: Vec<f32> = samples.iter().copied().filter(|s| s.abs() > 0.01).collect();
    let rms = (loud.iter().map(|s| s * s).sum::<f32>() / loud.len().max(1) as f32).sqrt();
    let gain = 10_f32.powf(db / 20.0) / rms;
    samples.iter().map(|s| s * gain).collect()
}

/// A microphone in a room, with what stands around it.
struct Scene {
    gate: BargeInGate,
    segmenter: Segmenter,
    noise: fastrand::Rng,
    passed: Vec<f32>,
}

/// What came of one prompt.
#[derive(Default)]
struct Came {
    /// When somebody was told to cut in, in seconds from the beginning of the prompt.
    barge_in: Option<f32>,
    /// Utterances found, and whether they are known to be mixed with the program's voice.
    found: Vec<(bool, f64)>,
}

impl Scene {
    fn new() -> Self {
        Self {
            gate: BargeInGate::default(),
            segmenter: Segmenter::new(EndpointConfig::default()),
            noise: fastrand::Rng::with_seed(7),
            passed: Vec::new(),
        }
    }

    /// The program says `prompt`, and a person says `answer` from sample `from` on; then two
    /// seconds of quiet.
    fn play(&mut self, prompt: &[f32], answer: Option<(usize, &[f32])>) -> Came {
        let mut came = Came::default();
        let answer_ends = answer.map_or(0, |(from, answer)| from + answer.len());
        let end = (prompt.len().max(answer_ends) + 2 * SAMPLE_RATE as usize) / CHUNK;
        let mut prompt_ends = prompt.len();
        for n in 0..end {
            let chunk: Vec<f32> = (n * CHUNK..(n + 1) * CHUNK)
                .map(|i| {
                    let own = if i < prompt_ends { prompt[i] } else { 0.0 };
                    let person = answer
                        .and_then(|(from, answer)| answer.get(i.checked_sub(from)?))
                        .unwrap_or(&0.0);
                    let room = (self.noise.f32() * 2.0 - 1.0) * 10_f32.powf(ROOM / 20.0) * 1.73;
                    (own + person + room).clamp(-1.0, 1.0)
                })
                .collect();
            let speaking = n < prompt_ends / CHUNK + LAG;
            let passed = self.gate.pass(&chunk, speaking);
            if passed.barge_in {
                came.barge_in = Some(n as f32 / 50.0);
                // The service takes some 50 ms to stop.
                prompt_ends = prompt_ends.min((n + 3) * CHUNK);
            }
            self.passed.extend(&passed.samples);
            for utterance in self.segmenter.push(&passed.samples) {
                let to = utterance.start + utterance.samples.len() as u64;
                came.found.push((
                    self.gate.overlaps_prompt(utterance.start, to),
                    utterance.seconds(),
                ));
            }
        }
        came
    }
}

#[test]
fn whose_speech_gets_through_the_gate() -> Outcome {
    crate::need("espeak-ng", "espeak-ng");
    let folder = tempfile::tempdir()?;
    let prompts = speak(folder.path(), "en", &PROMPTS)?;
    let answers: Vec<Vec<f32>> = speak(folder.path(), "en-gb-scotland+f2", &ANSWERS)?
        .iter()
        .map(|answer| at(PERSON, answer))
        .collect();

    println!("echo: the program's voice in the microphone, against a person's");
    println!("echo      own voice   false     cut in    mean    answers 0.2 s  answers 0.4 s");
    println!("          heard       cut-ins             after   after, whole   after, whole");
    for echo in [-40.0, -30.0, -20.0, -15.0, -10.0, -6.0, -3.0, 0.0] {
        let prompts: Vec<Vec<f32>> = prompts.iter().map(|p| at(PERSON + echo, p)).collect();
        let mut scene = Scene::new();
        scene.play(&[], None);

        // Nobody but the program.
        let (mut own, mut false_cuts) = (0, 0);
        for prompt in prompts.iter().chain(&prompts) {
            let came = scene.play(prompt, None);
            own += came.found.len();
            false_cuts += usize::from(came.barge_in.is_some());
        }

        // A person speaks over a prompt, or soon after it.
        let (mut cuts, mut after, mut unmarked) = (0, 0.0, 0);
        for (prompt, answer) in prompts.iter().zip(answers.iter().cycle()) {
            let from = SAMPLE_RATE as usize / 2;
            let came = scene.play(prompt, Some((from, answer)));
            if let Some(at) = came.barge_in {
                cuts += 1;
                after += at - 0.5;
            }
            // Speech mixed with the program's, or without its beginning, must be known as such.
            let overlaps = from < prompt.len();
            unmarked += came
                .found
                .iter()
                .filter(|(mixed, _)| overlaps && !mixed)
                .count();
            scene.play(&[], None);
        }
        let mut whole = [0, 0];
        for (whole, delay) in whole.iter_mut().zip([0.2, 0.4]) {
            for (prompt, answer) in prompts.iter().zip(answers.iter().cycle()) {
                let from = prompt.len() + (delay * SAMPLE_RATE as f32) as usize;
                let came = scene.play(prompt, Some((from, answer)));
                let length = answer.len() as f64 / f64::from(SAMPLE_RATE);
                *whole += usize::from(
                    matches!(came.found.as_slice(), [(false, seconds)] if *seconds > length),
                );
            }
        }
        let share = |n: usize| format!("{n} of {}", prompts.len());
        println!(
            "{echo:>4} dB   {own:<12}{false_cuts:<10}{:<10}{:<8}{:<15}{}",
            share(cuts),
            if cuts > 0 {
                format!("{:.2} s", after / cuts as f32)
            } else {
                "-".to_owned()
            },
            share(whole[0]),
            share(whole[1]),
        );
        assert_eq!(own, 0, "at {echo} dB it heard itself");
        assert_eq!(false_cuts, 0, "at {echo} dB it cut itself short");
        assert_eq!(
            unmarked, 0,
            "at {echo} dB a mixture was taken for plain speech"
        );
        if echo <= -20.0 {
            assert!(cuts >= 7, "at {echo} dB a person could not cut in");
        }
        assert!(whole[1] >= 7, "at {echo} dB quick answers were lost");
    }
    Ok(())
}
