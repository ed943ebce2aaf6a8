//! Ctrl-C, and being told to end.

use anyhow::Context;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Stops at the end of the utterance in hand when the program is told to stop.
///
/// # Errors
/// When the machine does not let it watch for the signal.
pub(super) fn stop_on_signal() -> anyhow::Result<Arc<AtomicBool>> {
    let stop = Arc::new(AtomicBool::new(false));
    let told = Arc::clone(&stop);
    ctrlc::set_handler(move || {
        if told.swap(true, Ordering::SeqCst) {
            // Asked twice: everything read back is on the disk already.
            std::process::exit(130);
        }
        super::shown::note(
            "Stopping after what is in hand. Everything that was read back is kept. Once more \
             ends at once.",
        );
    })
    .context("can't watch for Ctrl-C")?;
    Ok(stop)
}
