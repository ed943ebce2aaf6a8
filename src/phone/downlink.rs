//! What the phone is to say, and whether it has.

use super::shared::Shared;
use crate::dialogue::screen::ScreenView;
use crate::terms::{ProsodyChange, ProsodyNow};
use crate::voice::{Earcon, Piece, Profile, Rate, Saying, Tone, Voice, longest, pieces, sounded};
use serde::Serialize;
use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// A phone that does not begin a line within this time does not say it.
const BEGIN: Duration = Duration::from_secs(8);
/// Lines that may wait to be said.
const QUEUE: usize = 32;

/// What a page is told to say.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Item {
    /// Its number; the page says by it what became of it, and fetches its sound.
    pub id: u64,
    /// The words in their pieces; none for a mark.
    pub words: Vec<Said>,
    /// Whether it begins with a tone: our sound goes before the phone's own voice.
    pub tone: bool,
}

/// A piece of a line, for a phone's own voice.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Said {
    pub words: String,
    /// How much faster than usual: 1 is as usual.
    pub rate: f32,
    /// How high: 1 is as usual, 2 the highest.
    pub pitch: f32,
    /// How loud, 0 to 1.
    pub volume: f32,
}

#[derive(Debug, Clone)]
enum What {
    Line(Tone, String, Vec<Piece>),
    Mark(Earcon),
}

struct Waiting {
    id: u64,
    what: What,
    made: Arc<MadeOnce>,
}

/// A line as WAV: made by who wants it first, be it ahead of the phone's asking.
#[derive(Debug, Default)]
pub(super) struct MadeOnce(Mutex<Option<Vec<u8>>>);

impl MadeOnce {
    /// The sound of all of an item.
    ///
    /// # Errors
    /// When this machine has no voice; the next who asks tries again.
    pub(super) fn get(&self, sound: &Sound, profile: &Profile) -> anyhow::Result<Vec<u8>> {
        let mut made = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if made.is_none() {
            *made = Some(sound.made(profile)?);
        }
        Ok(made.clone().unwrap_or_default())
    }
}

/// What of an item is wanted as sound.
#[derive(Debug, Clone)]
pub(super) enum Sound {
    Mark(Earcon),
    Warning,
    Words { pieces: Vec<Piece>, warning: bool },
}

impl Sound {
    /// It as WAV.
    ///
    /// # Errors
    /// When this machine has no voice.
    pub(super) fn made(&self, profile: &Profile) -> anyhow::Result<Vec<u8>> {
        match self {
            Self::Mark(mark) => sounded::mark(*mark, profile),
            Self::Warning => sounded::words(&[], true, profile),
            Self::Words { pieces, warning } => sounded::words(pieces, *warning, profile),
        }
    }
}

/// The sound of an item that is wanted, by whichever voice.
pub(super) struct Wanted {
    pub sound: Sound,
    pub profile: Profile,
    /// Where it is made, or was; nothing of what is not the whole item.
    pub made: Option<Arc<MadeOnce>>,
}

impl Wanted {
    /// It as WAV.
    ///
    /// # Errors
    /// When this machine has no voice.
    pub(super) fn wav(&self) -> anyhow::Result<Vec<u8>> {
        match &self.made {
            Some(made) => made.get(&self.sound, &self.profile),
            None => self.sound.made(&self.profile),
        }
    }
}

/// The lines that wait, and the one that is being said.
pub(super) struct Downlink {
    profile: Profile,
    waiting: VecDeque<Waiting>,
    next: u64,
    /// When the first of them is given up.
    deadline: Option<Instant>,
    quiet_since: Option<Instant>,
    unsaid: Vec<String>,
    /// Lines that somebody spoke over.
    cut_off: Vec<String>,
    /// Whether the phone lets us make the sound of words.
    without_voice: bool,
}

impl Downlink {
    pub(super) fn new(profile: Profile) -> Self {
        Self {
            profile,
            waiting: VecDeque::new(),
            next: 1,
            deadline: None,
            quiet_since: None,
            unsaid: Vec::new(),
            cut_off: Vec::new(),
            without_voice: false,
        }
    }

