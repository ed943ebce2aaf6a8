//! Habits of learners: each is marked down for itself, what comes of it stands under it, and nothing
//! else is.

use super::learner::{Habit, JOB, Learner};
use super::marks::times;
use bothhands::marking::{Criterion, Sheet, Weights, Why};
use bothhands::practice::Hidden;
use bothhands::terms::Level;

/// Each habit, and what it counts against.
const HABITS: [(Habit, Criterion); 13] = [
    (Habit::DoesNotIsolate, Criterion::Isolation),
    (Habit::DoesNotProveAgain, Criterion::Indicator),
    (Habit::ProvesOnePair, Criterion::EveryPair),
    (Habit::LeadsNotNulled, Criterion::Leads),
    (Habit::RingNotCrossed, Criterion::Ring),
    (Habit::OneNeutralOfTwoBack, Criterion::PutBack),
    (Habit::ElectronicsLeftIn, Criterion::TestVoltage),
    (Habit::BondLeftOff, Criterion::Earth),
    (Habit::DecimalPlaceOff, Criterion::Readings),
    (Habit::SkipsPolarity, Criterion::Complete),
    (Habit::DoesNotTryTheIndicator, Criterion::Indicator),
    (Habit::DoesNotJoinTheLeads, Criterion::Leads),
    (Habit::DoesNotProbePolarity, Criterion::Complete),
];

fn played(habit: Option<Habit>) -> Learner {
    let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Led, habit);
    learner.go_to_the_end();
    learner
}

/// Who does everything as it should be is passed, and nothing stands against him.
#[test]
fn a_careful_learner_has_no_lapse() {
    let learner = played(None);
    let sheet = learner.sheet();
    assert!(
        sheet.lapses.is_empty(),
        "{:#?}\n{}",
        sheet.lapses,
        learner.diary.join("\n")
    );
    let wrong: Vec<_> = sheet.readings.iter().filter(|j| j.is_wrong()).collect();
    assert!(wrong.is_empty(), "{wrong:#?}\n{}", learner.diary.join("\n"));
    assert!(sheet.readings.len() > 20);
    assert!(sheet.passed, "{sheet:#?}");
}

#[test]
fn each_habit_is_marked_down_for_itself() {
    for (habit, criterion) in HABITS {
        let learner = played(Some(habit));
        let sheet = learner.sheet();
        let diary = || format!("{:#?}\n{}", sheet.lapses, learner.diary.join("\n"));
        for mark in &sheet.marks {
            let lapsed = match mark.criterion {
                Criterion::Readings => sheet.readings.iter().any(|j| j.is_wrong()),
                _ => mark.share < 1.0,
            };
            assert_eq!(
                lapsed,
                mark.criterion == criterion,
                "{habit:?}: {:?}\n{}",
                mark.criterion,
                diary()
            );
        }
    }
}

/// All that is lost of each criterion is lost for something that is named, and lapses that are named stand on the
/// sheet: of who has a habit, of who names no fault or a wrong one, and of who stops on the way.
#[test]
fn each_point_that_is_lost_names_its_reason() {
    let mut sheets: Vec<Sheet> = Vec::new();
    for level in [Level::Led, Level::Asked, Level::Silent] {
        for habit in HABITS.iter().map(|(habit, _)| Some(*habit)).chain([None]) {
            // The level changes what is told and not what is done.
            if level != Level::Led && habit.is_some_and(|h| h != Habit::DoesNotIsolate) {
                continue;
            }
            let mut learner = Learner::begin(JOB, Hidden::nothing(), level, habit);
            learner.diagnosis = match habit {
                Some(Habit::SkipsPolarity) => {
                    vec!["the fault is stuck r c d on circuit two".to_owned()]
                }
                _ => vec!["there is no fault".to_owned()],
            };
            if level == Level::Asked {
                learner.say("help");
            }
            learner.go_to_the_end();
            sheets.push(learner.sheet());
        }
    }
    // Who says that it is live, and ends there.
    for before in [&[][..], &["done", "probe known source", "proved"]] {
        let mut learner = Learner::begin(JOB, Hidden::nothing(), Level::Silent, None);
        for words in before {
            learner.say(words);
        }
        for words in [
            "it is live",
            "there is no fault",
            "finish the session",
            "affirm",
        ] {
            learner.say(words);
        }
        sheets.push(learner.sheet());
    }
    let mut reasons = 0;
    for sheet in &sheets {
        let (mut had, mut could) = (0.0, 0.0);
        for mark in &sheet.marks {
            let lost: f64 = mark.lost.iter().map(|lost| lost.share).sum();
            assert!((mark.share + lost - 1.0).abs() < 1e-6, "{mark:?}");
            reasons += mark.lost.len();
            if let Weights::Points(points) = mark.counts {
                had += points * (1.0 - lost);
                could += points;
            }
            for lost in &mark.lost {
                let Why::Lapses(n) = lost.why else { continue };
                let named = match mark.criterion {
                    Criterion::Readings => sheet.wrong_readings(),
                    Criterion::Predictions => sheet.predictions.iter().filter(|p| !p.right).count(),
                    criterion => sheet.against(criterion).count(),
                };
                assert_eq!(n, named, "{mark:?}");
            }
        }
        assert!((sheet.points.unwrap() - had / could).abs() < 1e-6);
        let page = bothhands::report::sheet_html(sheet, &Default::default(), &times());
        let rows = sheet.marks.iter().filter(|mark| !mark.lost.is_empty());
        assert!(page.contains("Lost for") && rows.count() > 0 || sheet.points == Some(1.0));
    }
    assert!(reasons > 20, "{reasons}");
}
