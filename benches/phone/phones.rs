//! Scripted phones: each posts its sound as it is spoken, fetches what it is told to say, and says what became of it. Five
//! connections that are kept open, as of a browser without HTTP/2.
//!
//! What is written: `said PHONE FROM TO TIME` (samples of its stream, and when the last of the words was), `sound PHONE ID TIME`
//! (the sound of a line is here), `given-up PHONE N`.

use crate::now;
use base64::Engine;
use bothhands::audio;
use rustls::pki_types::{CertificateDer, ServerName};
use rustls::{ClientConfig, ClientConnection, RootCertStore, StreamOwned};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex};
use std::time::{Duration, Instant};

const RATE: usize = 16_000;
const BLOCK: usize = RATE / 10;
/// As the page: posts on their way at once, and that may wait.
const AT_ONCE: usize = 4;
const WAITING: usize = 50;
/// Each speaks once in so many seconds.
const EVERY: f64 = 10.0;
/// The person waits so long after the phone's last word.
const POLITE: f64 = 0.4;
/// What a phone says takes no longer here: one that speaks fast.
const LINE: f64 = 1.0;

type Stream = BufReader<StreamOwned<ClientConnection, TcpStream>>;

/// Status, headers, body.
type Answer = (u16, Vec<(String, String)>, Vec<u8>);

#[derive(Clone)]
struct Client {
    address: SocketAddr,
    host: String,
    config: Arc<ClientConfig>,
    cookie: String,
}

impl Client {
    fn connect(&self) -> Option<Stream> {
        let stream = TcpStream::connect(self.address).ok()?;
        stream.set_nodelay(true).ok()?;
        stream
            .set_read_timeout(Some(Duration::from_secs(12)))
            .ok()?;
        let name = ServerName::from(self.address.ip());
        let connection = ClientConnection::new(Arc::clone(&self.config), name).ok()?;
        Some(BufReader::new(StreamOwned::new(connection, stream)))
    }

    /// Asks over a connection that is kept, or a new one where it broke.
    fn ask(
        &self,
        kept: &mut Option<Stream>,
        method: &str,
        path: &str,
        body: &[u8],
    ) -> Option<Answer> {
        if kept.is_none() {
            *kept = self.connect();
        }
        let came = kept
            .as_mut()
            .and_then(|stream| self.asked(stream, method, path, body).ok());
        if came.is_none() {
            *kept = None;
        }
        came
    }

    fn asked(
        &self,
        stream: &mut Stream,
        method: &str,
        path: &str,
        body: &[u8],
    ) -> std::io::Result<Answer> {
        let Self { host, cookie, .. } = self;
        let mut whole = format!(
            "{method} {path} HTTP/1.1\r\nhost: {host}\r\norigin: https://{host}\r\ncookie: {cookie}\r\ncontent-length: {}\r\n\r\n",
            body.len()
        )
        .into_bytes();
        whole.extend(body);
        stream.get_mut().write_all(&whole)?;
        let broken = || std::io::Error::from(std::io::ErrorKind::UnexpectedEof);
        let mut line = String::new();
        stream.read_line(&mut line)?;
        let status = line.split(' ').nth(1).and_then(|n| n.parse().ok());
        let status = status.ok_or_else(broken)?;
        let mut headers = Vec::new();
        loop {
            let mut line = String::new();
            stream.read_line(&mut line)?;
            match line.trim_end().split_once(": ") {
                Some((name, value)) => headers.push((name.to_lowercase(), value.to_owned())),
                None => break,
            }
        }
        let length = headers.iter().find(|(name, _)| name == "content-length");
        let length = length.and_then(|(_, n)| n.parse().ok()).unwrap_or(0);
        let mut body = vec![0; length];
        stream.read_exact(&mut body)?;
        Ok((status, headers, body))
    }
}

/// What is to be posted.
#[derive(Default)]
struct Posts {
    waiting: BTreeMap<u64, (Vec<u8>, bool)>,
    on_way: BTreeSet<u64>,
    next: u64,
}

/// One phone.
struct Phone {
    n: usize,
    client: Client,
    posts: Mutex<Posts>,
    more: Condvar,
    speaks: AtomicBool,
    quiet_since: Mutex<f64>,
    over: AtomicBool,
}

