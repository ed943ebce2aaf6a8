//! Sound of a phone, which comes in short posts: put in order, resampled, and cut into chunks.
//!
//! A post has a number. The page sends one again until it is taken, and gives it up only when too many
//! wait; it says with each post which is the first that it has not given up. So a gap is known, and
//! never guessed from the time.

use super::own_voice::{InRoom, OwnVoice};
use super::shared::Shared;
use crate::audio::line::{CHUNK, LineEvent, Loudness, Notice, SoundLine};
use crate::audio::{Resampler, SAMPLE_RATE};
use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::time::{Duration, Instant};

/// Rates that a page may have: from that of telephones to the highest of sound cards.
pub(super) const RATES: std::ops::RangeInclusive<u32> = 8_000..=192_000;
/// Posts that may wait for one before them. The page keeps fewer on their way at once.
const HELD: usize = 64;
/// Chunks that may wait for the program: ten seconds.
const WAITING: usize = 500;
/// Exact zeros for this long come from no microphone that is switched on.
const ONLY_ZEROS: u64 = 5 * SAMPLE_RATE as u64;
/// Without a post for so long it is said that none comes.
const SILENT: Duration = Duration::from_secs(2);

/// One post.
#[derive(Debug, Clone, Default)]
pub(super) struct Post {
    /// Which run of the page's microphone it is of.
    pub run: u64,
    /// Its number in that run, from 0.
    pub n: u64,
    /// The first that the page has not given up.
    pub from: u64,
    /// Samples a second.
    pub rate: u32,
    /// Whether the phone spoke meanwhile.
    pub spoke: bool,
    /// Mono, -1 to 1.
    pub samples: Vec<f32>,
}

/// What goes to the session.
#[derive(Debug, PartialEq)]
pub(super) enum Up {
    /// A chunk, whether the phone spoke in it, and the number of its first frame in a room.
    Sound(Vec<f32>, bool, u64),
    Notice(Notice),
}

/// The last of what came, for whoever watches and wants to hear it. Nothing is held while nobody does.
#[derive(Default)]
pub(super) struct Tail {
    chunks: VecDeque<Vec<i16>>,
    /// The number of the first of them.
    first: u64,
    wanted: Option<Instant>,
    /// How loud the last chunk was.
    pub level: Option<f32>,
}

/// Chunks that a listener may be behind: three seconds.
const BEHIND: usize = 150;
/// Who has not asked for so long listens no more.
const LISTENS: Duration = Duration::from_secs(4);

impl Tail {
    /// Whether somebody listens.
    pub(super) fn is_wanted(&self, now: Instant) -> bool {
        self.wanted
            .is_some_and(|wanted| now.duration_since(wanted) < LISTENS)
    }

    fn put(&mut self, chunk: &[f32]) {
        self.level = Some(Loudness::of(chunk).mean);
        if !self.is_wanted(Instant::now()) {
            self.first += self.chunks.len() as u64 + 1;
            self.chunks.clear();
            return;
        }
        let whole = |sample: &f32| (sample.clamp(-1.0, 1.0) * 32_767.0).round() as i16;
        self.chunks.push_back(chunk.iter().map(whole).collect());
        if self.chunks.len() > BEHIND {
            self.chunks.pop_front();
            self.first += 1;
        }
    }

    /// What came from chunk `after` on, 16 bits a sample, and the number of the next. Somebody listens from
    /// here on.
    pub(super) fn listen(&mut self, after: u64, now: Instant) -> (u64, Vec<u8>) {
        self.wanted = Some(now);
        let next = self.first + self.chunks.len() as u64;
        let skip = usize::try_from(after.saturating_sub(self.first)).unwrap_or(usize::MAX);
        let new = self.chunks.iter().skip(skip).flatten();
        (next, new.flat_map(|sample| sample.to_le_bytes()).collect())
    }
}

