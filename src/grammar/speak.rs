//! Meaning back to words: read-backs, prompts and tests.

use super::said::Intent;
use super::{number, typed};
use crate::quantity::{Number, Reading, Relation, TestVoltage};
use crate::terms::{
    Alteration, Between, Change, HalfCycle, ItemNumber, Parked, Part, Place, Predicted, RcdTest,
    Reason, Setting, Statement,
};

impl Intent {
    /// A permission of one word in two, which hardly anything else sounds like; nothing where it has
    /// several words of its own.
    pub fn in_full(&self) -> Option<&'static str> {
        match self {
            Self::Stated(Statement::Dead) => Some("proved dead"),
            Self::Stated(Statement::Proved) => Some("indicator proved"),
            Self::Stated(Statement::Isolated) => Some("board isolated"),
            Self::Stated(Statement::Energised) => Some("board energised"),
            _ => None,
        }
    }

    /// The plainest words with this meaning. [`super::Grammar::understand`] gives the same meaning
    /// back, as long as the grammar knows the places and the numbers are within its reach.
    ///
    /// ```
    /// use bothhands::grammar::Intent;
    /// use bothhands::quantity::{Pair, Reading, Relation};
    /// let reading = Reading::exact("299".parse()?).with_relation(Relation::Over).between(Pair::LN);
    /// let said = Intent::Reading { reading, place: None, half: None };
    /// assert_eq!(said.words(), "line to neutral over two nine nine");
    /// # Ok::<(), bothhands::quantity::NumberError>(())
    /// ```
    pub fn words(&self) -> String {
        match self {
            Self::Foreign(text) => text.clone(),
            Self::TradeTalk => "trade talk".to_owned(),
            Self::Reading {
                reading,
                place,
                half,
            } => self::reading(reading, place.as_ref(), *half),
            Self::Measured {
                measure,
                reading,
                place,
            } => format!(
                "{} {}",
                measure.spoken(),
                self::reading(reading, place.as_ref(), None)
            ),
            Self::Altered(alteration) => self::alteration(alteration),
            Self::Stated(state) => state.spoken().to_owned(),
            Self::StatedAt { state, pair, place } => Words::new()
                .add(pair.map(|pair| pair.spoken()))
                .add(Some(state.spoken()))
                .add(place.as_ref().map(at_place))
                .join(),
            Self::Affirm => "affirm".to_owned(),
            Self::Negative => "negative".to_owned(),
            Self::Correction(None) => "correction".to_owned(),
            Self::Correction(Some(right)) => format!("correction {}", right.words()),
            Self::Disregard => "disregard".to_owned(),
            Self::SayAgain => "say again".to_owned(),
            Self::StandBy => "stand by".to_owned(),
            Self::CarryOn => "carry on".to_owned(),
            Self::Pause => "pause the session".to_owned(),
            Self::Resume => "resume the session".to_owned(),
            Self::WhereAreWe => "where are we".to_owned(),
            Self::WhatIsOut => "what is out".to_owned(),
            Self::HowLongIsLeft => "how long is left".to_owned(),
            Self::WhatIsLeft => "what is left".to_owned(),
            Self::WhatIsNext => "what is next".to_owned(),
            Self::WhatIsTheLimit => "what is the limit".to_owned(),
            Self::WhatDidISay(None) => "what did i say".to_owned(),
            Self::WhatDidISay(Some(n)) => {
                format!("what did i say for circuit {}", place_number(*n))
            }
            Self::Help => "what can i say".to_owned(),
            Self::Finish => "finish the session".to_owned(),
            Self::StaysOff(n) => format!("circuit {} stays off", place_number(*n)),
            Self::AddPoint { name, circuit } => {
                format!("one more {name} on circuit {}", place_number(*circuit))
            }
            Self::AddCircuit { number, said } => Words::new()
                .add(Some(format!("add circuit {}", place_number(*number))))
                .add(Some(of_circuit(said)))
                .join(),
            Self::Pieces(said) => of_circuit(said),
            Self::Inspected { item, state } => {
                format!("item {} {}", item_number(item), state.spoken())
            }
            Self::InspectedSection { section, state } => {
                format!("section {} {}", place_number(*section), state.spoken())
            }
            Self::Observed {
                code,
                circuit,
                place,
            } => Words::new()
                .add(Some("observation"))
                .add(Some(code.code_spoken()))
                .add(circuit.map(|n| format!("on circuit {}", place_number(n))))
                .add(place.as_ref().map(at_place))
                .join(),
            Self::Observe => "observation".to_owned(),
            Self::Both(change) => Words::new()
                .add(Some("both"))
                .add(change.map(Change::shown))
                .join(),
            Self::NotTested(reason) => because("not tested", reason.as_ref()),
            Self::Skip(reason) => because("skip this", reason.as_ref()),
            Self::Override(reason) => because("override", reason.as_ref()),
            Self::Because(reason) => format!("reason {}", reason.spoken()),
            Self::Circuit(n) => format!("circuit {}", place_number(*n)),
            Self::Board(n) => format!("board {}", place_number(*n)),
            Self::GoTo(stage) => format!("go to {}", stage.spoken()),
            Self::TestAt(voltage) => match voltage {
                TestVoltage::V250 => "go to two fifty volts",
                TestVoltage::V500 => "go to five hundred volts",
                TestVoltage::V1000 => "go to one thousand volts",
            }
            .to_owned(),
            Self::Note => "take a note".to_owned(),
            Self::EndOfNote => "end of note".to_owned(),
            Self::ProsodyChange(manner) => manner.shown().to_owned(),
            Self::Probe {
                setting,
                between,
                place,
                circuit,
            } => Words::new()
                .add(Some(probing(*setting, between, place.as_ref())))
                .add(circuit.map(|n| format!("on circuit {}", place_number(n))))
                .join(),
            Self::WhatDoesItShow => "what does it show".to_owned(),
            Self::SwitchedOn(circuit) => Words::new()
                .add(Some("breaker on again"))
                .add(circuit.map(|n| format!("on circuit {}", place_number(n))))
                .join(),
            Self::Predict { of, reading } => {
                let value = reading.map(|reading| self::reading(&reading, None, None));
                match (of, value) {
                    (Predicted::Value, value) => format!("i expect {}", value.unwrap_or_default()),
                    (Predicted::Limit, Some(value)) => format!("the limit is {value}"),
                    (Predicted::Limit, None) => "there is no limit".to_owned(),
                }
            }
            Self::Diagnose(None) => "there is no fault".to_owned(),
            Self::Diagnose(Some(fault)) => Words::new()
                .add(Some("the fault is"))
                .add(Some(fault.kind.spoken()))
                .add(fault.conductor.map(|c| format!("of the {}", c.spoken())))
                .add(fault.place.as_ref().map(at_place))
                .add(
                    fault
                        .circuit
                        .map(|n| format!("on circuit {}", place_number(n))),
                )
                .add(
                    fault
                        .with_circuit
                        .map(|n| format!("with circuit {}", place_number(n))),
                )
                .join(),
        }
    }
}

