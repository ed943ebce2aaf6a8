use crate::installation::place_said;
use crate::terms::Stage;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::cmp::Ordering;
use std::fmt;
use std::str::FromStr;

/// The name of a procedure, by which the catalogue of procedures finds it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
#[serde(transparent)]
pub struct ProcedureId(pub &'static str);

/// The items of an inspection that are seen only with covers off, and so only on what is dead.
pub(in crate::sequence) const BEHIND_COVERS: ProcedureId = ProcedureId("inspection-inside");

impl fmt::Display for ProcedureId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.0)
    }
}

/// The lasting name of a step, made from what it is. The same job file and edition of the plan
/// always give the same names, so that a log can be replayed.
///
/// ```
/// use bothhands::sequence::StepId;
/// let id: StepId = "b1/c3/insulation-resistance/500/L-N".parse()?;
/// assert_eq!((id.board, id.circuit, id.tail.as_str()), (1, Some(3), "500/L-N"));
/// assert_eq!(id.to_string(), "b1/c3/insulation-resistance/500/L-N");
/// # Ok::<(), bothhands::sequence::NotAStepId>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct StepId {
    /// The board's number.
    pub board: u16,
    /// The circuit's number; none for what concerns the whole board.
    pub circuit: Option<u16>,
    /// The stage it belongs to.
    pub stage: Stage,
    /// What tells it from the other steps of its stage there.
    pub tail: String,
}

/// Text that is no step's name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is no step's name")]
pub struct NotAStepId(String);

/// Every stage, to be found by its name.
const STAGES: [Stage; 18] = [
    Stage::Inspection,
    Stage::Isolation,
    Stage::Instruments,
    Stage::Continuity,
    Stage::Ring,
    Stage::Insulation,
    Stage::Polarity,
    Stage::PutBack,
    Stage::MakeSafe,
    Stage::Energise,
    Stage::SupplyPolarity,
    Stage::ExternalLoop,
    Stage::FaultCurrent,
    Stage::LoopImpedance,
    Stage::Rcd,
    Stage::PhaseSequence,
    Stage::Functional,
    Stage::Handover,
];

fn stage_name(stage: Stage) -> String {
    stage.shown().replace(' ', "-")
}

impl StepId {
    /// What it is for people, who know a board by its own number: "board 1, circuit 3, insulation
    /// resistance 500/L-N".
    pub fn said(&self) -> String {
        let (board, circuit) = place_said(self.board, self.circuit);
        let circuit = circuit.map(|circuit| format!(" circuit {circuit},"));
        let circuit = circuit.unwrap_or_default();
        format!(
            "board {board},{circuit} {} {}",
            self.stage.shown(),
            self.tail
        )
    }
}

impl fmt::Display for StepId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "b{}", self.board)?;
        if let Some(circuit) = self.circuit {
            write!(f, "/c{circuit}")?;
        }
        write!(f, "/{}/{}", stage_name(self.stage), self.tail)
    }
}

impl FromStr for StepId {
    type Err = NotAStepId;

    fn from_str(text: &str) -> Result<Self, NotAStepId> {
        let parsed = || {
            let (board, rest) = text.strip_prefix('b')?.split_once('/')?;
            let (place, rest_after) = rest.split_once('/')?;
            let circuit = place
                .strip_prefix('c')
                .and_then(|number| number.parse().ok());
            let (stage, tail) = match circuit {
                Some(_) => rest_after.split_once('/')?,
                None => (place, rest_after),
            };
            let id = Self {
                board: board.parse().ok()?,
                circuit,
                stage: STAGES.into_iter().find(|one| stage_name(*one) == stage)?,
                tail: tail.to_owned(),
            };
            // Only what is written just so: "b01" would be another name for the same step.
            (id.to_string() == text).then_some(id)
        };
        parsed().ok_or_else(|| NotAStepId(text.to_owned()))
    }
}

/// In the order of their texts, as lists of them have always been written.
impl Ord for StepId {
    fn cmp(&self, other: &Self) -> Ordering {
        self.to_string().cmp(&other.to_string())
    }
}

impl PartialOrd for StepId {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Serialize for StepId {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for StepId {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}
