//! The pages of a bay in a real browser: what an instructor sees and hears, and what a learner sees of that.

use crate::looking_back::browser::Browser;
use crate::looking_back::in_a_browser::axe;
use crate::looking_back::rehearsal::Rehearsal;
use crate::phone::in_a_browser::{easy, microphone, shown, until};
use crate::phone::room::Taught;
use bothhands::audio::SAMPLE_RATE;
use bothhands::dialogue::Observer;
use bothhands::grammar::Intent;
use bothhands::sequence::{Event, OutEntry, say};
use bothhands::speech::Recognition;
use bothhands::terms::Statement;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// Sees nothing: what goes on is seen on the pages.
struct Nobody;

impl Observer for Nobody {
    fn heard(&mut self, _words: &str, _heard: Option<&Recognition>) {}

    fn unsaid(&mut self, _line: &str) {}
}

/// A tone that goes on: 12 dB under full scale.
fn tone(folder: &Path) -> PathBuf {
    let path = folder.join("tone.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: SAMPLE_RATE,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(&path, spec).unwrap();
    for n in 0..60 * SAMPLE_RATE {
        let turns = f64::from(n) * 440.0 / f64::from(SAMPLE_RATE);
        let sample = (turns * std::f64::consts::TAU).sin() * 0.25 * std::f64::consts::SQRT_2;
        wav.write_sample((sample * 32_767.0) as i16).unwrap();
    }
    wav.finalize().unwrap();
    path
}

/// What stands in a part of a learner's card, line by line.
fn card(browser: &Browser, learner: usize, part: &str) -> Vec<String> {
    let script = "const e = document.querySelector(`#learner-${arguments[0]} .${arguments[1]}`);
        return e.children.length ? [...e.children].map(c => c.textContent) : [e.textContent]";
    serde_json::from_value(browser.run(script, json!([learner, part]))).unwrap()
}

fn until_card(browser: &Browser, learner: usize, part: &str, wanted: &[String]) {
    let script = format!(
        "const e = document.querySelector('#learner-{learner} .{part}');
         return e.children.length ? [...e.children].map(c => c.textContent) : [e.textContent]"
    );
    until(browser, &script, &json!(wanted));
}

/// Where Kim is after this: with something out, and something refused.
fn some_way(r: &mut Rehearsal) -> (Vec<String>, Vec<Event>) {
    r.until("500/L-E");
    let before = r.events.len();
    r.say(Intent::Stated(Statement::Energised));
    let events: Vec<Event> = r.events[before..]
        .iter()
        .map(|(event, _)| event.clone())
        .collect();
    let out = r.session.state().open_entries().map(OutEntry::what);
    (out.collect(), events)
}

#[test]
fn an_instructor_sees_step_out_list_refusals_and_level_and_listens_and_the_learner_is_told() {
    let rules = axe();
    let mut taught = Taught::new(&["Kim", "Ash"]);
    let instructor = Browser::start();
    instructor.size(1280, 900);
    instructor.open(&taught.room.link().unwrap());
    until(&instructor, "return location.pathname", &json!("/watch"));
    until_card(&instructor, 0, "state", &["no phone".to_owned()]);
    until_card(&instructor, 0, "out", &["not known yet".to_owned()]);
    let meter = |n: usize| format!("return document.querySelector('#learner-{n} .level').value");
    assert_eq!(instructor.run(&meter(0), json!([])), -60);

    // The learner pairs, and his page hears something.
    let phone = instructor.beside(&microphone(&tone(taught.folder.path())));
    phone.size(390, 844);
    phone.open(&taught.phones[0].link().unwrap());
    until(&phone, "return location.pathname", &json!("/phone"));
    until(
        &phone,
        "return document.getElementById('begin').textContent.includes(\"This phone is Kim's.\")",
        &json!(true),
    );
    easy(&phone, &rules, "bay-begin");
    until(&phone, &shown("start"), &json!(true));
    phone.click("#start");
    until_card(&instructor, 0, "state", &["paired, heard".to_owned()]);
    until_card(&instructor, 1, "state", &["no phone".to_owned()]);
    let near = meter(0).replace("return ", "return Math.abs(12 + ") + ") < 3";
    until(&instructor, &near, &json!(true));
    assert_eq!(instructor.run(&meter(1), json!([])), -60);

    // His session goes on: everything stands on both pages.
    let mut r = Rehearsal::boathouse();
    let (out, events) = some_way(&mut r);
    assert!(!out.is_empty(), "something is out");
    let refused: Vec<String> = events
        .iter()
        .filter_map(|event| match event {
            Event::Refused { said, refusal } => Some(say::refused_to(said, refusal)),
            _ => None,
        })
        .collect();
    assert_eq!(refused.len(), 1, "{events:?}");
    let mut seen = taught.phones[0].beside(Box::new(Nobody));
    seen.kept(&events);
    seen.went_on(r.session.state());
    until_card(&instructor, 0, "out", &out);
    until_card(&instructor, 0, "refused", &refused);
    let place = say::where_are_we(r.session.state());
    until_card(&instructor, 0, "place", &[place]);
    let asked = say::prompt_in_full(r.session.state()).full;
    assert_eq!(card(&instructor, 0, "asked"), [asked]);
    until_card(
        &instructor,
        1,
        "refused",
        &["nothing was refused".to_owned()],
    );
    let on_phone = "return [...document.querySelectorAll('#out li')].map(i => i.textContent)";
    until(&phone, on_phone, &json!(out));
    let reading = "return document.getElementById('value').textContent";
    assert_eq!(
        phone.run(reading, json!([])),
        "L-N >999\u{a0}MΩ at\u{a0}500\u{a0}V"
    );

    // He is listened to, and is told so for as long as it lasts.
    let overheard = "return document.getElementById('overheard').textContent";
    assert_eq!(phone.run(overheard, json!([])), "");
    instructor.click("#learner-0 .listen");
    until(&phone, overheard, &json!("Your instructor listens."));
    easy(&phone, &rules, "bay-session");
    instructor.click("#silence");
    until(&phone, overheard, &json!(""));

    // A code for the other's phone, which is a picture.
    instructor.click("#learner-1 summary");
    let drawn = "const i = document.querySelector('#learner-1 img'); return i.checkVisibility() && i.naturalWidth > 0";
    until(&instructor, drawn, &json!(true));
    easy(&instructor, &rules, "watch");
    instructor.size(390, 844);
    easy(&instructor, &rules, "watch-narrow");
    let troubled = instructor.run(
        "return document.getElementById('trouble').textContent",
        json!([]),
    );
    assert_eq!(troubled, "");
    // Nothing on it says anything to a session.
    let buttons = "return [...document.querySelectorAll('#room button')].filter(b => b.checkVisibility()).map(b => b.textContent)";
    let wanted: Value = json!(["Listen to Kim", "Listen to Ash"]);
    assert_eq!(instructor.run(buttons, json!([])), wanted);

    for phone in taught.phones.drain(..) {
        phone.close();
    }
    until(&phone, &shown("over"), &json!(true));
    until(&instructor, &shown("over"), &json!(true));
}
