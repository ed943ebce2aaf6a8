//! What a page may ask. Before a phone is paired there is the page that pairs, what belongs to it, and
//! nothing else.

use super::downlink::Sound;
use super::pages;
use super::pairing::Outcome;
use super::server::Door;
use super::shared::Touch;
use super::uplink::Post;
use crate::audio::line::Notice;
use crate::sequence::EventNo;
use crate::voice::{Profile, sounded};
use axum::Router;
use axum::body::Body;
use axum::extract::{Path, Query, Request, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::json;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// A tenth of a second at the highest rate, and a little more.
const MOST_SOUND: usize = 64 * 1024;
/// The rest of what a page says.
const MOST_WORDS: usize = 4 * 1024;
/// A body that takes longer is no page's of ours.
const SLOWEST: Duration = Duration::from_secs(5);
/// How long a page is kept waiting for news.
const NEWS: Duration = Duration::from_secs(5);

/// The cookie by which the paired phone is known: of this host only, encrypted, out of reach of scripts and of
/// other sites.
const COOKIE: &str = "__Host-bothhands";

type Answer = Result<Response, Refused>;

/// What was asked can't be had.
struct Refused(StatusCode, String);

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        (self.0, format!("{}\n", self.1)).into_response()
    }
}

impl From<anyhow::Error> for Refused {
    fn from(why: anyhow::Error) -> Self {
        Self(StatusCode::INTERNAL_SERVER_ERROR, format!("{why:#}"))
    }
}

pub(super) fn all(door: Arc<Door>) -> Router {
    let guarding = Arc::clone(&door);
    let paired = Router::new()
        .route("/phone", get(pages::phone))
        .route("/phone.js", get(|| async { pages::script(pages::PHONE) }))
        .route("/sound.js", get(|| async { pages::script(pages::SOUND) }))
        .route("/voice.js", get(|| async { pages::script(pages::VOICE) }))
        .route("/touch.js", get(|| async { pages::script(pages::TOUCH) }))
        .route(
            "/capture.js",
            get(|| async { pages::script(pages::CAPTURE) }),
        )
        .route("/news", get(news))
        .route("/voice/{id}", get(voice))
        .route("/another.svg", get(another))
        .route("/sound", post(sound))
        .route("/said", post(said))
        .route("/touch", post(touch))
        .route("/state", post(state))
        .route("/let-in", post(let_in))
        .route_layer(middleware::from_fn(move |request: Request, next: Next| {
            let door = Arc::clone(&guarding);
            async move { only_paired(&door, request, next).await }
        }));
    Router::new()
        .route("/", get(pages::pair))
        .route("/pair.js", get(|| async { pages::script(pages::PAIR) }))
        .route("/phone.css", get(pages::style))
        .route("/authority.crt", get(authority))
        .route("/pair", post(pair))
        .route("/pair/again", post(again))
        .merge(paired)
        .with_state(door)
}

async fn only_paired(door: &Door, request: Request, next: Next) -> Response {
    let token = token_of(request.headers());
    let knows = |token: &str| door.shared.lock().pairing.knows(token, Instant::now());
    if token.is_some_and(|token| knows(&token)) {
        return next.run(request).await;
    }
    if request.uri().path() == "/phone" {
        return Redirect::to("/").into_response();
    }
    let why =
        "This phone is not, or no longer, the session's. Open the address that the bench shows.";
    Refused(StatusCode::UNAUTHORIZED, why.to_owned()).into_response()
}

/// HTTP/2 may bring cookies one by one.
fn token_of(headers: &HeaderMap) -> Option<String> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|cookies| cookies.to_str().ok())
        .flat_map(|cookies| cookies.split(';'))
        .filter_map(|cookie| cookie.trim().split_once('='))
        .find(|(name, _)| *name == COOKIE)
        .map(|(_, token)| token.to_owned())
}

