//! What is marked besides habits: the fault that was named, predictions, misreadings, groups.

use super::learner::{Habit, JOB, Learner, fault};
use bothhands::installation::Job;
use bothhands::marking::{
    Criteria, Criterion, Economy, Group, Judgement, Lapse, MarkError, Sheet, Stopped, Weights,
    What, mark,
};
use bothhands::practice::{Bench, Hidden};
use bothhands::report::{SoundsByHash, sheet_html};
use bothhands::sequence::{Event, EventNo};
use bothhands::terms::{BayEdition, FaultKind, HiddenFault, Level};

fn open_leg() -> Hidden {
    let faults = "seed = 7\n[[fault]]\nkind = \"open-leg\"\ncircuit = 1\nplace = \"socket 2\"\nconductor = \"N\"\n";
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), faults).unwrap();
    Hidden::load(file.path()).unwrap()
}

fn named(words: &[&str]) -> Sheet {
    let mut learner = Learner::begin(JOB, open_leg(), Level::Silent, None);
    learner.diagnosis = words.iter().map(ToString::to_string).collect();
    learner.go_to_the_end();
    learner.sheet()
}

fn share(sheet: &Sheet, criterion: Criterion) -> Option<f64> {
    let mut marks = sheet.marks.iter();
    Some(marks.find(|mark| mark.criterion == criterion)?.share)
}

/// Kind and place count half each, a place without its conductor half of that; what is not there takes off.
#[test]
fn the_fault_is_named_with_its_place() {
    for (words, worth) in [
        (
            &["the fault is open leg of the neutral at socket two on circuit one"][..],
            1.0,
        ),
        (
            &["the fault is open leg at socket two on circuit one"],
            0.75,
        ),
        (
            &["the fault is open leg at socket three on circuit one"],
            0.5,
        ),
        (
            &["the fault is open leg of the line at socket two on circuit one"],
            0.5,
        ),
        (
            &["the fault is loose joint at socket two on circuit one"],
            0.0,
        ),
        (&["there is no fault"], 0.0),
        (
            &[
                "the fault is open leg at socket two on circuit one",
                "the fault is stuck r c d on circuit two",
            ],
            0.5,
        ),
        (
            &[
                "the fault is stuck r c d on circuit two",
                "there is no fault",
                "the fault is open leg at socket two on circuit one",
            ],
            0.75,
        ),
    ] {
        let sheet = named(words);
        assert_eq!(
            share(&sheet, Criterion::Diagnosis),
            Some(worth),
            "{words:?}"
        );
    }
}

/// Nothing hidden is found by who says so.
#[test]
fn that_there_is_none_is_a_diagnosis() {
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Led, None);
    learner.go_to_the_end();
    assert_eq!(share(&learner.sheet(), Criterion::Diagnosis), Some(1.0));
}

/// No practice ends before the fault is named.
#[test]
fn who_would_finish_is_asked_for_the_fault() {
    let mut learner = Learner::begin(JOB, open_leg(), Level::Led, None);
    let told = learner.say("finish the session");
    assert!(told[0].text.contains("what is the fault"), "{told:?}");
}

/// One of an open leg's tests tells it from what else can be wrong in that job; more is made.
#[test]
fn the_fewest_tests_are_few() {
    let sheet = named(&["there is no fault"]);
    let diagnosis = sheet.diagnosis.unwrap();
    let fewest = diagnosis.fewest.unwrap();
    assert!((1..=6).contains(&fewest), "{fewest}");
    assert!(diagnosis.probings > 20);
}

/// A decimal place off stands as such, with what was shown; the instructor strikes it, and it is gone
/// from the marks and stays in the log.
#[test]
fn a_misreading_can_be_struck() {
    let mut learner = Learner::begin(
        JOB,
        Hidden::nothing(),
        Level::Led,
        Some(Habit::DecimalPlaceOff),
    );
    learner.go_to_the_end();
    let sheet = learner.sheet();
    let wrong: Vec<_> = sheet.readings.iter().filter(|j| j.is_wrong()).collect();
    let [wrong] = wrong.as_slice() else {
        panic!("{wrong:?}")
    };
    assert_eq!(wrong.judgement, Judgement::Decimal);
    assert!(wrong.is.is_some());
    let struck = Event::Struck {
        of: wrong.event,
        reason: "heard wrongly".to_owned(),
        by: None,
    };
    let now = learner.now;
    learner.events.push((struck, now));
    let after = learner.sheet();
    assert!(after.readings.iter().all(|judged| !judged.is_wrong()));
    assert_eq!(share(&after, Criterion::Readings), Some(1.0));
    assert!(share(&sheet, Criterion::Readings) < Some(1.0));
}

