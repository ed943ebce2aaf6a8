//! Everything that is read from a file, fed with files that were spoilt by chance: nothing panics,
//! nothing hangs, and what is refused is refused by name.
//!
//! The inputs are committed files (job files, grammars, exported logs) and small ones made here,
//! changed a little by [`spoil`]. They are the same every time: case N of a target is made of
//! `FUZZ_SEED` and N alone.
//!
//! ```sh
//! FUZZ_SECONDS=3600 cargo test --test it fuzz:: -- --nocapture    # an hour, shared by the targets
//! FUZZ_SECONDS=0 FUZZ_FIRST=4711 cargo test --test it fuzz::targets::jsgf  # one case again
//! ```

mod spoil;
mod targets;

use fastrand::Rng;
use std::time::{Duration, Instant};

/// Targets that share the time.
const TARGETS: u64 = 5;

fn setting(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).map_or(otherwise, |text| {
        text.parse()
            .unwrap_or_else(|_| panic!("{name}={text} is not a number"))
    })
}

/// Says which case it was when it ends in a panic.
struct Case {
    target: &'static str,
    number: u64,
}

impl Drop for Case {
    fn drop(&mut self) {
        if std::thread::panicking() {
            eprintln!(
                "to see it again: FUZZ_SECONDS=0 FUZZ_FIRST={} cargo test --test it fuzz::targets::{}",
                self.number, self.target
            );
        }
    }
}

/// Feeds `target` for its share of the time, one case at least. `feed` gets chance and answers
/// whether the input got past the first look; a target that never lets one in tests nothing.
fn feed(target: &'static str, mut feed: impl FnMut(&mut Rng) -> bool) {
    let share = Duration::from_secs(setting("FUZZ_SECONDS", 60)) / TARGETS as u32;
    let seed = setting("FUZZ_SEED", 2026);
    let first = setting("FUZZ_FIRST", 0);
    let until = Instant::now() + share;
    let (mut cases, mut taken) = (0, 0);
    let mut slowest = Duration::ZERO;
    while cases == 0 || Instant::now() < until {
        let case = Case {
            target,
            number: first + cases,
        };
        let began = Instant::now();
        let mut rng = Rng::with_seed(seed.rotate_left(32) ^ case.number);
        taken += u64::from(feed(&mut rng));
        slowest = slowest.max(began.elapsed());
        cases += 1;
    }
    println!("{target}: {cases} cases, {taken} taken, the slowest {slowest:.1?}");
    // One case again is one case.
    let again = share.is_zero();
    assert!(again || taken > 0, "{target}: nothing was ever taken");
}
