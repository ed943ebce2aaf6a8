//! Practice on a server: what the views say of it is what the program's own marking makes of the log.

use super::server::{Database, Server};
use super::{micros, records, says, to, well};
use crate::keeping::folder_in_memory;
use crate::looking_back::rehearsal::Rehearsal;
use crate::practice::learner::{Habit, JOB, Learner};
use bothhands::grammar::Intent;
use bothhands::installation::Job;
use bothhands::log::Log;
use bothhands::marking::{Criteria, Economy, Sheet, Weights, mark};
use bothhands::practice::Hidden;
use bothhands::report::words;
use bothhands::sequence::say::refused_in_short;
use bothhands::sequence::{Agenda, Event};
use bothhands::store::{OpenMode, Store};
use bothhands::terms::{FaultKind, Level, Practice};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

fn job() -> Job {
    Job::parse(JOB, "bay.toml").unwrap()
}

fn open_leg() -> Hidden {
    Hidden::drawn(&job(), 7, 1, &[FaultKind::OpenLeg])
}

/// Who learns by a job with nothing hidden in it, as he is when he is through.
fn through(habit: Option<Habit>, level: Level) -> Learner {
    let mut learner = Learner::begin(JOB, Hidden::nothing(), level, habit);
    learner.go_to_the_end();
    learner
}

fn strike_what_is_wrong(learner: &mut Learner, reason: &str) {
    let sheet = learner.sheet();
    let wrong = sheet.readings.iter().find(|judged| judged.is_wrong());
    let struck = Event::Struck {
        of: wrong.unwrap().event,
        reason: reason.to_owned(),
        by: None,
    };
    learner.events.push((struck, learner.now));
}

/// What a sound is called that an event rests on.
fn sound(store: &Store, evidence: Option<&String>) -> Option<String> {
    let evidence = store.evidence(&evidence?.parse().unwrap()).unwrap();
    Some(evidence.unwrap().sound_hash().to_string())
}

fn sheet_of(log: &Log) -> Sheet {
    mark(
        log,
        None,
        None,
        &Criteria::default(),
        &mut Economy::default(),
    )
    .unwrap()
}