/// A value that was taken back, and then said rightly, counts against nobody.
#[test]
fn a_reading_that_was_put_right_counts_as_it_is() {
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Led, None);
    learner.go_to("bond/water");
    learner.say("probe bond");
    learner.say("bond off");
    learner.say("probe bond");
    let shown = learner.shown_words();
    learner.say("zero point zero nine");
    learner.say("negative");
    learner.say(&shown);
    learner.go_to_the_end();
    assert!(
        learner
            .sheet()
            .readings
            .iter()
            .all(|judged| !judged.is_wrong())
    );
}

/// Before a reading both its value and its limit are asked for, and judged by the judge's own limit.
#[test]
fn what_is_predicted_is_judged() {
    let job = Job::parse(JOB, "bay.toml").unwrap();
    let mut learner = Learner::begin_as(job, Hidden::nothing(), Level::Led, true, None);
    learner.predicts = true;
    learner.go_to("bond/water");
    learner.say("bond off");
    let told = learner.say("zero point zero five");
    assert!(told[0].text.contains("what do you expect"), "{told:?}");
    // What is said first and then otherwise counts as it was said last.
    learner.say("i expect four ohms");
    learner.say("i expect zero point zero five ohms");
    let told = learner.say("zero point zero five");
    assert!(told[0].text.contains("the limit"), "{told:?}");
    // BS 7671 has no limit for it; the order of 0.05 ohm is common practice, which the judge asks by.
    learner.say("the limit is zero point zero five");
    learner.say("probe bond");
    let shown = learner.shown_words();
    learner.say(&shown);
    learner.go_to_the_end();
    let sheet = learner.sheet();
    let of_bond: Vec<bool> = sheet
        .predictions
        .iter()
        .filter(|prediction| prediction.step.tail == "bond/water")
        .map(|prediction| prediction.right)
        .collect();
    assert_eq!(of_bond, [true, true], "{:?}", sheet.predictions);
    assert!(share(&sheet, Criterion::Predictions) > Some(0.0));
}

/// What is said after the instrument has shown it is no prediction.
#[test]
fn who_has_seen_it_predicts_nothing() {
    let job = Job::parse(JOB, "bay.toml").unwrap();
    let mut learner = Learner::begin_as(job, Hidden::nothing(), Level::Led, true, None);
    learner.predicts = true;
    learner.go_to("bond/water");
    learner.say("bond off");
    learner.say("probe bond");
    let shown = learner.shown_words();
    learner.say(&format!("i expect {shown}"));
    learner.say("the limit is zero point zero five");
    learner.say(&shown);
    let sheet = learner.sheet();
    let of_bond = |p: &&bothhands::marking::Prediction| p.step.tail == "bond/water";
    let bond: Vec<_> = sheet.predictions.iter().filter(of_bond).collect();
    assert!(
        bond.iter()
            .all(|p| p.after && !p.right || p.of == bothhands::terms::Predicted::Limit)
    );
}

/// A limit that is not the judge's is wrong, whatever the value.
#[test]
fn a_wrong_limit_is_wrong() {
    let job = Job::parse(JOB, "bay.toml").unwrap();
    let mut learner = Learner::begin_as(job, Hidden::nothing(), Level::Led, true, None);
    learner.predicts = true;
    learner.limit = "the limit is five point five".to_owned();
    learner.go_to_the_end();
    let sheet = learner.sheet();
    let insulation: Vec<bool> = sheet
        .predictions
        .iter()
        .filter(|p| p.step.stage == bothhands::terms::Stage::Insulation)
        .filter(|p| p.of == bothhands::terms::Predicted::Limit)
        .map(|p| p.right)
        .collect();
    assert!(
        !insulation.is_empty() && insulation.iter().all(|right| !right),
        "{insulation:?}"
    );
}

