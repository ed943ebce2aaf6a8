use serde::{Deserialize, Serialize};

/// Plain statements, each the answer to some step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Statement {
    /// "Done", "ready", "complete".
    Done,
    /// "Proved": the indicator works on a known source.
    Proved,
    /// "Not proved".
    NotProved,
    /// Every source of the board is off; of one circuit, that is.
    Isolated,
    /// What isolates it is locked, the key kept.
    LockedOff,
    /// The indicator showed no voltage: the person's word.
    Dead,
    /// Voltage is there where none should be.
    Live,
    /// The supply was switched on.
    Energised,
    /// Leads apart.
    Open,
    /// Leads joined.
    Shorted,
    /// The resistance of the leads is taken off by the instrument.
    Nulled,
    /// What an insulation test charged is discharged.
    Discharged,
    /// No equipment is in the circuit.
    NothingConnected,
    /// Line is where line belongs.
    PolarityCorrect,
    /// It is not.
    PolarityReversed,
    /// The RCD tripped.
    Tripped,
    /// It did not.
    NoTrip,
    /// The check was good.
    Pass,
    /// It was not.
    Fail,
    /// Phase sequence.
    SequenceCorrect,
    /// The phases follow in the wrong order.
    SequenceReversed,
    /// The device of a circuit breaks line and neutral.
    DoublePole,
    /// The person in charge decided that a dangerous circuit stays on.
    StaysOn,
    /// Danger present: code C1 of a periodic inspection.
    DangerCodeOne,
    /// What was said was megohms, and not volts.
    Megohms,
    /// What was said was volts: voltage is present.
    Volts,
    /// "Stop", "hands off".
    Stop,
    /// An item of the inspection, or the outcome of the whole: as it should be.
    Satisfactory,
    /// The outcome of the whole: not as it should be.
    Unsatisfactory,
    /// Code C2 of a condition report: potentially dangerous.
    CodeTwo,
    /// Code C3: improvement recommended.
    CodeThree,
    /// Code FI: further investigation required without delay.
    FurtherInvestigation,
    /// Not looked at, or in part: a limitation.
    Limitation,
    /// Could not be verified.
    NotVerified,
    /// There is no such thing here.
    NotApplicable,
    /// A loop impedance is worked out, and not measured.
    Calculated,
    /// Surge protection shows that it is in order.
    IndicatorGreen,
    /// Surge protection shows that it is spent.
    IndicatorRed,
}

impl Statement {
    /// The codes of a condition report, in the order of its model form.
    pub const CODES: [Self; 4] = [
        Self::DangerCodeOne,
        Self::CodeTwo,
        Self::CodeThree,
        Self::FurtherInvestigation,
    ];

    /// What may be said of an item of the inspection.
    pub const OF_AN_ITEM: [Self; 8] = [
        Self::Satisfactory,
        Self::DangerCodeOne,
        Self::CodeTwo,
        Self::CodeThree,
        Self::FurtherInvestigation,
        Self::Limitation,
        Self::NotVerified,
        Self::NotApplicable,
    ];

    /// As written: "no trip".
    pub fn shown(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Proved => "proved",
            Self::NotProved => "not proved",
            Self::Isolated => "isolated",
            Self::LockedOff => "locked off",
            Self::Dead => "dead",
            Self::Live => "live",
            Self::Energised => "energised",
            Self::Open => "open",
            Self::Shorted => "shorted",
            Self::Nulled => "nulled",
            Self::Discharged => "discharged",
            Self::NothingConnected => "nothing connected",
            Self::PolarityCorrect => "polarity correct",
            Self::PolarityReversed => "polarity reversed",
            Self::Tripped => "tripped",
            Self::NoTrip => "no trip",
            Self::Pass => "pass",
            Self::Fail => "fail",
            Self::SequenceCorrect => "sequence correct",
            Self::SequenceReversed => "sequence reversed",
            Self::DoublePole => "double pole",
            Self::StaysOn => "person in charge says it stays on",
            Self::DangerCodeOne => "danger code one",
            Self::Megohms => "megohms",
            Self::Volts => "volts",
            Self::Stop => "stop",
            Self::Satisfactory => "satisfactory",
            Self::Unsatisfactory => "unsatisfactory",
            Self::CodeTwo => "code two",
            Self::CodeThree => "code three",
            Self::FurtherInvestigation => "further investigation",
            Self::Limitation => "limitation",
            Self::NotVerified => "not verified",
            Self::NotApplicable => "not applicable",
            Self::Calculated => "by calculation",
            Self::IndicatorGreen => "surge protection indicator green",
            Self::IndicatorRed => "surge protection indicator red",
        }
    }

    /// What stands for it on a condition report of the wiring standard's model form; nothing where it
    /// is no answer to an item.
    pub fn form_mark(self) -> Option<&'static str> {
        Some(match self {
            Self::Satisfactory => "✓",
            Self::DangerCodeOne => "C1",
            Self::CodeTwo => "C2",
            Self::CodeThree => "C3",
            Self::FurtherInvestigation => "FI",
            Self::Limitation => "LIM",
            Self::NotVerified => "N/V",
            Self::NotApplicable => "N/A",
            _ => return None,
        })
    }

    /// A code as it is said and written: "code one"; what it means where it has no number.
    pub fn code_spoken(self) -> &'static str {
        match self {
            Self::DangerCodeOne => "code one",
            same => same.shown(),
        }
    }

    /// What a code of a condition report means, in the words of its model form; nothing where it is none.
    pub fn code_means(self) -> Option<&'static str> {
        Some(match self {
            Self::DangerCodeOne => "danger present",
            Self::CodeTwo => "potentially dangerous",
            Self::CodeThree => "improvement recommended",
            Self::FurtherInvestigation => "further investigation required without delay",
            _ => return None,
        })
    }

    /// Whether a report with this code on it can't be satisfactory: C1, C2 and FI, by the notes to the
    /// model form of BS 7671 Appendix 6 (from memory).
    pub fn is_against_satisfactory(self) -> bool {
        matches!(
            self,
            Self::DangerCodeOne | Self::CodeTwo | Self::FurtherInvestigation
        )
    }

    /// As the program says it back. That something is dead is the person's word, never the
    /// program's: "you say dead".
    pub fn said_back(self) -> &'static str {
        match self {
            Self::Dead => "you say dead",
            same => same.shown(),
        }
    }

    /// As a person says it: "did not trip".
    pub fn spoken(self) -> &'static str {
        match self {
            Self::Live => "it is live",
            Self::NotProved => "indicator failed",
            Self::Open => "leads open",
            Self::Shorted => "leads shorted",
            Self::Nulled => "leads nulled",
            Self::NoTrip => "did not trip",
            Self::CodeTwo => "it is code two",
            Self::CodeThree => "it is code three",
            Self::Pass => "works",
            Self::SequenceCorrect => "phase sequence correct",
            Self::SequenceReversed => "phase sequence reversed",
            same => same.shown(),
        }
    }
}