#[test]
fn practices_are_marked_on_the_server_as_they_are_here() {
    let database = Server::with_tls().database();
    let dir = folder_in_memory();
    let mut paths: Vec<PathBuf> = Vec::new();
    let mut keep = |name: &str, learner: &Learner| {
        let path = dir.path().join(format!("{name}.db"));
        learner.keep(&path, true);
        paths.push(path);
    };
    // One fault, found; in silence.
    let mut found = Learner::begin(JOB, open_leg(), Level::Silent, None);
    let hidden = open_leg().faults.remove(0);
    found.diagnosis = vec![Intent::Diagnose(Some(hidden)).words()];
    found.go_to_the_end();
    keep("found", &found);
    for habit in [
        Habit::DoesNotIsolate,
        Habit::ElectronicsLeftIn,
        Habit::RingNotCrossed,
        Habit::BondLeftOff,
        Habit::SkipsPolarity,
    ] {
        keep(&format!("{habit:?}"), &through(Some(habit), Level::Led));
    }
    // One who asks, and stops in the middle.
    let mut half = Learner::begin(JOB, open_leg(), Level::Asked, Some(Habit::ProvesOnePair));
    half.say("what can i say");
    half.go_to("bond/water");
    keep("half", &half);
    // A slip of the decimal point, struck for what was heard.
    let mut struck = through(Some(Habit::DecimalPlaceOff), Level::Led);
    strike_what_is_wrong(&mut struck, "a lorry\0 passed");
    keep("struck", &struck);
    let mut predicts = Learner::begin_as(job(), Hidden::nothing(), Level::Led, true, None);
    predicts.predicts = true;
    predicts.go_to_the_end();
    keep("predicts", &predicts);
    // Electronics left in at 500 volts, and energised for all that: the one comes of the other.
    let mut hasty = Learner::begin(
        JOB,
        Hidden::nothing(),
        Level::Led,
        Some(Habit::ElectronicsLeftIn),
    );
    let destroyed = |learner: &Learner| learner.bench.destroyed().count() > 0;
    let something_out = |learner: &Learner| learner.session.state().open_entries().count() > 0;
    while !destroyed(&hasty) || something_out(&hasty) {
        hasty.go_on();
    }
    hasty.say("go to energise");
    hasty.go_to_the_end();
    keep("hasty", &hasty);
    // Nobody learns by this one.
    let mut tested = Rehearsal::boathouse();
    tested.until("500/L-E");
    tested.say(Intent::Finish);
    tested.say(Intent::Stated(bothhands::terms::Statement::Energised));
    let path = dir.path().join("tested.db");
    tested.keep(&path, true);
    paths.push(path);
    // Somebody learns by the same on a real installation.
    if let Event::Opened { practice, .. } = &mut tested.events[0].0 {
        *practice = Some(Box::new(Practice {
            learner: "B. Learner".to_owned(),
            level: Level::Led,
            predict: false,
            simulated: None,
        }));
    }
    let path = dir.path().join("learned.db");
    tested.keep(&path, true);
    paths.push(path);

    let all: Vec<&Path> = paths.iter().map(PathBuf::as_path).collect();
    well(&mut to(&database, &all));
    let mut seen = [0; 6];
    for path in &paths {
        for (seen, here) in seen.iter_mut().zip(compare(&database, path)) {
            *seen += here;
        }
    }
    let [refusals, probed, lapses, under, readings, predictions] = seen;
    println!("{seen:?}");
    assert!(refusals > 8 && probed > 1 && lapses > 10 && under > 0);
    assert!(readings > 200 && predictions > 40);
    let number = |query: &str| database.number(query);
    assert_eq!(number("SELECT count(*) FROM bothhands.practices"), 11);
    assert_eq!(number("SELECT count(*) FROM bothhands.sheets"), 11);
    // Whoever looks for tests finds those of a real installation.
    for view in ["jobs", "readings", "verdicts", "out_list", "refusals"] {
        let logs = number(&format!(
            "SELECT count(DISTINCT log) FROM bothhands.{view} WHERE NOT practised"
        ));
        assert_eq!(logs, 2, "{view}");
    }
    let found = "SELECT count(*) FROM bothhands.diagnoses WHERE places = 1";
    assert_eq!(number(found), 1);
    let destroyed = r#"SELECT count(*) FROM bothhands.refusals
        WHERE consequence @> '[{"came": "destroyed"}]'"#;
    assert!(number(destroyed) > 0);
}

/// Who goes on, and who is put right afterwards, is marked anew; what came of it before is gone.
#[test]
fn a_practice_that_goes_on_or_is_struck_is_marked_anew() {
    let database = Server::with_tls().database();
    let dir = folder_in_memory();
    let path = dir.path().join("bay.db");
    let passed = || database.rows("SELECT finished, passed FROM bothhands.sheets");
    let wrong = || {
        database.number(
            "SELECT count(*) FROM bothhands.judged
             WHERE judgement NOT IN ('as-shown', 'agrees', 'not-compared') AND struck IS NULL",
        )
    };
    let mut learner = Learner::begin(
        JOB,
        Hidden::nothing(),
        Level::Led,
        Some(Habit::DecimalPlaceOff),
    );
    learner.go_to("bond/water");
    learner.keep(&path, true);
    well(&mut to(&database, &[&path]));
    compare(&database, &path);
    assert_eq!(passed(), [json!({ "finished": false, "passed": false })]);

    learner.go_to_the_end();
    learner.keep(&path, true);
    well(&mut to(&database, &[&path]));
    compare(&database, &path);
    assert_eq!(passed(), [json!({ "finished": true, "passed": true })]);
    assert_eq!(wrong(), 1);

    strike_what_is_wrong(&mut learner, "heard wrongly");
    learner.keep(&path, true);
    says(&well(&mut to(&database, &[&path])), &["1 of "]);
    compare(&database, &path);
    assert_eq!(wrong(), 0);
    says(&well(&mut to(&database, &[&path])), &["nothing new"]);
}

