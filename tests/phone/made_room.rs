//! Made rooms: several people speak, each into a phone of his own, and every phone hears all of them.

const RATE: usize = 16_000;

/// What each phone hears, and who said what when.
pub struct MadeRoom {
    pub phones: Vec<Heard>,
    pub said: Vec<Said>,
}

/// One phone of it.
pub struct Heard {
    pub sound: Vec<f32>,
    /// Its first sample is of this sample of the room.
    pub begins: usize,
    /// Seconds that its posts are on their way, and the most that is added to that.
    pub way: f64,
    pub jitter: f64,
}

/// One thing that was said.
#[derive(Debug, Clone, Copy)]
pub struct Said {
    pub speaker: usize,
    /// Which of the clips.
    pub clip: usize,
    /// From one sample of the room to before another.
    pub from: usize,
    pub to: usize,
}

/// How others come over to a phone, in decibels under its own learner.
pub const UNDER: std::ops::Range<f32> = 6.0..20.0;
/// Each speaks once in so many seconds.
const EVERY: usize = 10;

/// A clip without the quiet at both ends, its louder moments as loud as any other's.
pub fn trimmed(clip: &[f32]) -> Vec<f32> {
    let step = RATE / 50;
    let power = |part: &[f32]| part.iter().map(|s| s * s).sum::<f32>() / part.len() as f32;
    let mut powers: Vec<f32> = clip.chunks_exact(step).map(power).collect();
    let order = powers.clone();
    powers.sort_by(f32::total_cmp);
    let loud = powers[powers.len() * 19 / 20];
    let speaks = |p: &f32| *p > loud / 1000.0;
    let first = order.iter().position(speaks).unwrap();
    let last = order.iter().rposition(speaks).unwrap();
    let gain = 0.1 / loud.sqrt();
    clip[first * step..(last + 1) * step]
        .iter()
        .map(|s| s * gain)
        .collect()
}

fn decibels(down: f32) -> f32 {
    10f32.powf(-down / 20.0)
}

fn between(random: &mut fastrand::Rng, range: std::ops::Range<f32>) -> f32 {
    range.start + random.f32() * (range.end - range.start)
}

/// The way from a mouth to a phone: delays in samples, and how much comes by each. `under` is how much quieter it
/// is in all; `late` how much of it comes by the walls.
fn way(random: &mut fastrand::Rng, under: f32, metres: f32, late: f32) -> Vec<(usize, f32)> {
    const WALLS: usize = 24;
    /// Seconds in which the room falls by 60 dB.
    const FALLS: f32 = 0.5;
    let direct = (metres / 343.0 * RATE as f32) as usize;
    let mut walls: Vec<(usize, f32)> = (0..WALLS)
        .map(|_| {
            let after = between(random, 0.004..0.25);
            let falls = 10f32.powf(-3.0 * after / FALLS);
            let sign = if random.bool() { 1.0 } else { -1.0 };
            (direct + (after * RATE as f32) as usize, sign * falls)
        })
        .collect();
    let power: f32 = walls.iter().map(|(_, a)| a * a).sum();
    let share = decibels(-late);
    for (_, amplitude) in &mut walls {
        *amplitude *= share / power.sqrt();
    }
    walls.push((direct, 1.0));
    let all: f32 = walls.iter().map(|(_, a)| a * a).sum();
    let scale = decibels(under) / all.sqrt();
    walls.iter().map(|(at, a)| (*at, a * scale)).collect()
}

impl MadeRoom {
    /// So many people for so many seconds. Every phone is of another make: how sensitive it is, how much it
    /// hisses, when it began, how fast its clock runs.
    pub fn new(clips: &[Vec<f32>], people: usize, seconds: usize, seed: u64) -> Self {
        let mut random = fastrand::Rng::with_seed(seed);
        let length = seconds * RATE;
        let mut said = Vec::new();
        // How quiet each is, in decibels.
        let mut persons = Vec::new();
        let mut voices = vec![vec![0.0_f32; length]; people];
        for (speaker, voice) in voices.iter_mut().enumerate() {
            let person = between(&mut random, -3.0..3.0);
            persons.push(person);
            for turn in 0..seconds / EVERY {
                let clip = random.usize(..clips.len());
                let sound = &clips[clip];
                // The first second is the room's.
                let room = (EVERY * RATE).saturating_sub(sound.len() + 2 * RATE);
                let from = turn * EVERY * RATE + RATE + random.usize(..room.max(1));
                let gain = decibels(person + between(&mut random, -1.5..1.5));
                for (at, sample) in voice.iter_mut().skip(from).zip(sound) {
                    *at += sample * gain;
                }
                let to = (from + sound.len()).min(length);
                said.push(Said {
                    speaker,
                    clip,
                    from,
                    to,
                });
            }
        }
        let phones = (0..people)
            .map(|own| {
                let mut sound = vec![0.0_f32; length];
                for (speaker, voice) in voices.iter().enumerate() {
                    let way = if speaker == own {
                        way(&mut random, 0.0, 0.3, -12.0)
                    } else {
                        // Under the one whose phone it is, however loud each is.
                        let under = between(&mut random, UNDER) + persons[own] - persons[speaker];
                        let metres = between(&mut random, 1.0..8.0);
                        way(&mut random, under, metres, -3.0)
                    };
                    for one in said.iter().filter(|one| one.speaker == speaker) {
                        for (delay, amplitude) in &way {
                            for n in one.from..one.to.min(length - delay) {
                                sound[n + delay] += amplitude * voice[n];
                            }
                        }
                    }
                }
                let hiss = 0.1 * decibels(40.0 + between(&mut random, -2.5..2.5)) * 3f32.sqrt();
                let sensitivity = decibels(between(&mut random, -6.0..6.0));
                let drift = f64::from(between(&mut random, -40e-6..40e-6));
                let begins = random.usize(..RATE / 5);
                let slow = |n: usize| (n as f64 * (1.0 + drift)).round() as usize + begins;
                let heard: Vec<f32> = (0..length)
                    .map_while(|n| sound.get(slow(n)))
                    .map(|s| sensitivity * (s + hiss * (2.0 * random.f32() - 1.0)))
                    .map(|s| s.clamp(-1.0, 1.0))
                    .collect();
                Heard {
                    sound: heard,
                    begins,
                    way: f64::from(between(&mut random, 0.02..0.12)),
                    jitter: 0.03,
                }
            })
            .collect();
        Self { phones, said }
    }

    /// Posts of a tenth of a second in the order in which they arrive: of which phone, from which sample of it
    /// on, and the second at which they do.
    pub fn posts(&self, seed: u64) -> Vec<(usize, usize, f64)> {
        let mut random = fastrand::Rng::with_seed(seed);
        let mut posts = Vec::new();
        for (phone, heard) in self.phones.iter().enumerate() {
            let mut before = 0.0_f64;
            for from in (0..heard.sound.len()).step_by(RATE / 10) {
                let made = (from + RATE / 10 + heard.begins) as f64 / RATE as f64;
                let arrives = made + heard.way + heard.jitter * random.f64();
                before = before.max(arrives);
                posts.push((phone, from, before));
            }
        }
        posts.sort_by(|a, b| a.2.total_cmp(&b.2));
        posts
    }
}
