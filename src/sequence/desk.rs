//! Corrections made at the desk, after the fact and by keyboard.

use super::agenda::Agenda;
use super::facts::{Event, EventNo, Picture};
use super::state::ReadingStatus;
use crate::quantity::Reading;
use crate::terms::ItemNumber;

/// Why a correction at the desk is not taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DeskRefusal {
    /// Only readings of somebody who learned are struck.
    #[error("nobody learned by this log: only what a learner read is struck from marks")]
    NobodyLearned,
    /// The event brought no reading.
    #[error("event {0} is no reading: only readings can be put right, or struck from marks")]
    NoReading(EventNo),
    /// It was taken back, or replaced.
    #[error("event {0} no longer counts: name the reading that took its place")]
    NoLongerCounts(EventNo),
    /// Nothing would change.
    #[error("it says that already")]
    Same,
    /// The reason is empty.
    #[error("write why: the reason is kept in the log")]
    NoReason,
    /// Nothing was observed that it could belong to.
    #[error(
        "nothing was observed in this session: a photo belongs to an observation, said or typed"
    )]
    NothingObserved,
    /// There is no such observation.
    #[error("there is no observation {0}: they are numbered 1 to {1}, as the schedule lists them")]
    NoObservation(usize, usize),
    /// No observation of that item.
    #[error("nothing was observed at item {0} of the inspection, or it was taken back")]
    NothingAtItem(ItemNumber),
    /// The unit is not the one it was measured in, which is this.
    #[error("it was measured in {0}: write the value in that unit")]
    OtherUnit(String),
}

/// Decides on a correction made at the desk: an event that takes the place of a reading which
/// counts, or waits to be affirmed, judged anew. What was said stays in the log.
///
/// # Errors
/// When there is no such reading, it no longer counts, nothing changes, or no reason is given.
pub fn correct_at_desk(
    agenda: &Agenda,
    of: EventNo,
    right: &Reading,
    reason: &str,
) -> Result<Event, DeskRefusal> {
    let kept = agenda.reading(of).ok_or(DeskRefusal::NoReading(of))?;
    if !matches!(
        kept.status,
        ReadingStatus::Counts | ReadingStatus::Questioned
    ) {
        return Err(DeskRefusal::NoLongerCounts(of));
    }
    let reason = reason.trim();
    if reason.is_empty() {
        return Err(DeskRefusal::NoReason);
    }
    if right
        .unit
        .is_some_and(|unit| kept.reading.unit != Some(unit))
    {
        let unit = kept.reading.unit.map(|u| u.symbol()).unwrap_or_default();
        return Err(DeskRefusal::OtherUnit(unit.to_owned()));
    }
    let reading = Reading {
        relation: right.relation,
        number: right.number,
        ..kept.reading
    };
    if reading == kept.reading {
        return Err(DeskRefusal::Same);
    }
    let step = agenda.step(&kept.step).ok_or(DeskRefusal::NoReading(of))?;
    let assessment = agenda
        .procedure(step)
        .assess(agenda.state(), step, &reading);
    Ok(Event::CorrectedAtDesk {
        of,
        reading,
        verdict: assessment.verdict,
        reason: reason.to_owned(),
    })
}

/// Decides on striking a reading from the marks of who learned by it: it was misheard. What was said
/// stays in the log, and on the schedule.
///
/// # Errors
/// When there is no such reading, it does not count, or no reason is given.
pub fn strike_at_desk(
    agenda: &Agenda,
    of: EventNo,
    reason: &str,
    by: Option<&str>,
) -> Result<Event, DeskRefusal> {
    if agenda.practice().is_none() {
        return Err(DeskRefusal::NobodyLearned);
    }
    let kept = agenda.reading(of).ok_or(DeskRefusal::NoReading(of))?;
    if kept.status != ReadingStatus::Counts {
        return Err(DeskRefusal::NoLongerCounts(of));
    }
    let reason = reason.trim();
    if reason.is_empty() {
        return Err(DeskRefusal::NoReason);
    }
    Ok(Event::Struck {
        of,
        reason: reason.to_owned(),
        by: by
            .map(str::trim)
            .filter(|by| !by.is_empty())
            .map(str::to_owned),
    })
}

/// Which observation a photograph is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PhotoOf {
    /// By its number on the schedule, from 1.
    Observation(usize),
    /// The last one of this item of the inspection.
    Item(ItemNumber),
}

