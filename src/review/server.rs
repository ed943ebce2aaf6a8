use super::frame::{Tab, frame, trouble};
use super::put_right::parse_value;
use super::timeline::{Filter, page_of, timeline};
use super::view::{View, Views};
use super::{graphs, out};
use crate::log::{self, Log};
use crate::report::{self, Letterhead, Times};
use crate::sequence::{EventNo, correct_at_desk};
use crate::store::{Digest256, Mode, Store};
use anyhow::Context;
use axum::{
    Form, Router,
    body::Body,
    extract::{Path, Query, Request, State},
    http::{HeaderValue, StatusCode, header},
    middleware::{self, Next},
    response::{IntoResponse, Redirect, Response},
    routing::{get, post},
};
use maud::Markup;
use serde::Deserialize;
use std::net::Ipv4Addr;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::net::TcpListener;

/// A log that is looked back at in a browser.
pub struct Review {
    db: PathBuf,
    times: Times,
    letterhead: Letterhead,
    token: String,
    views: Mutex<Option<Arc<Views>>>,
    /// How many threads the log has.
    threads: usize,
}

/// The review, and which thread of its log the pages are of, from 1.
#[derive(Clone)]
struct Shared {
    review: Arc<Review>,
    thread: usize,
}

impl Shared {
    /// The thread as it is now.
    fn view(&self) -> anyhow::Result<Arc<View>> {
        let views = self.review.views()?;
        views
            .threads
            .get(self.thread - 1)
            .map(Arc::clone)
            .context("this thread is no longer in the log")
    }
}

/// Nothing is loaded from elsewhere, no script runs, nobody may frame it, and forms go only here.
const POLICY: &str = "default-src 'none'; style-src 'self'; media-src 'self'; img-src 'self'; \
                      form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

impl Review {
    /// A review of the log in a file, with an address that can't be guessed. Its schedule has the
    /// letterhead.
    ///
    /// # Errors
    /// When the log can't be read, or the machine has no random numbers.
    pub fn of(db: PathBuf, times: Times, letterhead: Letterhead) -> anyhow::Result<Self> {
        let mut random = [0u8; 16];
        getrandom::fill(&mut random)
            .map_err(|why| anyhow::anyhow!("this machine gives no random numbers: {why}"))?;
        let token = hex::encode(random);
        let views = Views::read(&db, &times, &letterhead, &format!("/{token}"))
            .with_context(|| format!("{}: this log can't be shown", db.display()))?;
        Ok(Self {
            db,
            times,
            letterhead,
            token,
            threads: views.threads.len(),
            views: Mutex::new(Some(Arc::new(views))),
        })
    }

    /// The address of its first page, when it is served at this port.
    pub fn address(&self, port: u16) -> String {
        let thread = if self.threads > 1 { "/thread/1" } else { "" };
        format!("http://127.0.0.1:{port}/{}{thread}/timeline", self.token)
    }

    /// The log as it is now: read again only when it has grown.
    fn views(&self) -> anyhow::Result<Arc<Views>> {
        let mut kept = self.views.lock().unwrap_or_else(PoisonError::into_inner);
        let records = Store::open(&self.db, Mode::Read)?.len()?;
        match kept.as_ref().filter(|views| views.records == records) {
            Some(views) => Ok(Arc::clone(views)),
            None => {
                let root = format!("/{}", self.token);
                let views = Arc::new(Views::read(&self.db, &self.times, &self.letterhead, &root)?);
                *kept = Some(Arc::clone(&views));
                Ok(views)
            }
        }
    }

    fn router(self: Arc<Self>) -> Router {
        let pages: Router<Shared> = Router::new()
            .route("/timeline", get(timeline_page))
            .route("/out", get(out_page))
            .route("/graphs", get(graphs_page))
            .route("/schedule.html", get(schedule_html))
            .route("/schedule.pdf", get(schedule_pdf))
            .route("/customer.html", get(customer_html))
            .route("/sound/{name}", get(sound))
            .route("/review.css", get(style))
            .route("/put-right", post(put_right));
        let of = |thread| {
            pages.clone().with_state(Shared {
                review: Arc::clone(&self),
                thread,
            })
        };
        let mut all = Router::new().nest(&format!("/{}", self.token), of(1));
        for thread in (1..=self.threads).filter(|_| self.threads > 1) {
            all = all.nest(&format!("/{}/thread/{thread}", self.token), of(thread));
        }
        all.fallback(|| async {
            (
                StatusCode::NOT_FOUND,
                "Nothing is here. Use the whole address that was printed.\n",
            )
        })
        .layer(middleware::from_fn(guarded))
    }
}

