//! Whose turn it is: how long a pause ends what a person said, and what is listened for next.

use super::manager::Tally;
use crate::audio::Utterance;
use crate::grammar::{Grammar, Intent, number};
use crate::quantity::{Number, Reading};
use crate::sequence::{Event, Session, Turn};
use crate::speech::{Decision, DecodeContext, Recogniser, Recognition};
use std::time::Duration;

/// The pause that ends what is whole but could go on.
const WHOLE: Duration = Duration::from_millis(500);
/// The pause that ends a reading with as many digits as instruments show, but without its unit.
const READ: Duration = Duration::from_millis(400);
/// Digits that instruments show. After fewer the next may only be slow to come: "two nine ... nine".
const SHOWN: usize = 3;

/// Hears an utterance. The last reading may be put right although the step that asks now has other
/// words.
pub(super) fn recognise(
    recogniser: &mut dyn Recogniser,
    utterance: &Utterance,
    expected: &DecodeContext,
    earlier: Option<&str>,
    tally: &mut Tally,
) -> anyhow::Result<Recognition> {
    let hear = |expected: &DecodeContext| recogniser.recognise(&utterance.samples, expected);
    heard_by(hear, expected, earlier, tally)
}

/// The same of one that may not be over; nothing where others are heard first.
pub(super) fn recognise_early(
    recogniser: &mut dyn Recogniser,
    utterance: &Utterance,
    expected: &DecodeContext,
    earlier: Option<&str>,
    tally: &mut Tally,
) -> anyhow::Result<Option<Recognition>> {
    let mut given_up = false;
    let hear = |expected: &DecodeContext| {
        let heard = recogniser.early(&utterance.samples, expected)?;
        given_up |= heard.is_none();
        Ok(heard.unwrap_or_else(Recognition::nothing))
    };
    let heard = heard_by(hear, expected, earlier, tally)?;
    Ok((!given_up).then_some(heard))
}

fn heard_by(
    mut hear: impl FnMut(&DecodeContext) -> anyhow::Result<Recognition>,
    expected: &DecodeContext,
    earlier: Option<&str>,
    tally: &mut Tally,
) -> anyhow::Result<Recognition> {
    let heard = hear(expected)?;
    tally.hearing += heard.took;
    if heard.outcome != Decision::Accept
        && let Some(rule) = earlier
    {
        let expected = DecodeContext {
            rule: rule.to_owned(),
            excluded: expected.excluded.clone(),
        };
        let again = hear(&expected)?;
        tally.hearing += again.took;
        if again.outcome == Decision::Accept && again.said.as_ref().is_some_and(Session::puts_right)
        {
            return Ok(again);
        }
    }
    Ok(heard)
}

/// Hears what the step's `rule` left alone once more, as what the trade says in other words; nothing where it
/// is none of that either. What it means is no more than a hint of what to say, unless it is surely a question
/// that changes nothing ([`is_a_sure_question`]): that one is taken.
///
/// # Errors
/// When the engine fails.
pub fn second_hearing(
    recogniser: &mut dyn Recogniser,
    grammar: &Grammar,
    samples: &[f32],
    rule: &str,
) -> anyhow::Result<Option<Recognition>> {
    let Some(rule) = grammar.talk_rule(rule) else {
        return Ok(None);
    };
    let as_talk = DecodeContext {
        rule,
        excluded: Vec::new(),
    };
    let heard = recogniser.recognise(samples, &as_talk)?;
    let is_talk = heard.outcome != Decision::Reject && heard.said.is_some();
    Ok(is_talk.then_some(heard))
}

/// Whether what was heard at a second hearing is taken.
pub fn is_a_sure_question(talk: &Recognition) -> bool {
    talk.outcome == Decision::Accept && talk.said.as_ref().is_some_and(Intent::only_asks)
}

