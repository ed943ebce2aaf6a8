//! The schedules of circuit details and of test results, as the standard's model forms have them: every
//! column of a whole job that was typed, compared cell by cell with what its events say, by code of this
//! test's own. The list of columns is from memory of BS 7671:2018+A2:2022, Appendix 6.

use crate::dialogues::plain::{Site, plain_answer};
use bothhands::grammar::Intent;
use bothhands::installation::Job;
use bothhands::log::Log;
use bothhands::quantity::{Pair, Reading, Relation, TestVoltage};
use bothhands::report::{Schedule, Times, csv, html, json, pdf};
use bothhands::sequence::{Ask, Event, Quantity, StepId};
use bothhands::terms::{Stage, Statement};
use std::collections::BTreeMap;

const JOB: &str = r#"
title = "Boathouse, every column"
kind = "initial-verification"
tester = "A. Learner"
[site]
name = "Rowing club boathouse"
[supply]
earthing = "TN-C-S"
phases = 1
ze_ohms = "0.35"
bonds = ["water"]
[[instrument]]
name = "tester"
serial = "IT-2204"
calibration_due = 2027-03-31
used_for = ["voltage-indication", "continuity", "insulation", "loop", "rcd"]
[[board]]
number = 1
name = "main board"
[[board.circuit]]
number = 1
name = "kitchen sockets"
kind = "ring"
device = { kind = "BS EN 61009 B", amps = 32, breaking_ka = 6 }
rcd = { milliamps = 30, waveform = "A" }
cable = "2.5/1.5 54 m"
wiring = "A"
reference_method = "100"
equipment_possible = false
sockets = 4
[[board.circuit]]
number = 2
name = "upstairs lights"
kind = "lighting"
device = { kind = "BS EN 60898 B", amps = 6, breaking_ka = 6 }
cable = "1.5/1 30 m"
wiring = "A"
reference_method = "B"
equipment_possible = false
afdd = true
lights = 2
[[board.circuit]]
number = 3
name = "outhouse"
kind = "distribution"
device = { kind = "BS 88-3", amps = 32, breaking_ka = 16 }
cable = "10/10 35 m"
wiring = "G"
reference_method = "D"
equipment_possible = false
[[board]]
number = 2
name = "outhouse board"
fed_from = "board 1, circuit 3"
surge = "type 2"
[[board.rcd]]
number = 1
standard = "BS EN 61008"
amps = 63
milliamps = 100
delay = "s"
waveform = "A"
tests = ["once"]
[[board.circuit]]
number = 1
name = "saw bench"
kind = "single-point"
device = { kind = "BS EN 60898 C", amps = 16, breaking_ka = 10 }
cable = "2.5/1.5 12 m"
wiring = "B"
reference_method = "B"
equipment_possible = false
"#;

/// What the job file gives, as the form has it: by hand. Longest times: Table 41.1 of BS 7671, 0.4 s for
/// final circuits and 5 s for distribution on TN. Largest Zs: Tables 41.3 and 41.4, as in trade tables of
/// this folder: B 32 1.37, B 6 7.28, C 16 1.37, BS 88-3 32 A at 5 s 1.60 (from memory).
const DETAILS: [(u16, [&str; 17]); 4] = [
    (
        1,
        [
            "1",
            "kitchen sockets, ring final",
            "A",
            "100",
            "4",
            "2.5",
            "1.5",
            "0.4",
            "BS EN 61009",
            "B",
            "32",
            "6",
            "1.37",
            "BS EN 61009",
            "A",
            "30",
            "32",
        ],
    ),
    (
        1,
        [
            "2",
            "upstairs lights, lighting",
            "A",
            "B",
            "2",
            "1.5",
            "1",
            "0.4",
            "BS EN 60898",
            "B",
            "6",
            "6",
            "7.28",
            "N/A",
            "N/A",
            "N/A",
            "N/A",
        ],
    ),
    (
        1,
        [
            "3",
            "outhouse, distribution",
            "G",
            "D",
            "–",
            "10",
            "10",
            "5",
            "BS 88-3",
            "N/A",
            "32",
            "16",
            "1.60",
            "N/A",
            "N/A",
            "N/A",
            "N/A",
        ],
    ),
    (
        2,
        [
            "1",
            "saw bench, single point",
            "B",
            "B",
            "–",
            "2.5",
            "1.5",
            "0.4",
            "BS EN 60898",
            "C",
            "16",
            "10",
            "1.37",
            "BS EN 61008",
            "A S",
            "100",
            "63",
        ],
    ),
];