/// How long pages under way are waited for once it is told to stop.
const PATIENCE: Duration = Duration::from_secs(2);

/// Serves a review on this machine only, until it is told to stop.
///
/// # Errors
/// When it can't listen at the port, or serving fails.
pub async fn serve(
    review: Review,
    port: u16,
    ready: impl FnOnce(String),
    stop: impl Future<Output = ()> + Send + 'static,
) -> anyhow::Result<()> {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port))
        .await
        .with_context(|| {
            format!("port {port} on this machine is taken; choose another with --port")
        })?;
    ready(review.address(listener.local_addr()?.port()));
    let stopped = Arc::new(AtomicBool::new(false));
    let told = Arc::clone(&stopped);
    let serving =
        axum::serve(listener, Arc::new(review).router()).with_graceful_shutdown(async move {
            stop.await;
            told.store(true, Ordering::SeqCst);
        });
    // A request that was begun and never ended keeps nobody here.
    let given_up = async {
        while !stopped.load(Ordering::SeqCst) {
            tokio::time::sleep(PATIENCE / 20).await;
        }
        tokio::time::sleep(PATIENCE).await;
    };
    tokio::select! {
        served = serving.into_future() => Ok(served?),
        () = given_up => Ok(()),
    }
}

/// Refuses what was not meant for this address (a page elsewhere whose name leads here), and tells
/// the browser what it must not do.
async fn guarded(request: Request, next: Next) -> Response {
    let host = request
        .headers()
        .get(header::HOST)
        .and_then(|host| host.to_str().ok())
        .is_some_and(|host| {
            let (name, port) = host.split_once(':').unwrap_or((host, "0"));
            matches!(name, "127.0.0.1" | "localhost") && port.parse::<u16>().is_ok()
        });
    if !host {
        return (StatusCode::FORBIDDEN, "Not from there.\n").into_response();
    }
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    let fixed = [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (header::CACHE_CONTROL, "no-store"),
    ];
    for (name, value) in fixed {
        // The schedule brings a policy of its own: its style stands in the page.
        headers
            .entry(name)
            .or_insert(HeaderValue::from_static(value));
    }
    response
}

fn page(markup: Markup) -> Response {
    (
        [(header::CONTENT_TYPE, "text/html; charset=utf-8")],
        markup.into_string(),
    )
        .into_response()
}

fn failed(status: StatusCode, title: &str, why: &str) -> Response {
    (status, page(trouble(title, why))).into_response()
}

fn unreadable(why: &anyhow::Error) -> Response {
    failed(
        StatusCode::INTERNAL_SERVER_ERROR,
        "The log can't be read",
        &format!("{why:#}"),
    )
}

async fn timeline_page(State(review): State<Shared>, Query(filter): Query<Filter>) -> Response {
    match review.view() {
        Ok(view) => page(frame(&view, Tab::Timeline, &timeline(&view, &filter))),
        Err(why) => unreadable(&why),
    }
}

async fn out_page(State(review): State<Shared>) -> Response {
    match review.view() {
        Ok(view) => page(frame(&view, Tab::Out, &out::out(&view))),
        Err(why) => unreadable(&why),
    }
}

async fn graphs_page(State(review): State<Shared>) -> Response {
    match review.view() {
        Ok(view) => page(frame(&view, Tab::Graphs, &graphs::graphs(&view))),
        Err(why) => unreadable(&why),
    }
}

async fn schedule_html(State(review): State<Shared>) -> Response {
    match review.view() {
        Ok(view) => handed_over(report::html(&view.schedule)),
        Err(why) => unreadable(&why),
    }
}

async fn customer_html(State(review): State<Shared>) -> Response {
    match review.view() {
        Ok(view) => handed_over(report::customer_html(std::slice::from_ref(&view.schedule))),
        Err(why) => unreadable(&why),
    }
}

/// A page that has its style, and a logo, in it.
fn handed_over(page: String) -> Response {
    (
        [
            (header::CONTENT_TYPE, "text/html; charset=utf-8"),
            (
                header::CONTENT_SECURITY_POLICY,
                "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'",
            ),
        ],
        page,
    )
        .into_response()
}

