use super::{Earcon, Profile, Saying, Tone, Voice};
use crate::terms::{ProsodyChange, ProsodyNow};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::thread;
use std::time::{Duration, Instant};

/// A voice that may fail while it speaks.
pub trait Failing: Voice + Send {
    /// Why it can speak no more, when that is so.
    fn failed(&self) -> Option<String>;
    /// Lines that it accepted but that were not heard to their end before it failed.
    fn unsaid(&mut self) -> Vec<(Tone, String)>;
}

/// Opens a voice with a profile. May take its time; only the first call is waited for.
pub type Opener = dyn Fn(Profile) -> anyhow::Result<Box<dyn Failing>> + Send + Sync;

/// Speaks while it can, shows while it cannot, and goes back to speaking when it can again.
/// Nothing accepted is lost: what was not heard to its end is shown.
pub struct WithFallback {
    open: Arc<Opener>,
    spoken: Spoken,
    shown: Box<dyn Voice + Send>,
    profile: Profile,
    notices: Vec<String>,
    /// Pause before the next try to open the voice, and how many tries are left.
    pause: Duration,
    tries: u32,
}

enum Spoken {
    There(Box<dyn Failing>),
    Opening(Receiver<anyhow::Result<Box<dyn Failing>>>),
    Absent { until: Instant },
}

/// First and longest pause between tries.
const PAUSES: (Duration, Duration) = (Duration::from_secs(5), Duration::from_secs(300));
/// A voice that was given up may hold on to a thread and a connection, so there is an end to it.
const TRIES: u32 = 10;

impl WithFallback {
    /// Opens the voice and falls back to `shown` at once if it cannot be had.
    pub fn new(open: Arc<Opener>, profile: Profile, shown: Box<dyn Voice + Send>) -> Self {
        let mut voice = Self {
            spoken: Spoken::Absent {
                until: Instant::now(),
            },
            open,
            shown,
            profile,
            notices: Vec::new(),
            pause: PAUSES.0,
            tries: TRIES,
        };
        match (voice.open)(voice.profile.clone()) {
            Ok(spoken) => voice.spoken = Spoken::There(spoken),
            Err(error) => voice.lost(&format!("{error:#}")),
        }
        voice
    }

    /// The machine's speech service, with `shown` to fall back to.
    #[cfg(feature = "system-voice")]
    pub fn system(profile: Profile, shown: Box<dyn Voice + Send>) -> Self {
        // Listing a service's voices can take this long on a small machine.
        const PATIENCE: Duration = Duration::from_secs(20);
        let open = |profile| {
            let system = super::System::open(profile, PATIENCE)?;
            Ok(Box::new(system) as Box<dyn Failing>)
        };
        Self::new(Arc::new(open), profile, shown)
    }

    /// Whether lines are spoken at present.
    pub fn speaks(&self) -> bool {
        matches!(self.spoken, Spoken::There(_))
    }

    fn lost(&mut self, reason: &str) {
        let later = if self.tries > 0 {
            "it is tried again from time to time"
        } else {
            "it is not tried again in this session"
        };
        self.notices.push(format!(
            "There is no voice: {reason}. Prompts are shown here instead, and {later}. \
             `bothhands doctor` says what to do."
        ));
        self.spoken = Spoken::Absent {
            until: Instant::now() + self.pause,
        };
        self.pause = (self.pause * 2).min(PAUSES.1);
    }

    /// Replaces a voice that has failed, and shows what it left unsaid.
    fn tend(&mut self) {
        match &mut self.spoken {
            Spoken::There(spoken) => {
                if let Some(reason) = spoken.failed() {
                    let unsaid = spoken.unsaid();
                    self.lost(&reason);
                    for (tone, text) in unsaid {
                        // When even the terminal fails, the next `say` tells.
                        let _ = self.shown.say(tone, &text);
                    }
                }
            }
            Spoken::Opening(opened) => match opened.try_recv() {
                Ok(Ok(spoken)) => {
                    self.spoken = Spoken::There(spoken);
                    self.notices.push("The voice is back.".to_owned());
                }
                Ok(Err(_)) | Err(TryRecvError::Disconnected) => {
                    self.spoken = Spoken::Absent {
                        until: Instant::now() + self.pause,
                    };
                    self.pause = (self.pause * 2).min(PAUSES.1);
                }
                Err(TryRecvError::Empty) => {}
            },
            Spoken::Absent { until } => {
                if self.tries > 0 && Instant::now() >= *until {
                    self.tries -= 1;
                    self.open_again();
                }
            }
        }
    }

    fn open_again(&mut self) {
        let (open, profile) = (Arc::clone(&self.open), self.profile.clone());
        let (tell, opened) = channel();
        let spawned = thread::Builder::new()
            .name("voice opening".to_owned())
            .spawn(move || {
                let _ = tell.send(open(profile));
            });
        if spawned.is_ok() {
            self.spoken = Spoken::Opening(opened);
        }
    }
}

impl Voice for WithFallback {
    fn put(&mut self, line: Saying<'_>) -> anyhow::Result<()> {
        self.tend();
        if let Spoken::There(spoken) = &mut self.spoken {
            match spoken.put(line) {
                Ok(()) => return Ok(()),
                Err(error) => match spoken.failed() {
                    Some(_) => self.tend(),
                    None => self
                        .notices
                        .push(format!("A line was not spoken: {error:#}.")),
                },
            }
        }
        self.shown.put(line)
    }

    fn speaking(&self) -> bool {
        matches!(&self.spoken, Spoken::There(spoken) if spoken.speaking())
    }