/// The columns of the results, in the order of the form; "read at most" is what Zs is compared with.
const RESULTS: [&str; 16] = [
    "No.",
    "Ring Ω: r₁",
    "Ring Ω: rₙ",
    "Ring Ω: r₂",
    "Continuity Ω: R₁+R₂",
    "Continuity Ω: R₂",
    "Insulation MΩ: test V",
    "Insulation MΩ: live–live",
    "Insulation MΩ: live–earth",
    "Polarity",
    "Zₛ Ω: measured",
    "Zₛ Ω: read at most",
    "RCD: time ms",
    "RCD: button",
    "AFDD: button",
    "Remarks",
];

/// The whole job typed, another value wherever the plain one would be the same for all.
fn typed() -> (Site, Log) {
    let job = Job::parse(JOB, "form.toml").unwrap();
    let (mut site, _) = Site::typed(job, "2026-11-25T09:30:00Z".parse().unwrap());
    let mut n = 0;
    while let Some(plain) = plain_answer(site.state()) {
        let step = site.state().current().unwrap().clone();
        let asked = site.state().question().is_none();
        let words = match &step.ask {
            Ask::Reading(measure) if asked && measure.quantity == Quantity::Insulation => {
                n += 1;
                format!("{} megohms", 200 + n)
            }
            Ask::Reading(measure) if asked && measure.quantity == Quantity::SupplyVoltage => {
                match measure.pair {
                    Some(Pair::NE) => "two volts".to_owned(),
                    Some(Pair::LE) => "two three nine".to_owned(),
                    _ => "two four one volts".to_owned(),
                }
            }
            Ask::Reading(measure) if asked && measure.quantity == Quantity::RcdTime => {
                n += 1;
                let slow = if step.circuit.is_none() { 180 } else { 15 };
                (slow + n % 7).to_string()
            }
            // With a long lead, in place of R1+R2.
            _ if asked && step.id.to_string() == "b2/c1/continuity/link" => {
                "r two zero point one four".to_owned()
            }
            _ if asked && step.id.to_string() == "b1/c2/polarity/dead" => {
                "not tested no access".to_owned()
            }
            _ => plain.words().replace(" at water bond", ""),
        };
        let before = site.events.len();
        let lines = site
            .type_in(&words)
            .unwrap_or_else(|why| panic!("{}: {words:?}: {why}", step.id));
        let refused = site.events[before..]
            .iter()
            .any(|(event, _)| matches!(event, Event::Refused { .. }));
        assert!(
            !refused && site.events.len() > before,
            "{}: {words:?}: {lines:?}",
            step.id
        );
    }
    site.say(&Intent::Finish).unwrap();
    let log = Log::of(site.events.clone());
    (site, log)
}

/// What the events say: the last reading and the last statement of each step, and what was not tested.
#[derive(Default)]
struct Said {
    readings: BTreeMap<String, (StepId, Reading)>,
    stated: BTreeMap<String, Statement>,
    not_tested: Vec<String>,
}

impl Said {
    fn of(site: &Site) -> Self {
        let mut said = Self::default();
        for (event, _) in &site.events {
            match event {
                Event::Reading { step, reading, .. } => {
                    said.readings
                        .insert(step.to_string(), (step.clone(), *reading));
                }
                Event::Stated {
                    step, statement, ..
                } => {
                    said.stated.insert(step.to_string(), *statement);
                }
                Event::NotTested { step, .. } => said.not_tested.push(step.to_string()),
                _ => {}
            }
        }
        said
    }