    pub(super) fn items(&self) -> Vec<Item> {
        let rate = |rate: Rate| 2_f32.powf(rate.get() as f32 / 100.0);
        let item = |waiting: &Waiting| {
            let (tone, pieces) = match &waiting.what {
                What::Line(tone, _, pieces) => (*tone == Tone::Warning, pieces.as_slice()),
                What::Mark(_) => (true, &[][..]),
            };
            Item {
                id: waiting.id,
                words: pieces
                    .iter()
                    .map(|piece| Said {
                        words: piece.words.clone(),
                        rate: rate(piece.rate(self.profile.rate)),
                        pitch: 1.0 + piece.rise(),
                        volume: (piece.loudness(self.profile.volume) / 100.0).min(1.0),
                    })
                    .collect(),
                tone,
            }
        };
        self.waiting.iter().map(item).collect()
    }

    /// The sound of an item: all of it, or only its tone where the phone says the words. What comes after one
    /// whose words were wanted is made ahead.
    pub(super) fn sound(&mut self, id: u64, only_tone: bool) -> Option<Wanted> {
        let wanted = self.of_item(id, only_tone)?;
        if let Sound::Words { .. } | Sound::Warning = wanted.sound {
            self.without_voice = !only_tone;
        }
        Some(wanted)
    }

    fn of_item(&self, id: u64, only_tone: bool) -> Option<Wanted> {
        let waiting = self.waiting.iter().find(|waiting| waiting.id == id)?;
        let sound = match &waiting.what {
            What::Mark(mark) => Sound::Mark(*mark),
            What::Line(..) if only_tone => Sound::Warning,
            What::Line(tone, _, pieces) => Sound::Words {
                pieces: pieces.clone(),
                warning: *tone == Tone::Warning,
            },
        };
        Some(Wanted {
            made: (!only_tone).then(|| Arc::clone(&waiting.made)),
            sound,
            profile: self.profile.clone(),
        })
    }

    /// The line that waits, where the phone will ask for its words and none is before it: what is said later takes no
    /// processor from that.
    fn ahead(&self) -> Option<Wanted> {
        let mut lines = self
            .waiting
            .iter()
            .filter(|w| matches!(w.what, What::Line(..)));
        let only = lines.next().filter(|_| lines.next().is_none())?;
        self.of_item(only.id, false).filter(|_| self.without_voice)
    }

    fn push(&mut self, what: What, now: Instant) {
        if self.waiting.is_empty() {
            self.deadline = Some(now + BEGIN);
        }
        self.waiting.push_back(Waiting {
            id: self.next,
            what,
            made: Arc::default(),
        });
        self.next += 1;
    }

    /// The phone has begun this one.
    pub(super) fn began(&mut self, id: u64, now: Instant) {
        if let Some(first) = self.waiting.front().filter(|first| first.id == id) {
            let letters: String = match &first.what {
                What::Line(_, _, pieces) => pieces.iter().map(|p| p.words.as_str()).collect(),
                What::Mark(_) => String::new(),
            };
            self.deadline = Some(now + longest(&letters, self.profile.rate));
        }
    }

    /// The phone is done with this one, and so with all before it; or could not say it.
    pub(super) fn ended(&mut self, id: u64, said: bool, now: Instant) {
        while let Some(first) = self.waiting.front().filter(|first| first.id <= id) {
            if let (false, What::Line(_, text, _)) = (said, &first.what) {
                self.unsaid.push(text.clone());
            }
            self.waiting.pop_front();
            self.deadline = Some(now + BEGIN);
            self.quiet_since = Some(now);
        }
    }

    /// Whether it says something, or the room still rings.
    fn speaking(&self, now: Instant) -> bool {
        let tail = Duration::from_millis(u64::from(self.profile.tail_ms));
        let rings = |since: Instant| now.duration_since(since) < tail;
        !self.waiting.is_empty() || self.quiet_since.is_some_and(rings)
    }

    /// Gives up what nobody says: a phone that is gone.
    fn give_up_if_overdue(&mut self, now: Instant) {
        if self.waiting.is_empty() || self.deadline.is_none_or(|deadline| now < deadline) {
            return;
        }
        for waiting in self.waiting.drain(..) {
            if let What::Line(_, text, _) = waiting.what {
                self.unsaid.push(text);
            }
        }
        self.quiet_since = Some(now);
    }

