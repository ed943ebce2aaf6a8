use super::frame::{Tab, frame, trouble};
use super::group::Sheets;
use super::timeline::{Filter, page_of, timeline};
use super::view::{KeptSession, Threads, View, thread_root};
use super::{LONGEST_REASON, graphs, group, marks, out};
use crate::log::{self, Log};
use crate::marking::{Criteria, Economy, Sheet, mark};
use crate::practice::Given;
use crate::quantity::parse_value;
use crate::report::{self, Letterhead, Times};
use crate::sequence::{Agenda, DeskRefusal, Event, EventNo, correct_at_desk, strike_at_desk};
use crate::store::{Digest256, OpenMode, Store};
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

/// Logs that are looked back at in a browser.
pub struct Review {
    times: Times,
    letterhead: Letterhead,
    marking: Marking,
    economy: Mutex<Economy>,
    token: String,
    logs: Vec<Kept>,
}

/// What marks are made by.
#[derive(Debug, Default)]
pub struct Marking {
    /// The instructor's criteria.
    pub criteria: Criteria,
    /// The instructor's own log of the same bay.
    pub reference: Option<Log>,
    /// What is hidden in a practice that is not finished. A log that was begun with something else is marked
    /// without.
    pub hidden: Option<Given>,
}

/// One log in its file.
struct Kept {
    db: PathBuf,
    /// Where its pages begin.
    root: String,
    /// How many threads it has.
    threads: usize,
    read: Mutex<Option<Arc<Threads>>>,
}

/// The review, and which thread of which of its logs the pages are of; threads from 1.
#[derive(Clone)]
struct Shared {
    review: Arc<Review>,
    log: usize,
    thread: usize,
}

impl Shared {
    fn kept(&self) -> anyhow::Result<&Kept> {
        self.review.logs.get(self.log).context("no such log")
    }

    /// The thread as it is now.
    fn view(&self) -> anyhow::Result<Arc<View>> {
        let read = self.review.read(self.kept()?)?;
        let session = read.threads.get(self.thread - 1).context(NO_LONGER)?;
        Ok(session.view(&self.review.times, &self.review.letterhead)?)
    }

    /// Its marks as they are now.
    fn sheet(&self) -> anyhow::Result<Arc<Sheet>> {
        let read = self.review.read(self.kept()?)?;
        let session = read.threads.get(self.thread - 1).context(NO_LONGER)?;
        self.review.sheet(session)
    }
}

const NO_LONGER: &str = "this thread is no longer in the log";

/// Nothing is loaded from elsewhere, no script runs, nobody may frame it, and forms go only here.
const POLICY: &str = "default-src 'none'; style-src 'self'; media-src 'self'; img-src 'self'; \
                      form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

impl Review {
    /// A review of the logs in files, with an address that can't be guessed. Their schedules have the
    /// letterhead. Several are marked, and looked back at as a group.
    ///
    /// # Errors
    /// When a log can't be read or marked, or the machine has no random numbers.
    pub fn of(
        dbs: Vec<PathBuf>,
        times: Times,
        letterhead: Letterhead,
        marking: Marking,
    ) -> anyhow::Result<Self> {
        let mut random = [0u8; 16];
        getrandom::fill(&mut random)
            .map_err(|why| anyhow::anyhow!("this machine gives no random numbers: {why}"))?;
        let token = hex::encode(random);
        let several = dbs.len() > 1;
        let logs = (1..).zip(dbs).map(|(n, db)| Kept {
            db,
            root: if several {
                format!("/{token}/log/{n}")
            } else {
                format!("/{token}")
            },
            threads: 0,
            read: Mutex::new(None),
        });
        let mut review = Self {
            times,
            letterhead,
            marking,
            economy: Mutex::new(Economy::default()),
            logs: logs.collect(),
            token,
        };
        let mut threads = Vec::new();
        for kept in &review.logs {
            let shown = |why: anyhow::Error| {
                why.context(format!("{}: this log can't be shown", kept.db.display()))
            };
            let read = review.read(kept).map_err(shown)?;
            for session in &read.threads {
                // What can't be followed, or marked, is told now.
                if several {
                    review.sheet(session).map_err(shown)?;
                } else {
                    let view = session.view(&review.times, &review.letterhead);
                    view.map_err(|why| shown(why.into()))?;
                }
            }
            threads.push(read.threads.len());
        }
        for (kept, threads) in review.logs.iter_mut().zip(threads) {
            kept.threads = threads;
        }
        Ok(review)
    }

    fn is_of_a_group(&self) -> bool {
        self.logs.len() > 1
    }

    /// The address of the page of the group, on its own machine.
    fn group(&self) -> Option<String> {
        self.is_of_a_group()
            .then(|| format!("/{}/group", self.token))
    }