    /// The readings of a stage on a circuit, or of the board.
    fn of_stage(&self, board: u16, circuit: Option<u16>, stage: Stage) -> Vec<(&StepId, &Reading)> {
        let all = self
            .readings
            .values()
            .map(|(step, reading)| (step, reading));
        all.filter(|(step, _)| (step.board, step.circuit, step.stage) == (board, circuit, stage))
            .collect()
    }

    fn worst(readings: &[(&StepId, &Reading)], highest: bool) -> String {
        let mut sorted = readings.to_vec();
        sorted.sort_by(|a, b| a.1.size().total_cmp(&b.1.size()));
        let worst = if highest {
            sorted.last()
        } else {
            sorted.first()
        };
        worst.map_or("N/A".to_owned(), |(_, reading)| text(reading))
    }
}

fn text(reading: &Reading) -> String {
    let number = reading.number.map(|n| n.to_string()).unwrap_or_default();
    match reading.relation {
        Relation::Exact => number,
        Relation::Over => format!(">{number}"),
        Relation::Under => format!("<{number}"),
        Relation::OverRange => "over range".to_owned(),
    }
}

/// What should stand in the results of a circuit: nothing for a column that the test leaves out.
fn wanted(said: &Said, board: u16, circuit: u16, afdd: bool, group: bool) -> Vec<Option<String>> {
    let of = |stage| said.of_stage(board, Some(circuit), stage);
    let tail =
        |readings: &[(&StepId, &Reading)], wanted: &dyn Fn(&StepId, &Reading) -> bool, highest| {
            let own: Vec<_> = readings
                .iter()
                .copied()
                .filter(|(step, reading)| wanted(step, reading))
                .collect();
            Some(Said::worst(&own, highest))
        };
    let ring = of(Stage::Ring);
    let end = |name: &'static str| {
        tail(
            &ring,
            &move |step, _| step.tail.rsplit('/').next() == Some(name),
            true,
        )
    };
    let (r2, mut r1_r2): (Vec<_>, Vec<_>) = of(Stage::Continuity)
        .into_iter()
        .partition(|(step, _)| step.tail.ends_with("/R2"));
    r1_r2.extend(
        ring.iter()
            .copied()
            .filter(|(_, reading)| reading.pair == Some(Pair::LE)),
    );
    // Trials at 250 V are no results.
    let insulation: Vec<_> = of(Stage::Insulation)
        .into_iter()
        .filter(|(_, reading)| reading.at == Some(TestVoltage::V500))
        .collect();
    let earth = |reading: &Reading| {
        reading
            .pair
            .is_some_and(|pair| pair.to_string().ends_with('E'))
    };
    let tick = |stated: Option<&Statement>, none: &str| match stated {
        Some(Statement::PolarityCorrect | Statement::Tripped | Statement::Pass) => {
            Some("✓".to_owned())
        }
        Some(other) => panic!("{other:?}"),
        None => Some(none.to_owned()),
    };
    let polarity = format!("b{board}/c{circuit}/polarity/dead");
    let limited = said.not_tested.contains(&polarity);
    let (rcd, button) = if group {
        (
            said.of_stage(board, None, Stage::Rcd),
            format!("b{board}/residual-current-device/rcd/1/button"),
        )
    } else {
        (
            of(Stage::Rcd),
            format!("b{board}/c{circuit}/residual-current-device/button"),
        )
    };
    let rated: Vec<_> = rcd
        .into_iter()
        .filter(|(step, _)| step.tail.contains("rated"))
        .collect();
    vec![
        Some(circuit.to_string()),
        end("r1"),
        end("rn"),
        end("r2"),
        Some(Said::worst(&r1_r2, true)),
        Some(Said::worst(&r2, true)),
        Some("500".to_owned()),
        tail(&insulation, &|_, reading| !earth(reading), false),
        tail(&insulation, &|_, reading| earth(reading), false),
        if limited {
            Some("LIM L1".to_owned())
        } else {
            tick(said.stated.get(&polarity), "N/A")
        },
        Some(Said::worst(&of(Stage::LoopImpedance), true)),
        Some(read_at_most(said, board, circuit)),
        Some(Said::worst(&rated, true)),
        tick(said.stated.get(&button), "N/A"),
        tick(
            said.stated
                .get(&format!("b{board}/functional-checks/arc-fault/{circuit}"))
                .filter(|_| afdd),
            "N/A",
        ),
        Some(
            match (limited, group) {
                (true, _) => "see L1",
                (_, true) => "protected by RCD 1",
                _ => "–",
            }
            .to_owned(),
        ),
    ]
}

