//! The schedule of inspection: every item of a whole job that was typed, compared with what its events say, on
//! the page, in the PDF and in JSON. The marks are those of the model form of BS 7671:2018+A2:2022, Appendix 6,
//! from memory.

use crate::dialogues::plain::{Site, plain_answer};
use bothhands::grammar::Intent;
use bothhands::installation::Job;
use bothhands::log::Log;
use bothhands::report::{Schedule, Times, html, json, pdf};
use bothhands::sequence::Event;
use bothhands::terms::Statement;
use std::collections::BTreeMap;

const JOB: &str = include_str!("../dialogues/jobs/inspected.toml");

/// What is typed at each item, and the mark that the form has for it.
const ANSWERS: [(&str, &str, &str); 7] = [
    ("1.1", "satisfactory", "✓"),
    ("1.2", "code three", "C3"),
    ("4.3", "code two", "C2"),
    ("4.12", "further investigation", "FI"),
    ("4.20", "limitation", "LIM"),
    ("6.1", "not applicable", "N/A"),
    ("6.2", "not verified", "N/V"),
];

/// The statement that each mark stands for.
fn marked(said: Statement) -> &'static str {
    match said {
        Statement::Satisfactory => "✓",
        Statement::DangerCodeOne => "C1",
        Statement::CodeTwo => "C2",
        Statement::CodeThree => "C3",
        Statement::FurtherInvestigation => "FI",
        Statement::Limitation => "LIM",
        Statement::NotVerified => "N/V",
        Statement::NotApplicable => "N/A",
        other => panic!("{other:?} is none of an item"),
    }
}

fn typed() -> Site {
    let job = Job::parse(JOB, "inspected.toml").unwrap();
    let (mut site, _) = Site::typed(job, "2026-11-25T09:30:00Z".parse().unwrap());
    while let Some(plain) = plain_answer(site.state()) {
        let step = site.state().current().unwrap().clone();
        let item = step.item().map(|item| item.to_string());
        let answer = ANSWERS
            .iter()
            .find(|(number, ..)| item.as_deref() == Some(number));
        let words = match answer {
            Some((_, words, _)) => (*words).to_owned(),
            None if step.id.tail == "outcome" => "unsatisfactory".to_owned(),
            None => plain.words(),
        };
        site.type_in(&words)
            .unwrap_or_else(|why| panic!("{}: {words}: {why}", step.id));
        if answer
            .is_some_and(|(_, words, _)| words.starts_with("code") || words.starts_with("further"))
        {
            site.type_in(&format!("what was seen at {}", item.unwrap()))
                .unwrap();
            site.type_in("end of note").unwrap();
        }
    }
    site.say(&Intent::Finish).unwrap();
    site
}

#[test]
fn every_item_of_the_inspection_says_what_the_log_says() {
    let site = typed();
    // The last that the events say of each item.
    let mut said: BTreeMap<String, &'static str> = BTreeMap::new();
    let mut outcome = None;
    for (event, _) in &site.events {
        if let Event::Stated {
            step, statement, ..
        } = event
        {
            let kept = site.state().step(step).unwrap();
            match kept.item() {
                Some(item) => {
                    said.insert(item.to_string(), marked(*statement));
                }
                None if step.tail == "outcome" => outcome = Some(*statement),
                None => {}
            }
        }
    }
    let wanted: BTreeMap<String, &str> = ANSWERS
        .iter()
        .map(|(number, _, mark)| ((*number).to_owned(), *mark))
        .collect();
    assert_eq!(said, wanted);
    assert_eq!(outcome, Some(Statement::Unsatisfactory));

    let log = Log::of(site.events.clone());
    let schedule = Schedule::of(&log, &Times::utc()).unwrap();
    let inspection = schedule.inspection.as_ref().unwrap();
    let job = site.state().job().inspection.clone().unwrap();
    let items: Vec<_> = inspection.sections.iter().flat_map(|s| &s.items).collect();
    assert_eq!(items.len(), ANSWERS.len());
    let page = html(&schedule);
    let paper = super::reports::poppler("pdftotext", &["-layout"], &pdf(&schedule).unwrap());
    let data: serde_json::Value = serde_json::from_str(&json(&schedule)).unwrap();
    let rows: Vec<&serde_json::Value> = data["inspection"]["sections"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|section| section["items"].as_array().unwrap())
        .collect();
    for (row, given) in rows.iter().zip(job.all()) {
        let number = given.number.to_string();
        assert_eq!(row["number"], number.as_str());
        assert_eq!(row["text"], given.text.as_str(), "{number}");
        assert_eq!(row["mark"], said[&number], "{number}");
        let begins = format!("<th scope=\"row\">{number}</th>");
        let (_, after) = page
            .split_once(&begins)
            .unwrap_or_else(|| panic!("no item {number}"));
        let shown = after.split("</tr>").next().unwrap();
        assert!(
            shown.to_lowercase().contains(&given.text.to_lowercase()),
            "{number}: {shown}"
        );
        assert!(
            shown.contains(&format!(">{}<", said[&number])),
            "{number}: {shown}"
        );
        let line = paper
            .lines()
            .find(|line| line.trim_start().starts_with(&format!("{number} ")))
            .unwrap_or_else(|| panic!("the PDF has no item {number}"));
        assert!(line.contains(said[&number]), "{line}");
    }
    // What was seen stands with its code, and the extent and its limits as the job has them.
    let codes: Vec<(&str, Option<&str>)> = schedule
        .observations
        .iter()
        .map(|seen| (seen.code, seen.item.as_deref()))
        .collect();
    assert_eq!(
        codes,
        [
            ("C3", Some("1.2")),
            ("C2", Some("4.3")),
            ("FI", Some("4.12"))
        ]
    );
    // Here each was told in one piece, which a microphone would have kept as sound.
    for seen in &schedule.observations {
        assert_eq!(seen.words.len() + seen.sounds.len(), 1, "{seen:?}");
    }
    for text in [&job.extent, &job.agreed_limitations, &job.agreed_with] {
        let text = text.as_deref().unwrap().replace('\'', "&#39;");
        let plain = text.replace("&#39;", "'");
        assert!(page.contains(&text) || page.contains(&plain), "{text}");
    }
    assert!(page.contains("as the person who inspected says: unsatisfactory."));
}
