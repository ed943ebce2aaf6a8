//! What a page may ask. Before a phone is paired there is the page that pairs, what belongs to it, and
//! nothing else.

use super::guests::{self, Guest};
use super::pages;
use super::pairing::{Outcome, Pairing};
use super::server::Door;
use super::shared::{Shared, Touch};
use super::uplink::Post;
use super::watching::Watching;
use crate::audio::line::Notice;
use crate::sequence::EventNo;
use axum::Router;
use axum::body::Body;
use axum::extract::{Extension, Path, Query, Request, State};
use axum::http::{HeaderMap, HeaderName, StatusCode, header};
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
/// How long a page is kept waiting for news, and the instructor's, whose levels change all the time.
const NEWS: Duration = Duration::from_secs(5);
const SEEN: Duration = Duration::from_secs(1);
/// The number of the next chunk of sound.
const NEXT: HeaderName = HeaderName::from_static("bothhands-next");

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
    let guarding_watch = Arc::clone(&door);
    let watching = Router::new()
        .route("/watch", get(pages::watch))
        .route("/watch.js", get(|| async { pages::script(pages::WATCH) }))
        .route("/watch/news", get(seen))
        .route("/watch/{n}/sound", get(overhear))
        .route("/watch/{n}/code.svg", get(learners_code))
        .route("/watch/let-in", post(let_watch))
        .route_layer(middleware::from_fn(move |request: Request, next: Next| {
            let door = Arc::clone(&guarding_watch);
            async move { only_instructor(&door, request, next).await }
        }));
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
        .merge(watching)
        .with_state(door)
}

/// Lets a session's phone in, to its own session.
async fn only_paired(door: &Door, mut request: Request, next: Next) -> Response {
    let token = token_of(request.headers()).unwrap_or_default();
    let now = Instant::now();
    let own = |phone: &Arc<Shared>| phone.lock().pairing.knows(&token, now);
    let own = door.phones.iter().position(own);
    let known = own.map(guests::Page::Phone);
    is_known(&request, known);
    if let Some(own) = own.and_then(|n| door.phones.get(n)) {
        let own = Arc::clone(own);
        request.extensions_mut().insert(own);
        return next.run(request).await;
    }
    not_paired(&request, "/phone")
}

/// Lets the instructor in, where there is one.
async fn only_instructor(door: &Door, mut request: Request, next: Next) -> Response {
    let token = token_of(request.headers()).unwrap_or_default();
    let knows = |of: &&Arc<Watching>| of.lock().pairing.knows(&token, Instant::now());
    let watching = door.watching.as_ref().filter(knows);
    is_known(&request, watching.map(|_| guests::Page::Watch));
    if let Some(watching) = watching {
        let watching = Arc::clone(watching);
        request.extensions_mut().insert(watching);
        return next.run(request).await;
    }
    not_paired(&request, "/watch")
}

/// Whose page asks on this connection; nobody's, where it is not paired, or no longer.
fn is_known(request: &Request, page: Option<guests::Page>) {
    if let Some(guest) = request.extensions().get::<Arc<Guest>>() {
        guest.is(page);
    }
}

fn not_paired(request: &Request, page: &str) -> Response {
    if request.uri().path() == page {
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

/// Whose page a secret, a ticket or a token is for.
enum Page<'a> {
    Phone(&'a Shared),
    Watch(&'a Watching),
}

impl Page<'_> {
    /// Every page that can be paired with here.
    fn all(door: &Door) -> impl Iterator<Item = Page<'_>> {
        let phones = door.phones.iter().map(|phone| Page::Phone(phone));
        phones.chain(door.watching.as_deref().map(Page::Watch))
    }

    fn pairing<T>(&self, ask: impl FnOnce(&mut Pairing) -> T) -> T {
        match self {
            Self::Phone(phone) => ask(&mut phone.lock().pairing),
            Self::Watch(watching) => ask(&mut watching.lock().pairing),
        }
    }

    /// What it shows has changed.
    fn changed(&self) {
        match self {
            Self::Phone(phone) => phone.change(|_| ()),
            Self::Watch(watching) => watching.change(|_| ()),
        }
    }

    /// Tells whoever is at the bench.
    fn tell(&self, notice: String) {
        match self {
            Self::Phone(phone) => {
                let of = match phone.learner.as_str() {
                    "" => notice,
                    learner => format!("{learner}: {notice}"),
                };
                phone.change(|state| state.notices.push(of));
            }
            Self::Watch(watching) => {
                let of = format!("Instructor: {notice}");
                watching.change(|state| state.notices.push(of));
            }
        }
    }

    /// Where a browser goes on.
    fn path(&self) -> &'static str {
        match self {
            Self::Phone(_) => "phone",
            Self::Watch(_) => "watch",
        }
    }
}