/// What a program of before handed in has no sheet; it has one when the log comes again, though no
/// event is new.
#[test]
fn what_was_folded_before_is_folded_anew() {
    let database = Server::with_tls().database();
    let dir = folder_in_memory();
    let path = dir.path().join("bay.db");
    let parts: Vec<&str> = SCHEMA.split("-- == version ").skip(1).collect();
    let mut desk = database.desk();
    for part in &parts[..4] {
        desk.batch_execute(part.split_once('\n').unwrap().1)
            .unwrap();
    }
    through(Some(Habit::DoesNotIsolate), Level::Led).keep(&path, true);
    well(&mut to(&database, &[&path]));
    compare(&database, &path);
    for view in ["jobs", "readings", "verdicts", "corrections", "out_list"] {
        let last = columns(&database, view).pop();
        assert_eq!(last.as_deref(), Some("practised"), "{view}");
    }

    desk.batch_execute(
        "UPDATE bothhands.folded_logs SET folded_as = 0, sheet = NULL;
         DELETE FROM bothhands.folded_refusals",
    )
    .unwrap();
    let refused = "SELECT count(*) FROM bothhands.refusals WHERE bar IS NOT NULL AND step IS NULL";
    assert!(database.number(refused) > 0);
    assert_eq!(database.number("SELECT count(*) FROM bothhands.sheets"), 0);
    assert_eq!(
        database.number("SELECT count(*) FROM bothhands.practices"),
        1
    );
    says(&well(&mut to(&database, &[&path])), &["nothing new"]);
    compare(&database, &path);
}

/// A practice whose seal does not fit is handed in with what is wrong with it, and without marks.
#[test]
fn what_cannot_be_marked_is_there_with_the_reason() {
    let database = Server::with_tls().database();
    let dir = folder_in_memory();
    let path = dir.path().join("bay.db");
    let mut learner = through(None, Level::Led);
    let revealed = learner.events.last_mut().unwrap();
    assert!(matches!(revealed.0, Event::Revealed { .. }));
    revealed.0 = Event::Revealed {
        faults: open_leg().faults,
        salt: open_leg().salt,
    };
    learner.keep(&path, true);
    well(&mut to(&database, &[&path]));
    let rows = database.rows("SELECT not_marked FROM bothhands.practices");
    says(rows[0]["not_marked"].as_str().unwrap(), &["seal"]);
    assert_eq!(database.number("SELECT count(*) FROM bothhands.sheets"), 0);
}

/// The queries that the guide gives are such as the server takes.
#[test]
fn the_queries_of_the_guide_can_be_asked() {
    let database = Server::with_tls().database();
    let dir = folder_in_memory();
    let mut paths = Vec::new();
    for (n, habit) in [
        Habit::DoesNotIsolate,
        Habit::DoesNotIsolate,
        Habit::BondLeftOff,
    ]
    .into_iter()
    .enumerate()
    {
        let path = dir.path().join(format!("{n}.db"));
        through(Some(habit), Level::Led).keep(&path, false);
        paths.push(path);
    }
    let all: Vec<&Path> = paths.iter().map(PathBuf::as_path).collect();
    well(&mut to(&database, &all));
    let guide = include_str!("../../src/handin/README.md");
    let queries: Vec<&str> = guide
        .split("```sql\n")
        .skip(1)
        .map(|block| {
            block
                .split("```")
                .next()
                .unwrap()
                .trim()
                .trim_end_matches(';')
        })
        .collect();
    let answers: Vec<Vec<Value>> = queries.iter().map(|query| database.rows(query)).collect();
    assert!(answers.len() >= 2, "{queries:?}");
    let fails = answers.iter().find(|rows| {
        let first = rows.first();
        first.is_some_and(|row| row["criterion"] == "isolation")
    });
    assert_eq!(
        fails.unwrap(),
        &[
            json!({ "criterion": "isolation", "attempts": 2, "learners": 1 }),
            json!({ "criterion": "earth", "attempts": 1, "learners": 1 }),
        ]
    );
}

const SCHEMA: &str = include_str!("../../src/handin/schema.sql");

fn columns(database: &Database, view: &str) -> Vec<String> {
    let rows = database.rows(&format!(
        "SELECT column_name FROM information_schema.columns
         WHERE table_schema = 'bothhands' AND table_name = '{view}' ORDER BY ordinal_position"
    ));
    rows.iter()
        .map(|row| row["column_name"].as_str().unwrap().to_owned())
        .collect()
}

