//! A room full of learners: each phone its own session, and a page that only watches.

use crate::looking_back::rehearsal::Rehearsal;
use crate::phone::client::{Client, secret_of};
use crate::phone::path::{post, room};
use bothhands::audio::{self, EndpointConfig};
use bothhands::dialogue::{Input, InputSource};
use bothhands::phone::{Classroom, LearnerAt, Phone, Settings, Wants};
use bothhands::sequence::NeighbourSign;
use bothhands::voice::Profile;
use bothhands::voice::Silent;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader};
use std::net::Ipv4Addr;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// A room that is served in this process.
pub struct Taught {
    pub folder: tempfile::TempDir,
    pub room: Classroom,
    pub phones: Vec<Phone>,
}

impl Taught {
    pub fn new(names: &[&str]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let settings = Settings {
            at: Some(Ipv4Addr::LOCALHOST.into()),
            port: 0,
            wants: Wants {
                hears: true,
                speaks: true,
            },
            profile: Profile::default(),
            folder: folder.path(),
        };
        let learners: Vec<LearnerAt> = names
            .iter()
            .map(|name| LearnerAt {
                learner: (*name).to_owned(),
                job: "Boathouse".to_owned(),
                practice: true,
                profile: Profile::default(),
            })
            .collect();
        let (room, phones) = Classroom::open(&settings, &learners).unwrap();
        Self {
            folder,
            room,
            phones,
        }
    }

    /// Pairs by a link; what the page is told.
    fn paired(&self, link: &str) -> (Client, Value) {
        let mut client = Client::of(link, self.folder.path());
        let answer = client.pair(&secret_of(link));
        assert_eq!(answer.status, 200, "{}", answer.body);
        (client, serde_json::from_str(&answer.body).unwrap())
    }

    fn instructor(&self) -> Client {
        self.paired(&self.room.link().unwrap()).0
    }

    fn learner(&self, n: usize) -> Client {
        self.paired(&self.phones[n].link().unwrap()).0
    }
}

fn json_of(client: &Client, path: &str) -> Value {
    let answer = client.get(path);
    assert_eq!(answer.status, 200, "{path}: {}", answer.body);
    serde_json::from_str(&answer.body).unwrap()
}

#[test]
fn each_secret_opens_one_page_and_no_other() {
    let taught = Taught::new(&["Kim", "Ash", "Robin"]);
    let links: Vec<String> = taught.phones.iter().map(|p| p.link().unwrap()).collect();
    let (ash, told) = taught.paired(&links[1]);
    assert_eq!(told["page"], "phone");
    assert!(ash.get("/phone").body.contains("Ash"));
    let (instructor, told) = taught.paired(&taught.room.link().unwrap());
    assert_eq!(told["page"], "watch");
    // Used: of no use to anybody else.
    let mut thief = Client::of(&links[1], taught.folder.path());
    assert_eq!(thief.pair(&secret_of(&links[1])).status, 403);
    // A learner sees no other session, and the instructor's page takes no part in any.
    for path in [
        "/watch.js",
        "/watch/news?after=0",
        "/watch/0/sound?after=0",
        "/watch/0/code.svg",
    ] {
        assert_eq!(ash.get(path).status, 401, "{path}");
        assert_eq!(instructor.get(path).status, 200, "{path}");
    }
    assert_eq!(ash.get("/watch").status, 303);
    for path in ["/news?after=0", "/voice/1", "/another.svg", "/sound.js"] {
        assert_eq!(instructor.get(path).status, 401, "{path}");
    }
    for path in [
        "/sound?run=1&n=0&from=0&rate=16000&spoke=0",
        "/touch",
        "/said",
        "/state",
        "/let-in",
    ] {
        assert_eq!(instructor.post(path, b"{}").status, 401, "{path}");
    }
    assert_eq!(instructor.get("/watch/3/sound?after=0").status, 404);
    // What a log that is taken up has out is not known yet: not "nothing".
    let seen = json_of(&instructor, "/watch/news?after=0");
    assert_eq!(seen["learners"][0]["out"], Value::Null);
    let told = |n: usize| taught.phones[n].notices();
    assert!(
        told(1)
            .iter()
            .any(|notice| notice.starts_with("Ash: A phone is paired"))
    );
    assert!(told(0).is_empty());
    assert!(taught.room.notices()[0].starts_with("Instructor: "));
}