/// "Four point three".
fn item_number(item: &ItemNumber) -> String {
    let parts = item.parts().iter().map(|part| place_number(*part));
    parts.collect::<Vec<_>>().join(" point ")
}

/// Words in order, those that are not there left out.
struct Words(Vec<String>);

impl Words {
    fn new() -> Self {
        Self(Vec::new())
    }

    fn add<S: Into<String>>(mut self, words: Option<S>) -> Self {
        self.0
            .extend(words.map(Into::into).filter(|words| !words.is_empty()));
        self
    }

    fn join(self) -> String {
        self.0.join(" ")
    }
}

fn place_number(n: u16) -> String {
    number::short_cardinal(n.into()).unwrap_or_else(|| number::read_back(Number::whole(n.into())))
}

/// What was said of a circuit, as said aloud.
fn of_circuit(said: &[String]) -> String {
    let pieces = said.iter().flat_map(|line| line.split([',', ';']));
    let pieces: Vec<String> = pieces.map(typed::normalise).collect();
    pieces.join(" ")
}

/// As said aloud: "socket three".
fn place_spoken(place: &Place) -> String {
    match place.number {
        Some(n) => format!("{} {}", place.name, place_number(n)),
        None => place.name.clone(),
    }
}

fn at_place(place: &Place) -> String {
    format!("at {}", place_spoken(place))
}