/// Readings against the instructor's own log of that bay.
#[test]
fn readings_are_compared_with_an_instructors_log() {
    let mut instructor = Learner::begin(JOB, Hidden::nothing(), Level::Led, None);
    instructor.go_to_the_end();
    let mut learner = Learner::begin(
        JOB,
        Hidden::nothing(),
        Level::Led,
        Some(Habit::DecimalPlaceOff),
    );
    learner.go_to_the_end();
    let sheet = mark(
        &learner.log(),
        None,
        Some(&instructor.log()),
        &Criteria::default(),
        &mut Economy::default(),
    )
    .unwrap();
    let wrong: Vec<_> = sheet.readings.iter().filter(|j| j.is_wrong()).collect();
    assert_eq!(wrong.len(), 1, "{wrong:?}");
    assert_eq!(wrong[0].judgement, Judgement::Decimal);
    assert!(
        sheet
            .readings
            .iter()
            .filter(|j| j.judgement == Judgement::Agrees)
            .count()
            > 20
    );
}

/// What is hidden is sealed from the beginning: other faults are not those.
#[test]
fn other_faults_do_not_fit_the_seal() {
    let mut learner = Learner::begin(JOB, open_leg(), Level::Led, None);
    for _ in 0..12 {
        learner.go_on();
    }
    let with = |hidden: &Hidden| {
        mark(
            &learner.log(),
            Some(hidden),
            None,
            &Criteria::default(),
            &mut Economy::default(),
        )
    };
    assert!(matches!(
        with(&Hidden::nothing()),
        Err(MarkError::NotSealed)
    ));
    let sheet = with(&open_leg()).unwrap();
    assert!(!sheet.finished && !sheet.passed);
    // Nothing of the faults stands in the log before its end.
    let text = serde_json::to_string(&learner.events).unwrap();
    assert!(!text.contains("open-leg"));
    assert!(!text.contains(&open_leg().salt));
}

/// The same probes show the same where a practice is taken up from its log, and what was destroyed stays
/// destroyed.
#[test]
fn a_practice_is_taken_up_as_it_was_left() {
    let hidden = || Hidden::drawn(&Job::parse(JOB, "").unwrap(), 11, 2, &[]);
    let mut learner = Learner::begin(JOB, hidden(), Level::Led, Some(Habit::ElectronicsLeftIn));
    learner.go_to_the_end();
    let events = learner.events.iter().map(|(event, at)| (event, *at));
    let mut again = Bench::resumed(hidden(), events).unwrap().unwrap();
    let log = learner.log();
    let agenda = log.agenda().unwrap();
    assert!(learner.bench.destroyed().count() > 0);
    assert_eq!(learner.bench.destroyed().count(), again.destroyed().count());
    for entry in &log.entries {
        let Event::Probed { probe, .. } = &entry.event else {
            continue;
        };
        assert_eq!(
            learner.bench.truth(&agenda, probe).ok(),
            again.truth(&agenda, probe).ok(),
            "{probe:?}"
        );
    }
    assert_eq!(again.conditions(&agenda), learner.bench.conditions(&agenda));
    let _ = &mut again;
}

/// A group: who passed, what was missed, how each came on.
#[test]
fn a_group_side_by_side() {
    let play = |hidden: Hidden, habit, words: &str, days: i64| {
        let mut learner = Learner::begin(JOB, hidden, Level::Led, habit);
        learner.diagnosis = vec![words.to_owned()];
        learner.go_to_the_end();
        let mut sheet = learner.sheet();
        sheet.begun += jiff::SignedDuration::from_hours(24 * days);
        sheet
    };
    let right = "the fault is open leg at socket two on circuit one";
    let mut sheets = vec![
        play(open_leg(), None, right, 1),
        play(
            open_leg(),
            Some(Habit::DoesNotIsolate),
            "there is no fault",
            0,
        ),
        play(open_leg(), None, "there is no fault", 2),
    ];
    sheets[2].learner = "C. Learner".to_owned();
    let group = Group::of(&sheets);
    let attempts: Vec<_> = group
        .attempts
        .iter()
        .map(|a| (a.learner.as_str(), a.number, a.sheet))
        .collect();
    assert_eq!(
        attempts,
        [
            ("A. Learner", 1, 1),
            ("A. Learner", 2, 0),
            ("C. Learner", 1, 2)
        ]
    );
    assert!(group.attempts[1].gained > Some(0.0));
    assert_eq!(group.missed[0].kind, FaultKind::OpenLeg);
    assert_eq!((group.missed[0].hidden, group.missed[0].named), (3, 1));
    let isolation = group
        .criteria
        .iter()
        .find(|(c, ..)| *c == Criterion::Isolation);
    assert_eq!(isolation.map(|(_, _, learners)| *learners), Some(1));
    assert!(!group.steps.is_empty());
    let pages = [
        bothhands::report::group_html(&sheets, &[], &times()),
        bothhands::report::sheet_html(&sheets[1], &Default::default(), &times()),
    ];
    for page in pages {
        assert!(page.contains("PRACTICE on a simulated installation"));
    }
    let csv = bothhands::report::marks_csv(&sheets);
    assert_eq!(csv.lines().count(), 4);
    for pdf in [
        bothhands::report::group_pdf(&sheets, &times()).unwrap(),
        bothhands::report::sheet_pdf(&sheets[0], &times()).unwrap(),
    ] {
        assert!(pdf.starts_with(b"%PDF"));
    }
}