/// What a cold reading of Zs is compared with: what is outside the circuit as it was read, and of what the
/// largest Zs leaves for the circuit the part that is cold at 20 °C, 1/1.20 of it at 70 °C (IEC 60228: 0.004
/// per kelvin). Where what is outside is not known, all of it. Rounded down.
fn read_at_most(said: &Said, board: u16, circuit: u16) -> String {
    let row = DETAILS
        .iter()
        .find(|(b, row)| (*b, row[0]) == (board, circuit.to_string().as_str()))
        .unwrap();
    let largest: f64 = row.1[12].parse().unwrap();
    let ze: f64 = match board {
        1 => Said::worst(&said.of_stage(1, None, Stage::ExternalLoop), true)
            .parse()
            .unwrap(),
        _ => 0.0,
    };
    let most = ze + (largest - ze) / 1.20;
    let shown = (most * 100.0 + 1e-6).floor() / 100.0;
    shown.to_string()
}

/// The tables of a page with this caption: labels of their cells and what stands there, without signs.
fn tables(page: &str, caption: &str) -> Vec<Vec<Vec<(String, String)>>> {
    let begins = format!("<caption>{caption}</caption>");
    let tables = page.split(&begins).skip(1);
    tables
        .map(|table| {
            let body = table
                .split("<tbody>")
                .nth(1)
                .unwrap()
                .split("</tbody>")
                .next()
                .unwrap();
            body.split("<tr>").skip(1).map(cells).collect()
        })
        .collect()
}

fn cells(row: &str) -> Vec<(String, String)> {
    row.split("<td data-label=\"")
        .skip(1)
        .map(|cell| {
            let (label, rest) = cell.split_once('"').unwrap();
            // The sign of a verdict is no part of the value.
            let rest = rest.split("<span class=\"sign").next().unwrap();
            let mut text = String::new();
            let mut inside = true;
            for c in rest.chars() {
                match c {
                    '<' => inside = true,
                    '>' => inside = false,
                    _ if !inside => text.push(c),
                    _ => {}
                }
            }
            (label.to_owned(), text.trim().replace("&gt;", ">"))
        })
        .collect()
}

