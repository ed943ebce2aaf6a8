use super::said::Intent;
use crate::quantity::{Conductors, Pair, Relation, TestVoltage, Unit};
use crate::terms::{
    Change, FaultKind, HalfCycle, NamedQuantity, Parked, Part, Predicted, ProsodyChange, RcdTest,
    Reason, Stage, Statement,
};
use serde::Deserialize;
use serde::de::DeserializeOwned;

/// The tags that a grammar may use, and so the whole vocabulary between `grammars/` and [`Intent`].
///
/// A tag belongs to the words of the expansion it follows. Tags with a value are written
/// `{key:value}`, the value being what the session's log shows for it.
///
/// | tag | around | makes |
/// | --- | --- | --- |
/// | `{reading}` | a whole reading | [`Intent::Reading`] from the parts below |
/// | `{number}` | the words of a number | the number, see [`super::number`] |
/// | `{pair:L-N}` | "line to neutral" | the pair |
/// | `{relation:over}` | "greater than" | `exact`, `over`, `under`, `over-range` |
/// | `{unit:MΩ}` | "megohms" | the unit |
/// | `{at:250}` | "at two fifty volts" | the test voltage |
/// | `{half:positive}` | "positive half cycle" | the half-cycle |
/// | `{measure:r1-r2}` | "r one plus r two" | makes the reading [`Intent::Measured`] |
/// | `{place}` | "socket three" | the place; `{name}` and `{number}` stand inside |
/// | `{name}` | "socket" | the place's name: these words |
/// | `{altered}` | a whole alteration | [`Intent::Altered`] from the parts below and `{place}` |
/// | `{conductors:L+N}` | "line and neutral" | what was altered |
/// | `{part:lamp}` | "lamp" | what was altered, when it is no conductor |
/// | `{change:out}` | "out" | `out`, `back`, `linked`, `unlinked` |
/// | `{both}` | "both" | both conductors of the kind; around a whole sentence, [`Intent::Both`] |
/// | `{parked:connector}` | "in a connector" | how it is parked |
/// | `{stated}` | a whole statement | [`Intent::Stated`], or [`Intent::StatedAt`] with a pair or place |
/// | `{state:locked-off}` | "locked off" | which statement |
/// | `{said:affirm}` | "affirm" | any [`Intent`] without parts |
/// | `{correction}` | "correction ..." | [`Intent::Correction`] of what is inside |
/// | `{not-tested}` `{skip}` `{override}` | the whole | those, with `{reason:...}` inside or none |
/// | `{because}` | "reason ..." | [`Intent::Because`], with `{reason:...}` inside |
/// | `{stays-off}` | "circuit three stays off" | [`Intent::StaysOff`], with `{number}` inside |
/// | `{add-point}` | "one more socket on circuit three" | [`Intent::AddPoint`], with `{name}` and `{number}` inside |
/// | `{add-circuit}` | "add circuit five, ring" | [`Intent::AddCircuit`], with `{number}` and `{piece}`s inside |
/// | `{pieces}` | "ring, thirty-two amp B" | [`Intent::Pieces`], with `{piece}`s inside |
/// | `{piece}` | "thirty-two amp B" | one thing said of a circuit |
/// | `{inspected}` | "item four point three satisfactory" | [`Intent::Inspected`], with `{item}` and `{state:...}` inside |
/// | `{item}` | "four point three" | the item, with two or three `{number}` inside |
/// | `{inspected-section}` | "section six not applicable" | [`Intent::InspectedSection`], with `{number}` and `{state:...}` inside |
/// | `{observed}` | "observation code two" | [`Intent::Observed`], with `{state:...}` inside, `{of-circuit}` and `{place}` or none |
/// | `{what-did-i-say}` | "what did i say" | [`Intent::WhatDidISay`], with `{number}` inside or none |
/// | `{circuit}` `{board}` | the whole | those, with `{number}` inside |
/// | `{go-to:insulation}` | "go to insulation" | [`Intent::GoTo`] |
/// | `{test-at:500}` | "go to five hundred volts" | [`Intent::TestAt`] |
/// | `{probed}` | a whole probing | [`Intent::Probe`] from `{pair}`, `{conductors}`, `{place}`, `{at}`, `{half}` and the two below |
/// | `{between:ends}` | "end to end" | between what, where it is no pair |
/// | `{function:loop}` | "loop" | how the instrument is set |
/// | `{current:half}` | "at half" | the current of an RCD test |
/// | `{predicted:value}` | a whole prediction | [`Intent::Predict`], with the parts of a reading inside or none |
/// | `{diagnosed}` | a whole diagnosis | [`Intent::Diagnose`], with the two below inside, `{conductors}` and `{place}`, or none |
/// | `{fault:open-leg}` | "open leg" | the kind of the fault |
/// | `{switched-on}` | "breaker on again" | [`Intent::SwitchedOn`], with `{of-circuit}` inside or none |
/// | `{of-circuit}` `{with-circuit}` | "on circuit three" | the circuit, with `{number}` inside |
/// | `{manner:slower}` | "slower" | [`Intent::ProsodyChange`] |
#[derive(Debug, Clone, PartialEq)]
#[expect(missing_docs, reason = "each is a row of the table above")]
pub enum Tag {
    /// Any tag of somebody else's grammar ([`super::Grammar::foreign`]).
    Foreign(String),
    Reading,
    Number,
    Pair(Pair),
    Relation(Relation),
    Unit(Unit),
    At(TestVoltage),
    Half(HalfCycle),
    Measure(NamedQuantity),
    Place,
    Name,
    Altered,
    Part(Part),
    Change(Change),
    Both,
    Parked(Parked),
    Stated,
    State(Statement),
    Intent(Intent),
    Correction,
    NotTested,
    Skip,
    Override,
    Because,
    Reason(Reason),
    StaysOff,
    AddPoint,
    AddCircuit,
    Pieces,
    Piece,
    Inspected,
    Item,
    InspectedSection,
    Observed,
    WhatDidISay,
    Circuit,
    Board,
    GoTo(Stage),
    TestAt(TestVoltage),
    ProsodyChange(ProsodyChange),
    Probed,
    Between(SaidBetween),
    Function(Function),
    Current(RcdTest),
    Predicted(Predicted),
    Diagnosed,
    Fault(FaultKind),
    SwitchedOn,
    OfCircuit,
    WithCircuit,
}

