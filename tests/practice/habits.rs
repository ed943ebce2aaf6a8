//! Habits of learners: each is marked down for itself, what comes of it stands under it, and nothing
//! else is.

use super::learner::{Habit, JOB, Learner};
use bothhands::marking::Criterion;
use bothhands::practice::Hidden;
use bothhands::terms::Level;

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
    for (habit, criterion) in [
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
    ] {
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
