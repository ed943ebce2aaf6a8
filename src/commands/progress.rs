//! That something takes its time, told on standard error while it does, and only on a terminal.

use indicatif::{ProgressBar, ProgressStyle};
use std::time::Duration;

/// Shows what is waited for until it is dropped.
pub(super) struct Progress(ProgressBar);

impl Progress {
    /// Something of unknown length.
    pub(super) fn of(what: &str) -> Self {
        let bar = ProgressBar::new_spinner().with_message(what.to_owned());
        bar.enable_steady_tick(Duration::from_millis(200));
        Self(bar)
    }

    /// So many of something.
    pub(super) fn count(what: &str, all: usize) -> Self {
        let bar = ProgressBar::new(all as u64).with_message(what.to_owned());
        let style = ProgressStyle::with_template("{msg}: {pos} of {len}, {eta} left");
        let bar = match style {
            Ok(style) => bar.with_style(style),
            // Without its style it still counts.
            Err(_) => bar,
        };
        Self(bar)
    }

    /// Writes something beside it: what is shown of it is out of the way meanwhile.
    #[cfg(feature = "hand-in")]
    pub(super) fn aside<T>(&self, write: impl FnOnce() -> T) -> T {
        self.0.suspend(write)
    }

    /// One more is done.
    pub(super) fn one_more(&self) {
        self.0.inc(1);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}