/// The server's end.
pub(super) struct Uplink {
    run: Option<(u64, u32)>,
    next: u64,
    held: BTreeMap<u64, Post>,
    resampler: Option<Resampler>,
    partial: Vec<f32>,
    /// Whether the phone spoke in this post and in the one before: the filter holds sound back.
    spoke: [bool; 2],
    zeros: u64,
    lost: u64,
    gaps: u64,
    /// Where other phones hear the same room.
    room: Option<InRoom>,
    to: SyncSender<Up>,
}

impl Uplink {
    /// Both ends.
    pub(super) fn new(room: Option<InRoom>) -> (Self, Receiver<Up>) {
        let (to, from) = sync_channel(WAITING);
        let uplink = Self {
            run: None,
            next: 0,
            held: BTreeMap::new(),
            resampler: None,
            partial: Vec::with_capacity(CHUNK),
            spoke: [false; 2],
            zeros: 0,
            lost: 0,
            gaps: 0,
            room,
            to,
        };
        (uplink, from)
    }

    /// Takes a post, once.
    ///
    /// # Errors
    /// When no page of ours sends such a one.
    pub(super) fn take(&mut self, post: Post, tail: &mut Tail) -> Result<(), String> {
        if !RATES.contains(&post.rate) || post.from > post.n {
            return Err("no page of this program sends such sound; open the page anew".to_owned());
        }
        let stream = (post.run, post.rate);
        if self.run != Some(stream) {
            let before = self.run.replace(stream);
            self.resampler = Some(Resampler::new(post.rate)?);
            self.held.clear();
            self.partial.clear();
            self.next = 0;
            if before.is_some() {
                self.gap();
            }
        }
        if post.n < self.next {
            return Ok(());
        }
        let mut from = post.from;
        self.held.insert(post.n, post);
        if self.held.len() > HELD {
            from = self.held.keys().next().copied().unwrap_or(from).max(from);
        }
        loop {
            if let Some(post) = self.held.remove(&self.next) {
                self.next += 1;
                self.pass_on(&post, tail)?;
            } else if self.next < from {
                let held = self.held.keys().next().copied();
                self.next = held.map_or(from, |held| held.min(from));
                self.resampler = Some(Resampler::new(stream.1)?);
                self.partial.clear();
                self.gap();
            } else {
                return Ok(());
            }
        }
    }

    /// Tells the session something about the phone.
    pub(super) fn tell(&mut self, notice: Notice) {
        self.send(Up::Notice(notice));
    }

    /// How often sound was given up on its way.
    pub(super) fn gaps(&self) -> u64 {
        self.gaps
    }

    fn gap(&mut self) {
        self.gaps += 1;
        if let Some(room) = &self.room {
            room.lost();
        }
        self.tell(Notice::LostOnTheWay);
    }

    fn pass_on(&mut self, post: &Post, tail: &mut Tail) -> Result<(), String> {
        self.spoke = [post.spoke, self.spoke[0]];
        let Some(resampler) = &mut self.resampler else {
            return Ok(());
        };
        for sample in resampler.push(&post.samples)? {
            self.partial.push(sample);
            if self.partial.len() == CHUNK {
                let chunk = std::mem::replace(&mut self.partial, Vec::with_capacity(CHUNK));
                self.watch_for_zeros(&chunk);
                tail.put(&chunk);
                let frame = self.room.as_ref().map_or(0, |room| room.push(&chunk));
                self.send(Up::Sound(chunk, self.spoke != [false; 2], frame));
            }
        }
        Ok(())
    }

    fn watch_for_zeros(&mut self, chunk: &[f32]) {
        let device = || "the phone".to_owned();
        if chunk.iter().any(|sample| *sample != 0.0) {
            if self.zeros >= ONLY_ZEROS {
                self.tell(Notice::SoundAgain { device: device() });
            }
            self.zeros = 0;
            return;
        }
        let before = self.zeros;
        self.zeros += chunk.len() as u64;
        if before < ONLY_ZEROS && self.zeros >= ONLY_ZEROS {
            self.tell(Notice::OnlySilence { device: device() });
        }
    }

