//! Guards and the predicates they ask are broken one at a time, in this very build, and the random
//! walk must find each: a check that cannot fail is none.
//!
//! ```sh
//! BROKEN=200000 cargo test --test it guards_broken -- --nocapture
//! ```

use crate::dialogues::world::World;
use crate::sequence::model_walk::{JOBS, Walk};
use bothhands::sequence::breakage::{self, Break};

const LENGTH: usize = 250;

/// How many things are said before something broken is given up on.
fn patience() -> usize {
    let told = std::env::var("BROKEN").ok().and_then(|n| n.parse().ok());
    told.unwrap_or(300_000)
}

/// What the walk says of a broken guard, and after how many things said.
fn found(what: Break, worlds: &[World]) -> Option<(usize, String)> {
    breakage::with(what, || {
        let mut said = 0;
        for seed in 0.. {
            let mut walk = Walk::begin(&worlds[seed % worlds.len()], seed as u64);
            for _ in 0..LENGTH {
                said += 1;
                if let Err(why) = walk.step() {
                    return Some((said, why));
                }
            }
            if said >= patience() {
                return None;
            }
        }
        None
    })
}

#[test]
fn each_broken_guard_is_found() {
    let worlds: Vec<World> = JOBS.iter().map(|name| World::of(name, 60)).collect();
    let mut missed = Vec::new();
    for what in Break::ALL {
        match found(*what, &worlds) {
            Some((said, why)) => {
                let why: String = why.chars().take(120).collect();
                println!("{what:?}: found after {said}: {why}");
            }
            None => missed.push(what),
        }
    }
    assert!(missed.is_empty(), "not found: {missed:?}");
}