/// Between what probes are, where it is no pair.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SaidBetween {
    Ends,
    LongLead,
    Bond,
    LeadsJoined,
    LeadsApart,
    KnownSource,
    Reference,
    Label,
}

/// The function of an instrument; its voltage, current and half-cycle are parts of their own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Function {
    Voltage,
    Continuity,
    Insulation,
    Loop,
    FaultCurrent,
    Rcd,
    PhaseSequence,
}

impl Tag {
    /// Reads a tag as it stands in a grammar file.
    ///
    /// # Errors
    /// What is wrong with it, for a message that names the place.
    pub fn read(text: &str) -> Result<Self, String> {
        let (key, value) = text.split_once(':').unwrap_or((text, ""));
        Ok(match (key.trim(), value.trim()) {
            ("reading", "") => Self::Reading,
            ("number", "") => Self::Number,
            ("place", "") => Self::Place,
            ("name", "") => Self::Name,
            ("altered", "") => Self::Altered,
            ("both", "") => Self::Both,
            ("stated", "") => Self::Stated,
            ("correction", "") => Self::Correction,
            ("not-tested", "") => Self::NotTested,
            ("skip", "") => Self::Skip,
            ("override", "") => Self::Override,
            ("because", "") => Self::Because,
            ("stays-off", "") => Self::StaysOff,
            ("add-point", "") => Self::AddPoint,
            ("add-circuit", "") => Self::AddCircuit,
            ("pieces", "") => Self::Pieces,
            ("piece", "") => Self::Piece,
            ("inspected", "") => Self::Inspected,
            ("item", "") => Self::Item,
            ("inspected-section", "") => Self::InspectedSection,
            ("observed", "") => Self::Observed,
            ("what-did-i-say", "") => Self::WhatDidISay,
            ("circuit", "") => Self::Circuit,
            ("board", "") => Self::Board,
            ("pair", value) => Self::Pair(value.parse()?),
            ("conductors", value) => Self::Part(Part::Conductors(value.parse::<Conductors>()?)),
            ("relation", value) => Self::Relation(named(value)?),
            ("unit", value) => Self::Unit(named(value)?),
            ("at", value) => Self::At(named(value)?),
            ("half", value) => Self::Half(named(value)?),
            ("measure", value) => Self::Measure(named(value)?),
            ("part", value) => Self::Part(named(value)?),
            ("change", value) => Self::Change(named(value)?),
            ("parked", value) => Self::Parked(named(value)?),
            ("state", value) => Self::State(named(value)?),
            ("said", value) => Self::Intent(named(value)?),
            ("reason", value) => Self::Reason(named(value)?),
            ("test-at", value) => Self::TestAt(named(value)?),
            ("go-to", value) => Self::GoTo(named(value)?),
            ("manner", value) => Self::ProsodyChange(named(value)?),
            ("probed", "") => Self::Probed,
            ("diagnosed", "") => Self::Diagnosed,
            ("switched-on", "") => Self::SwitchedOn,
            ("of-circuit", "") => Self::OfCircuit,
            ("with-circuit", "") => Self::WithCircuit,
            ("between", value) => Self::Between(named(value)?),
            ("function", value) => Self::Function(named(value)?),
            ("current", value) => Self::Current(named(value)?),
            ("predicted", value) => Self::Predicted(named(value)?),
            ("fault", value) => Self::Fault(named(value)?),
            _ => {
                return Err("is not a tag of bothhands; the tags are listed in \
                            src/grammar/tag.rs"
                    .to_owned());
            }
        })
    }
}

/// A value by the name it has in the log.
fn named<T: DeserializeOwned>(name: &str) -> Result<T, String> {
    serde_json::from_value(serde_json::Value::String(name.to_owned()))
        .map_err(|error| error.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_named_as_in_the_log() {
        assert_eq!(Tag::read("pair:L+N-E"), Ok(Tag::Pair(Pair::LN_E)));
        assert_eq!(Tag::read("unit:MΩ"), Ok(Tag::Unit(Unit::MegOhm)));
        assert_eq!(Tag::read("at:250"), Ok(Tag::At(TestVoltage::V250)));
        assert_eq!(
            Tag::read("said:say-again"),
            Ok(Tag::Intent(Intent::SayAgain))
        );
        assert_eq!(Tag::read("part:lock"), Ok(Tag::Part(Part::Lock)));
        assert_eq!(
            Tag::read("conductors:N"),
            Ok(Tag::Part(Part::Conductors(Conductors::N)))
        );
    }

    #[test]
    fn an_unknown_tag_or_value_is_refused() {
        for tag in [
            "reading:1",
            "pair:L-L",
            "unit:furlong",
            "said:hello",
            "",
            "colour:red",
        ] {
            assert!(Tag::read(tag).is_err(), "{tag}");
        }
    }
}