pub fn times() -> bothhands::report::Times {
    bothhands::report::Times::of(jiff::tz::TimeZone::UTC)
}

/// What counts and how is the instructor's: a criterion that is made pass or fail fails the whole.
#[test]
fn the_criteria_are_the_instructors() {
    let mut learner = Learner::begin(
        JOB,
        Hidden::nothing(),
        Level::Led,
        Some(Habit::SkipsPolarity),
    );
    learner.go_to_the_end();
    let with = |text: &str| {
        let criteria = Criteria::parse(text).unwrap();
        mark(
            &learner.log(),
            None,
            None,
            &criteria,
            &mut Economy::default(),
        )
        .unwrap()
    };
    assert!(with("").passed);
    let strict = with("[weight]\ncomplete = \"pass or fail\"\n");
    assert!(!strict.passed);
    let lenient = with("[weight]\ncomplete = 0\n");
    assert!(
        lenient
            .marks
            .iter()
            .all(|mark| mark.criterion != Criterion::Complete)
    );
    assert_eq!(
        Criteria::default().of(Criterion::Isolation),
        Weights::PassOrFail
    );
}

/// A file names what it may, and a slip is told with what is possible.
#[test]
fn a_fault_that_cannot_be_there_is_told() {
    let job = Job::parse(JOB, "bay.toml").unwrap();
    let ring = Hidden {
        faults: vec![fault(FaultKind::OpenLeg, 2)],
        ..Hidden::nothing()
    };
    let why = Bench::of(&job, ring).unwrap_err().to_string();
    assert!(why.contains("ring"), "{why}");
    let nowhere = Hidden {
        faults: vec![HiddenFault {
            circuit: Some(9),
            ..fault(FaultKind::LooseJoint, 9)
        }],
        ..Hidden::nothing()
    };
    let why = Bench::of(&job, nowhere).unwrap_err().to_string();
    assert!(why.contains('9'), "{why}");
    let _ = EventNo(0);
}

/// Who says "dead" of a pair that he did not probe, or that showed a voltage, has not proved it.
#[test]
fn dead_is_what_the_indicator_showed() {
    let play = |hidden: Hidden, lines: &[&str]| {
        let mut learner = Learner::begin(JOB, hidden, Level::Silent, None);
        for words in [
            "done",
            "probe known source",
            "proved",
            "isolated",
            "locked off",
        ]
        .iter()
        .chain(lines)
        {
            learner.say(words);
        }
        let sheet = learner.sheet();
        let lapsed: Vec<Criterion> = sheet.lapses.iter().map(|lapse| lapse.criterion).collect();
        lapsed
    };
    assert_eq!(
        play(Hidden::nothing(), &["probe line to neutral", "dead"]),
        [] as [Criterion; 0]
    );
    assert_eq!(play(Hidden::nothing(), &["dead"]), [Criterion::EveryPair]);
    // Another pair is another pair.
    assert_eq!(
        play(
            Hidden::nothing(),
            &[
                "probe line to neutral",
                "dead",
                "probe line to neutral",
                "dead"
            ]
        ),
        [Criterion::EveryPair]
    );
    let second = || Hidden {
        faults: vec![HiddenFault {
            circuit: None,
            board: None,
            ..fault(FaultKind::SecondSource, 1)
        }],
        ..Hidden::nothing()
    };
    assert_eq!(
        play(second(), &["probe line to neutral", "dead"]),
        [Criterion::Isolation]
    );
    // To stop there is right, and nothing that was not done then counts.
    let mut learner = Learner::begin(JOB, second(), Level::Silent, None);
    for words in [
        "done",
        "probe known source",
        "proved",
        "isolated",
        "locked off",
        "probe line to neutral",
        "it is live",
        "the fault is second source",
        "finish the session",
        "affirm",
    ] {
        learner.say(words);
    }
    let sheet = learner.sheet();
    assert!(sheet.lapses.is_empty(), "{:#?}", sheet.lapses);
    assert!(sheet.passed, "{sheet:#?}");
    assert_eq!(sheet.stopped, Some(Stopped::Rightly));
    let page = sheet_html(&sheet, &SoundsByHash::new(), &times());
    for told in ["ended rightly", "It is not complete", "insulation"] {
        assert!(page.contains(told), "{told}");
    }
    assert!(sheet.not_done.iter().map(|left| left.steps).sum::<u32>() > 20);
}