/// Decides on a photograph that is added to what was observed.
///
/// # Errors
/// When nothing of the kind was observed.
pub fn photo_at_desk(agenda: &Agenda, of: PhotoOf, picture: Picture) -> Result<Event, DeskRefusal> {
    let all: Vec<_> = agenda.observations().collect();
    if all.is_empty() {
        return Err(DeskRefusal::NothingObserved);
    }
    let seen = match of {
        PhotoOf::Observation(number) => number
            .checked_sub(1)
            .and_then(|n| all.get(n))
            .ok_or(DeskRefusal::NoObservation(number, all.len()))?,
        PhotoOf::Item(item) => all
            .iter()
            .rev()
            .find(|seen| seen.item == Some(item))
            .ok_or(DeskRefusal::NothingAtItem(item))?,
    };
    Ok(Event::Photographed {
        of: seen.no,
        picture,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grammar::Intent;
    use crate::installation::Job;
    use crate::quantity::{Number, Unit};
    use crate::sequence::{Run, Session, StepKind};
    use crate::terms::{Level, Practice, Statement};
    use jiff::{SignedDuration, Timestamp};

    fn shorted_leads() -> Session {
        let text = include_str!("../../tests/jobs/boathouse.toml");
        let job = Job::parse(text, "boathouse.toml").unwrap();
        let now: Timestamp = "2026-11-25T09:30:00Z".parse().unwrap();
        let practice = Practice {
            learner: "A. Learner".to_owned(),
            level: Level::Led,
            predict: false,
            simulated: None,
        };
        let run = Run {
            practice: Some(&practice),
            ..Run::from("test")
        };
        let (mut session, _) = Session::begin(job, run, now).unwrap();
        for _ in 0..40 {
            let step = session.state().current().unwrap().clone();
            let said = match &step.ask {
                crate::sequence::Ask::Statement(wanted) => Intent::Stated(wanted[0]),
                _ if step.kind == StepKind::LeadsJoined => break,
                _ => Intent::Stated(Statement::Open),
            };
            session.turn(&said, now).unwrap();
        }
        let joined = Reading::exact("0.03".parse().unwrap());
        let said = Intent::Reading {
            reading: joined,
            place: None,
            half: None,
        };
        session.turn(&said, now).unwrap();
        session
    }

    fn only_reading(state: &Agenda) -> EventNo {
        state.readings().last().unwrap().no
    }

    #[test]
    fn the_right_value_takes_the_place_of_the_wrong_one_and_both_stay() {
        let session = shorted_leads();
        let mut state = session.state().clone();
        let wrong = only_reading(&state);
        let right = Reading::exact("0.05".parse().unwrap());
        let event = correct_at_desk(&state, wrong, &right, "misheard").unwrap();
        let no = state.next_event();
        state.apply(&event, state.last_event_at());
        assert_eq!(
            state.reading(wrong).unwrap().status,
            ReadingStatus::Replaced(no)
        );
        let kept = state.reading(no).unwrap();
        assert_eq!(kept.status, ReadingStatus::Counts);
        assert_eq!(kept.reading.number, Some("0.05".parse::<Number>().unwrap()));
        assert_eq!(kept.reading.unit, Some(Unit::Ohm));
        assert_eq!(state.result_of(&kept.step).unwrap().no, no);
    }

    #[test]
    fn a_correction_without_a_reason_is_refused() {
        let session = shorted_leads();
        let state = session.state();
        let right = Reading::exact(Number::whole(1));
        let refused = correct_at_desk(state, only_reading(state), &right, "  ");
        assert_eq!(refused, Err(DeskRefusal::NoReason));
    }

    #[test]
    fn only_what_counts_is_struck_and_only_with_a_reason() {
        let session = shorted_leads();
        let mut state = session.state().clone();
        let wrong = only_reading(&state);
        let struck = strike_at_desk(&state, wrong, " heard wrongly ", Some("B. Instructor"));
        let reason = "heard wrongly".to_owned();
        assert_eq!(
            struck,
            Ok(Event::Struck {
                of: wrong,
                reason,
                by: Some("B. Instructor".to_owned()),
            })
        );
        assert_eq!(
            strike_at_desk(&state, wrong, " ", Some("B. Instructor")),
            Err(DeskRefusal::NoReason)
        );
        let none = EventNo(0);
        assert_eq!(
            strike_at_desk(&state, none, "why", Some("B. Instructor")),
            Err(DeskRefusal::NoReading(none))
        );
        let right = Reading::exact("0.05".parse().unwrap());
        let event = correct_at_desk(&state, wrong, &right, "misheard").unwrap();
        state.apply(&event, state.last_event_at());
        assert_eq!(
            strike_at_desk(&state, wrong, "why", Some("B. Instructor")),
            Err(DeskRefusal::NoLongerCounts(wrong))
        );
    }

    #[test]
    fn what_was_replaced_can_not_be_put_right_again() {
        let session = shorted_leads();
        let mut state = session.state().clone();
        let wrong = only_reading(&state);
        let right = Reading::exact("0.05".parse().unwrap());
        let event = correct_at_desk(&state, wrong, &right, "misheard").unwrap();
        state.apply(&event, state.last_event_at());
        let again = correct_at_desk(&state, wrong, &Reading::over_range(), "again");
        assert_eq!(again, Err(DeskRefusal::NoLongerCounts(wrong)));
    }

    #[test]
    fn work_at_the_desk_does_not_hide_that_nobody_was_at_the_board() {
        let session = shorted_leads();
        let mut state = session.state().clone();
        let left = state.last_event_at();
        assert!(state.proved_dead(1));
        let right = Reading::exact("0.05".parse().unwrap());
        let event = correct_at_desk(&state, only_reading(&state), &right, "misheard").unwrap();
        state.apply(&event, left + SignedDuration::from_mins(19));
        let back = Event::Resumed {
            by: "test".to_owned(),
            boot: None,
            anew: false,
            delivery: Default::default(),
        };
        state.apply(&back, left + SignedDuration::from_mins(20));
        assert!(!state.proved_dead(1));
    }
}
