use super::Place;
use crate::quantity::Conductors;
use serde::{Deserialize, Serialize};

/// One thing altered for a test, or put back.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Alteration {
    /// What.
    pub part: Part,
    /// What was done with it.
    pub change: Change,
    /// Where, when that was said.
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
    /// A main protective bonding conductor, at one of its ends.
    Bond,
    /// The conductors cross-connected at the board: the outgoing end of one to the returning end of
    /// the other.
    Crossing(Conductors),
    /// All six ends of a ring at once ("ring ends back").
    RingEnds,
    /// The functional earth of a device, such as an RCBO's.
    FunctionalEarth,
    /// Whatever is connected across line and neutral, where nobody has said what.
    Load,
    /// A whole accessory or piece of equipment.
    Accessory,
    /// A lamp.
    Lamp,
    /// A cover of a board or an accessory.
    Cover,
    /// The lock on what isolates a board.
    Lock,
    /// A fuse.
    Fuse,
    /// A switch whose position was changed, a two-way pair among them.
    Switch,
    /// The link that is asked for, or the one that is on: "linked", "link off".
    Link,
    /// Everything on the list at once ("all back").
    Everything,
}

impl Part {
    /// Whether hands are at conductors when it is taken out or joined: never on what is live.
    pub fn is_of_danger(self) -> bool {
        !matches!(self, Self::Lamp | Self::Cover | Self::Lock | Self::Load)
    }

    /// As the program says and writes it: "both neutrals", "switch position". An accessory has no
    /// word but its place's.
    pub fn shown(self, both: bool) -> String {
        match self {
            Self::Conductors(conductors) if both => format!("both {}s", conductors.spoken()),
            Self::Conductors(conductors) => conductors.spoken(),
            Self::EarthingConductor => "earthing conductor".to_owned(),
            Self::Bond => "main bond".to_owned(),
            Self::Crossing(conductors) => format!("{} crossed", conductors.spoken()),
            Self::RingEnds => "ring ends".to_owned(),
            Self::FunctionalEarth => "functional earth".to_owned(),
            Self::Load => "load".to_owned(),
            Self::Lamp if both => "all lamps".to_owned(),
            Self::Accessory => String::new(),
            Self::Lamp => "lamp".to_owned(),
            Self::Cover => "cover".to_owned(),
            Self::Lock => "lock".to_owned(),
            Self::Fuse => "fuse".to_owned(),
            Self::Switch => "switch position".to_owned(),
            Self::Link => "link".to_owned(),
            Self::Everything => "everything".to_owned(),
        }
    }

    /// As a person says it: "switching", "all". "Both" is not said of several conductors joined.
    pub fn spoken(self, both: bool) -> String {
        match self {
            Self::Conductors(conductors) => self.shown(both && conductors.count() == 1),
            Self::Switch => "switching".to_owned(),
            Self::Bond => "bond".to_owned(),
            Self::Everything => "all".to_owned(),
            // "Linked" and "link removed" name it.
            Self::Link => String::new(),
            same => same.shown(both),
        }
    }

    /// With its place, and whether it is linked: "neutral at socket 3".
    pub fn described(self, place: Option<&Place>, both: bool, linked: bool) -> String {
        // A bond's place is its name.
        let what = match (self, place) {
            (Self::Bond, Some(_)) => String::new(),
            _ => self.shown(both),
        };
        let linked = linked && !matches!(self, Self::Crossing(_));
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
    /// Cross-connected at the board.
    Crossed,
    /// The cross-connection taken off.
    Uncrossed,
}

impl Change {
    /// The plain word for it: "out", "link removed".
    pub fn shown(self) -> &'static str {
        match self {
            Self::Out => "out",
            Self::Back => "back",
            Self::Linked => "linked",
            Self::Unlinked => "link removed",
            Self::Crossed => "crossed",
            Self::Uncrossed => "crossing removed",
        }
    }

    /// As a person says it of this part: a cover is off, a lock is fitted.
    pub fn spoken(self, of: Part) -> &'static str {
        match (of, self) {
            (Part::EarthingConductor | Part::Cover | Part::Bond, Self::Out) => "off",
            (Part::EarthingConductor | Part::Cover | Part::Bond, Self::Back) => "back on",
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
    /// In a connector that covers it.
    Connector,
    /// With tape round it.
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