/// "It is live" ends no examination with a pass where nothing showed a voltage that should not be there: not at
/// once, not of a board that is still on, not of one that showed none.
#[test]
fn who_stops_for_nothing_is_not_passed() {
    let proved = ["done", "probe known source", "proved"];
    let off = ["isolated", "locked off"];
    let on = ["probe line to neutral"];
    for before in [
        &[][..],
        &proved[..],
        &[&proved[..], &on[..]].concat(),
        &[&proved[..], &off[..]].concat(),
        &[&proved[..], &off[..], &on[..]].concat(),
        // What it showed before it was switched off, and what the known source shows, is no voltage found.
        &[&proved[..], &on[..], &off[..]].concat(),
        &[&proved[..], &off[..], &["probe known source"]].concat(),
    ] {
        let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Silent, None);
        let ends = [
            "it is live",
            "there is no fault",
            "finish the session",
            "affirm",
        ];
        for words in before.iter().chain(&ends) {
            learner.say(words);
        }
        let sheet = learner.sheet();
        let told = learner.diary.join("\n");
        assert!(sheet.finished && !sheet.passed, "{before:?} {told}");
        assert_eq!(
            sheet.stopped,
            Some(Stopped::ForNothing),
            "{before:?} {told}"
        );
        let undone = |lapse: &&Lapse| matches!(lapse.what, What::Undone { .. });
        assert!(sheet.lapses.iter().filter(undone).count() > 3, "{before:?}");
        let page = sheet_html(&sheet, &SoundsByHash::new(), &times());
        assert!(page.contains("Not passed") && page.contains("nothing probed had shown"));
    }
}

/// Who invents readings, names the fault by luck and finishes is not passed; nor who does nothing.
#[test]
fn nothing_is_had_for_nothing() {
    for readings in [true, false] {
        let mut learner = Learner::begin(JOB, open_leg(), Level::Silent, None);
        for words in ["done", "proved", "isolated", "locked off"] {
            learner.say(words);
        }
        for pair in ["line to neutral", "line to earth", "neutral to earth"] {
            learner.say(&format!("probe {pair}"));
            learner.say("dead");
        }
        learner.say("proved");
        if readings {
            for words in ["over range", "leads nulled", "over range"] {
                learner.say(words);
            }
        }
        learner.say("the fault is open leg of the neutral at socket two on circuit one");
        learner.say("finish the session");
        learner.say("affirm");
        learner.reveal();
        let sheet = learner.sheet();
        let told = learner.diary.join("\n");
        assert!(sheet.finished && !sheet.passed, "{:?} {told}", sheet.points);
        assert!(
            sheet.points < Some(0.3),
            "{:?} {:#?}",
            sheet.points,
            sheet.marks
        );
        assert_eq!(share(&sheet, Criterion::Diagnosis), Some(0.0));
        assert!(!sheet.diagnosis.unwrap().evidence);
    }
}