#[test]
fn what_is_begun_said_and_touched_at_one_phone_is_of_its_own_session() {
    let taught = Taught::new(&["Kim", "Ash"]);
    let (kim, ash) = (taught.learner(0), taught.learner(1));
    assert_eq!(ash.post("/state", br#""ready""#).status, 204);
    assert!(!taught.phones[0].is_ready(Duration::ZERO));
    assert!(taught.phones[1].is_ready(Duration::from_secs(5)));
    post(&ash, &[0.25; 16_000], 16_000, 0);
    let seen = json_of(&taught.instructor(), "/watch/news?after=0");
    let level = |n: usize| seen["learners"][n]["level"].as_f64();
    assert_eq!(level(0), None);
    assert!((level(1).unwrap() + 12.0).abs() < 0.5, "{seen}");
    drop(kim);
}

#[test]
fn the_instructor_sees_every_session_and_hears_one_and_its_learner_is_told() {
    let taught = Taught::new(&["Kim", "Ash"]);
    let instructor = taught.instructor();
    let page = instructor.get("/watch").body;
    assert!(page.contains("Kim") && page.contains("Ash") && !page.contains("style="));
    let seen = json_of(&instructor, "/watch/news?after=0");
    assert_eq!(seen["learners"].as_array().unwrap().len(), 2);
    assert_eq!(seen["learners"][0]["learner"], "Kim");
    assert_eq!(seen["learners"][0]["job"], "Boathouse");
    assert_eq!(seen["learners"][0]["practice"], true);
    assert_eq!(seen["learners"][0]["paired"], false);
    let kim = taught.learner(0);
    let code = instructor.get("/watch/1/code.svg");
    assert!(code.body.starts_with("<svg"));
    // Nothing is kept for him before he asks.
    let n = post(&kim, &[0.5; 3200], 16_000, 0);
    let first = instructor.get("/watch/0/sound?after=0");
    assert_eq!(first.bytes.len(), 0);
    let next = first.header("bothhands-next").unwrap().to_owned();
    assert_eq!(json_of(&kim, "/news?after=0")["overheard"], true);
    post(&kim, &[0.5; 3200], 16_000, n);
    let heard = instructor.get(&format!("/watch/0/sound?after={next}"));
    let samples = heard.bytes.as_chunks::<2>().0;
    assert!(samples.len() > 2800, "{}", samples.len());
    let middle = i16::from_le_bytes(samples[samples.len() / 2]);
    assert!(
        (f32::from(middle) / 32_768.0 - 0.5).abs() < 0.01,
        "{middle}"
    );
}

/// The same words by the real path: at the phone of whoever spoke an utterance, at the other a neighbour's.
#[test]
fn what_two_phones_hear_belongs_to_the_one_where_it_is_loudest() {
    let _attention = crate::attention();
    let mut taught = Taught::new(&["Kim", "Ash"]);
    let clients = [taught.learner(0), taught.learner(1)];
    let spoken = audio::read(Path::new("demo/recordings/14-line-earth.flac")).unwrap();
    let mut sources: Vec<_> = taught
        .phones
        .iter_mut()
        .map(|phone| phone.source(EndpointConfig::default()).unwrap())
        .collect();
    let mut came = [(0, Vec::new()), (0, Vec::new())];
    let mut n = 0;
    for round in 0..2 {
        let sounds = [1.0, 0.25].map(|under| {
            let hiss = room(spoken.len() + 40_000 + round);
            let voice = std::iter::repeat_n(0.0, 16_000).chain(spoken.iter().map(|s| s * under));
            let voice = voice.chain(std::iter::repeat(0.0));
            let heard: Vec<f32> = hiss.iter().zip(voice).map(|(h, v)| h + v).collect();
            heard
        });
        // As the sound of one room: a tenth of a second of each in turn, as fast as it is spoken.
        let begun = Instant::now();
        let blocks = sounds[0]
            .chunks_exact(1600)
            .zip(sounds[1].chunks_exact(1600));
        for (block, (first, second)) in (1..).zip(blocks) {
            let due = Duration::from_millis(100) * block;
            std::thread::sleep(due.saturating_sub(begun.elapsed()));
            post(&clients[0], first, 16_000, n);
            n = post(&clients[1], second, 16_000, n);
        }
        for (source, (utterances, neighbours)) in sources.iter_mut().zip(&mut came) {
            let mut idle = 0;
            while idle < 3 {
                match source.next(&mut Silent).unwrap().unwrap() {
                    Input::Sound(utterance) => *utterances += u32::from(utterance.seconds() > 1.0),
                    Input::Neighbour { whose, .. } => neighbours.extend(whose),
                    Input::Idle(_) => idle += 1,
                    _ => {}
                }
            }
        }
    }
    assert!(came[0].0 == 2, "{came:?}");
    assert_eq!(came[0].1, Vec::<String>::new(), "{came:?}");
    assert_eq!(came[1].0, 0, "{came:?}");
    assert!(!came[1].1.is_empty(), "{came:?}");
    assert!(came[1].1.iter().all(|whose| whose == "Kim"), "{came:?}");
}

#[test]
fn a_neighbour_is_an_event_that_decides_nothing_and_shows_nobody_at_the_board() {
    let mut r = Rehearsal::boathouse();
    r.until("500/L-E");
    let before = r.session.state().current().map(|step| step.id.clone());
    let seen = r.session.state().last_sure_at();
    r.now += r.pace;
    let sign = NeighbourSign::LouderElsewhere;
    let turn = r
        .session
        .neighbour_heard(Some("Kim".to_owned()), 1200, sign, r.now);
    assert!(turn.lines.is_empty(), "{:?}", turn.lines);
    let kept = serde_json::to_value(&turn.events[0]).unwrap();
    let expected =
        json!({"event": "neighbour-heard", "whose": "Kim", "ms": 1200, "by": "louder-elsewhere"});
    assert_eq!(kept, expected);
    let state = r.session.state();
    assert_eq!(state.current().map(|step| step.id.clone()), before);
    assert_eq!(state.last_sure_at(), seen);
}

/// The program itself, from the folder to two logs.
#[test]
fn two_learners_of_a_folder_have_a_session_and_a_log_each() {
    let _attention = crate::attention();
    let folder = tempfile::tempdir().unwrap();
    let dir = folder.path().join("class");
    std::fs::create_dir(&dir).unwrap();
    std::fs::copy("tests/jobs/boathouse.toml", dir.join("boathouse.toml")).unwrap();
    let list = "[[learner]]\nname = \"Kim\"\njob = \"boathouse.toml\"\nseed = 7\nlevel = \"silent\"\n\n[[learner]]\nname = \"Ash\"\njob = \"boathouse.toml\"\nreal = true\n";
    std::fs::write(dir.join("bay.toml"), list).unwrap();
    let mut bay = Command::new(assert_cmd::cargo::cargo_bin("bothhands"))
        .args([
            "bay",
            dir.to_str().unwrap(),
            "--codes",
            "--phone-at",
            "127.0.0.1",
        ])
        .env("XDG_DATA_HOME", folder.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let out = BufReader::new(bay.stdout.take().unwrap());
    let kept = folder.path().join("bothhands");
    let mut clients = Vec::new();
    for line in out.lines() {
        let line = line.unwrap();
        if line.starts_with("https://") {
            let mut client = Client::of(&line, &kept);
            let answer = client.pair(&secret_of(&line));
            assert_eq!(answer.status, 200, "{}", answer.body);
            let told: Value = serde_json::from_str(&answer.body).unwrap();
            clients.push((told["page"] == "watch", client));
            if clients.len() == 3 {
                break;
            }
        }
    }
    let instructor = clients
        .iter()
        .find(|(watches, _)| *watches)
        .unwrap()
        .1
        .clone();
    let phones: Vec<&Client> = clients.iter().filter(|(w, _)| !w).map(|(_, c)| c).collect();
    for phone in &phones {
        assert_eq!(phone.post("/state", br#""ready""#).status, 204);
    }
    let until = |what: &dyn Fn(&Value) -> bool| {
        for _ in 0..240 {
            let seen = json_of(&instructor, "/watch/news?after=0");
            if what(&seen) {
                return seen;
            }
            std::thread::sleep(Duration::from_millis(250));
        }
        panic!("{}", json_of(&instructor, "/watch/news?after=0"));
    };
    let asked = |seen: &Value, n: usize| seen["learners"][n]["asked"].as_str().unwrap().to_owned();
    let begun = until(&|seen| !asked(seen, 0).is_empty() && !asked(seen, 1).is_empty());
    assert_eq!(begun["learners"][0]["practice"], true);
    assert_eq!(begun["learners"][1]["practice"], false);
    // One of them goes on: what he says is his alone.
    let one = phones[0];
    let page = one.get("/phone").body;
    let who = usize::from(page.contains("Ash's"));
    let before = asked(&begun, who);
    let mut sound = room(8000);
    let path = first_recording("01-done.flac");
    sound.extend(audio::read(&path).unwrap());
    sound.extend(room(24_000));
    // The prompt is said first, by whoever is at the phone.
    for id in 1..8 {
        one.tell("/said", &json!({"id": id, "what": "ended"}));
    }
    post(one, &sound, 16_000, 0);
    let after = until(&|seen| asked(seen, who) != before);
    assert_eq!(asked(&after, 1 - who), asked(&begun, 1 - who));
    let killed = Command::new("kill")
        .arg("-INT")
        .arg(bay.id().to_string())
        .status();
    assert!(killed.unwrap().success());
    for (_, client) in &clients {
        client.post("/said", br#"{"id":99,"what":"ended"}"#);
    }
    let ended = bay.wait_with_output().unwrap();
    let told = String::from_utf8_lossy(&ended.stderr);
    assert!(ended.status.success(), "{told}");
    assert!(dir.join("kim.boathouse.practice.db").exists(), "{told}");
    assert!(dir.join("ash.boathouse.db").exists(), "{told}");
}

/// The recordings of the demo in their order: the first of this name.
fn first_recording(name: &str) -> std::path::PathBuf {
    Path::new("demo/recordings").join(name)
}
