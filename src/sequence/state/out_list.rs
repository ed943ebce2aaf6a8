use super::super::breakage::{self, Break};
use super::super::facts::{EventNo, Order, StepId};
use crate::installation::{Accessory, Circuit, CircuitKind, Phases};
use crate::quantity::Conductors;
use crate::terms::{Parked, Part, Place};
use jiff::Timestamp;
use serde::Serialize;

/// Something altered for a test.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OutEntry {
    /// The event that put it on the list.
    pub no: EventNo,
    /// When.
    pub at: Timestamp,
    /// The board's number.
    pub board: u16,
    /// The circuit; none for what concerns the whole board.
    pub circuit: Option<u16>,
    /// What was altered.
    pub part: Part,
    /// Joined with something, and not out.
    pub linked: bool,
    /// Where.
    pub place: Option<Place>,
    /// Both conductors of the kind.
    pub both: bool,
    /// How it is kept from touching anything.
    pub parked: Option<Parked>,
    /// When it was put back, and by which event.
    pub back: Option<(EventNo, Timestamp)>,
    /// Said by mistake and taken back.
    pub withdrawn: bool,
    /// The person went on with this still out, and said why.
    pub overridden: bool,
    /// The step that ordered it, until the person says whether it is out. It counts as out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ordered: Option<StepId>,
    /// Asked about as something ordered, and affirmed, or said to be back in part: that much of it is out, not
    /// that all is.
    #[serde(skip)]
    pub some_of_it: bool,
}

impl OutEntry {
    /// What an event put on the list, of a board or one of its circuits, out and nowhere in particular.
    pub(super) fn of(
        no: EventNo,
        at: Timestamp,
        (board, circuit): (u16, Option<u16>),
        part: Part,
    ) -> Self {
        Self {
            no,
            at,
            board,
            circuit,
            part,
            linked: false,
            place: None,
            both: false,
            parked: None,
            back: None,
            withdrawn: false,
            overridden: false,
            ordered: None,
            some_of_it: false,
        }
    }

    /// Whether it still has to be put back.
    pub fn is_open(&self) -> bool {
        self.back.is_none() && !self.withdrawn
    }

    /// Whether the person said that it is out, and it is not back.
    pub fn is_surely_out(&self) -> bool {
        self.is_open() && (self.ordered.is_none() || breakage::is(Break::OrderedIsOut))
    }

    /// Whether no reason makes it right to leave: a link would be a short circuit, and without the
    /// earthing conductor or a main bond there is no earth.
    pub fn must_go_back(&self) -> bool {
        self.linked || self.is_of_the_earth()
    }

    /// The earthing conductor, or a main bond: nothing else is done while it is off.
    pub fn is_of_the_earth(&self) -> bool {
        matches!(self.part, Part::EarthingConductor | Part::Bond)
    }

    /// Both ends of one of a ring's conductors, out at the board.
    pub fn is_ring_end(&self) -> bool {
        self.both && !self.linked && self.is_at_board() && matches!(self.part, Part::Conductors(_))
    }

    /// A lamp of those that are counted: not all of them, and none that is known by its place.
    pub fn is_counted_lamp(&self) -> bool {
        self.part == Part::Lamp && self.place.is_none() && !self.both
    }

    /// Equipment, or what feeds it: not what is out at the board, nor lamps and switches.
    pub fn is_equipment(&self) -> bool {
        let part = matches!(
            self.part,
            Part::Accessory | Part::Conductors(_) | Part::Load | Part::FunctionalEarth
        );
        part && !self.linked && !self.withdrawn && !self.is_at_board()
    }

    /// Whether what the other one took out of circuit is out by this one too.
    pub(in crate::sequence) fn takes_out_too(&self, other: &Self) -> bool {
        let whole =
            self.part == Part::Accessory || (self.part == other.part && self.both >= other.both);
        !self.linked && !self.some_of_it && self.place == other.place && whole
    }

    /// Whether it is out at the board itself.
    pub fn is_at_board(&self) -> bool {
        self.place.as_ref() == Some(&Place::board())
    }

    /// The conductors that a link or a crossing joins.
    pub fn joins(&self) -> Option<Conductors> {
        match self.part {
            Part::Conductors(conductors) if self.linked => Some(conductors),
            Part::Crossing(conductors) => Some(conductors),
            _ => None,
        }
    }

    /// Whether this is what was ordered.
    pub fn is_what_was_ordered(&self, order: &Order) -> bool {
        let part = match (self.part, order.part) {
            // With more conductors than asked for, those asked for are linked too.
            (Part::Conductors(is), Part::Conductors(asked)) if order.linked => {
                self.linked && is.contains(asked)
            }
            (is, asked) => is == asked && self.linked == order.linked,
        };
        let place = order.linked || self.place == order.place || order.part == Part::Lamp;
        part && place && self.both == order.both
    }