pub(crate) fn run(folder: &Path, minutes: f64) {
    let links = std::fs::read_to_string(folder.join("links")).unwrap();
    let clips: Vec<Vec<f32>> = (0..crate::SAID.len())
        .map(|n| trimmed(&audio::read(&folder.join(format!("said-{n}.wav"))).unwrap()))
        .collect();
    let lengths: Vec<String> = clips
        .iter()
        .map(|clip| format!("{:.2}", clip.len() as f64 / RATE as f64))
        .collect();
    println!("clips {}", lengths.join(" "));
    let clips = Arc::new(clips);
    let all: Vec<_> = links
        .lines()
        .enumerate()
        .map(|(n, link)| {
            let phone = Arc::new(paired(n, link, folder));
            let clips = Arc::clone(&clips);
            std::thread::spawn(move || used(&phone, &clips, minutes))
        })
        .collect();
    for phone in all {
        phone.join().unwrap();
    }
}

/// Without the quiet at both ends.
fn trimmed(clip: &[f32]) -> Vec<f32> {
    let loud = |s: &f32| s.abs() > 0.01;
    let from = clip.iter().position(loud).unwrap();
    let to = clip.iter().rposition(loud).unwrap();
    clip[from..=to].iter().map(|s| s * 0.5).collect()
}

fn paired(n: usize, link: &str, folder: &Path) -> Phone {
    let (rest, secret) = link.split_once("/#").unwrap();
    let host = rest.strip_prefix("https://").unwrap().to_owned();
    let kept = std::fs::read_to_string(folder.join("phone-authority.toml")).unwrap();
    let kept: toml::Table = kept.parse().unwrap();
    let engine = base64::engine::general_purpose::STANDARD;
    let root = engine
        .decode(kept["certificate"].as_str().unwrap())
        .unwrap();
    let mut roots = RootCertStore::empty();
    roots.add(CertificateDer::from(root)).unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_root_certificates(roots)
        .with_no_client_auth();
    let mut client = Client {
        address: host.parse().unwrap(),
        host,
        config: Arc::new(config),
        cookie: String::new(),
    };
    let secret = json!({ "secret": secret }).to_string();
    let (status, headers, _) = client
        .ask(&mut None, "POST", "/pair", secret.as_bytes())
        .unwrap();
    assert_eq!(status, 200);
    let cookie = headers.iter().find(|(name, _)| name == "set-cookie");
    client.cookie = cookie.unwrap().1.split(';').next().unwrap().to_owned();
    Phone {
        n,
        client,
        posts: Mutex::default(),
        more: Condvar::new(),
        speaks: AtomicBool::new(false),
        quiet_since: Mutex::new(now()),
        over: AtomicBool::new(false),
    }
}

