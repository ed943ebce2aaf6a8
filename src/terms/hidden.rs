use super::{BayEdition, Place};
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
    clap::ValueEnum,
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
    /// The circuit-breaker is of another rating or type than the job says.
    WrongBreaker,
}

impl FaultKind {
    /// Every kind.
    pub const ALL: [Self; 20] = [
        Self::OpenLeg,
        Self::Spur,
        Self::Interconnection,
        Self::NeutralToEarth,
        Self::LineToEarth,
        Self::Reversed,
        Self::LooseJoint,
        Self::BorrowedNeutral,
        Self::ElectronicsLeftIn,
        Self::NeutralLeftOut,
        Self::MissingCpc,
        Self::WrongDevice,
        Self::SlowRcd,
        Self::StuckRcd,
        Self::SecondSource,
        Self::LostNeutral,
        Self::LostEarth,
        Self::LeadsNotNulled,
        Self::WrongRange,
        Self::WrongBreaker,
    ];

    /// Those that were drawn from before there were more: a number draws as it did.
    pub fn of(edition: BayEdition) -> &'static [Self] {
        match edition {
            BayEdition::First => &Self::ALL[..19],
            BayEdition::Second => &Self::ALL,
        }
    }

    /// As said and written: "open leg of a ring".
    pub fn shown(self) -> &'static str {
        match self {
            Self::OpenLeg => "open leg of a ring",
            Self::Spur => "spur not in the job, or too long",
            Self::Interconnection => "interconnected ring",
            Self::NeutralToEarth => "neutral to earth fault",
            Self::LineToEarth => "moisture between line and earth",
            Self::Reversed => "line and neutral reversed",
            Self::LooseJoint => "loose joint",
            Self::BorrowedNeutral => "borrowed neutral",
            Self::ElectronicsLeftIn => "electronics left in",
            Self::NeutralLeftOut => "one neutral of two not put back",
            Self::MissingCpc => "protective conductor missing",
            Self::WrongDevice => "wrong device",
            Self::SlowRcd => "RCD too slow",
            Self::StuckRcd => "RCD does not trip",
            Self::SecondSource => "second source of supply",
            Self::LostNeutral => "supply neutral lost",
            Self::LostEarth => "supply earth lost",
            Self::LeadsNotNulled => "leads not nulled",
            Self::WrongRange => "instrument on the wrong range",
            Self::WrongBreaker => "breaker of another rating or type",
        }
    }

    /// As a person says it: "open leg".
    pub fn spoken(self) -> &'static str {
        match self {
            Self::OpenLeg => "open leg",
            Self::Spur => "spur",
            Self::Interconnection => "interconnected ring",
            Self::NeutralToEarth => "neutral earth fault",
            Self::LineToEarth => "line earth fault",
            Self::Reversed => "reversed polarity",
            Self::LooseJoint => "loose joint",
            Self::BorrowedNeutral => "borrowed neutral",
            Self::ElectronicsLeftIn => "electronics left in",
            Self::NeutralLeftOut => "neutral left out",
            Self::MissingCpc => "missing earth",
            Self::WrongDevice => "wrong device",
            Self::SlowRcd => "slow r c d",
            Self::StuckRcd => "stuck r c d",
            Self::SecondSource => "second source",
            Self::LostNeutral => "lost neutral",
            Self::LostEarth => "lost earth",
            Self::LeadsNotNulled => "leads not nulled",
            Self::WrongRange => "wrong range",
            Self::WrongBreaker => "wrong breaker",
        }
    }
}

/// A place as its words, "socket 3": whoever writes a list of faults writes it so.
mod in_words {
    use super::Place;
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub(super) fn serialize<S: Serializer>(
        place: &Option<Place>,
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        match place {
            Some(place) => serializer.collect_str(place),
            None => serializer.serialize_none(),
        }
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(
        deserializer: D,
    ) -> Result<Option<Place>, D::Error> {
        let text = Option::<String>::deserialize(deserializer)?;
        text.map(|text| text.parse().map_err(D::Error::custom))
            .transpose()
    }
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
    #[serde(default, skip_serializing_if = "Option::is_none", with = "in_words")]
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_is_written_in_words_and_read_back() {
        let text = "kind = \"open-leg\"\ncircuit = 3\nplace = \"socket 3\"\nconductor = \"L\"\n";
        let fault: HiddenFault = toml::from_str(text).unwrap();
        assert_eq!(fault.place, Some("socket 3".parse().unwrap()));
        assert_eq!(fault.conductor, Some(Conductors::L));
        assert_eq!(toml::to_string(&fault).unwrap(), text);
        let bare: HiddenFault = toml::from_str("kind = \"lost-earth\"").unwrap();
        assert_eq!(bare.place, None);
    }

    #[test]
    fn every_kind_has_words_of_its_own() {
        let of = |words: fn(FaultKind) -> &'static str| {
            FaultKind::ALL
                .into_iter()
                .map(words)
                .collect::<std::collections::BTreeSet<_>>()
                .len()
        };
        assert_eq!(of(FaultKind::shown), FaultKind::ALL.len());
        assert_eq!(of(FaultKind::spoken), FaultKind::ALL.len());
    }
}
