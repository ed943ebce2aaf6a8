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

use crate::log::Log;
use crate::report::{Letterhead, Times};
use crate::sequence::Agenda;
use std::sync::Arc;

/// The pages of a session that is kept in no file, one after the other: its timeline, what was out, its
/// plots. `opened` is an agenda that has taken the first event, so that it may know other procedures.
pub fn pages(log: Log, opened: Agenda, times: &Times) -> String {
    let letterhead = Letterhead::default();
    let around = view::Around::default();
    let view = view::View::made(&Arc::new(log), opened, times, &letterhead, &around);
    [
        timeline::timeline(&view, &timeline::Filter::default()),
        out::out(&view),
        graphs::graphs(&view),
    ]
    .map(|page| page.into_string())
    .concat()
}

/// As the forms have it, and for whoever sends one by other means.
const LONGEST_REASON: usize = 200;