/// A person uses it.
fn used(phone: &Arc<Phone>, clips: &[Vec<f32>], minutes: f64) {
    let mut threads: Vec<_> = (0..AT_ONCE)
        .map(|_| {
            let phone = Arc::clone(phone);
            std::thread::spawn(move || posting(&phone))
        })
        .collect();
    let follows = Arc::clone(phone);
    threads.push(std::thread::spawn(move || following(&follows)));
    let ready = phone.client.ask(&mut None, "POST", "/state", br#""ready""#);
    assert_eq!(ready.map(|(status, ..)| status), Some(204));

    let mut random = fastrand::Rng::with_seed(phone.n as u64);
    let blocks = (minutes * 600.0) as u64;
    let begun = Instant::now();
    let (mut due, mut saying): (f64, Option<(usize, usize)>) = (5.0 + 8.0 * random.f64(), None);
    let mut slot = 0.0;
    for n in 0..blocks {
        let time = n as f64 / 10.0;
        let mut block: Vec<f32> = (0..BLOCK).map(|_| (random.f32() - 0.5) * 2e-4).collect();
        let polite = !phone.speaks.load(Ordering::SeqCst)
            && now() - *phone.quiet_since.lock().unwrap() > POLITE;
        // The last is answered before the end.
        if saying.is_none() && time >= due && polite && n + 100 < blocks {
            let clip = random.usize(..clips.len());
            saying = Some((clip, 0));
            let from = n * BLOCK as u64;
            let to = from + clips[clip].len() as u64;
            let ends = now() + clips[clip].len() as f64 / RATE as f64;
            println!("said {} {from} {to} {ends:.4}", phone.n);
            slot += EVERY;
            due = slot + 5.0 + 8.0 * random.f64();
        }
        if let Some((clip, at)) = &mut saying {
            let part = &clips[*clip][*at..];
            for (to, sample) in block.iter_mut().zip(part) {
                *to += sample;
            }
            *at += BLOCK.min(part.len());
            if *at == clips[*clip].len() {
                saying = None;
            }
        }
        // A block is there when its last sample is.
        let there = Duration::from_millis(100 * (n + 1));
        std::thread::sleep(there.saturating_sub(begun.elapsed()));
        let bytes = block
            .iter()
            .flat_map(|s| ((s.clamp(-1.0, 1.0) * 32_767.0).round() as i16).to_le_bytes())
            .collect();
        let mut posts = phone.posts.lock().unwrap();
        let spoke = phone.speaks.load(Ordering::SeqCst);
        posts.waiting.insert(n, (bytes, spoke));
        posts.next = n + 1;
        while posts.waiting.len() > WAITING {
            let lost = posts.waiting.pop_first();
            println!("given-up {} {}", phone.n, lost.map_or(0, |(n, _)| n));
        }
        drop(posts);
        phone.more.notify_one();
    }
    std::thread::sleep(Duration::from_secs(3));
    phone.over.store(true, Ordering::SeqCst);
    phone.more.notify_all();
    for thread in threads {
        thread.join().unwrap();
    }
}

/// Posts the first that waits, until it is taken.
fn posting(phone: &Phone) {
    let mut kept = None;
    loop {
        let mut posts = phone.posts.lock().unwrap();
        while posts.waiting.is_empty() {
            if phone.over.load(Ordering::SeqCst) {
                return;
            }
            let waited = phone.more.wait_timeout(posts, Duration::from_millis(500));
            posts = waited.unwrap().0;
        }
        let (n, (bytes, spoke)) = posts.waiting.pop_first().unwrap();
        posts.on_way.insert(n);
        let first = posts.waiting.first_key_value().map_or(posts.next, |f| *f.0);
        let from = posts.on_way.first().map_or(first, |way| first.min(*way));
        drop(posts);
        let path = format!(
            "/sound?run=1&n={n}&from={from}&rate={RATE}&spoke={}",
            u8::from(spoke)
        );
        let answer = phone.client.ask(&mut kept, "POST", &path, &bytes);
        let taken = answer.is_some_and(|(status, ..)| status == 204);
        let mut posts = phone.posts.lock().unwrap();
        posts.on_way.remove(&n);
        if !taken {
            posts.waiting.insert(n, (bytes, spoke));
            drop(posts);
            std::thread::sleep(Duration::from_millis(250));
        }
    }
}

/// Says what it is told to.
fn following(phone: &Phone) {
    let mut kept = None;
    let (mut change, mut done) = (0, 0);
    while !phone.over.load(Ordering::SeqCst) {
        let path = format!("/news?after={change}");
        let Some((200, _, body)) = phone.client.ask(&mut kept, "GET", &path, &[]) else {
            std::thread::sleep(Duration::from_millis(100));
            continue;
        };
        let news: Value = serde_json::from_slice(&body).unwrap();
        change = news["change"].as_u64().unwrap();
        for item in news["say"].as_array().unwrap() {
            let id = item["id"].as_u64().unwrap();
            if id <= done {
                continue;
            }
            done = id;
            let path = format!("/voice/{id}?only_tone=false");
            let Some((200, _, wav)) = phone.client.ask(&mut kept, "GET", &path, &[]) else {
                continue;
            };
            println!("sound {} {id} {:.4}", phone.n, now());
            phone.speaks.store(true, Ordering::SeqCst);
            let mut tell = |what: &str| {
                let told = json!({ "id": id, "what": what }).to_string();
                phone
                    .client
                    .ask(&mut kept, "POST", "/said", told.as_bytes());
            };
            tell("began");
            let seconds = wav.len() as f64 / 2.0 / RATE as f64;
            std::thread::sleep(Duration::from_secs_f64(seconds.min(LINE)));
            *phone.quiet_since.lock().unwrap() = now();
            tell("ended");
        }
        phone.speaks.store(false, Ordering::SeqCst);
    }
}