async fn body(from: Body, most: usize) -> Result<Vec<u8>, Refused> {
    let whole = tokio::time::timeout(SLOWEST, axum::body::to_bytes(from, most)).await;
    match whole {
        Ok(Ok(bytes)) => Ok(bytes.to_vec()),
        Ok(Err(_)) => Err(Refused(
            StatusCode::PAYLOAD_TOO_LARGE,
            "That is more than a page of this program sends.".to_owned(),
        )),
        Err(_) => Err(Refused(
            StatusCode::REQUEST_TIMEOUT,
            "It came too slowly. Send it again.".to_owned(),
        )),
    }
}

async fn told<T: DeserializeOwned>(from: Body) -> Result<T, Refused> {
    serde_json::from_slice(&body(from, MOST_WORDS).await?).map_err(|why| {
        Refused(
            StatusCode::BAD_REQUEST,
            format!("No page of this program says that ({why}). Open the page anew."),
        )
    })
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Secret {
    secret: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Ticket {
    ticket: String,
}

async fn pair(State(door): State<Arc<Door>>, from: Body) -> Answer {
    let Secret { secret } = told(from).await?;
    let came = door.shared.lock().pairing.take(&secret, Instant::now())?;
    if let Outcome::Asks { code, .. } = &came {
        let notice = format!(
            "Another phone, whose page shows {code}, asks to take this one's place. Let it in on this phone's page, or leave it."
        );
        door.shared.change(|state| state.notices.push(notice));
    }
    Ok(outcome(&door, came))
}

async fn again(State(door): State<Arc<Door>>, from: Body) -> Answer {
    let Ticket { ticket } = told(from).await?;
    let came = door.shared.lock().pairing.again(&ticket, Instant::now())?;
    Ok(outcome(&door, came))
}

fn outcome(door: &Door, came: Outcome) -> Response {
    match came {
        Outcome::Paired { token, code } => {
            let notice = format!("A phone is paired. Both show {code}.");
            door.shared.change(|state| state.notices.push(notice));
            let cookie = format!("{COOKIE}={token}; Path=/; Secure; HttpOnly; SameSite=Strict");
            let answer = axum::Json(json!({ "code": code }));
            ([(header::SET_COOKIE, cookie)], answer).into_response()
        }
        Outcome::Asks { ticket, code } => {
            let answer = axum::Json(json!({ "code": code, "ticket": ticket }));
            (StatusCode::ACCEPTED, answer).into_response()
        }
        Outcome::Refused => {
            let why = "This address was used already, or is too old. Read the code that the bench shows now.";
            Refused(StatusCode::FORBIDDEN, why.to_owned()).into_response()
        }
    }
}

async fn authority(State(door): State<Arc<Door>>) -> Response {
    let kind = [(header::CONTENT_TYPE, "application/x-x509-ca-cert")];
    (kind, door.certificate.clone()).into_response()
}

#[derive(Deserialize)]
struct After {
    after: u64,
}

/// What has changed since; waits for it for a while.
async fn news(State(door): State<Arc<Door>>, Query(After { after }): Query<After>) -> Response {
    let mut changes = door.shared.changes();
    let newer = changes.wait_for(|change| *change > after);
    // What there is, where nothing came in time.
    let _ = tokio::time::timeout(NEWS, newer).await;
    axum::Json(door.shared.news()).into_response()
}

#[derive(Deserialize)]
struct Wanted {
    #[serde(default)]
    only_tone: bool,
}

async fn voice(
    State(door): State<Arc<Door>>,
    Path(id): Path<u64>,
    Query(Wanted { only_tone }): Query<Wanted>,
) -> Answer {
    let found = door.shared.lock().downlink.sound(id, only_tone);
    let gone = || {
        Refused(
            StatusCode::NOT_FOUND,
            "That is not said any more.".to_owned(),
        )
    };
    let (sound, profile) = found.ok_or_else(gone)?;
    let made = tokio::task::spawn_blocking(move || made(&sound, &profile)).await;
    let wav = made.map_err(anyhow::Error::from)??;
    Ok(([(header::CONTENT_TYPE, "audio/wav")], wav).into_response())
}

fn made(sound: &Sound, profile: &Profile) -> anyhow::Result<Vec<u8>> {
    match sound {
        Sound::Mark(mark) => sounded::mark(*mark, profile),
        Sound::Warning => sounded::words(&[], true, profile),
        Sound::Words { pieces, warning } => sounded::words(pieces, *warning, profile),
    }
}

/// The code with which another phone is paired.
async fn another(State(door): State<Arc<Door>>) -> Answer {
    let link = super::link(&door.shared, &door.address)?;
    let kind = [(header::CONTENT_TYPE, "image/svg+xml")];
    Ok((kind, super::qr::svg(&link)?).into_response())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Head {
    run: u64,
    n: u64,
    from: u64,
    rate: u32,
    spoke: u8,
}

async fn sound(State(door): State<Arc<Door>>, Query(head): Query<Head>, from: Body) -> Answer {
    let bytes = body(from, MOST_SOUND).await?;
    let odd = |why: String| Refused(StatusCode::BAD_REQUEST, why);
    if !door.shared.wants.hears || bytes.len() % 2 != 0 {
        return Err(odd("No sound of that kind is wanted.".to_owned()));
    }
    let samples = bytes
        .as_chunks::<2>()
        .0
        .iter()
        .map(|pair| f32::from(i16::from_le_bytes(*pair)) / 32_768.0)
        .collect();
    let post = Post {
        run: head.run,
        n: head.n,
        from: head.from,
        rate: head.rate,
        spoke: head.spoke != 0,
        samples,
    };
    let mut state = door.shared.lock();
    state.last_sound = Some(Instant::now());
    state.uplink.take(post).map_err(odd)?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Reported {
    id: u64,
    what: Became,
}

#[derive(Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Became {
    Began,
    Ended,
    Failed,
}

async fn said(State(door): State<Arc<Door>>, from: Body) -> Answer {
    let Reported { id, what } = told(from).await?;
    let now = Instant::now();
    door.shared.change(|state| match what {
        Became::Began => state.downlink.began(id, now),
        Became::Ended => state.downlink.ended(id, true, now),
        Became::Failed => state.downlink.ended(id, false, now),
    });
    Ok(StatusCode::NO_CONTENT.into_response())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Held {
    about: u64,
    held_ms: u64,
}

async fn touch(State(door): State<Arc<Door>>, from: Body) -> Answer {
    let Held { about, held_ms } = told(from).await?;
    if !door.shared.wants.hears {
        let why = "Nothing is answered by touch here.".to_owned();
        return Err(Refused(StatusCode::BAD_REQUEST, why));
    }
    door.shared.touch(Touch {
        about: EventNo(about),
        held: Duration::from_millis(held_ms),
    })?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// What the page says of itself, each when it comes to be so.
#[derive(Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
enum Told {
    /// The person has begun.
    Ready,
    /// The microphone was muted by the phone, or taken from the page.
    Muted,
    /// The page was hidden for so many milliseconds.
    Hidden(u64),
}

async fn state(State(door): State<Arc<Door>>, from: Body) -> Answer {
    let told: Told = told(from).await?;
    let mut state = door.shared.lock();
    match told {
        Told::Ready => {
            // Who waits for it waits once.
            let _ = state.ready.try_send(());
        }
        Told::Muted => state.uplink.tell(Notice::Muted),
        Told::Hidden(ms) => state.uplink.tell(Notice::Hidden {
            away: Duration::from_millis(ms),
        }),
    }
    Ok(StatusCode::NO_CONTENT.into_response())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LetIn {
    code: String,
}

async fn let_in(State(door): State<Arc<Door>>, from: Body) -> Answer {
    let LetIn { code } = told(from).await?;
    let let_in = |state: &mut super::shared::State| state.pairing.let_in(&code, Instant::now());
    if door.shared.change(let_in) {
        return Ok(StatusCode::NO_CONTENT.into_response());
    }
    let why = "No phone asks with that code any more.".to_owned();
    Err(Refused(StatusCode::CONFLICT, why))
}