/// The one page whose secret or ticket it is, and what comes of it.
fn paired_with(
    door: &Door,
    take: impl Fn(&mut Pairing) -> anyhow::Result<Outcome>,
) -> Result<Option<(Page<'_>, Outcome)>, Refused> {
    for page in Page::all(door) {
        let came = page.pairing(&take)?;
        if came != Outcome::Refused {
            return Ok(Some((page, came)));
        }
    }
    Ok(None)
}

async fn pair(State(door): State<Arc<Door>>, from: Body) -> Answer {
    let Secret { secret } = told(from).await?;
    let came = paired_with(&door, |pairing| pairing.take(&secret, Instant::now()))?;
    if let Some((page, Outcome::Asks { code, .. })) = &came {
        page.tell(format!(
            "Another phone, whose page shows {code}, asks to take this one's place. Let it in on this phone's page, or leave it."
        ));
    }
    Ok(outcome(came))
}

async fn again(State(door): State<Arc<Door>>, from: Body) -> Answer {
    let Ticket { ticket } = told(from).await?;
    let came = paired_with(&door, |pairing| pairing.again(&ticket, Instant::now()))?;
    Ok(outcome(came))
}

fn outcome(came: Option<(Page<'_>, Outcome)>) -> Response {
    match came {
        Some((page, Outcome::Paired { token, code })) => {
            page.tell(format!("A phone is paired. Both show {code}."));
            let cookie = format!("{COOKIE}={token}; Path=/; Secure; HttpOnly; SameSite=Strict");
            let answer = axum::Json(json!({ "code": code, "page": page.path() }));
            ([(header::SET_COOKIE, cookie)], answer).into_response()
        }
        Some((_, Outcome::Asks { ticket, code })) => {
            let answer = axum::Json(json!({ "code": code, "ticket": ticket }));
            (StatusCode::ACCEPTED, answer).into_response()
        }
        Some((_, Outcome::Refused)) | None => {
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
async fn news(
    Extension(shared): Extension<Arc<Shared>>,
    Query(After { after }): Query<After>,
) -> Response {
    let mut changes = shared.changes();
    let newer = changes.wait_for(|change| *change > after);
    // What there is, where nothing came in time.
    let _ = tokio::time::timeout(NEWS, newer).await;
    axum::Json(shared.news()).into_response()
}

#[derive(Deserialize)]
struct Wanted {
    #[serde(default)]
    only_tone: bool,
}

async fn voice(
    Extension(shared): Extension<Arc<Shared>>,
    Path(id): Path<u64>,
    Query(Wanted { only_tone }): Query<Wanted>,
) -> Answer {
    let found = shared.lock().downlink.sound(id, only_tone);
    let gone = || {
        Refused(
            StatusCode::NOT_FOUND,
            "That is not said any more.".to_owned(),
        )
    };
    let wanted = found.ok_or_else(gone)?;
    let made = tokio::task::spawn_blocking(move || wanted.wav()).await;
    let wav = made.map_err(anyhow::Error::from)??;
    Ok(([(header::CONTENT_TYPE, "audio/wav")], wav).into_response())
}

/// The code with which another phone is paired.
async fn another(
    State(door): State<Arc<Door>>,
    Extension(shared): Extension<Arc<Shared>>,
) -> Answer {
    picture(&super::link(&mut shared.lock().pairing, &door.address)?)
}

fn picture(link: &str) -> Answer {
    let kind = [(header::CONTENT_TYPE, "image/svg+xml")];
    Ok((kind, super::qr::svg(link)?).into_response())
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

async fn sound(
    Extension(shared): Extension<Arc<Shared>>,
    Query(head): Query<Head>,
    from: Body,
) -> Answer {
    let bytes = body(from, MOST_SOUND).await?;
    let odd = |why: String| Refused(StatusCode::BAD_REQUEST, why);
    if !shared.wants.hears || bytes.len() % 2 != 0 {
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
    let mut state = shared.lock();
    let state = &mut *state;
    state.last_sound = Some(Instant::now());
    state.uplink.take(post, &mut state.tail).map_err(odd)?;
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

async fn said(Extension(shared): Extension<Arc<Shared>>, from: Body) -> Answer {
    let Reported { id, what } = told(from).await?;
    let now = Instant::now();
    shared.change(|state| match what {
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

async fn touch(Extension(shared): Extension<Arc<Shared>>, from: Body) -> Answer {
    let Held { about, held_ms } = told(from).await?;
    if !shared.wants.hears {
        let why = "Nothing is answered by touch here.".to_owned();
        return Err(Refused(StatusCode::BAD_REQUEST, why));
    }
    shared.touch(Touch {
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

async fn state(Extension(shared): Extension<Arc<Shared>>, from: Body) -> Answer {
    let told: Told = told(from).await?;
    let mut state = shared.lock();
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

async fn let_in(Extension(shared): Extension<Arc<Shared>>, from: Body) -> Answer {
    lets_in(&Page::Phone(&shared), from).await
}

async fn let_watch(Extension(watching): Extension<Arc<Watching>>, from: Body) -> Answer {
    lets_in(&Page::Watch(&watching), from).await
}

async fn lets_in(page: &Page<'_>, from: Body) -> Answer {
    let LetIn { code } = told(from).await?;
    if page.pairing(|pairing| pairing.let_in(&code, Instant::now())) {
        page.changed();
        return Ok(StatusCode::NO_CONTENT.into_response());
    }
    let why = "No phone asks with that code any more.".to_owned();
    Err(Refused(StatusCode::CONFLICT, why))
}

/// What has changed at any session since; waits for it for a second, as levels change all the time.
async fn seen(
    State(door): State<Arc<Door>>,
    Extension(watching): Extension<Arc<Watching>>,
    Query(After { after }): Query<After>,
) -> Response {
    let mut changes = watching.changes();
    let newer = changes.wait_for(|change| *change > after);
    let _ = tokio::time::timeout(SEEN, newer).await;
    axum::Json(watching.seen(&door.phones)).into_response()
}

fn of_room(door: &Door, n: usize) -> Result<&Arc<Shared>, Refused> {
    door.phones.get(n).ok_or_else(|| {
        Refused(
            StatusCode::NOT_FOUND,
            "There is no such learner here.".to_owned(),
        )
    })
}

/// What a phone hears now, 16 bits a sample, 16,000 a second; the learner's own page says that it is listened to.
async fn overhear(
    State(door): State<Arc<Door>>,
    Path(n): Path<usize>,
    Query(After { after }): Query<After>,
) -> Answer {
    let phone = of_room(&door, n)?;
    let now = Instant::now();
    let began = !phone.lock().tail.is_wanted(now);
    if began {
        phone.change(|state| state.tail.listen(after, now));
    }
    let (next, sound) = phone.lock().tail.listen(after, now);
    let headers = [
        (header::CONTENT_TYPE, "application/octet-stream".to_owned()),
        (NEXT, next.to_string()),
    ];
    Ok((headers, sound).into_response())
}

/// The code with which a learner's phone is paired.
async fn learners_code(State(door): State<Arc<Door>>, Path(n): Path<usize>) -> Answer {
    let phone = of_room(&door, n)?;
    picture(&super::link(&mut phone.lock().pairing, &door.address)?)
}