    /// The address of its first page, when it is served at this port.
    pub fn address(&self, port: u16) -> String {
        let first = self.group().unwrap_or_else(|| {
            let first = self.logs.first().and_then(|kept| kept.roots().next());
            format!("{}/timeline", first.unwrap_or_default())
        });
        format!("http://127.0.0.1:{port}{first}")
    }

    /// A log as it is now: read again only when it has grown.
    fn read(&self, kept: &Kept) -> anyhow::Result<Arc<Threads>> {
        let mut read = kept.read.lock().unwrap_or_else(PoisonError::into_inner);
        let records = Store::open(&kept.db, OpenMode::Read)?.len()?;
        match read.as_ref().filter(|read| read.records == records) {
            Some(read) => Ok(Arc::clone(read)),
            None => {
                let group = self.group();
                let new = Arc::new(Threads::read(&kept.db, &kept.root, group.as_deref())?);
                *read = Some(Arc::clone(&new));
                Ok(new)
            }
        }
    }

    fn sheet(&self, session: &KeptSession) -> anyhow::Result<Arc<Sheet>> {
        let marked = session.sheet(|log| {
            let mut economy = self.economy.lock().unwrap_or_else(PoisonError::into_inner);
            let Marking {
                criteria,
                reference,
                hidden,
            } = &self.marking;
            let given = hidden.as_ref();
            let hidden = given.and_then(|given| given.of_log(&log.agenda().ok()?));
            let reference = reference.as_ref();
            mark(log, hidden.as_ref(), reference, criteria, &mut economy)
        });
        Ok(marked?)
    }

    /// The sheets of all sessions as they are now.
    fn sheets(&self) -> anyhow::Result<Sheets> {
        let (mut sheets, mut roots) = (Vec::new(), Vec::new());
        for kept in &self.logs {
            let read = self
                .read(kept)
                .with_context(|| kept.db.display().to_string())?;
            for (session, root) in read.threads.iter().zip(kept.roots()) {
                let sheet = self
                    .sheet(session)
                    .with_context(|| kept.db.display().to_string())?;
                sheets.push(sheet.as_ref().clone());
                roots.push(root);
            }
        }
        Ok(Sheets { sheets, roots })
    }

