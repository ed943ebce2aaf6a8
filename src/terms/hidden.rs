use super::Place;
use crate::quantity::Conductors;
use serde::{Deserialize, Serialize};

/// A kind of fault that may be hidden in an installation to be found.
#[derive(
    Debug,
    Clone,
    Copy,
    PartialEq,
    Eq,
    Hash,
    PartialOrd,
    Ord,
    Serialize,
    Deserialize,
    schemars::JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum FaultKind {
    /// A leg of a ring is open.
    OpenLeg,
    /// A socket of a ring hangs on a spur that the job does not know of, or one too long.
    Spur,
    /// A ring is bridged from one point to another.
    Interconnection,
    /// Neutral touches earth.
    NeutralToEarth,
    /// Moisture between line and earth.
    LineToEarth,
    /// Line and neutral are changed over at a point.
    Reversed,
    /// A joint is loose.
    LooseJoint,
    /// The neutral of a circuit is that of another.
    BorrowedNeutral,
    /// Electronics are connected that nobody has listed.
    ElectronicsLeftIn,
    /// One of two neutrals was not put back.
    NeutralLeftOut,
    /// The circuit protective conductor is missing.
    MissingCpc,
    /// The device is another than the job says.
    WrongDevice,
    /// A residual current device is too slow.
    SlowRcd,
    /// A residual current device does not trip.
    StuckRcd,
    /// A second source feeds the installation.
    SecondSource,
    /// The supply's neutral is lost.
    LostNeutral,
    /// The supply's means of earthing is lost.
    LostEarth,
    /// The leads' resistance was not nulled.
    LeadsNotNulled,
    /// The instrument is on the wrong range.
    WrongRange,
}

/// A fault hidden in an installation: what, and where.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct HiddenFault {
    /// What it is.
    pub kind: FaultKind,
    /// The board's number; the first board's when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub board: Option<u16>,
    /// The circuit; none for what concerns the whole board, the supply or the instrument.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub circuit: Option<u16>,
    /// The point; for an open leg the point before the break, as one goes from the board.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>")]
    pub place: Option<Place>,
    /// The conductor, where the kind may concern more than one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>")]
    pub conductor: Option<Conductors>,
    /// The other circuit of an interconnection or a borrowed neutral, where there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub with_circuit: Option<u16>,
}
