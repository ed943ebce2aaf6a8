//! What the configuration sets, where the work must go on without it.

use super::shown;
use bothhands::config::{self, Config};

/// The configuration; where it can't be used, why, on standard error, and what is usual without one. A
/// record that is asked for is not kept back by a slip of the pen elsewhere.
pub(super) fn or_usual() -> Config {
    match config::find() {
        Ok(found) => found.config,
        Err(why) => {
            shown::note(format!(
                "{why}\nIt goes on as if there were no configuration. Put that right; `bothhands config` shows where it is."
            ));
            Config::default()
        }
    }
}
