//! What a person has altered, and what that does to the network.

use crate::installation::Source;
use crate::quantity::Conductors;
use crate::terms::{Part, Place, Probe, Setting};
use std::borrow::Cow;
use std::collections::BTreeSet;

/// An installation as a person has it right now. The default: supply on, everything switched on and
/// in its place, the leads as they came out of the bag.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Conditions {
    /// Boards whose main switch is off, by number.
    pub main_switches_off: BTreeSet<u16>,
    /// Circuits whose device is off, by board and number.
    pub devices_off: BTreeSet<(u16, u16)>,
    /// Residual current devices of several circuits that have tripped, by board and their own number.
    pub rcds_off: BTreeSet<(u16, u16)>,
    /// Circuits whose line and neutral are out of their terminals at the board, each kind held
    /// together, by board and number.
    pub out_of_terminals: BTreeSet<(u16, u16)>,
    /// Sources that are isolated; with the mains among them the supply is cut before the installation.
    pub sources_off: Vec<Source>,
    /// Whether the leads' resistance was nulled.
    pub leads_nulled: bool,
    /// What is out, linked, crossed.
    pub altered: Vec<Altered>,
}

/// Something altered, with the same fields as an entry of a session's out-list. It counts as done: what
/// a prompt ordered and nobody did is left out of the list by whoever makes it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Altered {
    /// The board's number.
    pub board: u16,
    /// The circuit; none for what concerns the whole board.
    pub circuit: Option<u16>,
    /// What was altered.
    pub part: Part,
    /// Where.
    pub place: Option<Place>,
    /// Both conductors of the kind, or all things of it.
    pub both: bool,
    /// Joined with something, and not out.
    pub linked: bool,
}

impl Conditions {
    /// The same, with the board's main switch off and one circuit by itself, as it is tested dead: its
    /// device off, its line and neutral out of their terminals.
    #[must_use]
    pub fn alone(&self, board: u16, circuit: u16) -> Self {
        let mut alone = self.clone();
        alone.main_switches_off.insert(board);
        alone.devices_off.insert((board, circuit));
        alone.out_of_terminals.insert((board, circuit));
        alone
    }

    /// These, as a probe finds them: the insulation of a circuit of a board that is off is tested with
    /// the circuit by itself, as the trade does it without saying so.
    pub(super) fn found_by(&self, probe: &Probe) -> Cow<'_, Self> {
        let insulation = matches!(probe.setting, Setting::Insulation { .. });
        match probe.circuit {
            Some(circuit) if insulation && self.main_switches_off.contains(&probe.board) => {
                Cow::Owned(self.alone(probe.board, circuit))
            }
            _ => Cow::Borrowed(self),
        }
    }

    /// The same with one thing more altered.
    #[must_use]
    pub fn with(&self, altered: Altered) -> Self {
        let mut with = self.clone();
        with.altered.push(altered);
        with
    }
}

impl Altered {
    /// A part of a circuit that is out.
    pub fn out(board: u16, circuit: u16, part: Part, place: Option<Place>) -> Self {
        Self {
            board,
            circuit: Some(circuit),
            part,
            place,
            both: false,
            linked: false,
        }
    }

    /// The same of both conductors, or of all such things.
    #[must_use]
    pub fn both(self) -> Self {
        Self { both: true, ..self }
    }

    /// Conductors of a circuit linked at the board.
    pub fn linked(board: u16, circuit: u16, conductors: Conductors) -> Self {
        Self {
            linked: true,
            ..Self::out(
                board,
                circuit,
                Part::Conductors(conductors),
                Some(Place::board()),
            )
        }
    }

    /// Conductors of a ring cross-connected at the board.
    pub fn crossed(board: u16, circuit: u16, conductors: Conductors) -> Self {
        Self {
            linked: true,
            ..Self::out(
                board,
                circuit,
                Part::Crossing(conductors),
                Some(Place::board()),
            )
        }
    }

    fn is_at_board(&self) -> bool {
        self.place
            .as_ref()
            .is_none_or(|place| *place == Place::board())
    }
}