    /// What finds no room is lost, and that is told as soon as there is room.
    fn send(&mut self, up: Up) {
        if self.lost > 0 {
            let lost = Duration::from_secs_f64(self.lost as f64 / f64::from(SAMPLE_RATE));
            match self.to.try_send(Up::Notice(Notice::Overrun { lost })) {
                Ok(()) => self.lost = 0,
                Err(_) => {
                    self.lost += CHUNK as u64;
                    return;
                }
            }
        }
        if let Err(TrySendError::Full(_)) = self.to.try_send(up) {
            self.lost += CHUNK as u64;
        }
    }
}

/// The phone as a session's microphone.
pub struct PhoneLine {
    shared: Arc<Shared>,
    from: Receiver<Up>,
    /// What keeps neighbours out.
    own: Option<OwnVoice>,
    level: Loudness,
    spoke: bool,
    /// Since when nothing comes, where that was told.
    unreached: Option<Instant>,
    put_off: Option<Up>,
}

impl PhoneLine {
    pub(super) fn new(shared: Arc<Shared>, from: Receiver<Up>, own: Option<OwnVoice>) -> Self {
        Self {
            shared,
            from,
            own,
            level: Loudness::of(&[]),
            spoke: false,
            unreached: None,
            put_off: None,
        }
    }

    fn give(&mut self, up: Up) -> Option<LineEvent> {
        match up {
            Up::Notice(notice) => Some(LineEvent::Notice(notice)),
            Up::Sound(chunk, spoke, frame) => {
                self.level = Loudness::of(&chunk);
                match &mut self.own {
                    None => {
                        self.spoke = spoke;
                        Some(LineEvent::Sound(chunk))
                    }
                    Some(own) => {
                        own.push(frame, &chunk, spoke);
                        self.own_voice()
                    }
                }
            }
        }
    }

    /// A chunk that is known to be the learner's own, or as quiet as the room.
    fn own_voice(&mut self) -> Option<LineEvent> {
        let (chunk, spoke) = self.own.as_mut()?.next()?;
        self.spoke = spoke;
        Some(LineEvent::Sound(chunk))
    }
}

impl SoundLine for PhoneLine {
    fn next(&mut self, limit: Duration) -> Option<LineEvent> {
        if let Some(up) = self.put_off.take() {
            return self.give(up);
        }
        if let Some(own) = self.own_voice() {
            return Some(own);
        }
        match self.from.recv_timeout(limit) {
            Ok(up @ Up::Sound(..)) => match self.unreached.take() {
                Some(since) => {
                    self.put_off = Some(up);
                    let away = since.elapsed();
                    Some(LineEvent::Notice(Notice::ReachedAgain { away }))
                }
                None => self.give(up),
            },
            Ok(up) => self.give(up),
            Err(RecvTimeoutError::Timeout) => {
                let last = self.shared.last_sound();
                let silent = last.is_some_and(|last| last.elapsed() >= SILENT);
                if !silent || self.unreached.is_some() {
                    return None;
                }
                self.unreached = last;
                self.level = Loudness::of(&[]);
                self.spoke = false;
                Some(LineEvent::Notice(Notice::Unreached))
            }
            Err(RecvTimeoutError::Disconnected) => {
                std::thread::sleep(limit);
                None
            }
        }
    }

    fn level(&self) -> Loudness {
        self.level
    }

    fn program_spoke(&self) -> Option<bool> {
        Some(self.spoke)
    }

