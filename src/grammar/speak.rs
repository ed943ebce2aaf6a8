//! Meaning back to words: read-backs, prompts and tests.

use super::said::{
    Alteration, Change, HalfCycle, Manner, Measure, Parked, Part, Place, Reason, Said, Stage,
    Statement,
};
use super::{number, typed};
use crate::quantity::{Conductors, Number, Reading, Relation, TestVoltage};

impl Said {
    /// The plainest words with this meaning. [`super::Grammar::understand`] gives the same meaning
    /// back, as long as the grammar knows the places and the numbers are within its reach.
    ///
    /// ```
    /// use bothhands::grammar::Said;
    /// use bothhands::quantity::{Pair, Reading, Relation};
    /// let reading = Reading::exact("299".parse()?).with_relation(Relation::Over).between(Pair::LN);
    /// let said = Said::Reading { reading, place: None, half: None };
    /// assert_eq!(said.words(), "line to neutral over two nine nine");
    /// # Ok::<(), bothhands::quantity::NumberError>(())
    /// ```
    pub fn words(&self) -> String {
        match self {
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
            Self::Stated(state) => statement(*state).to_owned(),
            Self::StatedAt { state, pair, place } => Words::new()
                .add(pair.map(|pair| pair.spoken()))
                .add(Some(statement(*state)))
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
            Self::Pause => "pause".to_owned(),
            Self::Resume => "resume".to_owned(),
            Self::WhereAreWe => "where are we".to_owned(),
            Self::WhatIsOut => "what is out".to_owned(),
            Self::HowLongIsLeft => "how long is left".to_owned(),
            Self::Finish => "finish".to_owned(),
            Self::Both(change) => Words::new()
                .add(Some("both"))
                .add(change.map(out_or_back))
                .join(),
            Self::NotTested(reason) => because("not tested", reason.as_ref()),
            Self::Skip(reason) => because("skip", reason.as_ref()),
            Self::Override(reason) => because("override", reason.as_ref()),
            Self::Because(reason) => format!("reason {}", self::reason(reason)),
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
            Self::Manner(manner) => match manner {
                Manner::Quieter => "quieter",
                Manner::Louder => "louder",
                Manner::Slower => "slower",
                Manner::Faster => "faster",
            }
            .to_owned(),
        }
    }
}

impl Place {
    /// Whether this is the place of that name, as the job file writes it: capitals, hyphens and
    /// figures do not matter.
    ///
    /// ```
    /// use bothhands::grammar::Place;
    /// let place = Place { name: "bay two light".into(), number: Some(3) };
    /// assert!(place.is_called("Bay-2 light"));
    /// ```
    pub fn is_called(&self, name: &str) -> bool {
        typed::place_name(&self.name) == typed::place_name(name)
    }

    /// As said aloud: "socket three".
    pub fn spoken(&self) -> String {
        match self.number {
            Some(n) => format!("{} {}", self.name, place_number(n)),
            None => self.name.clone(),
        }
    }
}

impl Measure {
    /// As said aloud: "r one plus r two".
    pub fn spoken(self) -> &'static str {
        match self {
            Self::R1 => "r one",
            Self::Rn => "r n",
            Self::R2 => "r two",
            Self::R1R2 => "r one plus r two",
            Self::Ze => "z e",
            Self::Zs => "z s",
            Self::FaultCurrent => "fault current",
        }
    }
}

impl Stage {
    /// As said aloud: "ring continuity".
    pub fn spoken(self) -> &'static str {
        match self {
            Self::Isolation => "safe isolation",
            Self::Instruments => "instrument check",
            Self::Continuity => "continuity",
            Self::Ring => "ring continuity",
            Self::Insulation => "insulation resistance",
            Self::Polarity => "polarity",
            Self::PutBack => "put back",
            Self::Energise => "energise",
            Self::SupplyPolarity => "supply polarity",
            Self::ExternalLoop => "external loop impedance",
            Self::FaultCurrent => "prospective fault current",
            Self::LoopImpedance => "loop impedance",
            Self::Rcd => "r c d test",
            Self::PhaseSequence => "phase sequence",
            Self::Functional => "functional checks",
            Self::Handover => "handover",
        }
    }
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

fn at_place(place: &Place) -> String {
    format!("at {}", place.spoken())
}

