//! A phone on the local network as a session's microphone, voice and screen: one page, served over TLS
//! by this machine, which does the work and keeps the log.
//!
//! ```text
//! authority, lan   who this machine is to a phone, and where
//! pairing          which phone is the session's
//! server, routes   the door, and what a page may ask
//! own_voice        among the voices of a room, the learner's own
//! room, watching   many phones, and what their instructor sees
//! uplink           short posts of sound -> a microphone (audio::line::Line)
//! downlink         lines -> what the phone says (voice::Voice)
//! shared           what server and session share; pages: what the browser gets
//! ```

pub mod authority;
mod downlink;
mod guests;
pub mod lan;
mod own_voice;
mod pages;
mod pairing;
mod qr;
mod room;
mod routes;
mod server;
mod shared;
mod uplink;
mod watching;

pub use downlink::{OnPhone, PhoneVoice};
pub use room::{Classroom, LearnerAt};
pub use shared::Wants;
pub use uplink::PhoneLine;

use crate::audio::EndpointConfig;
use crate::dialogue::screen::ScreenView;
use crate::dialogue::{Input, InputSource, Live, Observer};
use crate::sequence::{Agenda, Event};
use crate::speech::{Decision, Recognition};
use crate::voice::{Profile, Voice};
use authority::Authority;
use downlink::Downlink;
use jiff::Timestamp;
use own_voice::{InRoom, Judge, OwnVoice};
use pairing::Pairing;
use server::{Open, Plan};
use shared::{Shared, State, Touch};
use std::net::IpAddr;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel, sync_channel};
use std::time::{Duration, Instant};
use tokio::sync::watch;
use uplink::{Tail, Up, Uplink};
use watching::{Watched, Watching};

/// How a phone is served.
#[derive(Debug, Clone)]
pub struct Settings<'a> {
    /// Only this address of the machine; all private ones where none is given.
    pub at: Option<IpAddr>,
    /// The port; any free one for 0.
    pub port: u16,
    /// What is wanted of the phone.
    pub wants: Wants,
    /// How it speaks.
    pub profile: Profile,
    /// Where the authority is kept.
    pub folder: &'a Path,
}

/// A phone that is served until this, and the others of its room, are dropped.
pub struct Phone {
    shared: Arc<Shared>,
    profile: Profile,
    sound: Option<(Receiver<Up>, Receiver<Touch>)>,
    room: Option<InRoom>,
    ready: Receiver<()>,
    open: Arc<Open>,
}

/// The address to pair with, its secret where no server on the way sees it.
fn link(pairing: &mut Pairing, address: &str) -> anyhow::Result<String> {
    let secret = pairing.secret(Instant::now())?;
    Ok(format!("{address}/#{secret}"))
}

/// Opens the door of these phones.
fn open(
    settings: &Settings<'_>,
    phones: Vec<Arc<Shared>>,
    watching: Option<Arc<Watching>>,
) -> anyhow::Result<Arc<Open>> {
    let addresses = lan::addresses(settings.at)?;
    let authority = Authority::kept_in(settings.folder)?;
    let leaf = authority.leaf(&addresses, Timestamp::now())?;
    let open = Open::at(Plan {
        phones,
        watching,
        addresses: &addresses,
        port: settings.port,
        leaf,
        certificate: authority.certificate().to_vec(),
        fingerprint: authority.fingerprint(),
    })?;
    Ok(Arc::new(open))
}

/// Both ends of what a server and a session share, before the door is open.
struct Ends {
    shared: Arc<Shared>,
    sound: (Receiver<Up>, Receiver<Touch>),
    room: Option<InRoom>,
    ready: Receiver<()>,
}

impl Ends {
    fn of(
        settings: &Settings<'_>,
        learner: &str,
        watched: Watched,
        room: Option<InRoom>,
        any: &Arc<watch::Sender<u64>>,
    ) -> anyhow::Result<Self> {
        let (uplink, sound) = Uplink::new(room.clone());
        let (touches, touched) = channel();
        let (tell_ready, ready) = sync_channel(1);
        let state = State {
            pairing: Pairing::new(Instant::now())?,
            view: ScreenView::default(),
            uplink,
            downlink: Downlink::new(settings.profile.clone()),
            touches,
            ready: tell_ready,
            last_sound: None,
            watched,
            tail: Tail::default(),
            notices: Vec::new(),
            ended: false,
        };
        let any = Arc::clone(any);
        Ok(Self {
            shared: Arc::new(Shared::new(state, settings.wants, learner.to_owned(), any)),
            sound: (sound, touched),
            room,
            ready,
        })
    }

    fn phone(self, profile: &Profile, open: &Arc<Open>) -> Phone {
        Phone {
            shared: self.shared,
            profile: profile.clone(),
            sound: Some(self.sound),
            room: self.room,
            ready: self.ready,
            open: Arc::clone(open),
        }
    }
}

impl Phone {
    /// Opens the door to one phone.
    ///
    /// # Errors
    /// When there is no private network, the port is taken, or the authority can't be kept.
    pub fn open(settings: &Settings<'_>) -> anyhow::Result<Self> {
        let any = Arc::new(watch::Sender::new(0));
        let ends = Ends::of(settings, "", Watched::default(), None, &any)?;
        let open = open(settings, vec![Arc::clone(&ends.shared)], None)?;
        Ok(ends.phone(&settings.profile, &open))
    }