    fn router(self: Arc<Self>) -> Router {
        let pages: Router<Shared> = Router::new()
            .route("/timeline", get(timeline_page))
            .route("/out", get(out_page))
            .route("/graphs", get(graphs_page))
            .route("/marks", get(marks_page))
            .route("/schedule.html", get(schedule_html))
            .route("/schedule.pdf", get(schedule_pdf))
            .route("/customer.html", get(customer_html))
            .route("/sound/{name}", get(sound))
            .route("/review.css", get(style))
            .route("/put-right", post(put_right))
            .route("/strike", post(strike));
        let of = |log, thread| {
            pages.clone().with_state(Shared {
                review: Arc::clone(&self),
                log,
                thread,
            })
        };
        let mut all = Router::new();
        for (n, kept) in self.logs.iter().enumerate() {
            all = all.nest(&kept.root, of(n, 1));
            for thread in (1..=kept.threads).filter(|_| kept.threads > 1) {
                all = all.nest(&thread_root(&kept.root, thread), of(n, thread));
            }
        }
        if self.is_of_a_group() {
            let group = Router::new()
                .route("/group", get(group_page))
                .route("/beside", get(beside_page))
                .route("/review.css", get(style))
                .with_state(Arc::clone(&self));
            all = all.nest(&format!("/{}", self.token), group);
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

impl Kept {
    /// Where the pages of each of its threads begin.
    fn roots(&self) -> impl Iterator<Item = String> {
        (1..=self.threads).map(|thread| {
            if self.threads > 1 {
                thread_root(&self.root, thread)
            } else {
                self.root.clone()
            }
        })
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

/// Where one goes on from trouble with a session, and with a group.
const TIMELINE: (&str, &str) = ("timeline", "the timeline");
const GROUP: (&str, &str) = ("group", "the group");

fn failed(status: StatusCode, title: &str, why: &str, back: (&str, &str)) -> Response {
    (status, page(trouble(title, why, back))).into_response()
}

fn unreadable(why: &anyhow::Error) -> Response {
    failed(
        StatusCode::INTERNAL_SERVER_ERROR,
        "The log can't be read",
        &format!("{why:#}"),
        TIMELINE,
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

/// What was struck just now.
#[derive(Debug, Deserialize)]
struct JustStruck {
    kept: Option<u64>,
}

async fn marks_page(State(review): State<Shared>, Query(struck): Query<JustStruck>) -> Response {
    let (view, sheet) = match (review.view(), review.sheet()) {
        (Ok(view), Ok(sheet)) => (view, sheet),
        (Err(why), _) => return unreadable(&why),
        (_, Err(why)) => {
            return failed(
                StatusCode::UNPROCESSABLE_ENTITY,
                "This log can't be marked",
                &format!("{why:#}"),
                TIMELINE,
            );
        }
    };
    let body = marks::marks(&view, &sheet, struck.kept);
    page(frame(&view, Tab::Marks, &body))
}

async fn group_page(State(review): State<Arc<Review>>) -> Response {
    match review.sheets() {
        Ok(sheets) => page(group::group(&sheets, &review.times)),
        Err(why) => unmarked(&why),
    }
}

/// The attempts that are chosen stand in the address, each with its number.
async fn beside_page(
    State(review): State<Arc<Review>>,
    Query(chosen): Query<Vec<(String, String)>>,
) -> Response {
    let sheets = match review.sheets() {
        Ok(sheets) => sheets,
        Err(why) => return unmarked(&why),
    };
    let numbers = chosen.iter().filter(|(name, _)| name == group::CHOSEN);
    let mut chosen: Vec<usize> = numbers
        .filter_map(|(_, number)| number.parse::<usize>().ok()?.checked_sub(1))
        .filter(|n| *n < sheets.sheets.len())
        .collect();
    chosen.sort_unstable();
    chosen.dedup();
    if chosen.len() < 2 {
        return failed(
            StatusCode::UNPROCESSABLE_ENTITY,
            "Nothing to put side by side",
            "Choose two attempts or more.",
            GROUP,
        );
    }
    page(group::beside(&sheets, &chosen, &review.times))
}

fn unmarked(why: &anyhow::Error) -> Response {
    failed(
        StatusCode::INTERNAL_SERVER_ERROR,
        "A log can't be read or marked",
        &format!("{why:#}"),
        GROUP,
    )
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
        [report::PALETTE, include_str!("review.css"), report::TABLES].concat(),
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
    let kept = match review.kept() {
        Ok(kept) => kept,
        Err(why) => return unreadable(&why),
    };
    let found = Store::open(&kept.db, OpenMode::Read).and_then(|store| store.evidence(&hash));
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

/// A correction as typed.
#[derive(Debug, Deserialize)]
struct Right {
    of: u64,
    value: String,
    reason: String,
}

async fn put_right(State(review): State<Shared>, Form(right): Form<Right>) -> Response {
    let kept = parse_value(&right.value)
        .map_err(Into::into)
        .and_then(|reading| {
            keep(&review, &right.reason, |agenda, reason| {
                correct_at_desk(agenda, EventNo(right.of), &reading, reason)
            })
        });
    match kept {
        Ok(no) => {
            let page = review.view().map_or(0, |view| page_of(&view, no));
            Redirect::to(&format!("timeline?kept={no}&page={page}#event-{no}")).into_response()
        }
        Err(why) => failed(
            StatusCode::UNPROCESSABLE_ENTITY,
            "The correction was not kept",
            &format!("{why:#}"),
            TIMELINE,
        ),
    }
}

/// A reading to be struck from the marks, as typed.
#[derive(Debug, Deserialize)]
struct Strike {
    of: u64,
    reason: String,
    /// Who strikes it.
    #[serde(default)]
    by: String,
}

async fn strike(State(review): State<Shared>, Form(strike): Form<Strike>) -> Response {
    let kept = keep(&review, &strike.reason, |agenda, reason| {
        strike_at_desk(agenda, EventNo(strike.of), reason, Some(&strike.by))
    });
    match kept {
        Ok(no) => Redirect::to(&format!("marks?kept={no}")).into_response(),
        Err(why) => failed(
            StatusCode::UNPROCESSABLE_ENTITY,
            "Nothing was struck",
            &format!("{why:#}"),
            ("marks", "the marks"),
        ),
    }
}

/// Keeps what is decided at the desk; the number of its event comes back. The log is opened for
/// writing only as long as that takes, so that a session that goes on elsewhere is not locked out.
fn keep(
    review: &Shared,
    reason: &str,
    decide: impl FnOnce(&Agenda, &str) -> Result<Event, DeskRefusal>,
) -> anyhow::Result<EventNo> {
    anyhow::ensure!(
        reason.chars().count() <= LONGEST_REASON,
        "the reason has more than {LONGEST_REASON} letters; say it in fewer"
    );
    let mut store = Store::open(&review.kept()?.db, OpenMode::Append)?;
    let state = Log::read(&store)?.agenda()?;
    let event = decide(&state, reason)?;
    let no = state.next_event();
    log::keep(&mut store, &[event], state.practises(), None)?;
    Ok(no)
}
