use jiff::Timestamp;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

/// A clock that the store and the session read alike, to the microsecond: a replayed log then
/// gives the very state that the session had.
#[derive(Debug, Clone, Default)]
pub struct SharedClock(Arc<AtomicI64>);

impl SharedClock {
    /// Moves to the machine's time and returns it.
    pub fn tick(&self) -> Timestamp {
        let now = Timestamp::now().as_microsecond();
        self.0.store(now, Ordering::SeqCst);
        self.now()
    }

    /// The time of the last tick.
    pub fn now(&self) -> Timestamp {
        Timestamp::from_microsecond(self.0.load(Ordering::SeqCst)).unwrap_or(Timestamp::UNIX_EPOCH)
    }
}