/// A reading is compared with what was shown of that test, at that place, and with nothing else.
#[test]
fn a_reading_is_of_its_own_place() {
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Led, None);
    learner.go_to("crossed-neutral/socket 1");
    learner.say("line and neutral crossed");
    let mut said = Vec::new();
    for socket in ["one", "two", "three"] {
        learner.say(&format!("probe line to neutral at socket {socket}"));
        said.push(learner.shown_words());
    }
    // Read out afterwards, each as it was shown: right. Then one of a place that was not probed.
    for words in &said {
        learner.say(words);
    }
    let sheet = learner.sheet();
    assert!(
        sheet.readings.iter().all(|judged| !judged.is_wrong()),
        "{:#?}",
        sheet.readings
    );
    learner.say("crossing removed");
    learner.say("line and earth crossed");
    learner.say("probe line to earth at socket two");
    let shown = learner.shown_words();
    learner.say(&shown);
    let sheet = learner.sheet();
    let last = sheet.readings.last().unwrap();
    assert_eq!(last.judgement, Judgement::NotProbed, "{last:?}");
}

/// What was forgotten and is done after all is done: the list may have it already.
#[test]
fn what_is_said_late_is_done() {
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Led, None);
    learner.go_to("crossed-neutral/socket 1");
    learner.say("probe line to neutral at socket one");
    learner.say("over range");
    learner.say("affirm");
    learner.say("line and neutral crossed");
    learner.say("probe line to neutral at socket two");
    let shown = learner.shown_words();
    assert!(shown.ends_with("one six ohms"), "{shown}");
}

/// On the sheet stands why a place counts half.
#[test]
fn a_conductor_that_was_not_said_stands_on_the_sheet() {
    let page = |words: &str| {
        let sheet = named(&[words]);
        bothhands::report::sheet_html(&sheet, &Default::default(), &times())
    };
    let unsaid = "The conductor was not said";
    let without = "the fault is open leg at socket two on circuit one";
    assert!(page(without).contains(unsaid));
    let with = "the fault is open leg of the neutral at socket two on circuit one";
    assert!(!page(with).contains(unsaid));
}

/// A breaker of another rating is told by its label: who reads none has guessed. "Wrong device" is it too.
#[test]
fn a_wrong_breaker_is_found_by_its_label() {
    let hidden = || {
        Hidden::parse(
            "seed = 3\n[[fault]]\nkind = \"wrong-breaker\"\ncircuit = 2\n",
            "",
        )
        .unwrap()
    };
    for (reads, words, worth) in [
        (true, "the fault is wrong breaker on circuit two", 1.0),
        (true, "the fault is wrong device on circuit two", 1.0),
        (false, "the fault is wrong breaker on circuit two", 0.0),
    ] {
        let mut learner = Learner::begin(JOB, hidden(), Level::Silent, None);
        if reads {
            let lines = learner.say("probe label on circuit two");
            assert!(!lines[0].text.contains("Type B, 20 amps"), "{lines:?}");
        }
        learner.diagnosis = vec![words.to_owned()];
        learner.go_to_the_end();
        let share = share(&learner.sheet(), Criterion::Diagnosis);
        assert_eq!(share, Some(worth), "{reads} {words}");
    }
}

/// 900 m take up charge for a minute: the first number is not what is there.
#[test]
fn what_is_read_while_the_display_moves_is_marked() {
    let long = JOB.replace("2.5/1.5 18 m", "2.5/1.5 900 m");
    let early = |patient: bool| {
        let mut learner = Learner::begin(&long, Hidden::nothing(), Level::Led, None);
        learner.patient = patient;
        learner.go_to_the_end();
        let sheet = learner.sheet();
        let mut readings = sheet.readings.iter();
        (
            readings.any(|j| j.judgement == Judgement::TooEarly && j.is_wrong()),
            learner.diary.join("\n"),
        )
    };
    let (too_early, diary) = early(false);
    assert!(too_early && diary.contains("It is still moving"), "{diary}");
    let (too_early, diary) = early(true);
    assert!(
        !too_early && diary.contains("> what does it show"),
        "{diary}"
    );
}

