use super::Place;
use crate::quantity::Conductors;
use serde::{Deserialize, Serialize};

/// One thing altered for a test, or put back.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Alteration {
    pub part: Part,
    pub change: Change,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
    /// On a ring or a point that feeds others: both conductors of the kind, joined.
    #[serde(default)]
    pub both: bool,
    /// How it is parked: "in a connector", "taped".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parked: Option<Parked>,
}

/// What was altered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Part {
    /// One or several conductors of a circuit.
    Conductors(Conductors),
    /// The earthing conductor at the means of earthing.
    EarthingConductor,
    /// A whole accessory or piece of equipment.
    Accessory,
    Lamp,
    Cover,
    Lock,
    Fuse,
    /// A switch whose position was changed, a two-way pair among them.
    Switch,
    /// Everything on the list at once ("all back").
    Everything,
}

impl Part {
    /// As the program says and writes it: "both neutrals", "switch position". An accessory has no
    /// word but its place's.
    pub fn shown(self, both: bool) -> String {
        match self {
            Self::Conductors(conductors) if both => format!("both {}s", conductors.spoken()),
            Self::Conductors(conductors) => conductors.spoken(),
            Self::EarthingConductor => "earthing conductor".to_owned(),
            Self::Accessory => String::new(),
            Self::Lamp => "lamp".to_owned(),
            Self::Cover => "cover".to_owned(),
            Self::Lock => "lock".to_owned(),
            Self::Fuse => "fuse".to_owned(),
            Self::Switch => "switch position".to_owned(),
            Self::Everything => "everything".to_owned(),
        }
    }

    /// As a person says it: "switching", "all". "Both" is not said of several conductors joined.
    pub fn spoken(self, both: bool) -> String {
        match self {
            Self::Conductors(conductors) => self.shown(both && conductors.count() == 1),
            Self::Switch => "switching".to_owned(),
            Self::Everything => "all".to_owned(),
            same => same.shown(both),
        }
    }

    /// With its place, and whether it is linked: "neutral at socket 3".
    pub fn described(self, place: Option<&Place>, both: bool, linked: bool) -> String {
        let what = self.shown(both);
        let link = if linked { " linked" } else { "" };
        match (place, what.is_empty()) {
            (Some(place), true) => format!("{place}{link}"),
            (Some(place), false) => format!("{what}{link} at {place}"),
            (None, _) => format!("{what}{link}"),
        }
    }
}

/// How it was altered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Change {
    /// Out, off, removed, disconnected.
    Out,
    /// Back, on, refitted, reconnected.
    Back,
    /// Joined together for a test.
    Linked,
    /// The link taken off.
    Unlinked,
}

impl Change {
    /// The plain word for it: "out", "link removed".
    pub fn shown(self) -> &'static str {
        match self {
            Self::Out => "out",
            Self::Back => "back",
            Self::Linked => "linked",
            Self::Unlinked => "link removed",
        }
    }

    /// As a person says it of this part: a cover is off, a lock is fitted.
    pub fn spoken(self, of: Part) -> &'static str {
        match (of, self) {
            (Part::EarthingConductor | Part::Cover, Self::Out) => "off",
            (Part::EarthingConductor | Part::Cover, Self::Back) => "back on",
            (Part::Lock, Self::Out) => "removed",
            (Part::Lock, _) => "fitted",
            (Part::Switch, Self::Out) => "changed",
            (Part::Switch, _) => "back",
            _ => self.shown(),
        }
    }
}

/// How a conductor that is out is kept from touching anything.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Parked {
    Connector,
    Taped,
}

impl Parked {
    /// As said and written: "in a connector".
    pub fn shown(self) -> &'static str {
        match self {
            Self::Connector => "in a connector",
            Self::Taped => "taped",
        }
    }
}