    /// Drops what waits and what is being said; all of it, or all but what must be heard.
    fn drop_lines(&mut self, all: bool, now: Instant) {
        let must =
            |what: &What| matches!(what, What::Line(Tone::Warning | Tone::Reminder, ..)) && !all;
        for waiting in std::mem::take(&mut self.waiting) {
            match waiting.what {
                _ if must(&waiting.what) => self.waiting.push_back(waiting),
                What::Line(_, text, _) if !all => self.cut_off.push(text),
                _ => {}
            }
        }
        self.quiet_since = Some(now);
    }
}

/// The phone as a session's voice. What it does not say is shown, where `shown` shows it.
pub struct PhoneVoice {
    shared: Arc<Shared>,
    shown: Box<dyn Voice>,
    profile: Profile,
}

impl PhoneVoice {
    pub(super) fn new(shared: Arc<Shared>, shown: Box<dyn Voice>, profile: Profile) -> Self {
        Self {
            shared,
            shown,
            profile,
        }
    }
}

impl Voice for PhoneVoice {
    fn put(&mut self, line: Saying<'_>) -> anyhow::Result<()> {
        let now = Instant::now();
        let said = pieces(line, self.profile.wording);
        let what = What::Line(line.tone, line.text.to_owned(), said);
        let (full, ahead) = self.shared.change(|state| {
            let full = state.downlink.waiting.len() >= QUEUE;
            if !full {
                state.downlink.push(what, now);
            }
            let ahead = state.downlink.ahead().filter(|_| !full);
            (full, ahead)
        });
        anyhow::ensure!(!full, "too many lines wait to be said");
        if let Some(ahead) = ahead {
            // Where it can't be made, the phone is told when it asks.
            let make = move || drop(ahead.wav());
            let _ = std::thread::Builder::new().spawn(make);
        }
        self.shown.put(line)
    }

    fn speaking(&self) -> bool {
        let now = Instant::now();
        let mut state = self.shared.lock();
        state.downlink.give_up_if_overdue(now);
        state.downlink.speaking(now)
    }

    fn stop(&mut self) {
        self.shared
            .change(|state| state.downlink.drop_lines(true, Instant::now()));
    }

    fn cut_short(&mut self) {
        self.shared
            .change(|state| state.downlink.drop_lines(false, Instant::now()));
    }

    fn cut_off(&mut self) -> Vec<String> {
        std::mem::take(&mut self.shared.lock().downlink.cut_off)
    }

    fn mark(&mut self, mark: Earcon) {
        self.shared.change(|state| {
            if state.downlink.waiting.len() < QUEUE {
                state.downlink.push(What::Mark(mark), Instant::now());
            }
        });
    }

    fn mark_for(&mut self, mark: Earcon, words: &str) {
        self.shown.mark_for(mark, words);
        self.mark(mark);
    }

    fn adjust(&mut self, manner: ProsodyChange) -> Option<ProsodyNow> {
        let told = self.profile.adjust(manner);
        let profile = self.profile.clone();
        self.shared.change(|state| state.downlink.profile = profile);
        Some(told)
    }

    fn notices(&mut self) -> Vec<String> {
        let mut state = self.shared.lock();
        state.downlink.give_up_if_overdue(Instant::now());
        let unsaid = std::mem::take(&mut state.downlink.unsaid);
        drop(state);
        for line in unsaid {
            let not_said = format!("(the phone did not say: {line})");
            self.shared.change(|state| state.view.say(not_said.clone()));
            // Where nothing is shown here, it stands on the page.
            let _ = self.shown.say(Tone::Plain, &not_said);
        }
        self.shown.notices()
    }
}

/// A voice whose lines stand on the phone's page too.
pub struct OnPhone {
    shared: Arc<Shared>,
    voice: Box<dyn Voice>,
}

impl OnPhone {
    pub(super) fn new(shared: Arc<Shared>, voice: Box<dyn Voice>) -> Self {
        Self { shared, voice }
    }

    fn show(&self, change: impl FnOnce(&mut ScreenView)) {
        self.shared.change(|state| change(&mut state.view));
    }
}