/// How long a pause after what was heard ends it, when shorter than usual: nothing can follow, or
/// it is whole as it stands. After "negative" and "correction" what is right often follows.
pub fn enough(heard: &Recognition) -> Option<Duration> {
    if heard.outcome != Decision::Accept {
        return None;
    }
    match heard.said.as_ref()? {
        _ if !heard.may_go_on => Some(Duration::ZERO),
        _ if may_be_half_a_number(&heard.words) => None,
        Intent::Negative | Intent::Correction(None) => None,
        Intent::Reading { reading, .. } => whole(reading),
        Intent::Correction(Some(right)) => match right.as_ref() {
            Intent::Reading { reading, .. } => whole(reading),
            _ => None,
        },
        _ => Some(WHOLE),
    }
}

fn may_be_half_a_number(words: &str) -> bool {
    let last = words.split_whitespace().next_back();
    last.is_some_and(number::is_open_ended)
}

fn whole(reading: &Reading) -> Option<Duration> {
    let digits = |number: Number| {
        let shown = number.to_string();
        shown.chars().filter(char::is_ascii_digit).count()
    };
    let enough = reading.number.is_none_or(|number| digits(number) >= SHOWN);
    enough.then_some(READ)
}

/// Whether "negative" right after this event refuses what was heard.
pub(super) fn may_be_refused(event: &Event) -> bool {
    matches!(
        event,
        Event::Reading { .. }
            | Event::Stated { .. }
            | Event::SectionStated { .. }
            | Event::Observed { .. }
            | Event::TakenOut { .. }
            | Event::PutBack { .. }
            | Event::ProposedAllBack { .. }
            | Event::ProposedStatement { .. }
            | Event::ProposedPoint { .. }
            | Event::ProposedCircuit { .. }
            | Event::NotTested { .. }
            | Event::Skipped { .. }
    )
}

/// Meanings to leave out of the next decode: what was just taken back.
pub(super) fn refused(said: &Intent, turn: &Turn, last: Option<&Intent>) -> Vec<Intent> {
    let refuses = matches!(
        said,
        Intent::Negative | Intent::Correction(None) | Intent::Disregard
    );
    let withdrew = turn
        .events
        .iter()
        .any(|event| matches!(event, Event::Withdrawn { .. }));
    let read = turn
        .events
        .iter()
        .any(|event| matches!(event, Event::Reading { .. }));
    if refuses && withdrew && !read {
        last.cloned().into_iter().collect()
    } else {
        Vec::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::speech::Scores;

    fn heard(grammar: &Grammar, words: &str, outcome: Decision, may_go_on: bool) -> Recognition {
        Recognition {
            outcome,
            words: words.to_owned(),
            said: grammar.understand("anything", words),
            runner_up: None,
            runner_up_said: None,
            scores: Scores {
                llr_per_phone: 0.0,
                margin: 40.0,
                phones: 9,
            },
            times: Vec::new(),
            ears_differ: false,
            only_fits_ill: false,
            may_go_on,
            took: Duration::ZERO,
        }
    }

    #[test]
    fn only_what_is_whole_ends_sooner() {
        let grammar = Grammar::built_in().unwrap();
        let pause = |words, outcome, may_go_on| enough(&heard(&grammar, words, outcome, may_go_on));
        let taken = Decision::Accept;
        assert_eq!(pause("done", taken, false), Some(Duration::ZERO));
        assert_eq!(
            pause("line to earth two nine nine", taken, true),
            Some(READ),
            "the unit may follow"
        );
        assert_eq!(
            pause("line to earth two nine", taken, true),
            None,
            "a digit may follow"
        );
        assert_eq!(pause("over range", taken, true), Some(READ));
        for half in ["line to earth two hundred", "two ninety", "one thousand"] {
            assert_eq!(
                pause(half, taken, true),
                None,
                "{half} ... and what follows"
            );
        }
        assert_eq!(
            pause("neutral out at socket three", taken, true),
            Some(WHOLE)
        );
        assert_eq!(
            pause("negative", taken, true),
            None,
            "what is right follows"
        );
        assert_eq!(pause("correction", taken, true), None);
        assert_eq!(
            pause("line to earth two nine nine", Decision::Confirm, true),
            None
        );
        assert_eq!(pause("", Decision::Reject, false), None);
    }
}
