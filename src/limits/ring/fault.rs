use super::{Leg, Stage};
use crate::quantity::Metres;
use serde::Serialize;

/// What the readings look like. Each is for the person to check, never certain.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "fault")]
pub enum Fault {
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
        stage: Stage,
    },
    /// The readings grow from the board toward the middle: joined the wrong way.
    EndsNotCrossed {
        /// The stage.
        stage: Stage,
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
        stage: Stage,
    },
}

impl Fault {
    /// What to say aloud, cautiously, with what to do next.
    pub fn spoken(&self) -> String {
        match self {
            Self::OpenLeg { legs } => {
                let names: Vec<_> = legs.iter().map(|l| l.spoken()).collect();
                let hint = match legs.as_slice() {
                    [_] => "look for a broken or loose conductor at a point, or the wrong leg",
                    [_, _] => {
                        "open in both, or the two are interchanged somewhere round the ring: measure \
                         one end of the one to the other end of the other"
                    }
                    _ => "look for a cut cable, or legs of two different circuits",
                };
                format!("No continuity end to end in {}: {hint}.", names.join(" and "))
            }
            Self::NoLoop { leg } => format!(
                "The {} reads about nothing end to end: are both probes on the same end, or do the \
                 ends still touch?",
                leg.spoken()
            ),
            Self::UnequalLegs { higher } => format!(
                "Line and neutral differ end to end; the {} reads more: look for a loose joint in it, \
                 or a different route.",
                higher.spoken()
            ),
            Self::CpcRatio { higher: true } => {
                "The protective conductor reads more than its size gives: look for a loose joint in \
                 it, or a smaller conductor."
                    .to_owned()
            }
            Self::CpcRatio { higher: false } => {
                "The protective conductor reads less than its size gives: a parallel path through \
                 metalwork, or a larger conductor."
                    .to_owned()
            }
            Self::EndsNotJoined { stage } => format!(
                "Every point is open: {} do not seem to be cross-connected at the board.",
                stage.spoken()
            ),
            Self::EndsNotCrossed { stage } => format!(
                "The readings grow from the board toward the middle: the ends of {} look joined leg to \
                 leg, not crossed. Change over one pair at the board and read again.",
                stage.spoken()
            ),
            Self::Interconnection { points } => format!(
                "{} read high, as inside a ring that is bridged across: look for an interconnection \
                 there, or for spurs side by side.",
                points.join(", ")
            ),
            Self::Spur {
                point,
                declared,
                length,
            } => {
                let length = length
                    .map(|l| format!(", of about {} metres", l.middle().round().max(1.0)))
                    .unwrap_or_default();
                if *declared {
                    format!("{point} reads as on a spur{length}, as the job file says.")
                } else {
                    format!(
                        "{point} reads as on a spur{length}, which the job file does not say; a loose \
                         joint there, or a ring bridged around it, would read alike."
                    )
                }
            }
            Self::HighJoint { point, leg } => format!(
                "{point} reads high in one stage only: look for a loose {} there.",
                leg.spoken()
            ),
            Self::LineNeutralReversed { point } => format!(
                "{point} is open line to earth and sound line to neutral: line and neutral look \
                 reversed there, or the protective conductor is not connected. Measure neutral to \
                 earth: about the same value as its neighbours means reversed."
            ),
            Self::LineCpcReversed { point } => format!(
                "{point} is open line to neutral and sound line to earth: line and protective \
                 conductor look reversed there, or the neutral is not connected."
            ),
            Self::NeutralCpcReversed { point } => format!(
                "{point} is open both ways: neutral and protective conductor look reversed there, or \
                 the line is not connected."
            ),
            Self::TooLow { point, stage } => format!(
                "{point} reads less between {} than any point of this ring can: read it again, and \
                 look for something connected across.",
                stage.spoken()
            ),
        }
    }
}