impl Voice for OnPhone {
    fn put(&mut self, line: Saying<'_>) -> anyhow::Result<()> {
        let shown = format!("{}{}", line.tone.sign(), line.text);
        self.show(|view| view.say(shown));
        self.voice.put(line)
    }

    fn speaking(&self) -> bool {
        self.voice.speaking()
    }

    fn stop(&mut self) {
        self.voice.stop();
    }

    fn cut_short(&mut self) {
        self.voice.cut_short();
    }

    fn cut_off(&mut self) -> Vec<String> {
        self.voice.cut_off()
    }

    fn mark(&mut self, mark: Earcon) {
        self.show(|view| view.listening = mark != Earcon::NotListening);
        self.voice.mark(mark);
    }

    fn mark_for(&mut self, mark: Earcon, words: &str) {
        self.show(|view| view.say(format!("tone: {words}")));
        self.voice.mark_for(mark, words);
    }

    fn adjust(&mut self, manner: ProsodyChange) -> Option<ProsodyNow> {
        self.voice.adjust(manner)
    }

    fn level(&mut self, decibels: f32) {
        self.voice.level(decibels);
    }

    fn notices(&mut self) -> Vec<String> {
        let mut notices = std::mem::take(&mut self.shared.lock().notices);
        notices.extend(self.voice.notices());
        notices
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(tone: Tone, text: &str) -> What {
        let line = Saying {
            tone,
            text,
            doubtful: &[],
        };
        What::Line(
            tone,
            text.to_owned(),
            pieces(line, crate::terms::Wording::default()),
        )
    }

    fn ids(downlink: &Downlink) -> Vec<u64> {
        downlink.items().iter().map(|item| item.id).collect()
    }

    #[test]
    fn it_speaks_from_when_a_line_is_handed_over_until_the_room_is_quiet() {
        let now = Instant::now();
        let mut downlink = Downlink::new(Profile::default());
        assert!(!downlink.speaking(now));
        downlink.push(line(Tone::ReadBack, "0.35 ohms."), now);
        downlink.push(What::Mark(Earcon::Listening), now);
        assert_eq!(ids(&downlink), [1, 2]);
        assert!(downlink.speaking(now));
        downlink.began(1, now);
        downlink.ended(1, true, now);
        assert_eq!(ids(&downlink), [2]);
        downlink.ended(2, true, now);
        assert!(downlink.speaking(now), "the room rings");
        assert!(!downlink.speaking(now + Duration::from_millis(300)));
        assert!(downlink.unsaid.is_empty());
    }

    #[test]
    fn what_a_phone_that_is_gone_does_not_say_is_not_lost_and_closes_no_ears() {
        let now = Instant::now();
        let mut downlink = Downlink::new(Profile::default());
        downlink.push(line(Tone::Warning, "Something is out."), now);
        downlink.push(line(Tone::Plain, "Line to earth."), now);
        downlink.give_up_if_overdue(now + BEGIN / 2);
        assert!(downlink.speaking(now + BEGIN / 2));
        downlink.give_up_if_overdue(now + BEGIN);
        assert!(!downlink.speaking(now + BEGIN * 2));
        assert_eq!(downlink.unsaid, ["Something is out.", "Line to earth."]);
    }

    #[test]
    fn a_person_who_cuts_in_silences_all_but_warnings() {
        let now = Instant::now();
        let mut downlink = Downlink::new(Profile::default());
        downlink.push(line(Tone::Plain, "Line to earth."), now);
        downlink.push(line(Tone::Warning, "Something is out."), now);
        downlink.push(What::Mark(Earcon::Listening), now);
        downlink.drop_lines(false, now);
        assert_eq!(ids(&downlink), [2]);
        assert_eq!(downlink.cut_off, ["Line to earth."]);
        downlink.drop_lines(true, now);
        assert!(ids(&downlink).is_empty());
        assert_eq!(downlink.cut_off.len(), 1);
    }

    #[test]
    fn what_it_could_not_say_is_told() {
        let now = Instant::now();
        let mut downlink = Downlink::new(Profile::default());
        downlink.push(line(Tone::Plain, "Line to earth."), now);
        downlink.ended(1, false, now);
        assert_eq!(downlink.unsaid, ["Line to earth."]);
        assert!(downlink.sound(1, false).is_none());
    }
}
