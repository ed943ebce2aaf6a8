use super::super::words::{Said, Words, said};
use super::{CrossedPair, Leg};
use crate::quantity::Metres;
use serde::Serialize;

/// What the readings look like. Each is for the person to check, never certain.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "fault")]
pub enum RingFault {
    /// No continuity end to end.
    OpenLeg {
        /// The conductors concerned.
        legs: Vec<Leg>,
    },
    /// About nothing end to end: both probes on one end, or not a ring.
    NoLoop {
        /// The conductor concerned.
        leg: Leg,
    },
    /// Line and neutral differ end to end.
    UnequalLegs {
        /// The conductor that reads more.
        higher: Leg,
    },
    /// r2 is not r1 times the ratio of the sizes.
    CpcRatio {
        /// Whether it reads more than it should; less hints at a parallel path.
        higher: bool,
    },
    /// Every point open in a stage: the ends are not joined, or not those.
    EndsNotJoined {
        /// The stage.
        stage: CrossedPair,
    },
    /// The readings grow from the board toward the middle: joined the wrong way.
    EndsNotCrossed {
        /// The stage.
        stage: CrossedPair,
    },
    /// Several neighbouring points read high, most in the middle: the ring is bridged there.
    Interconnection {
        /// The points that read high.
        points: Vec<String>,
    },
    /// A point reads high in both stages: on a spur.
    Spur {
        /// The point.
        point: String,
        /// Whether the job file says so.
        declared: bool,
        /// How long the spur likely is.
        length: Option<Metres>,
    },
    /// A point reads high in one stage only: one conductor's joint there.
    HighJoint {
        /// The point.
        point: String,
        /// The conductor.
        leg: Leg,
    },
    /// Open line to earth, sound line to neutral.
    LineNeutralReversed {
        /// The point.
        point: String,
    },
    /// Open line to neutral, sound line to earth.
    LineCpcReversed {
        /// The point.
        point: String,
    },
    /// Open in both stages.
    NeutralCpcReversed {
        /// The point.
        point: String,
    },
    /// A point reads less than any point of this ring can.
    TooLow {
        /// The point.
        point: String,
        /// The stage.
        stage: CrossedPair,
    },
}

impl RingFault {
    /// What to say aloud, cautiously, with what to do next.
    pub fn spoken(&self) -> String {
        self.said().into()
    }

    /// The same, as a verdict keeps it.
    pub(crate) fn said(&self) -> Said {
        match self {
            Self::OpenLeg { legs } => {
                let names = legs.iter().map(|leg| leg.said()).collect();
                let names = Said::several(Words::Both, names);
                match legs.as_slice() {
                    [_] => said!(OneLegOpen, names),
                    [_, _] => said!(TwoLegsOpen, names),
                    _ => said!(AllLegsOpen, names),
                }
            }
            Self::NoLoop { leg } => said!(NoLoop, leg.said()),
            Self::UnequalLegs { higher } => said!(UnequalLegs, higher.said()),
            Self::CpcRatio { higher: true } => said!(CpcHigh),
            Self::CpcRatio { higher: false } => said!(CpcLow),
            Self::EndsNotJoined { stage } => said!(EndsNotJoined, stage.said()),
            Self::EndsNotCrossed { stage } => said!(EndsNotCrossed, stage.said()),
            Self::Interconnection { points } => said!(Interconnection, points.join(", ")),
            Self::Spur {
                point,
                declared,
                length,
            } => {
                let length = about(length.map(Metres::middle));
                if *declared {
                    said!(DeclaredSpur, point, length)
                } else {
                    said!(UndeclaredSpur, point, length)
                }
            }
            Self::HighJoint { point, leg } => said!(HighJoint, point, leg.said()),
            Self::LineNeutralReversed { point } => said!(LineNeutralReversed, point),
            Self::LineCpcReversed { point } => said!(LineCpcReversed, point),
            Self::NeutralCpcReversed { point } => said!(NeutralCpcReversed, point),
            Self::TooLow { point, stage } => said!(TooLow, point, stage.said()),
        }
    }
}

/// ", of about 4 metres", where a length is known.
pub(crate) fn about(metres: Option<f64>) -> Said {
    let metres = metres.map(|metres| said!(OfAbout, metres.round().max(1.0)));
    metres.unwrap_or_else(|| "".into())
}