async fn schedule_pdf(State(review): State<Shared>) -> Response {
    let made = review
        .view()
        .and_then(|view| Ok(report::pdf(&view.schedule)?));
    match made {
        Ok(bytes) => ([(header::CONTENT_TYPE, "application/pdf")], bytes).into_response(),
        Err(why) => unreadable(&why),
    }
}

async fn style() -> Response {
    (
        [(header::CONTENT_TYPE, "text/css; charset=utf-8")],
        format!("{}{}", report::PALETTE, include_str!("review.css")),
    )
        .into_response()
}

/// The sound of one utterance, as it is kept.
async fn sound(
    State(review): State<Shared>,
    Path(name): Path<String>,
    request: Request<Body>,
) -> Response {
    let hash = name
        .strip_suffix(".flac")
        .and_then(|hash| hash.parse::<Digest256>().ok());
    let Some(hash) = hash else {
        return (StatusCode::NOT_FOUND, "No such sound.\n").into_response();
    };
    let found = Store::open(&review.review.db, Mode::Read).and_then(|store| store.evidence(&hash));
    match found {
        Ok(Some(evidence)) => match evidence.flac() {
            Some(flac) => part_of(flac, request.headers().get(header::RANGE)),
            None => (
                StatusCode::GONE,
                "This sound was deleted, or left out of the log.\n",
            )
                .into_response(),
        },
        Ok(None) => (StatusCode::NOT_FOUND, "No such sound.\n").into_response(),
        Err(why) => unreadable(&why.into()),
    }
}

/// All of the sound, or the part that the browser asked for so that it can jump in it (RFC 9110,
/// section 14).
fn part_of(flac: &[u8], range: Option<&HeaderValue>) -> Response {
    let kind = [
        (header::CONTENT_TYPE, "audio/flac".to_owned()),
        (header::ACCEPT_RANGES, "bytes".to_owned()),
    ];
    let asked = range
        .and_then(|range| range.to_str().ok())
        .and_then(|range| range.strip_prefix("bytes="))
        .and_then(|range| range.split_once('-'))
        .and_then(|(from, to)| {
            let from: usize = from.parse().ok()?;
            let last = flac.len().checked_sub(1)?;
            let to = to.parse().unwrap_or(last).min(last);
            (from <= to).then_some((from, to))
        });
    match asked.and_then(|(from, to)| Some((from, to, flac.get(from..=to)?))) {
        Some((from, to, part)) => (
            StatusCode::PARTIAL_CONTENT,
            kind,
            [(
                header::CONTENT_RANGE,
                format!("bytes {from}-{to}/{}", flac.len()),
            )],
            part.to_vec(),
        )
            .into_response(),
        None => (kind, flac.to_vec()).into_response(),
    }
}

/// As the form has it, for whoever sends it by other means.
const LONGEST_REASON: usize = 200;

/// A correction as typed.
#[derive(Debug, Deserialize)]
struct Right {
    of: u64,
    value: String,
    reason: String,
}

async fn put_right(State(review): State<Shared>, Form(right): Form<Right>) -> Response {
    match keep(&review, &right) {
        Ok(no) => {
            let page = review.view().map_or(0, |view| page_of(&view, no));
            Redirect::to(&format!("timeline?kept={no}&page={page}#event-{no}")).into_response()
        }
        Err(why) => failed(
            StatusCode::UNPROCESSABLE_ENTITY,
            "The correction was not kept",
            &format!("{why:#}"),
        ),
    }
}

/// Decides and keeps a correction; the number of its event comes back. The log is opened for
/// writing only as long as that takes, so that a session that goes on elsewhere is not locked out.
fn keep(review: &Shared, right: &Right) -> anyhow::Result<EventNo> {
    let reading = parse_value(&right.value)?;
    anyhow::ensure!(
        right.reason.chars().count() <= LONGEST_REASON,
        "the reason has more than {LONGEST_REASON} letters; say it in fewer"
    );
    let mut store = Store::open(&review.review.db, Mode::Append)?;
    let state = Log::read(&store)?.agenda()?;
    let event = correct_at_desk(&state, EventNo(right.of), &reading, &right.reason)?;
    let no = state.next_event();
    log::keep(&mut store, &[event], state.practises(), None)?;
    Ok(no)
}