fn reading(reading: &Reading, place: Option<&Place>, half: Option<HalfCycle>) -> String {
    let relation = match reading.relation {
        Relation::Exact => None,
        Relation::Over => Some("over"),
        Relation::Under => Some("under"),
        Relation::OverRange => Some("over range"),
    };
    let half = half.map(|half| match half {
        HalfCycle::Positive => "positive half cycle",
        HalfCycle::Negative => "negative half cycle",
    });
    let at = reading.at.map(|at| match at {
        TestVoltage::V250 => "at two five zero volts",
        TestVoltage::V500 => "at five hundred volts",
        TestVoltage::V1000 => "at one thousand volts",
    });
    Words::new()
        .add(reading.pair.map(|pair| pair.spoken()))
        .add(half)
        .add(relation)
        .add(reading.number.map(number::read_back))
        .add(reading.number.and(reading.unit).map(|unit| unit.spoken()))
        .add(at)
        .add(place.map(at_place))
        .join()
}

fn because(what: &str, reason: Option<&Reason>) -> String {
    match reason {
        Some(reason) => format!("{what} reason {}", self::reason(reason)),
        None => what.to_owned(),
    }
}

fn out_or_back(change: Change) -> &'static str {
    match change {
        Change::Out => "out",
        Change::Back => "back",
        Change::Linked => "linked",
        Change::Unlinked => "link removed",
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
    let out_or_back = out_or_back(*change);
    let off_or_on = match change {
        Change::Out => "off",
        Change::Back => "back on",
        _ => out_or_back,
    };
    let at = place.as_ref().map(at_place);
    let (what, how, at) = match part {
        Part::Conductors(conductors) => (conductors_spoken(*conductors, *both), out_or_back, at),
        Part::EarthingConductor => ("earthing conductor".to_owned(), off_or_on, at),
        Part::Accessory => (
            place.as_ref().map(Place::spoken).unwrap_or_default(),
            out_or_back,
            None,
        ),
        Part::Lamp => ("lamp".to_owned(), out_or_back, at),
        Part::Cover => ("cover".to_owned(), off_or_on, at),
        Part::Lock => (
            "lock".to_owned(),
            match change {
                Change::Out => "removed",
                _ => "fitted",
            },
            at,
        ),
        Part::Fuse => ("fuse".to_owned(), out_or_back, at),
        Part::Switch => (
            "switching".to_owned(),
            match change {
                Change::Out => "changed",
                _ => "back",
            },
            at,
        ),
        Part::Link => (String::new(), out_or_back, at),
        Part::Everything => ("all".to_owned(), out_or_back, at),
    };
    let parked = parked.map(|parked| match parked {
        Parked::Connector => "in a connector",
        Parked::Taped => "taped",
    });
    Words::new()
        .add(Some(what))
        .add(Some(how))
        .add(at)
        .add(parked)
        .join()
}

fn conductors_spoken(conductors: Conductors, both: bool) -> String {
    let name = conductors.spoken();
    match (both, conductors.count()) {
        (true, 1) => format!("both {name}s"),
        _ => name,
    }
}

fn statement(statement: Statement) -> &'static str {
    match statement {
        Statement::Done => "done",
        Statement::Proved => "proved",
        Statement::NotProved => "indicator failed",
        Statement::Isolated => "isolated",
        Statement::LockedOff => "locked off",
        Statement::Dead => "dead",
        Statement::Live => "live",
        Statement::Energised => "energised",
        Statement::Open => "leads open",
        Statement::Shorted => "leads shorted",
        Statement::Nulled => "leads nulled",
        Statement::Discharged => "discharged",
        Statement::NothingConnected => "nothing connected",
        Statement::PolarityCorrect => "polarity correct",
        Statement::PolarityReversed => "polarity reversed",
        Statement::Tripped => "tripped",
        Statement::NoTrip => "did not trip",
        Statement::Pass => "works",
        Statement::Fail => "fail",
        Statement::SequenceCorrect => "phase sequence correct",
        Statement::SequenceReversed => "phase sequence reversed",
    }
}

fn reason(reason: &Reason) -> &'static str {
    match reason {
        Reason::EquipmentCannotBeTakenOut => "equipment cannot be taken out",
        Reason::NoAccess => "no access",
        Reason::ClientRequest => "client request",
        Reason::InUse => "in use",
        Reason::Damaged => "damaged",
        Reason::NotApplicable => "not applicable",
        Reason::InstrumentFault => "instrument fault",
        Reason::Unsafe => "not safe",
        Reason::OutOfTime => "out of time",
        Reason::Instructed => "as instructed",
        Reason::OnTheRecording => "on the recording",
    }
}