#[test]
fn every_column_of_the_form_is_filled_from_a_typed_job_and_says_what_the_log_says() {
    let (site, log) = typed();
    let schedule = Schedule::of(&log, &Times::utc()).unwrap();
    let said = Said::of(&site);
    let page = html(&schedule);

    let details: Vec<_> = tables(&page, "Circuit details")
        .into_iter()
        .flatten()
        .collect();
    assert_eq!(details.len(), DETAILS.len());
    for (row, (board, wanted)) in details.iter().zip(DETAILS) {
        let found: Vec<&str> = row.iter().map(|(_, text)| text.as_str()).collect();
        assert_eq!(found, wanted, "board {board}");
    }

    let results: Vec<_> = tables(&page, "Test results")
        .into_iter()
        .flatten()
        .collect();
    let places = [
        (1, 1, false, false),
        (1, 2, true, false),
        (1, 3, false, false),
        (2, 1, false, true),
    ];
    assert_eq!(results.len(), places.len());
    let mut compared = 0;
    for (row, (board, circuit, afdd, group)) in results.iter().zip(places) {
        let labels: Vec<&str> = row.iter().map(|(label, _)| label.as_str()).collect();
        assert_eq!(labels, RESULTS);
        for ((label, text), wanted) in row.iter().zip(wanted(&said, board, circuit, afdd, group)) {
            if let Some(wanted) = wanted {
                assert_eq!(*text, wanted, "board {board}, circuit {circuit}, {label}");
                compared += 1;
            }
        }
    }
    assert_eq!(compared, 4 * 16);
    // Each column holds a value in some row, so that none was compared with nothing alone.
    for (n, label) in RESULTS.iter().enumerate() {
        let held = results
            .iter()
            .any(|row| !matches!(row[n].1.as_str(), "N/A" | "–" | ""));
        assert!(held, "{label} holds nothing in any row");
    }

    // Cold against cold: what was read is within what may be read, and that is under the largest Zs.
    for row in &results {
        let number = |n: usize| row[n].1.parse::<f64>().unwrap();
        assert!(number(10) <= number(11), "{row:?}");
    }

    // The heading of each board, on the page, in JSON and in CSV.
    let zdb = Said::worst(&said.of_stage(1, Some(3), Stage::LoopImpedance), true);
    let ze = Said::worst(&said.of_stage(1, None, Stage::ExternalLoop), true);
    let current = |board| Said::worst(&said.of_stage(board, None, Stage::FaultCurrent), true);
    for wanted in [
        "<dt>Zₑ</dt><dd><span><span class=\"value\"".to_owned(),
        format!(">{ze} Ω</span>"),
        "<dt>Zdb</dt>".to_owned(),
        format!(">{zdb} Ω</span>"),
        format!(">{} kA</span>", current(1)),
        format!(">{} kA</span>", current(2)),
        "<dd>board 1, circuit 3 outhouse: BS 88-3 32 A</dd>".to_owned(),
        "<dd>type 2</dd>".to_owned(),
    ] {
        assert!(page.contains(&wanted), "{wanted}");
    }
    let volts: Vec<String> = ["L-N", "L-E", "N-E"]
        .iter()
        .map(|pair| {
            let step = format!("b1/supply-polarity/voltage/{pair}");
            format!("{pair} {} V", text(&said.readings[&step].1))
        })
        .collect();
    let tick = |step: &str, wanted: Statement| {
        assert_eq!(said.stated.get(step), Some(&wanted), "{step}");
        "✓".to_owned()
    };
    let headings: [Vec<(&str, String)>; 2] = [
        vec![
            ("Supplied from", "the origin".to_owned()),
            ("Zₑ", format!("{ze} Ω")),
            ("Ipf, the highest read", format!("{} kA", current(1))),
            ("Surge protection", "none on record".to_owned()),
            ("Nominal voltage U/U₀", "230 V".to_owned()),
            ("Voltage of the supply, read", volts.join(", ")),
            (
                "Polarity of the supply",
                tick("b1/supply-polarity/incoming", Statement::PolarityCorrect),
            ),
        ],
        vec![
            (
                "Supplied from",
                "board 1, circuit 3 outhouse: BS 88-3 32 A".to_owned(),
            ),
            ("Zdb", format!("{zdb} Ω")),
            ("Ipf, the highest read", format!("{} kA", current(2))),
            ("Surge protection", "type 2".to_owned()),
            (
                "Its indicator",
                tick("b2/functional-checks/surge", Statement::IndicatorGreen),
            ),
        ],
    ];
    for (board, wanted) in schedule.boards.iter().zip(&headings) {
        let found: Vec<(&str, String)> = board
            .heading
            .iter()
            .map(|row| (row.what, row.text()))
            .collect();
        assert_eq!(found, *wanted, "heading of board {}", board.number);
    }

    // The same in CSV and in JSON; and in the PDF, where no column may be lost.
    let table = csv(&schedule);
    let mut lines =
        csv::ReaderBuilder::new().from_reader(table.trim_start_matches('\u{feff}').as_bytes());
    let heads = lines.headers().unwrap().clone();
    let at = |name: &str| {
        heads
            .iter()
            .position(|head| head == name)
            .unwrap_or_else(|| panic!("no {name}"))
    };
    // In CSV without units where the name of the column has them.
    let in_csv = |board: usize, name: &str| {
        let what: &[&str] = match name {
            "board supplied from" => &["Supplied from"],
            "Ze or Zdb ohm" => &["Zₑ", "Zdb"],
            "Ipf kA" => &["Ipf, the highest read"],
            "surge protection" => &["Surge protection"],
            "surge indicator" => &["Its indicator"],
            "supply polarity" => &["Polarity of the supply"],
            "phase sequence" => &["Phase sequence"],
            "nominal voltage" => &["Nominal voltage U/U₀"],
            "supply voltage" => &["Voltage of the supply, read"],
            other => panic!("{other}"),
        };
        let mut rows = headings[board].iter();
        let row = rows.find(|(name, _)| what.contains(name));
        row.map_or("N/A".to_owned(), |(_, text)| match name {
            "Ze or Zdb ohm" | "Ipf kA" => text.split(' ').next().unwrap().to_owned(),
            _ => text.clone(),
        })
    };
    for (row, (details, results)) in lines
        .records()
        .map(Result::unwrap)
        .zip(details.iter().zip(&results))
    {
        for (name, n) in [
            ("circuit", 0),
            ("type of wiring", 2),
            ("reference method", 3),
            ("live conductors mm2", 5),
            ("cpc mm2", 6),
            ("longest disconnection s", 7),
            ("device BS (EN)", 8),
            ("device type", 9),
            ("rating A", 10),
            ("breaking capacity kA", 11),
            ("Zs maximum ohm", 12),
            ("RCD BS (EN)", 13),
            ("RCD rating A", 16),
        ] {
            assert_eq!(&row[at(name)], details[n].1, "{name}");
        }
        for name in [
            "board supplied from",
            "Ze or Zdb ohm",
            "Ipf kA",
            "surge protection",
            "surge indicator",
            "supply polarity",
            "phase sequence",
            "nominal voltage",
            "supply voltage",
        ] {
            let board: usize = row[at("board")].parse().unwrap();
            assert_eq!(row[at(name)], in_csv(board - 1, name), "{name}");
        }
        for (name, n) in [
            ("insulation test V", 6),
            ("insulation live-live Mohm", 7),
            ("insulation live-earth Mohm", 8),
            ("Zs ohm", 10),
            ("Zs read at most ohm", 11),
            ("AFDD button", 14),
        ] {
            assert_eq!(&row[at(name)], results[n].1, "{name}");
        }
        for (name, n) in [
            ("ring r1 ohm", 1),
            ("ring rn ohm", 2),
            ("ring r2 ohm", 3),
            ("R1+R2 ohm", 4),
            ("R2 ohm", 5),
            ("RCD rated ms", 12),
        ] {
            assert_eq!(row[at(name)].replace('–', "N/A"), results[n].1, "{name}");
        }
    }
    let lines: serde_json::Value = serde_json::from_str(&json(&schedule)).unwrap();
    for (n, row) in results.iter().take(3).enumerate() {
        let form = &lines["boards"][0]["circuits"][n]["form"];
        assert_eq!(form["live_live"]["shown"], row[7].1.as_str());
        assert_eq!(form["live_earth"]["shown"], row[8].1.as_str());
    }
    let told = |board: usize, what: &str| {
        let rows = lines["boards"][board]["heading"].as_array().unwrap();
        rows.iter().find(|row| row["what"] == what).unwrap().clone()
    };
    let read = told(0, "Voltage of the supply, read");
    let pairs: Vec<String> = read["read"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| {
            let (pair, result) = (one["pair"].as_str().unwrap(), &one["result"]);
            format!("{pair} {} V", result["shown"].as_str().unwrap())
        })
        .collect();
    assert_eq!(pairs, volts);
    let text = super::reports::poppler("pdftotext", &["-layout"], &pdf(&schedule).unwrap());
    for text_of in details
        .iter()
        .chain(&results)
        .flatten()
        .map(|(_, text)| text)
    {
        for word in text_of.split_whitespace() {
            assert!(text.contains(word), "the PDF lacks {word:?}");
        }
    }
}
