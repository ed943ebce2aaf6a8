//! The job's own places: how each is said, whatever it is called in the job file.

use super::error::Result;
use super::lexicon::Lexicon;
use super::rules::Grammar;
use super::said::Intent;
use super::{number, typed};
use crate::terms::Place;
use std::collections::BTreeSet;
use std::fmt;

/// What a place that can't be said by its name is said as.
const INSTEAD: &str = "point";

/// A place of the job, and what to say for it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SaidInstead {
    /// As the job file has it.
    pub place: Place,
    /// The words to say: "point three".
    pub say: String,
}

impl fmt::Display for SaidInstead {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "By voice, say \"{}\" for \"{}\": it is not known how that name sounds.",
            self.say, self.place
        )
    }
}

/// One way to say a place.
struct Spoken {
    words: Vec<String>,
    place: Place,
}

impl Grammar {
    /// The same rules with the job's places, by any name that a job file may give them. A name that
    /// ends in a number may be said as a name and its number. By voice, a name with a word of unknown
    /// sound is said as "point" and a number, and so is, typed too, one without words or one that
    /// would be another place of the job; these are listed.
    ///
    /// # Errors
    /// When the lexicon or the rules that ship are not whole.
    ///
    /// ```
    /// use bothhands::grammar::Grammar;
    /// use bothhands::terms::Place;
    /// let place = Place { name: "qwxyz".to_owned(), number: None };
    /// let (grammar, instead) = Grammar::built_in()?.with_job_places(&[place], true)?;
    /// assert_eq!(instead[0].say, "point one");
    /// assert!(grammar.understand("insulation", "neutral out at point one").is_some());
    /// # Ok::<(), bothhands::grammar::GrammarError>(())
    /// ```
    pub fn with_job_places(
        &self,
        places: &[Place],
        by_voice: bool,
    ) -> Result<(Self, Vec<SaidInstead>)> {
        let lexicon = Lexicon::built_in()?;
        let mut named: Vec<Vec<String>> = Vec::new();
        let mut called: Vec<(Place, Place)> = Vec::new();
        let mut instead = Vec::new();
        let mut numbers = free_numbers(places);
        for place in places {
            let mut sounds = false;
            for spoken in ways(place) {
                let another = spoken.place != *place && places.contains(&spoken.place);
                let taken = called
                    .iter()
                    .any(|(said, written)| *said == spoken.place && written != place);
                if another || taken {
                    continue;
                }
                let known = spoken.words.iter().all(|word| lexicon.knows(word));
                if by_voice && !known {
                    continue;
                }
                sounds |= known;
                if !named.contains(&spoken.words) {
                    named.push(spoken.words);
                }
                if spoken.place != *place {
                    called.push((spoken.place, place.clone()));
                }
            }
            if !sounds && let Some(number) = numbers.next() {
                let said = Place {
                    name: INSTEAD.to_owned(),
                    number: Some(number),
                };
                let say = match number::short_cardinal(number.into()) {
                    Some(number) => format!("{INSTEAD} {number}"),
                    None => continue,
                };
                called.push((said, place.clone()));
                instead.push(SaidInstead {
                    place: place.clone(),
                    say,
                });
            }
        }
        let mut grammar = self.with_named(named)?;
        grammar.called = called;
        Ok((grammar, instead))
    }
}

/// Places in the order in which they are given a number where they need one, each once.
pub fn distinct(places: impl IntoIterator<Item = Place>) -> Vec<Place> {
    let mut places: Vec<Place> = places.into_iter().collect();
    places.sort_by(|a, b| (&a.name, a.number).cmp(&(&b.name, b.number)));
    places.dedup();
    places
}

/// Numbers that no point of the job has.
fn free_numbers(places: &[Place]) -> impl Iterator<Item = u16> + use<> {
    let taken: BTreeSet<u16> = places
        .iter()
        .filter(|place| place.name == INSTEAD)
        .filter_map(|place| place.number)
        .collect();
    (1..100).filter(move |number| !taken.contains(number))
}

/// How a place may be said: as its name sounds, and as it is understood where it is typed.
fn ways(place: &Place) -> Vec<Spoken> {
    let mut ways: Vec<Spoken> = Vec::new();
    for words in [
        typed::place_name(&place.name),
        typed::normalise(&place.name),
    ] {
        let mut words: Vec<String> = words.split_whitespace().map(str::to_owned).collect();
        // "Boiler thirty two" ends in two words of a number, "boiler seven" in one.
        let ending = [2, 1].into_iter().find_map(|length| {
            let at = words.len().checked_sub(length)?;
            let number = number::from_words(&words.get(at..)?.join(" "))?;
            Some((at, u16::try_from(number.as_whole()?).ok()?))
        });
        let ends_in = ending.map(|(_, number)| number);
        let number = match (ends_in, place.number) {
            // Two numbers at its end: nobody could tell them apart.
            (Some(_), Some(_)) => continue,
            (Some(last), None) if (1..100).contains(&last) => {
                words.truncate(ending.map_or(words.len(), |(at, _)| at));
                Some(last)
            }
            (Some(_), None) => continue,
            (None, number) => number,
        };
        if words.is_empty() || ways.iter().any(|way| way.words == words) {
            continue;
        }
        let place = Place {
            name: words.join(" "),
            number,
        };
        ways.push(Spoken { words, place });
    }
    ways
}

/// What was said, with its places as the job writes them.
pub(super) fn as_written(said: Intent, called: &[(Place, Place)]) -> Intent {
    if called.is_empty() {
        return said;
    }
    let written = |place: Place| {
        called
            .iter()
            .find(|(said, _)| *said == place)
            .map_or(place, |(_, written)| written.clone())
    };
    match said {
        Intent::Reading {
            reading,
            place,
            half,
        } => Intent::Reading {
            reading,
            place: place.map(written),
            half,
        },
        Intent::Measured {
            measure,
            reading,
            place,
        } => Intent::Measured {
            measure,
            reading,
            place: place.map(written),
        },
        Intent::StatedAt { state, pair, place } => Intent::StatedAt {
            state,
            pair,
            place: place.map(written),
        },
        Intent::Altered(mut alteration) => {
            alteration.place = alteration.place.map(written);
            Intent::Altered(alteration)
        }
        Intent::Correction(Some(inner)) => {
            Intent::Correction(Some(Box::new(as_written(*inner, called))))
        }
        other => other,
    }
}