/// What a test tripped is off until it is said to be on again: what is behind it is dead.
#[test]
fn what_tripped_stays_off() {
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Led, None);
    let volts = |learner: &mut Learner| {
        let lines = learner.say("probe voltage line to neutral at socket one on circuit one");
        lines[0].text.clone()
    };
    assert!(volts(&mut learner).starts_with("Two"));
    let lines = learner.say("probe r c d at rated current positive half cycle line to earth at socket one on circuit one");
    let told = lines
        .iter()
        .map(|line| line.text.as_str())
        .collect::<Vec<_>>()
        .join(" ");
    assert!(
        told.contains("It stays off until you switch it on"),
        "{told}"
    );
    assert!(volts(&mut learner).starts_with("Zero"));
    let shown = learner.say("probe r c d at rated current negative half cycle line to earth at socket one on circuit one");
    assert!(
        shown.iter().any(|line| line.text.contains("No supply")),
        "{shown:?}"
    );
    // Taken up from its log it is off still.
    let events = learner.events.iter().map(|(event, at)| (event, *at));
    let again = Bench::resumed(Hidden::nothing(), events).unwrap().unwrap();
    let state = learner.session.state();
    assert_eq!(again.conditions(state), learner.bench.conditions(state));
    assert!(again.conditions(state).devices_off.contains(&(1, 1)));
    learner.say("r c d on again");
    assert!(volts(&mut learner).starts_with("Two"));
}

/// A log of the first edition of the bay is followed as it was: its RCD is on again after each test.
#[test]
fn an_older_practice_is_followed_as_it_was() {
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Led, None);
    learner.say("probe r c d at rated current positive half cycle line to earth at socket one on circuit one");
    let mut events = learner.events.clone();
    if let Event::Opened {
        practice: Some(practice),
        ..
    } = &mut events[0].0
    {
        practice.simulated.as_mut().unwrap().edition = BayEdition::First;
    }
    let text = serde_json::to_string(&events[0].0).unwrap();
    assert!(!text.contains("\"first\""), "written as ever: {text}");
    let log = bothhands::log::Log::of(events.iter().cloned());
    let again = Bench::resumed(Hidden::nothing(), log.events())
        .unwrap()
        .unwrap();
    let agenda = log.agenda().unwrap();
    assert!(again.conditions(&agenda).devices_off.is_empty());
}

/// Who energises a link is marked for it, with the current.
#[test]
fn a_short_circuit_is_marked() {
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Asked, None);
    let lines = learner.say("line and neutral linked at socket one");
    let told = lines
        .iter()
        .map(|line| line.text.as_str())
        .collect::<Vec<_>>()
        .join(" ");
    assert!(told.contains("A short circuit was energised"), "{told}");
    let sheet = learner.sheet();
    let lapsed: Vec<Criterion> = sheet.lapses.iter().map(|lapse| lapse.criterion).collect();
    assert!(lapsed.contains(&Criterion::Energising), "{lapsed:?}");
    let page = bothhands::report::sheet_html(&sheet, &Default::default(), &times());
    assert!(page.contains("A short circuit was energised"));
}

/// Practice and tests in one group: each says which it is.
#[test]
fn a_mixed_group_has_no_common_stamp() {
    let mut practice = named(&["there is no fault"]);
    practice.learner = "B. Learner".to_owned();
    let mut real = practice.clone();
    real.simulated = false;
    real.learner = "C. Learner".to_owned();
    let sheets = [practice, real];
    let page = bothhands::report::group_html(&sheets, &[], &times());
    assert!(page.contains("Some of these attempts are PRACTICE"));
    assert!(page.contains("PARTLY PRACTICE"));
    assert!(
        page.contains("B. Learner (PRACTICE)") && page.contains("C. Learner (real installation)")
    );
    let own = bothhands::report::sheet_html(&sheets[1], &Default::default(), &times());
    assert!(!own.contains("PRACTICE"));
}

/// What was forgotten stands beside the refusal that it led to: what, where, and how long it was out by then.
#[test]
fn what_was_forgotten_is_shown_with_its_place() {
    let habit = Some(Habit::OneNeutralOfTwoBack);
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Led, habit);
    learner.go_to_the_end();
    let sheet = learner.sheet();
    let about = |lapse: &&bothhands::marking::Lapse| !lapse.still_out.is_empty();
    let lapse = sheet.lapses.iter().find(about).unwrap();
    let neutrals = |out: &&bothhands::marking::StillOut| out.what.starts_with("both neutrals");
    let out = lapse.still_out.iter().find(neutrals).unwrap();
    assert!(out.what.ends_with("at socket 1, circuit 2"), "{out:?}");
    assert!(out.seconds > 0);
    assert!(sheet.left_out.iter().any(|left| left.event == out.event));
    let page = sheet_html(&sheet, &SoundsByHash::new(), &times());
    let what = out.what.replacen("both", "Both", 1);
    assert!(page.contains(&format!("{what}: for ")), "{page}");
}