fn reading(reading: &Reading, place: Option<&Place>, half: Option<HalfCycle>) -> String {
    let relation = match reading.relation {
        Relation::Exact => None,
        Relation::Over => Some("over"),
        Relation::Under => Some("under"),
        Relation::OverRange => Some("over range"),
    };
    let at = reading.at.map(at_voltage);
    Words::new()
        .add(reading.pair.map(|pair| pair.spoken()))
        .add(half.map(HalfCycle::spoken))
        .add(relation)
        .add(reading.number.map(number::read_back))
        .add(reading.number.and(reading.unit).map(|unit| unit.spoken()))
        .add(at)
        .add(place.map(at_place))
        .join()
}

fn at_voltage(at: TestVoltage) -> &'static str {
    match at {
        TestVoltage::V250 => "at two five zero volts",
        TestVoltage::V500 => "at five hundred volts",
        TestVoltage::V1000 => "at one thousand volts",
    }
}

fn probing(setting: Option<Setting>, between: &Between, place: Option<&Place>) -> String {
    let function = setting.map(|setting| match setting {
        Setting::Voltage => "voltage".to_owned(),
        Setting::Continuity => "continuity".to_owned(),
        Setting::Insulation { at } => format!("insulation {}", at_voltage(at)),
        Setting::Loop => "loop".to_owned(),
        Setting::FaultCurrent => "fault current".to_owned(),
        Setting::Rcd { current, half } => {
            let current = match current {
                RcdTest::Half => "at half",
                RcdTest::Once => "at rated current",
                RcdTest::Five => "at five times",
            };
            format!("r c d {current} {}", half.spoken())
        }
        Setting::PhaseSequence => "phase sequence".to_owned(),
        Setting::Look => String::new(),
    });
    let between = match between {
        Between::Pair(pair) => pair.spoken(),
        Between::Ends(conductor) => format!("{} end to end", conductor.spoken()),
        Between::LongLead(conductor) => format!("long lead to {}", conductor.spoken()),
        Between::Bond => "bond".to_owned(),
        Between::LeadsJoined => "leads together".to_owned(),
        Between::LeadsApart => "leads apart".to_owned(),
        Between::KnownSource => "known source".to_owned(),
        Between::Reference => "reference".to_owned(),
        Between::Label => "label".to_owned(),
    };
    Words::new()
        .add(Some("probe"))
        .add(function)
        .add(Some(between))
        .add(place.map(at_place))
        .join()
}

fn because(what: &str, reason: Option<&Reason>) -> String {
    match reason {
        Some(reason) => format!("{what} reason {}", reason.spoken()),
        None => what.to_owned(),
    }
}

fn alteration(alteration: &Alteration) -> String {
    let Alteration {
        part,
        change,
        place,
        both,
        parked,
    } = alteration;
    // A whole accessory is its place; anything else is at one.
    let (what, at) = match (part, place) {
        (Part::Accessory, place) => (place.as_ref().map(place_spoken), None),
        (part, place) => (Some(part.spoken(*both)), place.as_ref().map(at_place)),
    };
    Words::new()
        .add(Some(what.unwrap_or_default()))
        .add(Some(change.spoken(*part)))
        .add(at)
        .add(parked.map(Parked::shown))
        .join()
}
