//! The laws of `sequence::invariants` can fail: each refuses the event that would break it, whatever
//! the guards of the state machine think of it, and lets the same event pass where it is due. So a
//! guard that is taken out by mistake is found by the dialogues and by the walk in `model_walk.rs`.

use crate::dialogues::plain::Site;
use bothhands::installation::Job;
use bothhands::quantity::{Pair, Reading, TestVoltage, Unit};
use bothhands::sequence::{Event, EventNo, Refusal, StepId, Withdrawal};
use bothhands::terms::Statement;
use std::path::Path;

const MORNING: &str = "2026-11-25T09:30:00Z";

/// A site where everything was answered plainly until the step whose name ends so is asked for.
fn site_at(job: &str, end: &str) -> Site {
    let job = Job::load(Path::new(&format!("tests/dialogues/jobs/{job}.toml"))).unwrap();
    let (mut site, _) = Site::typed(job, MORNING.parse().unwrap());
    if !end.is_empty() {
        site.plainly_to(end).unwrap();
    }
    site
}

fn step(site: &Site, end: &str) -> StepId {
    let mut steps = site.state().plan().steps.iter();
    steps
        .find(|step| step.id.to_string().ends_with(end))
        .unwrap_or_else(|| panic!("no step {end}"))
        .id
        .clone()
}

fn stated(site: &Site, end: &str, statement: Statement) -> Event {
    Event::Stated {
        step: step(site, end),
        statement,
        place: None,
    }
}

fn read(site: &Site, end: &str, reading: Reading) -> Event {
    Event::Reading {
        step: step(site, end),
        reading,
        place: None,
        half: None,
        verdict: None,
        doubt: None,
        question: None,
        replaces: None,
        calculated: None,
    }
}

fn at_500() -> Reading {
    Reading::exact("500".parse().unwrap())
        .in_unit(Unit::MegOhm)
        .between(Pair::LN)
        .at(TestVoltage::V500)
}

fn broken(site: &Site, event: &Event) -> String {
    site.session
        .watch()
        .check(event, site.now)
        .expect_err("no law was broken")
}

#[test]
fn no_dead_test_before_proving_dead() {
    let fresh = site_at("plain", "");
    let reading = read(&fresh, "500/L-N", at_500());
    assert!(broken(&fresh, &reading).contains("before proving dead"));
    let due = site_at("plain", "500/L-N");
    due.session.watch().check(&reading, due.now).unwrap();
}

#[test]
fn dead_counts_only_with_the_indicator_proved_and_the_board_locked_off() {
    let fresh = site_at("plain", "");
    let dead = stated(&fresh, "isolation/dead/L-N", Statement::Dead);
    assert!(broken(&fresh, &dead).contains("\"dead\" taken before"));
    let due = site_at("plain", "isolation/dead/L-N");
    due.session.watch().check(&dead, due.now).unwrap();
}

#[test]
fn no_500_volts_with_electronics_in_circuit() {
    let mut site = site_at("radial", "c4/insulation-resistance/trial");
    let reading = read(&site, "500/L-N", at_500());
    site.type_in("over 999").unwrap();
    assert!(broken(&site, &reading).contains("electronics in circuit"));
    site.type_in("door entry unit out").unwrap();
    site.session.watch().check(&reading, site.now).unwrap();
}

#[test]
fn no_live_test_before_energising() {
    let site = site_at("radial", "c4/insulation-resistance/trial");
    let live = site.state().plan().steps.iter().find(|s| s.is_live_test());
    let live = live.unwrap().id.to_string();
    let reading = read(&site, &live, Reading::exact("0.2".parse().unwrap()));
    assert!(broken(&site, &reading).contains("before energising"));
}

#[test]
fn not_energised_with_something_out_or_dead_tests_open() {
    let mut site = site_at("plain", "500/L-N");
    let energised = stated(&site, "energise/on", Statement::Energised);
    assert!(broken(&site, &energised).contains("dead test open"));
    site.type_in("neutral out at socket one").unwrap();
    assert!(broken(&site, &energised).contains("still out"));
    site.type_in("neutral back at socket one").unwrap();
    site.plainly_to("energise/on").unwrap();
    site.session.watch().check(&energised, site.now).unwrap();
}

#[test]
fn nothing_leaves_the_out_list_unasked() {
    let mut site = site_at("plain", "500/L-N");
    site.type_in("neutral out at socket one").unwrap();
    let entry = site.state().open_entries().next().unwrap().no;
    let withdrawn = Event::Withdrawn {
        of: entry,
        why: Withdrawal::Negative,
    };
    assert!(broken(&site, &withdrawn).contains("off the out-list"));
    let nothing = Event::PutBack {
        entries: vec![EventNo(entry.0 + 7)],
    };
    assert!(broken(&site, &nothing).contains("was not out"));
    let finished = Event::Finished {
        left_open: 0,
        left_undone: 0,
    };
    assert!(broken(&site, &finished).contains("still out"));
    let back = Event::PutBack {
        entries: vec![entry],
    };
    site.session.watch().check(&back, site.now).unwrap();
}

/// The earthing conductor goes back before anything is inspected: it is said so, and no law is broken.
#[test]
fn no_item_is_inspected_with_the_earthing_conductor_off() {
    let mut site = site_at("inspected", "");
    let mut said = |words: &str| {
        let before = site.events.len();
        site.type_in(words).unwrap();
        site.events.split_off(before)
    };
    said("earthing conductor off");
    let came = said("item 4.3 satisfactory");
    let refused = Refusal::MustGoBack { entries: 1 };
    assert!(
        matches!(&came[..], [(Event::Refused { refusal, .. }, _)] if *refusal == refused),
        "{came:?}"
    );
    said("earthing conductor back");
    let came = said("item 4.3 satisfactory");
    assert!(matches!(&came[..], [(Event::Stated { .. }, _)]), "{came:?}");
}