    /// Whose it is; empty where there is but one.
    pub fn learner(&self) -> &str {
        &self.shared.learner
    }

    /// The address to pair with: good for once, and for ten minutes.
    ///
    /// # Errors
    /// When the machine has no random numbers.
    pub fn link(&self) -> anyhow::Result<String> {
        link(&mut self.shared.lock().pairing, &self.open.address)
    }

    /// The same as a code that a phone reads.
    ///
    /// # Errors
    /// As [`Phone::link`].
    pub fn code(&self) -> anyhow::Result<String> {
        qr::text(&self.link()?)
    }

    /// By which the machine's authority is known.
    pub fn fingerprint(&self) -> &str {
        &self.open.fingerprint
    }

    /// Whether a phone is paired, and was heard of a moment ago.
    pub fn is_paired(&self) -> bool {
        self.shared.lock().pairing.is_there(Instant::now())
    }

    /// Whether the person has begun at the phone; waits for it at most `limit`. Once.
    pub fn is_ready(&self, limit: Duration) -> bool {
        self.ready.recv_timeout(limit).is_ok()
    }

    /// What the person here is to know since last asked.
    pub fn notices(&self) -> Vec<String> {
        std::mem::take(&mut self.shared.lock().notices)
    }

    /// The phone's microphone, and the finger on its page. Once.
    pub fn source(&mut self, cutting: EndpointConfig) -> Option<PhoneSource> {
        let (sound, touches) = self.sound.take()?;
        let (own, judge) = self.room.take().map(OwnVoice::at).unzip();
        let line = PhoneLine::new(Arc::clone(&self.shared), sound, own);
        Some(PhoneSource {
            live: Live::on(Box::new(line), cutting),
            touches,
            judge,
        })
    }

    /// The phone as the voice; `shown` shows the lines here as well.
    pub fn voice(&self, shown: Box<dyn Voice>) -> PhoneVoice {
        PhoneVoice::new(Arc::clone(&self.shared), shown, self.profile.clone())
    }

    /// A voice whose lines stand on the page too.
    pub fn on_page(&self, voice: Box<dyn Voice>) -> OnPhone {
        OnPhone::new(Arc::clone(&self.shared), voice)
    }

    /// Shows on the page what goes on, besides where it is shown already.
    pub fn beside(&self, other: Box<dyn Observer>) -> PageWatch {
        PageWatch {
            shared: Arc::clone(&self.shared),
            other,
        }
    }

    /// Tells the page that the session is over, and gives it a moment to hear of it.
    pub fn close(self) {
        self.shared.change(|state| state.ended = true);
        std::thread::sleep(Duration::from_millis(300));
    }
}

/// A person at a phone.
pub struct PhoneSource {
    live: Live,
    touches: Receiver<Touch>,
    /// Whose an utterance is, in a room.
    judge: Option<Judge>,
}

impl InputSource for PhoneSource {
    fn next(&mut self, voice: &mut dyn Voice) -> anyhow::Result<Option<Input>> {
        if let Ok(Touch { about, held }) = self.touches.try_recv() {
            return Ok(Some(Input::Touched { about, held }));
        }
        let Some(judge) = &mut self.judge else {
            return self.live.next(voice);
        };
        loop {
            if let Some(kept) = judge.kept_back() {
                return Ok(Some(kept));
            }
            let Some(input) = self.live.next(voice)? else {
                return Ok(None);
            };
            return Ok(Some(match &input {
                Input::Partial(utterance) if !judge.may_be_own(utterance) => continue,
                Input::Sound(utterance) | Input::OverlapsPrompt(utterance) => {
                    judge.neighbours(utterance).unwrap_or(input)
                }
                _ => input,
            }));
        }
    }

    fn set_end_pause(&mut self, pause: Duration) {
        self.live.set_end_pause(pause);
    }

    fn account(&self) -> Option<String> {
        self.live.account()
    }
}

/// Sees what goes on for the page, and lets another see it too.
pub struct PageWatch {
    shared: Arc<Shared>,
    other: Box<dyn Observer>,
}

impl Observer for PageWatch {
    fn heard(&mut self, words: &str, heard: Option<&Recognition>) {
        let outcome = heard.map(|heard| heard.outcome);
        self.shared.change(|state| {
            state.view.say(match outcome {
                Some(Decision::Reject) => "(ignored: not for us)".to_owned(),
                Some(Decision::Confirm) => format!("you: {words} (?)"),
                Some(Decision::Accept) | None => format!("you: {words}"),
            });
        });
        self.other.heard(words, heard);
    }

    fn no_voice(&mut self, name: &str) {
        self.other.no_voice(name);
    }

    fn kept(&mut self, events: &[Event]) {
        self.shared.change(|state| {
            for event in events {
                state.watched.kept(event);
            }
        });
        self.other.kept(events);
    }

    fn went_on(&mut self, agenda: &Agenda) {
        self.shared.change(|state| {
            state.view.follow(agenda);
            state.watched.follow(agenda);
        });
        self.other.went_on(agenda);
    }

    fn unsaid(&mut self, line: &str) {
        let shown = format!("(not spoken) {line}");
        self.shared.change(|state| state.view.say(shown));
        self.other.unsaid(line);
    }
}
