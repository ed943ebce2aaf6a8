//! Ctrl-C, and being told to end.

use super::exit::Exit;
use anyhow::Context;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Ends the program at once: everything read back is on the disk already.
pub(super) fn end_at_once() -> ! {
    std::process::exit(Exit::AtOnce.status().into())
}

/// Stops at the end of the utterance in hand when the program is told to stop.
///
/// # Errors
/// When the machine does not let it watch for the signal.
pub(super) fn stop_on_signal() -> anyhow::Result<Arc<AtomicBool>> {
    stop_on_signal_and(|| {
        super::shown::note(
            "Stopping after what is in hand. Everything that was read back is kept. Once more \
             ends at once.",
        );
    })
}

/// The same; `first` is done when it is told so, and not the second time.
///
/// # Errors
/// As [`stop_on_signal`].
pub(super) fn stop_on_signal_and(
    first: impl Fn() + Send + 'static,
) -> anyhow::Result<Arc<AtomicBool>> {
    let stop = Arc::new(AtomicBool::new(false));
    let told = Arc::clone(&stop);
    ctrlc::set_handler(move || {
        if told.swap(true, Ordering::SeqCst) {
            end_at_once();
        }
        first();
    })
    .context("can't watch for Ctrl-C")?;
    Ok(stop)
}