    fn missed(&self) -> String {
        format!("{} gaps on its way", self.shared.gaps())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn post(n: u64, from: u64, level: f32) -> Post {
        Post {
            run: 7,
            n,
            from,
            rate: 16_000,
            spoke: false,
            samples: vec![level; 1600],
        }
    }

    /// What came out: levels of the tenths of a second, and "gap".
    fn came(from: &Receiver<Up>) -> Vec<String> {
        let mut came: Vec<String> = Vec::new();
        for up in from.try_iter() {
            let text = match up {
                Up::Sound(chunk, ..) => format!("{:.1}", chunk[0]),
                Up::Notice(notice) => format!("{notice:?}"),
            };
            if came.last() != Some(&text) {
                came.push(text);
            }
        }
        came
    }

    #[test]
    fn posts_that_overtake_each_other_or_come_twice_are_put_in_order() {
        let (mut uplink, from) = Uplink::new(None);
        for (n, level) in [(0, 0.1), (2, 0.3), (1, 0.2), (1, 0.9), (2, 0.9), (3, 0.4)] {
            uplink
                .take(post(n, 0, level), &mut Tail::default())
                .unwrap();
        }
        assert_eq!(came(&from), ["0.1", "0.2", "0.3", "0.4"]);
        assert_eq!(uplink.gaps(), 0);
    }

    #[test]
    fn what_was_given_up_is_a_gap_where_it_was_and_what_is_held_is_not_lost() {
        let (mut uplink, from) = Uplink::new(None);
        uplink.take(post(0, 0, 0.1), &mut Tail::default()).unwrap();
        uplink.take(post(2, 1, 0.3), &mut Tail::default()).unwrap();
        assert_eq!(came(&from), ["0.1"], "1 may still come");
        uplink.take(post(5, 4, 0.6), &mut Tail::default()).unwrap();
        assert_eq!(came(&from), ["LostOnTheWay", "0.3", "LostOnTheWay"]);
        uplink.take(post(4, 4, 0.5), &mut Tail::default()).unwrap();
        assert_eq!(came(&from), ["0.5", "0.6"]);
    }

    #[test]
    fn a_page_opened_anew_begins_anew() {
        let (mut uplink, from) = Uplink::new(None);
        uplink.take(post(0, 0, 0.1), &mut Tail::default()).unwrap();
        let again = Post {
            run: 8,
            ..post(0, 0, 0.2)
        };
        uplink.take(again, &mut Tail::default()).unwrap();
        assert_eq!(came(&from), ["0.1", "LostOnTheWay", "0.2"]);
    }

    #[test]
    fn nobody_can_make_it_hold_more_and_more() {
        let (mut uplink, from) = Uplink::new(None);
        uplink.take(post(0, 0, 0.1), &mut Tail::default()).unwrap();
        for n in 2..500 {
            uplink.take(post(n, 0, 0.2), &mut Tail::default()).unwrap();
            assert!(uplink.held.len() <= HELD);
        }
        assert!(came(&from).contains(&"LostOnTheWay".to_owned()));
        for rate in [0, 7_999, 200_000] {
            let odd = Post {
                rate,
                ..post(600, 0, 0.1)
            };
            assert!(uplink.take(odd, &mut Tail::default()).is_err());
        }
        assert!(
            uplink
                .take(post(600, 601, 0.1), &mut Tail::default())
                .is_err()
        );
    }

    #[test]
    fn zeros_for_five_seconds_are_told_once_and_their_end_too() {
        let (mut uplink, from) = Uplink::new(None);
        for n in 0..49 {
            uplink.take(post(n, 0, 0.0), &mut Tail::default()).unwrap();
        }
        assert_eq!(came(&from), ["0.0"]);
        for n in 49..80 {
            uplink.take(post(n, 0, 0.0), &mut Tail::default()).unwrap();
        }
        uplink.take(post(80, 0, 0.5), &mut Tail::default()).unwrap();
        let told = came(&from);
        assert_eq!(told.len(), 5, "{told:?}");
        assert!(told[1].starts_with("OnlySilence") && told[3].starts_with("SoundAgain"));
    }

    #[test]
    fn when_the_program_is_too_slow_it_is_told_how_much_was_missed() {
        let (mut uplink, from) = Uplink::new(None);
        for n in 0..120 {
            uplink.take(post(n, 0, 0.1), &mut Tail::default()).unwrap();
        }
        assert_eq!(from.try_iter().count(), WAITING);
        uplink
            .take(post(120, 0, 0.1), &mut Tail::default())
            .unwrap();
        let Some(Up::Notice(Notice::Overrun { lost })) = from.try_iter().next() else {
            panic!("it was not told");
        };
        // 120 posts of 0.1 s and room for ten seconds.
        assert_eq!(lost.as_millis(), 2000);
    }
}
