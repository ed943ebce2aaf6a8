//! Looking back at a session in a browser on the same machine: the dialogue with its sound, the
//! verdicts and their arithmetic, corrections, the out-list, plots, and the sheet of marks where somebody
//! learned by it; and at a group, side by side.
//!
//! The pages are made here, whole; the browser runs no script, asks nothing of any other place
//! and can do nothing but read them, send a correction, and strike a reading from the marks. Everything works from the keyboard.

mod durations;
mod frame;
mod graphs;
mod group;
mod marks;
mod out;
mod server;
mod svg;
mod timeline;
mod view;

pub use server::{Marking, Review, serve};

/// As the forms have it, and for whoever sends one by other means.
const LONGEST_REASON: usize = 200;
