use jiff::{SignedDuration, Timestamp};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

/// A clock that the store and the session read alike, to the microsecond: a replayed log then
/// gives the very state that the session had.
///
/// It begins at the machine's time and goes on by how long the machine has been up, asleep or not.
/// So a clock that is put right, or wrong, while a session runs neither hides an absence nor makes
/// one up; the times of that session then stand by the clock as it was when the session began.
#[derive(Debug, Clone)]
pub struct SharedClock {
    now: Arc<AtomicI64>,
    began: Timestamp,
    up_then: SignedDuration,
}

impl Default for SharedClock {
    fn default() -> Self {
        Self {
            now: Arc::default(),
            began: Timestamp::now(),
            up_then: up(),
        }
    }
}

impl SharedClock {
    /// Moves on and returns the time.
    pub fn tick(&self) -> Timestamp {
        let gone = up().saturating_sub(self.up_then);
        let now = self.began.saturating_add(gone).unwrap_or(self.began);
        self.now.store(now.as_microsecond(), Ordering::SeqCst);
        self.now()
    }

    /// The time of the last tick.
    pub fn now(&self) -> Timestamp {
        Timestamp::from_microsecond(self.now.load(Ordering::SeqCst))
            .unwrap_or(Timestamp::UNIX_EPOCH)
    }
}

/// How long the machine has been up, the time it slept included.
#[cfg(target_os = "linux")]
fn up() -> SignedDuration {
    let time = rustix::time::clock_gettime(rustix::time::ClockId::Boottime);
    let nanos = i32::try_from(time.tv_nsec).unwrap_or(0);
    SignedDuration::new(time.tv_sec, nanos)
}

/// How long the program has run; sleep may not be counted.
#[cfg(not(target_os = "linux"))]
fn up() -> SignedDuration {
    use std::sync::LazyLock;
    use std::time::Instant;
    static BEGAN: LazyLock<Instant> = LazyLock::new(Instant::now);
    SignedDuration::try_from(BEGAN.elapsed()).unwrap_or(SignedDuration::ZERO)
}

/// Which run of the machine this is, where it can be told: another one may have come up at any
/// time.
pub fn boot() -> Option<String> {
    let id = std::fs::read_to_string("/proc/sys/kernel/random/boot_id").ok()?;
    Some(id.trim().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_goes_forward_and_never_back() {
        let clock = SharedClock::default();
        let first = clock.tick();
        let second = clock.tick();
        assert!(first <= second && clock.now() == second);
        // The log keeps microseconds.
        assert!(first.as_microsecond() >= clock.began.as_microsecond());
    }
}
