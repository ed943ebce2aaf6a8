//! How soon phones are answered, and what a room full of them costs.
//!
//! ```sh
//! cargo bench --bench phone -- 1 10                       # one phone, ten minutes
//! cargo bench --bench phone -- 24 10                      # a class
//! cargo build --release --bench phone && benches/path.py target/release/deps/phone-HASH 1 10   # over a bad path
//! ```
//!
//! The session is the program's own, in this process; scripted phones are another process. Nothing is asserted.
#![allow(
    missing_docs,
    unreachable_pub,
    reason = "a program of measurements, used by nobody"
)]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a measurement may fail"
)]

mod figures;
mod phones;
mod sessions;

use bothhands::phone::{Classroom, LearnerAt, Phone, Settings, Wants};
use bothhands::voice::Profile;
use std::io::{BufRead, BufReader, Write};
use std::net::{IpAddr, Ipv4Addr};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// Seconds by the clock that both processes look at.
pub(crate) fn now() -> f64 {
    SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .unwrap()
        .as_secs_f64()
}

fn main() {
    let args: Vec<String> = std::env::args()
        .skip(1)
        .filter(|arg| arg != "--bench")
        .collect();
    match args.first().map(String::as_str) {
        Some("phones") => phones::run(Path::new(&args[1]), args[2].parse().unwrap()),
        Some(people) => measured(people.parse().unwrap(), args[1].parse().unwrap()),
        None => println!("How many phones, and for how many minutes? See benches/README.md."),
    }
}

/// What is said: a reading put right, over and over, by two voices; some 2 s each. `SAY` names something else.
const SAID: [&str; 4] = [
    "correction. two nine nine megohms",
    "correction. three one five megohms",
    "correction. four two zero megohms",
    "correction. two zero eight megohms",
];

fn spoken(folder: &Path) {
    let say = std::env::var("SAY").ok();
    for (n, words) in SAID.iter().enumerate() {
        let words = say.as_deref().unwrap_or(words);
        let path = folder.join(format!("said-{n}.wav"));
        let voice = ["en-gb", "en-gb-scotland"][n % 2];
        let made = Command::new("espeak-ng")
            .args(["-v", voice, "-s", "165", "-w"])
            .arg(&path)
            .arg(words)
            .status();
        assert!(made.expect("espeak-ng is missing").success());
    }
}

fn measured(people: usize, minutes: f64) {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    spoken(folder);
    let logs = sessions::logs(folder, people);
    let at = std::env::var("PATH_AT").map_or(Ipv4Addr::LOCALHOST.into(), |at| at.parse().unwrap());
    let (phones, links) = opened(folder, people, at);
    std::fs::write(folder.join("links"), links.join("\n")).unwrap();
    let stop = Arc::<AtomicBool>::default();
    let seen = Arc::<sessions::Seen>::default();
    let running = sessions::begin(phones, &logs, &stop, &seen);

    let own = std::env::current_exe().unwrap();
    let mut client = match std::env::var("PATH_PHONE") {
        Ok(space) => {
            let mut within = Command::new("ip");
            within.args(["netns", "exec", &space]).arg(&own);
            within
        }
        Err(_) => Command::new(&own),
    };
    let mut client = client
        .arg("phones")
        .args([folder.to_str().unwrap(), &minutes.to_string()])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let lines = BufReader::new(client.stdout.take().unwrap()).lines();
    let reading = std::thread::spawn(move || lines.map_while(Result::ok).collect::<Vec<_>>());
    let begun = now();
    let mut memory = Vec::new();
    let processor = sessions::processor();
    while !reading.is_finished() {
        std::thread::sleep(Duration::from_secs(1));
        if now() - begun >= 60.0 * memory.len() as f64 {
            memory.push(sessions::memory("VmRSS"));
        }
    }
    let took = now() - begun;
    let processor = (sessions::processor() - processor) / took;
    assert!(client.wait().unwrap().success());
    let told = reading.join().unwrap();
    stop.store(true, Ordering::SeqCst);
    for session in running {
        session.join().unwrap();
    }
    let out = std::io::stdout();
    let mut out = out.lock();
    figures::write(&mut out, people, &told, &seen.take()).unwrap();
    writeln!(
        out,
        "processor of the bench: {:.0} % of a core in {took:.0} s; memory at most {:.0} MB; each minute: {}",
        100.0 * processor,
        sessions::memory("VmHWM"),
        memory
            .iter()
            .map(|mb| format!("{mb:.0}"))
            .collect::<Vec<_>>()
            .join(" ")
    )
    .unwrap();
}

/// One phone, as `test --phone` serves it, or as many as a bay has; and the links to pair them.
fn opened(folder: &Path, people: usize, at: IpAddr) -> (Vec<Phone>, Vec<String>) {
    let kept: PathBuf = folder.to_owned();
    let settings = Settings {
        at: Some(at),
        port: 0,
        wants: Wants {
            hears: true,
            speaks: true,
        },
        profile: Profile::default(),
        folder: &kept,
    };
    let phones = if people == 1 {
        vec![Phone::open(&settings).unwrap()]
    } else {
        let learners: Vec<LearnerAt> = (0..people)
            .map(|n| LearnerAt {
                learner: format!("learner {n}"),
                job: "Boathouse".to_owned(),
                practice: false,
                profile: Profile::default(),
            })
            .collect();
        // The door is open as long as one of the phones is there.
        Classroom::open(&settings, &learners).unwrap().1
    };
    let links = phones.iter().map(|phone| phone.link().unwrap()).collect();
    (phones, links)
}