/// Compares everything that the views say of one log, and counts refusals, those of them that were
/// probings, lapses, those that came of others, readings and predictions.
#[track_caller]
fn compare(database: &Database, path: &Path) -> [usize; 6] {
    let id = records(path)[0].id.to_string();
    let store = Store::open(path, OpenMode::Read).unwrap();
    let log = &Log::read(&store).unwrap();
    let of_log = |columns: &str, view: &str, order: &str| {
        database.rows(&format!(
            "SELECT {columns} FROM bothhands.{view} WHERE log = '{id}' ORDER BY {order}"
        ))
    };
    let state = log.agenda().unwrap();
    let practised = state.practises();
    for view in ["jobs", "readings", "verdicts", "corrections", "out_list"] {
        for row in of_log("practised", view, "1") {
            assert_eq!(row["practised"], practised, "{view}");
        }
    }
    let columns = format!(
        "event, learner, tester, board, circuit, step, kind, bar, why, said, heard IS NOT NULL AS heard,
         consequence, practised, {}",
        micros("at")
    );
    let here = refusals(log);
    same(&of_log(&columns, "refusals", "event"), &here);
    let probed = here.iter().filter(|row| row["kind"] == "probed").count();
    let Some(practice) = state.practice() else {
        for view in [
            "practices",
            "sheets",
            "marks",
            "lapses",
            "judged",
            "predictions",
            "diagnoses",
        ] {
            assert_eq!(of_log("log", view, "1"), [] as [Value; 0], "{view}");
        }
        return [here.len(), probed, 0, 0, 0, 0];
    };
    let sheet = sheet_of(log);
    let columns = "job, learner, level, predict, simulated, finished, not_marked, begun = (
           SELECT begun FROM bothhands.jobs j WHERE j.log = p.log) AS begun";
    same(
        &of_log(columns, "practices AS p", "log"),
        &[json!({
            "job": sheet.title,
            "learner": practice.learner,
            "level": practice.level,
            "predict": practice.predict,
            "simulated": sheet.simulated,
            "finished": sheet.finished,
            "not_marked": null,
            "begun": true,
        })],
    );
    let diagnosis = sheet.diagnosis.as_ref();
    assert_eq!(diagnosis.is_some(), practised);
    same(
        &of_log(
            "learner, level, passed, points, help, probings, fewest",
            "sheets",
            "log",
        ),
        &[json!({
            "learner": sheet.learner,
            "level": sheet.level,
            "passed": sheet.passed,
            "points": sheet.points,
            "help": sheet.help,
            "probings": diagnosis.map(|diagnosis| diagnosis.probings),
            "fewest": diagnosis.and_then(|diagnosis| diagnosis.fewest),
        })],
    );
    let marks = sheet.marks.iter().map(|mark| {
        let (counts, points) = match mark.counts {
            Weights::PassOrFail => ("pass or fail", None),
            Weights::Points(points) => ("points", Some(points)),
            Weights::NotCounted => ("not counted", None),
        };
        json!({
            "criterion": mark.criterion,
            "counts": counts,
            "points": points,
            "share": mark.share,
            "lapses": mark.lapses,
        })
    });
    same(
        &sorted(of_log(
            "criterion, counts, points, share, lapses",
            "marks",
            "criterion",
        )),
        &sorted(marks.collect()),
    );
    let lapses = sheet.lapses.iter().map(|lapse| {
        json!({
            "criterion": lapse.criterion,
            "event": lapse.event,
            "at": lapse.at.as_microsecond(),
            "circuit": lapse.circuit,
            "what": lapse.what,
            "under": lapse.under,
            "sound": sound(&store, lapse.sound.as_ref()),
        })
    });
    let columns = format!(
        "criterion, event, circuit, what, under, sound, {}",
        micros("at")
    );
    same(
        &sorted(of_log(&columns, "lapses", "event")),
        &sorted(lapses.collect()),
    );
    let judged = sheet.readings.iter().map(|judged| {
        json!({
            "event": judged.event,
            "step": judged.step,
            "place": judged.place.as_ref().map(ToString::to_string),
            "said": words::value(&judged.said),
            "is": judged.is.as_ref().map(words::value),
            "judgement": judged.judgement,
            "margin": judged.margin,
            "struck": judged.struck.as_ref().map(|why| why.replace('\0', "\u{fffd}")),
            "sound": sound(&store, judged.sound.as_ref()),
            "not_read_back": judged.not_read_back,
        })
    });
    same(
        &of_log(
            "event, step, place, said, \"is\", judgement, margin, struck, sound, not_read_back",
            "judged",
            "event",
        ),
        &by_event(judged.collect()),
    );
    let predictions = sheet.predictions.iter().map(|prediction| {
        json!({
            "event": prediction.event,
            "step": prediction.step,
            "of": prediction.of,
            "said": prediction.said.as_ref().map(words::value),
            "is": prediction.is.as_ref().map(words::value),
            "right": prediction.right,
        })
    });
    same(
        &of_log(
            "event, step, of, said, \"is\", \"right\"",
            "predictions",
            "event",
        ),
        &by_event(predictions.collect()),
    );
    same(
        &of_log(
            "hidden, named, said, kinds, places, wrong",
            "diagnoses",
            "log",
        ),
        &diagnosis
            .map(|diagnosis| {
                json!({
                    "hidden": diagnosis.hidden,
                    "named": diagnosis.named,
                    "said": diagnosis.said,
                    "kinds": diagnosis.kinds,
                    "places": diagnosis.places,
                    "wrong": diagnosis.wrong,
                })
            })
            .into_iter()
            .collect::<Vec<_>>(),
    );
    let under = sheet.lapses.iter().filter(|lapse| lapse.under.is_some());
    [
        here.len(),
        probed,
        sheet.lapses.len(),
        under.count(),
        sheet.readings.len(),
        sheet.predictions.len(),
    ]
}