    /// In words: "neutral at socket 3".
    pub fn what(&self) -> String {
        self.part
            .described(self.place.as_ref(), self.both, self.linked)
    }
}

/// Everything that was ever altered for a test, in the order in which it was.
#[derive(Debug, Clone, Default, Serialize)]
#[serde(transparent)]
pub(super) struct OutList(pub(super) Vec<OutEntry>);

impl OutList {
    pub(super) fn open(&self) -> impl Iterator<Item = &OutEntry> {
        self.0.iter().filter(|entry| entry.is_open())
    }

    pub(super) fn get(&self, no: EventNo) -> Option<&OutEntry> {
        self.0.iter().find(|entry| entry.no == no)
    }

    pub(super) fn put_back(&mut self, no: EventNo, at: Timestamp, entries: &[EventNo]) {
        for entry in &mut self.0 {
            if entries.contains(&entry.no) && entry.is_open() {
                entry.back = Some((no, at));
            }
        }
    }

    /// What was ordered is out: the person said so, or answered what it was ordered for.
    pub(super) fn surely_out(&mut self, which: impl Fn(&OutEntry) -> bool) {
        for entry in &mut self.0 {
            if entry.ordered.is_some() && entry.is_open() && which(entry) {
                entry.ordered = None;
            }
        }
    }

    /// Of what was ordered some is out, it was not said which: it counts as out.
    pub(super) fn some_of_it(&mut self, entries: &[EventNo]) {
        for entry in &mut self.0 {
            if entry.ordered.is_some() && entry.is_open() && entries.contains(&entry.no) {
                entry.ordered = None;
                entry.some_of_it = entries.len() > 1 || entry.both;
            }
        }
    }

    /// Of several things, or of two conductors, not all are back: it was not said which.
    pub(super) fn not_all_back(&mut self, entries: &[EventNo]) {
        for entry in &mut self.0 {
            if entry.is_open() && entries.contains(&entry.no) {
                entry.some_of_it |= entries.len() > 1 || entry.both;
            }
        }
    }

    /// All of it is out, whatever was said before.
    pub(super) fn wholly_out(&mut self, which: impl Fn(&OutEntry) -> bool) {
        for entry in &mut self.0 {
            if entry.is_open() && which(entry) {
                entry.some_of_it = false;
            }
        }
    }

    /// What was ordered is not out, or stands on the list as the person named it.
    pub(super) fn never_out(&mut self, which: impl Fn(&OutEntry) -> bool) {
        for entry in &mut self.0 {
            if entry.ordered.is_some() && entry.is_open() && which(entry) {
                entry.withdrawn = true;
            }
        }
    }

    /// The person goes on with these still out.
    pub(super) fn go_past(&mut self, entries: &[EventNo]) {
        for entry in &mut self.0 {
            entry.overridden |= entries.contains(&entry.no);
        }
    }

    /// An event is taken back: what it took out never was, what it put back is out again.
    pub(super) fn withdraw(&mut self, of: EventNo) {
        for entry in &mut self.0 {
            if entry.no == of {
                entry.withdrawn = true;
            }
            if entry.back.is_some_and(|(by, _)| by == of) {
                entry.back = None;
            }
        }
    }
}

/// The place of a point, as it is said.
pub fn place_of(point: &Accessory) -> Place {
    point.place()
}

/// Whether an entry takes the electronics of a point out of circuit: the accessory itself, or a
/// live conductor of it, of three phases every line, since two that are left have it between them; both conductors of the kind where the circuit goes on from there, since
/// one of two leaves the accessory fed by the other.
pub(super) fn takes_out(entry: &OutEntry, point: &Accessory, circuit: Option<&Circuit>) -> bool {
    if breakage::is(Break::AnythingTakesOut) {
        return true;
    }
    let here = entry.place.as_ref() == Some(&place_of(point));
    let kind = circuit.map(|circuit| circuit.kind);
    let three_phase = circuit.is_some_and(|circuit| circuit.phases == Phases::Three);
    let live_out = |out: Conductors| {
        let out = out.with_every_line();
        let any = out.overlaps(Conductors::LINES.with(Conductors::N));
        out.contains(Conductors::LINES) || any && !three_phase
    };
    // What is in part back may be just that.
    here && !entry.some_of_it
        && match entry.part {
            Part::Accessory => true,
            Part::Conductors(c) => {
                !entry.linked && live_out(c) && (entry.both || !goes_on(kind, point))
            }
            _ => false,
        }
}

/// Whether the circuit goes on from a point, so that conductors taken out must stay joined.
pub(in crate::sequence) fn goes_on(kind: Option<CircuitKind>, point: &Accessory) -> bool {
    point.feeds_on || (kind == Some(CircuitKind::Ring) && !point.spur)
}
