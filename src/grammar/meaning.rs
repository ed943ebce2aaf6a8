//! A path of words and tags to [`Intent`].

use super::net::Event;
use super::number;
use super::said::Intent;
use super::tag::Tag;
use crate::quantity::{Number, Pair, Reading, Relation, TestVoltage, Unit};
use crate::terms::{
    Alteration, Change, HalfCycle, Measure, Parked, Part, Place, Reason, Statement,
};

/// Words and tagged parts, in the order they were said.
#[derive(Debug)]
enum Piece<'a> {
    Word(&'a str),
    Tagged(&'a Tag, Vec<Piece<'a>>),
}

/// What the tags along a path mean together.
pub(super) fn of(path: &[Event<'_>]) -> Option<Intent> {
    said(&pieces(path))
}

/// The tags along a path of somebody else's grammar, or its words where it has none.
pub(super) fn foreign(path: &[Event<'_>]) -> Intent {
    let tags: Vec<&str> = path
        .iter()
        .filter_map(|event| match event {
            Event::Open(Tag::Foreign(tag)) => Some(tag.as_str()),
            _ => None,
        })
        .collect();
    let words = || {
        path.iter().filter_map(|event| match event {
            Event::Word(word) => Some(*word),
            _ => None,
        })
    };
    let parts = if tags.is_empty() {
        words().collect()
    } else {
        tags
    };
    Intent::Foreign(parts.join(" "))
}

fn pieces<'a>(path: &[Event<'a>]) -> Vec<Piece<'a>> {
    let mut open: Vec<(&Tag, Vec<Piece<'_>>)> = Vec::new();
    let mut here = Vec::new();
    for event in path {
        match event {
            Event::Word(word) => here.push(Piece::Word(word)),
            Event::Open(tag) => open.push((tag, std::mem::take(&mut here))),
            Event::Close => {
                if let Some((tag, before)) = open.pop() {
                    let inside = std::mem::replace(&mut here, before);
                    here.push(Piece::Tagged(tag, inside));
                }
            }
        }
    }
    here
}