/// Each refusal, and each probing with a bar, from the events replayed.
fn refusals(log: &Log) -> Vec<Value> {
    let first = &log.entries[0];
    let mut agenda = Agenda::open(&first.event, first.at).unwrap();
    let mut rows = Vec::new();
    for entry in &log.entries[1..] {
        let step = agenda.current();
        let at_step = step.map(|step| (step.board, step.circuit));
        let found = match &entry.event {
            Event::Refused { said, refusal } => Some((
                "refused",
                refusal,
                said.words(),
                at_step.map(|(board, _)| board),
                at_step.and_then(|(_, circuit)| circuit),
                Value::Null,
            )),
            Event::Probed {
                probe,
                came,
                refusal: Some(refusal),
                ..
            } => {
                let said = bothhands::sequence::probing::said(probe);
                let came = json!(came);
                Some((
                    "probed",
                    refusal,
                    said.words(),
                    Some(probe.board),
                    probe.circuit,
                    came,
                ))
            }
            _ => None,
        };
        if let Some((kind, refusal, said, board, circuit, consequence)) = found {
            rows.push(json!({
                "event": entry.no,
                "at": entry.at.as_microsecond(),
                "learner": agenda.practice().map(|practice| practice.learner.clone()),
                "tester": agenda.job().tester,
                "board": board,
                "circuit": circuit,
                "step": step.map(|step| step.id.clone()),
                "kind": kind,
                "bar": json!(refusal)["bar"],
                "why": refused_in_short(refusal),
                "said": said,
                "heard": entry.evidence.is_some(),
                "consequence": consequence,
                "practised": agenda.practises(),
            }));
        }
        agenda.apply(&entry.event, entry.at);
    }
    rows
}

#[track_caller]
fn same(there: &[Value], here: &[Value]) {
    let plain = |rows: &[Value]| rows.iter().map(as_number).collect::<Vec<_>>();
    super::same(&plain(there), &plain(here));
}

/// The server writes 1.0 as 1, and what comes from it was read from text: the last digit of a share may
/// be another.
fn as_number(value: &Value) -> Value {
    match value {
        Value::Number(number) => {
            let rounded = number.as_f64().map(|n| (n * 1e12).round() / 1e12);
            json!(rounded)
        }
        Value::Array(all) => all.iter().map(as_number).collect(),
        Value::Object(all) => all
            .iter()
            .map(|(name, value)| (name.clone(), as_number(value)))
            .collect(),
        other => other.clone(),
    }
}

fn by_event(mut rows: Vec<Value>) -> Vec<Value> {
    rows.sort_by_key(|row| row["event"].as_u64());
    rows
}

fn sorted(mut rows: Vec<Value>) -> Vec<Value> {
    rows.sort_by_key(|row| (row["event"].as_u64(), row["criterion"].to_string()));
    rows
}
