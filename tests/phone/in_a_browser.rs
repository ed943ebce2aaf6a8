//! A session spoken through the page, in a real browser whose microphone is a recording.

use crate::looking_back::browser::Browser;
use crate::looking_back::in_a_browser::axe;
use bothhands::audio;
use bothhands::log::Log;
use bothhands::sequence::Event;
use bothhands::store::{OpenMode, Store};
use serde_json::{Value, json};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::rc::Rc;
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

/// Longer than anything takes on a machine that is busy with something else.
const PATIENCE: Duration = Duration::from_secs(180);
/// Silence before each clip: longer than what the program has to say there, said fast.
const BEFORE: [(&str, f64); 3] = [
    ("01-done", 45.0),
    ("02-proved", 25.0),
    ("03-isolated", 20.0),
];

/// The program; ended when this is dropped.
pub struct Program {
    child: Child,
    lines: Receiver<String>,
    pub folder: Rc<tempfile::TempDir>,
}

impl Program {
    /// Leads the demo's job for a phone, with these options besides; its log is in the folder.
    pub fn start(folder: &Rc<tempfile::TempDir>, options: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_bothhands"))
            .args(["test", "demo/boathouse.toml", "--db"])
            .arg(folder.path().join("session.db"))
            .args(["--phone", "--phone-at", "127.0.0.1"])
            .args(options)
            .env("XDG_DATA_HOME", folder.path())
            .env("XDG_CONFIG_HOME", folder.path())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .unwrap();
        let (give, lines) = channel();
        let out = BufReader::new(child.stdout.take().unwrap());
        std::thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                println!("{line}");
                if give.send(line).is_err() {
                    return;
                }
            }
        });
        Self {
            child,
            lines,
            folder: Rc::clone(folder),
        }
    }

    /// The first line from here on in which this stands.
    pub fn line(&self, part: &str) -> String {
        let end = Instant::now() + PATIENCE;
        loop {
            let left = end.saturating_duration_since(Instant::now());
            let line = self.lines.recv_timeout(left);
            let line = line.unwrap_or_else(|_| panic!("it never wrote {part}"));
            if line.contains(part) {
                return line;
            }
        }
    }

    pub fn events(&self) -> Vec<Event> {
        let path = self.folder.path().join("session.db");
        let Ok(store) = Store::open(path, OpenMode::Read) else {
            return Vec::new();
        };
        let entries = Log::read(&store).map(|log| log.entries).unwrap_or_default();
        entries.into_iter().map(|entry| entry.event).collect()
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A recording of a person who waits so many seconds and speaks, waits and speaks; then he is quiet.
pub fn spoken(folder: &Path, clips: &[(&str, f64)]) -> PathBuf {
    let path = folder.join("spoken.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: audio::SAMPLE_RATE,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(&path, spec).unwrap();
    let mut random = fastrand::Rng::with_seed(2);
    let mut quiet = |wav: &mut hound::WavWriter<_>, seconds: f64| {
        for _ in 0..(seconds * f64::from(audio::SAMPLE_RATE)) as usize {
            wav.write_sample(random.i16(-4..=4)).unwrap();
        }
    };
    for (clip, before) in clips {
        quiet(&mut wav, *before);
        let clip = PathBuf::from(format!("demo/recordings/{clip}.flac"));
        for sample in audio::read(&clip).unwrap() {
            wav.write_sample((sample * 32_767.0) as i16).unwrap();
        }
    }
    quiet(&mut wav, 120.0);
    wav.finalize().unwrap();
    path
}

/// Waits until a script gives this.
pub fn until(browser: &Browser, script: &str, wanted: &Value) {
    let end = Instant::now() + PATIENCE;
    let mut came = Value::Null;
    while Instant::now() < end {
        came = browser.run(script, json!([]));
        if came == *wanted {
            return;
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    let troubles = "return document.body.innerText";
    panic!("{script}: {came}\n{}", browser.run(troubles, json!([])));
}

pub fn text(browser: &Browser, id: &str) -> String {
    let script = "return document.getElementById(arguments[0]).textContent";
    browser
        .run(script, json!([id]))
        .as_str()
        .unwrap()
        .to_owned()
}

pub fn shown(id: &str) -> String {
    format!("const e = document.getElementById('{id}'); return Boolean(e) && e.checkVisibility()")
}

/// axe finds nothing that is hard to use for some, by day and by night; the picture goes to `OUT`.
pub fn easy(browser: &Browser, rules: &str, name: &str) {
    for dark in [false, true] {
        browser.dark(dark);
        browser.run(rules, json!([]));
        let broken = browser.run(
            "return axe.run().then(r => r.violations.map(v => v.id + ': ' + v.nodes.map(n => n.target).join(' ')))",
            json!([]),
        );
        assert_eq!(
            broken,
            json!([]),
            "{name} is hard to use for some (dark: {dark})"
        );
        if let Ok(folder) = std::env::var("OUT") {
            std::fs::create_dir_all(&folder).unwrap();
            let lit = if dark { "dark" } else { "bright" };
            let picture = Path::new(&folder).join(format!("phone-{name}-{lit}.png"));
            std::fs::write(picture, browser.picture()).unwrap();
        }
    }
}

/// It runs in real time. On a machine that is busy with something else sound is given up on its way,
/// which is told and asked again; so a session that went wrong is spoken again. What is wrong in the
/// program goes wrong every time.
const ATTEMPTS: u32 = 3;

pub fn attempted(session: impl Fn() + std::panic::RefUnwindSafe) {
    for attempt in 1..ATTEMPTS {
        if std::panic::catch_unwind(&session).is_ok() {
            return;
        }
        eprintln!("*** the session went wrong, attempt {attempt} of {ATTEMPTS}");
    }
    session();
}

/// Options of a browser whose microphone is this recording, from its beginning each time it is opened.
pub fn microphone(wav: &Path) -> Vec<String> {
    vec![
        "--use-fake-ui-for-media-stream".to_owned(),
        "--use-fake-device-for-media-stream".to_owned(),
        format!("--use-file-for-fake-audio-capture={}%noloop", wav.display()),
    ]
}

#[test]
fn a_session_is_spoken_through_the_page() {
    let rules = axe();
    attempted(|| spoken_through_the_page(&rules));
}

fn spoken_through_the_page(rules: &str) {
    crate::need("espeak-ng", "espeak-ng");
    let folder = Rc::new(tempfile::tempdir().unwrap());
    let program = Program::start(&folder, &["--rate", "100", "--manner", "brief"]);
    let link = program.line("https://127.0.0.1:");
    let browser = Browser::start_with(&microphone(&spoken(folder.path(), &BEFORE)));
    browser.size(390, 844);
    let (root, _) = link.split_once('#').unwrap();
    browser.open(root);
    until(
        &browser,
        "return document.getElementById('state').textContent.startsWith('Read the code')",
        &json!(true),
    );
    easy(&browser, rules, "pair");

    // The code is read: the secret is gone from the address, and no script can see the cookie.
    browser.open("about:blank");
    browser.open(&link);
    until(&browser, "return location.pathname", &json!("/phone"));
    assert_eq!(browser.run("return location.hash", json!([])), "");
    assert_eq!(browser.run("return document.cookie", json!([])), "");
    until(
        &browser,
        "return document.getElementById('code').textContent.length",
        &json!(4),
    );
    easy(&browser, rules, "begin");
    until(&browser, &shown("start"), &json!(true));
    browser.click("#start");
    until(&browser, &shown("session"), &json!(true));

    // What is spoken comes to the log, and what is said to the phone.
    let end = Instant::now() + PATIENCE;
    let done = || {
        let events = program.events();
        let stated = events
            .iter()
            .filter(|event| matches!(event, Event::Stated { .. }));
        stated.count()
    };
    while done() < 2 && Instant::now() < end {
        std::thread::sleep(Duration::from_millis(200));
    }
    assert_eq!(
        done(),
        2,
        "{:#?}\n{}",
        program.events(),
        text(&browser, "session")
    );
    until(
        &browser,
        "return document.getElementById('said').textContent.includes('you: isolated')",
        &json!(true),
    );
    assert_eq!(text(&browser, "trouble"), "");
    assert!(!text(&browser, "said").contains("did not say"));
    let protocol = "return performance.getEntriesByType('resource').filter(e => e.name.includes('/sound?')).at(-1)?.nextHopProtocol";
    assert_eq!(browser.run(protocol, json!([])), "h2");
    let elsewhere = "return performance.getEntriesByType('resource').map(e => new URL(e.name).host).filter(h => h !== location.host)";
    assert_eq!(browser.run(elsewhere, json!([])), json!([]));
    easy(&browser, rules, "session");
    touch_sleeps(&browser);
    easy(&browser, rules, "awake");
    // As it looks once something was measured: the same page with other words in it.
    let measured = "for (const [id, text] of [['value', '299 MΩ'], ['subject', 'circuit 4, line to earth'], ['place', 'Board 1, circuit 4: insulation resistance.'], ['asked', 'Neutral to earth at 500 V.']]) document.getElementById(id).textContent = text";
    browser.run(measured, json!([]));
    easy(&browser, rules, "measured");
}

/// Touch wakes by a slide across the whole width, and by nothing less.
fn touch_sleeps(browser: &Browser) {
    let awake = |wanted: bool| until(browser, &shown("awake"), &json!(wanted));
    awake(false);
    // A tap at the far end, and half a slide.
    browser.finger("#wake", &[(0.98, 100)]);
    awake(false);
    let half: Vec<(f64, u64)> = (0..=5).map(|n| (0.03 + f64::from(n) * 0.1, 60)).collect();
    browser.finger("#wake", &half);
    awake(false);
    let whole: Vec<(f64, u64)> = (0..=20)
        .map(|n| (0.03 + f64::from(n) * 0.047, 60))
        .collect();
    browser.finger("#wake", &whole);
    awake(true);
    // No question is open: nothing can be affirmed.
    assert_eq!(browser.run(&shown("affirm"), json!([])), false);
    let words = text(browser, "awake").to_lowercase();
    for word in [
        "dead", "proved", "isolated", "locked", "energise", "back", "override",
    ] {
        assert!(!words.contains(word), "{word} can be touched");
    }
}