/// What an alteration does to the network of a circuit, or of the whole installation.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Effect {
    /// Conductors are joined at the board, or at a point.
    Joined(Conductors, Option<Place>),
    /// The outgoing end of one conductor is joined to the returning end of the other.
    Crossed(Conductors),
    /// Both ends of these conductors are free at the board.
    EndsOut(Conductors),
    /// One conductor of each kind is out of its terminal at the board.
    OutAtBoard(Conductors),
    /// The incoming conductor of each kind is out at a point.
    OneOut(Conductors, Place),
    /// Both conductors of each kind are out at a point and joined.
    BothOut(Conductors, Place),
    /// A whole accessory is out, what it carried on stays joined.
    AccessoryOut(Place),
    /// Loads are out: at a point, or all.
    LoadsOut(Option<Place>),
    /// Lamps are out: at a point, or all.
    LampsOut(Option<Place>),
    /// One switch of each two-way pair is in its other position.
    Switched,
    /// The fuse, and with it the line, is out.
    FuseOut,
    /// The earthing conductor is off the means of earthing.
    EarthingOff,
    /// A main bond is off at the main earthing terminal.
    BondOff(Place),
    /// The functional earth of a circuit's device, or of all devices of a board, is out.
    FunctionalEarthOut,
    /// Nothing that an instrument would notice.
    Nothing,
}

const ALL: Conductors = Conductors::L.with(Conductors::N).with(Conductors::E);

/// What an alteration does. How the procedures order things, as entries of the out-list:
///
/// | entry | part | place | both | linked | effect |
/// | --- | --- | --- | --- | --- | --- |
/// | link of line and earth at the board | `Conductors(L+E)` | board | - | yes | joined there |
/// | lives linked | `Conductors(L+N)` | board | - | yes | joined there |
/// | a link at a point | `Conductors(..)` | the point | - | yes | joined there |
/// | ring ends out | `Conductors(L)`, `(N)`, `(E)` | board | yes | - | both ends free |
/// | the same at once | `RingEnds` | - | - | - | all six ends free |
/// | one leg of a ring, or a conductor of a radial, out | `Conductors(..)` | board | no | - | out of its terminal |
/// | line and neutral crossed; line and earth | `Crossing(..)` | board | - | yes | outgoing to returning end; joined where the ends are in |
/// | neutral out at a point | `Conductors(N)` | the point | no | - | the incoming one is out |
/// | both neutrals out at a point | `Conductors(N)` | the point | yes | - | joined, the accessory without |
/// | accessory, electronics out | `Accessory` | the point | - | - | out, conductors joined |
/// | suspected load out | `Load` | none, or the point | - | - | all loads, or that one, but lamps |
/// | lamps out | `Lamp` | none, or the point | yes | - | all lamps, or that one |
/// | switch position | `Switch` | - | - | - | the other strapper |
/// | fuse out | `Fuse` | - | - | - | line open |
/// | earthing conductor off | `EarthingConductor` | - | - | - | off the means of earthing |
/// | main bond off | `Bond` | its name | - | - | off at the main earthing terminal |
/// | functional earth out | `FunctionalEarth` | - | - | - | off the board's earth |
/// | cover, lock, everything | | | | | none |
pub(super) fn effect(altered: &Altered) -> Effect {
    let place = || {
        altered
            .place
            .clone()
            .filter(|place| *place != Place::board())
    };
    match altered.part {
        Part::Conductors(c) if altered.linked => Effect::Joined(c, place()),
        Part::Crossing(c) => Effect::Crossed(c),
        Part::RingEnds => Effect::EndsOut(ALL),
        Part::Conductors(c) if altered.is_at_board() && altered.both => Effect::EndsOut(c),
        Part::Conductors(c) => match place() {
            None => Effect::OutAtBoard(c),
            Some(place) if altered.both => Effect::BothOut(c, place),
            Some(place) => Effect::OneOut(c, place),
        },
        Part::Accessory => place().map_or(Effect::Nothing, Effect::AccessoryOut),
        Part::Load => Effect::LoadsOut(place()),
        Part::Lamp => Effect::LampsOut(place()),
        Part::Switch => Effect::Switched,
        Part::Fuse => Effect::FuseOut,
        Part::EarthingConductor => Effect::EarthingOff,
        Part::Bond => altered
            .place
            .clone()
            .map_or(Effect::Nothing, Effect::BondOff),
        Part::FunctionalEarth => Effect::FunctionalEarthOut,
        Part::Cover | Part::Lock | Part::Link | Part::Everything => Effect::Nothing,
    }
}
