//! Looking back at a session in a browser on the same machine: the dialogue with its sound, the
//! verdicts and their arithmetic, corrections, the out-list, and plots.
//!
//! The pages are made here, whole; the browser runs no script, asks nothing of any other place
//! and can do nothing but read them and send a correction. Everything works from the keyboard.

mod durations;
mod frame;
mod graphs;
mod out;
mod put_right;
mod server;
mod svg;
mod timeline;
mod view;

pub use put_right::{NotAValue, parse_value};
pub use server::{Review, serve};