    fn stop(&mut self) {
        if let Spoken::There(spoken) = &mut self.spoken {
            spoken.stop();
        }
    }

    fn cut_short(&mut self) {
        if let Spoken::There(spoken) = &mut self.spoken {
            spoken.cut_short();
        }
    }

    fn cut_off(&mut self) -> Vec<String> {
        match &mut self.spoken {
            Spoken::There(spoken) => spoken.cut_off(),
            Spoken::Opening(_) | Spoken::Absent { .. } => Vec::new(),
        }
    }

    fn mark(&mut self, mark: Earcon) {
        if let Spoken::There(spoken) = &mut self.spoken {
            spoken.mark(mark);
        }
    }

    fn mark_for(&mut self, mark: Earcon, words: &str) {
        match &mut self.spoken {
            Spoken::There(spoken) => spoken.mark_for(mark, words),
            Spoken::Opening(_) | Spoken::Absent { .. } => self.shown.mark_for(mark, words),
        }
    }

    fn adjust(&mut self, manner: ProsodyChange) -> Option<ProsodyNow> {
        if let Spoken::There(spoken) = &mut self.spoken {
            spoken.adjust(manner);
        }
        Some(self.profile.adjust(manner))
    }

    fn notices(&mut self) -> Vec<String> {
        self.tend();
        std::mem::take(&mut self.notices)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;

    /// What each voice was given, in order.
    #[derive(Clone, Default)]
    struct Log(Arc<Mutex<Vec<String>>>);

    impl Log {
        fn add(&self, line: String) {
            self.0.lock().unwrap().push(line);
        }

        fn lines(&self) -> Vec<String> {
            self.0.lock().unwrap().clone()
        }
    }

    struct Shown(Log);

    impl Voice for Shown {
        fn put(&mut self, line: Saying<'_>) -> anyhow::Result<()> {
            self.0.add(format!("shown {}", line.text));
            Ok(())
        }

        fn speaking(&self) -> bool {
            false
        }
    }

    /// Accepts lines until it is told that the loudspeaker is gone, then keeps the last unsaid.
    struct Spoken(Log, Arc<Mutex<bool>>, Option<(Tone, String)>);

    impl Voice for Spoken {
        fn put(&mut self, line: Saying<'_>) -> anyhow::Result<()> {
            anyhow::ensure!(!*self.1.lock().unwrap(), "gone");
            self.0.add(format!("spoken {}", line.text));
            self.2 = Some((line.tone, line.text.to_owned()));
            Ok(())
        }

        fn speaking(&self) -> bool {
            true
        }
    }

    impl Failing for Spoken {
        fn failed(&self) -> Option<String> {
            self.1
                .lock()
                .unwrap()
                .then(|| "the loudspeaker is gone".to_owned())
        }

        fn unsaid(&mut self) -> Vec<(Tone, String)> {
            self.2.take().into_iter().collect()
        }
    }

    #[test]
    fn without_a_speech_service_lines_are_shown_and_it_is_said_why() {
        let log = Log::default();
        let open = |_| Err(anyhow::anyhow!("not installed"));
        let mut voice = WithFallback::new(
            Arc::new(open),
            Profile::default(),
            Box::new(Shown(log.clone())),
        );
        voice.say(Tone::Plain, "Prove the indicator").unwrap();
        assert_eq!(log.lines(), ["shown Prove the indicator"]);
        let notices = voice.notices();
        assert_eq!(notices.len(), 1);
        assert!(notices[0].contains("not installed"), "{notices:?}");
        assert!(!voice.speaking());
    }

    #[test]
    fn a_line_cut_off_by_a_failure_is_shown_and_nothing_is_lost() {
        let (log, gone) = (Log::default(), Arc::new(Mutex::new(false)));
        let (spoken, gone_too) = (log.clone(), Arc::clone(&gone));
        let open = move |_| {
            let voice = Spoken(spoken.clone(), Arc::clone(&gone_too), None);
            Ok(Box::new(voice) as Box<dyn Failing>)
        };
        let mut voice = WithFallback::new(
            Arc::new(open),
            Profile::default(),
            Box::new(Shown(log.clone())),
        );
        voice.say(Tone::Plain, "one").unwrap();
        assert!(voice.speaking());
        *gone.lock().unwrap() = true;
        voice.say(Tone::Warning, "two").unwrap();
        assert_eq!(log.lines(), ["spoken one", "shown one", "shown two"]);
        assert!(voice.notices()[0].contains("the loudspeaker is gone"));
        assert!(voice.notices().is_empty(), "told once");
    }

    #[test]
    fn manners_are_remembered_for_a_voice_opened_later() {
        let seen = Arc::new(Mutex::new(Vec::new()));
        let seen_too = Arc::clone(&seen);
        let open = move |profile: Profile| {
            seen_too.lock().unwrap().push(profile.volume.get());
            Err(anyhow::anyhow!("not yet"))
        };
        let log = Log::default();
        let mut voice = WithFallback::new(Arc::new(open), Profile::default(), Box::new(Shown(log)));
        voice.adjust(ProsodyChange::Quieter);
        voice.spoken = super::Spoken::Absent {
            until: Instant::now(),
        };
        voice.notices();
        let deadline = Instant::now() + Duration::from_secs(5);
        while seen.lock().unwrap().len() < 2 && Instant::now() < deadline {
            thread::sleep(Duration::from_millis(5));
        }
        assert_eq!(*seen.lock().unwrap(), [100, 85]);
    }
}
