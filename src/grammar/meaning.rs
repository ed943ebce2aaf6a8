//! A path of words and tags to [`Intent`].

use super::net::Event;
use super::number;
use super::said::Intent;
use super::tag::{Function, SaidBetween, Tag};
use crate::quantity::{Conductors, Number, Pair, Reading, Relation, TestVoltage, Unit};
use crate::terms::{
    Alteration, Between, Change, FaultKind, HalfCycle, HiddenFault, ItemNumber, NamedQuantity,
    Parked, Part, Place, RcdTest, Reason, Setting, Statement,
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
        Tag::AddCircuit => Intent::AddCircuit {
            number: parts.small_number()?,
            said: said_of_circuit(inside),
        },
        Tag::Pieces => Intent::Pieces(said_of_circuit(inside)),
        Tag::Inspected => Intent::Inspected {
            item: parts.item?,
            state: parts.state?,
        },
        Tag::InspectedSection => Intent::InspectedSection {
            state: parts.state?,
            section: parts.small_number()?,
        },
        Tag::Observed => Intent::Observed {
            code: parts.state?,
            circuit: parts.of_circuit,
            place: parts.place,
        },
        Tag::WhatDidISay => Intent::WhatDidISay(parts.small_number()),
        Tag::Circuit => Intent::Circuit(parts.small_number()?),
        Tag::Board => Intent::Board(parts.small_number()?),
        Tag::GoTo(stage) => Intent::GoTo(*stage),
        Tag::TestAt(voltage) => Intent::TestAt(*voltage),
        Tag::ProsodyChange(manner) => Intent::ProsodyChange(*manner),
        Tag::Probed => parts.probe()?,
        Tag::Predicted(of) => Intent::Predict {
            of: *of,
            reading: parts.plain_reading(),
        },
        Tag::Diagnosed => Intent::Diagnose(parts.diagnosis()),
        Tag::SwitchedOn => Intent::SwitchedOn(parts.of_circuit),
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
    measure: Option<NamedQuantity>,
    place: Option<Place>,
    part: Option<Part>,
    change: Option<Change>,
    both: bool,
    parked: Option<Parked>,
    state: Option<Statement>,
    reason: Option<Reason>,
    between: Option<SaidBetween>,
    function: Option<Function>,
    current: Option<RcdTest>,
    fault: Option<FaultKind>,
    of_circuit: Option<u16>,
    with_circuit: Option<u16>,
    item: Option<ItemNumber>,
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
                Tag::Between(between) => fill(&mut self.between, Some(*between)),
                Tag::Function(function) => fill(&mut self.function, Some(*function)),
                Tag::Current(current) => fill(&mut self.current, Some(*current)),
                Tag::Fault(fault) => fill(&mut self.fault, Some(*fault)),
                Tag::OfCircuit => fill(&mut self.of_circuit, numbered(inside)),
                Tag::WithCircuit => fill(&mut self.with_circuit, numbered(inside)),
                Tag::Item => fill(&mut self.item, item(inside)),
                Tag::Both => {
                    self.both = true;
                    true
                }
                _ => true,
            };
            self.contradicted |= !fits;
            // The number of a place, a circuit or an item is its own, not the reading's.
            if !matches!(
                tag,
                Tag::Place | Tag::OfCircuit | Tag::WithCircuit | Tag::Item
            ) {
                self.gather(inside);
            }
        }
    }

    /// The value alone, with what was said of it.
    fn plain_reading(&self) -> Option<Reading> {
        let relation = self.relation.unwrap_or(Relation::Exact);
        let shown = self.number.is_some() || relation == Relation::OverRange;
        shown.then_some(Reading {
            pair: self.pair,
            relation,
            number: self.number,
            unit: self.unit,
            at: self.at,
        })
    }

    fn reading(self) -> Option<Intent> {
        let reading = self.plain_reading()?;
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

    /// Which conductors were named by themselves.
    fn conductors(&self) -> Option<Conductors> {
        match self.part {
            Some(Part::Conductors(conductors)) => Some(conductors),
            _ => None,
        }
    }

    fn probe(self) -> Option<Intent> {
        let between = match self.between {
            None => Between::Pair(self.pair?),
            Some(SaidBetween::Ends) => Between::Ends(self.conductors()?),
            Some(SaidBetween::LongLead) => Between::LongLead(self.conductors()?),
            Some(SaidBetween::Bond) => Between::Bond,
            Some(SaidBetween::LeadsJoined) => Between::LeadsJoined,
            Some(SaidBetween::LeadsApart) => Between::LeadsApart,
            Some(SaidBetween::KnownSource) => Between::KnownSource,
            Some(SaidBetween::Reference) => Between::Reference,
            Some(SaidBetween::Label) => Between::Label,
        };
        let setting = match self.function {
            None if between == Between::Label => Some(Setting::Look),
            // A voltage alone names the insulation test.
            None => self.at.map(|at| Setting::Insulation { at }),
            Some(Function::Voltage) => Some(Setting::Voltage),
            Some(Function::Continuity) => Some(Setting::Continuity),
            Some(Function::Insulation) => Some(Setting::Insulation {
                at: self.at.unwrap_or(TestVoltage::V500),
            }),
            Some(Function::Loop) => Some(Setting::Loop),
            Some(Function::FaultCurrent) => Some(Setting::FaultCurrent),
            Some(Function::Rcd) => Some(Setting::Rcd {
                current: self.current.unwrap_or(RcdTest::Once),
                half: self.half.unwrap_or(HalfCycle::Positive),
            }),
            Some(Function::PhaseSequence) => Some(Setting::PhaseSequence),
        };
        Some(Intent::Probe {
            setting,
            between,
            place: self.place,
            circuit: self.of_circuit,
        })
    }

    fn diagnosis(self) -> Option<HiddenFault> {
        let conductor = self.conductors();
        Some(HiddenFault {
            kind: self.fault?,
            board: None,
            circuit: self.of_circuit,
            place: self.place,
            conductor,
            with_circuit: self.with_circuit,
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

/// What was said of a circuit, a piece each, numbers in figures.
fn said_of_circuit(inside: &[Piece<'_>]) -> Vec<String> {
    let pieces = inside.iter().filter_map(|piece| match piece {
        Piece::Tagged(Tag::Piece, inside) => Some(number::in_digits(&words(inside))),
        _ => None,
    });
    // Words that mean the same are written as one.
    let plain = |piece: String| {
        let words = piece.split(' ').map(|word| match word {
            "amp" => "amps",
            "milliamp" => "milliamps",
            "kiloamp" | "kiloamps" => "ka",
            "metre" => "metres",
            "socket" => "sockets",
            "light" => "lights",
            "alarm" => "alarms",
            "bravo" => "b",
            "charlie" => "c",
            "delta" => "d",
            word => word,
        });
        words.collect::<Vec<_>>().join(" ")
    };
    pieces.map(plain).collect()
}

/// The number of an item: its parts in order.
fn item(inside: &[Piece<'_>]) -> Option<ItemNumber> {
    let part = |piece: &Piece<'_>| match piece {
        Piece::Tagged(Tag::Number, inside) => number::from_words(&words(inside)).and_then(small),
        _ => None,
    };
    let parts: Vec<u16> = inside.iter().filter_map(part).collect();
    ItemNumber::of(&parts)
}

/// The number said of a circuit.
fn numbered(inside: &[Piece<'_>]) -> Option<u16> {
    inside.iter().find_map(|piece| match piece {
        Piece::Tagged(Tag::Number, inside) => number::from_words(&words(inside)).and_then(small),
        _ => None,
    })
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
        // A device that is called by its letters is written so.
        Some(name) if name == "r c d" => Some(Place {
            name: "RCD".to_owned(),
            number,
        }),
        Some(name) => Some(Place { name, number }),
        None => number.map(Place::numbered),
    }
}