fn said(pieces: &[Piece<'_>]) -> Option<Intent> {
    pieces.iter().find_map(|piece| match piece {
        Piece::Word(_) => None,
        Piece::Tagged(tag, inside) => one(tag, inside),
    })
}

fn one(tag: &Tag, inside: &[Piece<'_>]) -> Option<Intent> {
    let parts = Parts::of(inside);
    if parts.contradicted {
        return None;
    }
    Some(match tag {
        Tag::Reading => parts.reading()?,
        Tag::Altered => parts.alteration()?,
        Tag::Stated => parts.statement()?,
        Tag::Intent(said) => said.clone(),
        Tag::Correction => Intent::Correction(said(inside).map(Box::new)),
        Tag::Both => Intent::Both(parts.change),
        Tag::NotTested => Intent::NotTested(parts.reason),
        Tag::Skip => Intent::Skip(parts.reason),
        Tag::Override => Intent::Override(parts.reason),
        Tag::Because => Intent::Because(parts.reason?),
        Tag::StaysOff => Intent::StaysOff(parts.small_number()?),
        Tag::AddPoint => {
            let Place { name, number } = place(inside)?;
            Intent::AddPoint {
                name,
                circuit: number?,
            }
        }
        Tag::WhatDidISay => Intent::WhatDidISay(parts.small_number()),
        Tag::Circuit => Intent::Circuit(parts.small_number()?),
        Tag::Board => Intent::Board(parts.small_number()?),
        Tag::GoTo(stage) => Intent::GoTo(*stage),
        Tag::TestAt(voltage) => Intent::TestAt(*voltage),
        Tag::ProsodyChange(manner) => Intent::ProsodyChange(*manner),
        _ => said(inside)?,
    })
}

/// The parts of a reading, an alteration or a statement.
#[derive(Default)]
struct Parts {
    number: Option<Number>,
    pair: Option<Pair>,
    relation: Option<Relation>,
    unit: Option<Unit>,
    at: Option<TestVoltage>,
    half: Option<HalfCycle>,
    measure: Option<Measure>,
    place: Option<Place>,
    part: Option<Part>,
    change: Option<Change>,
    both: bool,
    parked: Option<Parked>,
    state: Option<Statement>,
    reason: Option<Reason>,
    /// The same part was said twice, and differently.
    contradicted: bool,
}

impl Parts {
    fn of(pieces: &[Piece<'_>]) -> Self {
        let mut parts = Self::default();
        parts.gather(pieces);
        parts
    }

    fn gather(&mut self, pieces: &[Piece<'_>]) {
        for piece in pieces {
            let Piece::Tagged(tag, inside) = piece else {
                continue;
            };
            let fits = match tag {
                Tag::Number => fill(&mut self.number, number::from_words(&words(inside))),
                Tag::Place => fill(&mut self.place, place(inside)),
                Tag::Pair(pair) => fill(&mut self.pair, Some(*pair)),
                Tag::Relation(relation) => fill(&mut self.relation, Some(*relation)),
                Tag::Unit(unit) => fill(&mut self.unit, Some(*unit)),
                Tag::At(at) => fill(&mut self.at, Some(*at)),
                Tag::Half(half) => fill(&mut self.half, Some(*half)),
                Tag::Measure(measure) => fill(&mut self.measure, Some(*measure)),
                Tag::Part(part) => fill(&mut self.part, Some(*part)),
                Tag::Change(change) => fill(&mut self.change, Some(*change)),
                Tag::Parked(parked) => fill(&mut self.parked, Some(*parked)),
                Tag::State(state) => fill(&mut self.state, Some(*state)),
                Tag::Reason(reason) => fill(&mut self.reason, Some(reason.clone())),
                Tag::Both => {
                    self.both = true;
                    true
                }
                _ => true,
            };
            self.contradicted |= !fits;
            // A place's number is its own, not the reading's.
            if !matches!(tag, Tag::Place) {
                self.gather(inside);
            }
        }
    }

    fn reading(self) -> Option<Intent> {
        let relation = self.relation.unwrap_or(Relation::Exact);
        if self.number.is_none() && relation != Relation::OverRange {
            return None;
        }
        let reading = Reading {
            pair: self.pair,
            relation,
            number: self.number,
            unit: self.unit,
            at: self.at,
        };
        Some(match self.measure {
            Some(measure) => Intent::Measured {
                measure,
                reading,
                place: self.place,
            },
            None => Intent::Reading {
                reading,
                place: self.place,
                half: self.half,
            },
        })
    }

    fn alteration(self) -> Option<Intent> {
        Some(Intent::Altered(Alteration {
            part: self.part?,
            change: self.change?,
            place: self.place,
            both: self.both,
            parked: self.parked,
        }))
    }

    fn statement(self) -> Option<Intent> {
        let state = self.state?;
        Some(if self.pair.is_none() && self.place.is_none() {
            Intent::Stated(state)
        } else {
            Intent::StatedAt {
                state,
                pair: self.pair,
                place: self.place,
            }
        })
    }

    fn small_number(self) -> Option<u16> {
        small(self.number?)
    }
}

/// Puts a part in its place; whether it agrees with what was there.
fn fill<T: PartialEq>(slot: &mut Option<T>, part: Option<T>) -> bool {
    let fits = slot.is_none() || *slot == part;
    *slot = part;
    fits
}

fn small(number: Number) -> Option<u16> {
    number.as_whole()?.try_into().ok()
}

fn words(pieces: &[Piece<'_>]) -> String {
    let mut all = Vec::new();
    gather_words(pieces, &mut all);
    all.join(" ")
}

fn gather_words<'a>(pieces: &[Piece<'a>], all: &mut Vec<&'a str>) {
    for piece in pieces {
        match piece {
            Piece::Word(word) => all.push(word),
            Piece::Tagged(_, inside) => gather_words(inside, all),
        }
    }
}

fn place(inside: &[Piece<'_>]) -> Option<Place> {
    let mut name = None;
    let mut number = None;
    for piece in inside {
        match piece {
            Piece::Tagged(Tag::Name, inside) => name = Some(words(inside)),
            Piece::Tagged(Tag::Number, inside) => {
                number = number::from_words(&words(inside)).and_then(small);
            }
            _ => {}
        }
    }
    match name {
        Some(name) => Some(Place { name, number }),
        None => number.map(Place::numbered),
    }
}
