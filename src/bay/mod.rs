//! The training bay: an installation that is not there, with faults hidden in it, which answers
//! probes as a real one would.
//!
//! A [`Bay`] is made of a job, faults and a seed: what the job does not say, such as lengths between
//! points, joints and leakage, is drawn by the seed. [`Conditions`] are how a person has it right
//! now; a [`Probe`] is where the leads are and how the instrument is set. [`Bay::probe`] answers with
//! what the instrument shows and with what came of it, and never refuses what a real instrument would
//! let one do.
//!
//! How it is modelled, what is simplified and what was checked against what: `README.md` beside this.

mod absorption;
mod changes;
mod conditions;
mod faults;
mod instrument;
mod law;
mod model;
mod net;
mod overcurrent;
mod probing;
mod solve;
mod tour;

pub use changes::{Changes, changes};
pub use conditions::{Altered, Conditions};
pub use instrument::Measured;
pub use law::Law;
pub use net::{Element, GROUND, STRAY_OHMS};
pub use probing::{Method, Netlist, ProbeError};
pub use tour::{Reads, Stop, tour};

use crate::installation::{Job, board_said};
use crate::terms::{BayEdition, Consequence, FaultKind, HiddenFault, Place, Probe, Shown};
use model::{Model, PointAt};
use probing::Kept;
use std::cell::RefCell;
use std::collections::BTreeSet;

/// Why a bay can't be made of a job and a list of faults: what to mend in the list.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}: {why}", kind.shown())]
pub struct BayError {
    /// The fault.
    pub kind: FaultKind,
    /// What is wrong with it, and what it needs.
    pub why: String,
}

/// A simulated installation, and the instrument that it is probed with.
///
/// The same job, faults, seed and probes in the same order give the same answers. What lasts from one
/// probe to the next is only what was destroyed; a tripped device is the caller's to keep in
/// [`Conditions`].
#[derive(Debug, Clone)]
pub struct Bay {
    model: Model,
    faults: Vec<HiddenFault>,
    destroyed: BTreeSet<PointAt>,
    /// The networks of the last conditions, reduced to the circuit that was probed.
    last: RefCell<Kept>,
}

/// A probe on a part of a live board is one on that board.
fn as_said(probe: &Probe) -> Probe {
    Probe {
        board: board_said(probe.board),
        ..probe.clone()
    }
}

impl Bay {
    /// A bay of a job, with faults. What a fault leaves open (which circuit, which point) the seed
    /// draws.
    ///
    /// # Errors
    ///
    /// When a fault can't be in this job: it says what in the list to mend.
    pub fn of(job: &Job, faults: &[HiddenFault], seed: u64) -> Result<Self, BayError> {
        Self::as_of(job, faults, seed, BayEdition::NOW)
    }

    /// The same as an edition has it.
    ///
    /// # Errors
    ///
    /// As [`Bay::of`].
    pub fn as_of(
        job: &Job,
        faults: &[HiddenFault],
        seed: u64,
        edition: BayEdition,
    ) -> Result<Self, BayError> {
        let mut model = Model::drawn(&job.as_written(), seed, edition);
        let faults = faults::hide(&mut model, faults, seed)?;
        Ok(Self {
            model,
            faults,
            destroyed: BTreeSet::new(),
            last: RefCell::default(),
        })
    }

    /// The faults that a seed draws, of the kinds given: only what can be in that job, each in another
    /// circuit where there are enough, and never more than there is room for.
    pub fn draw(job: &Job, seed: u64, how_many: usize, from: &[FaultKind]) -> Vec<HiddenFault> {
        Self::draw_of(job, seed, how_many, from, &mut |_| true)
    }

    /// The same of those faults only that `may` be hidden. What is drawn without that condition and meets it is
    /// drawn with it too.
    pub fn draw_of(
        job: &Job,
        seed: u64,
        how_many: usize,
        from: &[FaultKind],
        may: &mut dyn FnMut(&HiddenFault) -> bool,
    ) -> Vec<HiddenFault> {
        let model = Model::drawn(&job.as_written(), seed, BayEdition::NOW);
        faults::draw(&model, seed, how_many, from, may)
    }

    /// The faults that are hidden, each with its circuit and point.
    pub fn faults(&self) -> &[HiddenFault] {
        &self.faults
    }

    /// What the instrument shows, and what came of the probing besides. Conditions and consequences call a
    /// board by the number that it has in the job as written; a probe may call it as a part of it.
    ///
    /// The insulation of a circuit of a board whose main switch is off is tested with the circuit by
    /// itself, device off and line and neutral out of their terminals; everything else is as the
    /// conditions say. Without a circuit the probes are at the board's incoming terminals, or, with
    /// the board as the place, on what its main switch feeds.
    ///
    /// # Errors
    ///
    /// When the probes can't be there: no such place, or a function that does not go between that.
    pub fn probe(
        &mut self,
        conditions: &Conditions,
        probe: &Probe,
    ) -> Result<(Shown, Vec<Consequence>), ProbeError> {
        let probe = &as_said(probe);
        let (settled, mut consequences) = self.outcome(conditions, probe)?;
        let instrument = &self.model.instrument;
        let on_display =
            |measured| probing::shown(instrument, measured, probe, conditions.leads_nulled);
        let shown = on_display(self.by_now(settled, conditions, probe));
        if probing::moves(&shown, &on_display(settled)) {
            consequences.push(Consequence::Settling);
        }
        // What is told of a voltage is what the display says, and no other number.
        if let Shown::Live(reading) = shown
            && let Some(number) = reading.number
        {
            for consequence in &mut consequences {
                if let Consequence::ProbedLive { volts } = consequence {
                    *volts = number.value().round() as u16;
                }
            }
        }
        for consequence in &consequences {
            self.remember(consequence);
        }
        Ok((shown, consequences))
    }

    /// What an instrument without any error would show once it has settled: the leads nulled, the right
    /// range. Nothing comes of it.
    ///
    /// # Errors
    ///
    /// As [`Bay::probe`].
    pub fn truth(&self, conditions: &Conditions, probe: &Probe) -> Result<Shown, ProbeError> {
        let probe = &as_said(probe);
        let (measured, _) = self.outcome(conditions, probe)?;
        let instrument = self.model.instrument.perfect();
        Ok(probing::shown(&instrument, measured, probe, true))
    }

    /// The quantity itself, before any display, as long as the test has been held on.
    ///
    /// # Errors
    ///
    /// As [`Bay::probe`].
    pub fn measured(&self, conditions: &Conditions, probe: &Probe) -> Result<Measured, ProbeError> {
        let probe = &as_said(probe);
        let settled = self.outcome(conditions, probe)?.0;
        Ok(self.by_now(settled, conditions, probe))
    }

    /// What is measured as long as the test has been held on: insulation takes up charge, the less the
    /// longer.
    fn by_now(&self, settled: Measured, conditions: &Conditions, probe: &Probe) -> Measured {
        match settled {
            Measured::Insulation(ohms) => {
                let taken_up = absorption::ohms(&self.model, &conditions.found_by(probe), probe);
                Measured::Insulation(1.0 / (1.0 / ohms + 1.0 / taken_up))
            }
            other => other,
        }
    }

    /// The network under these conditions with the probes on it, as a plain list of elements, and what
    /// the instrument does between them.
    ///
    /// # Errors
    ///
    /// As [`Bay::probe`].
    pub fn netlist(&self, conditions: &Conditions, probe: &Probe) -> Result<Netlist, ProbeError> {
        let probe = &as_said(probe);
        let conditions = conditions.found_by(probe);
        probing::netlist(&self.model, &self.destroyed, &conditions, probe)
    }

    /// What comes of the conditions by themselves, where the supply is on: devices that open a short
    /// circuit, or fail to. The one that opens is the nearest to it.
    pub fn overcurrents(&self, conditions: &Conditions) -> Vec<Consequence> {
        overcurrent::of(&self.model, &self.destroyed, conditions)
    }

    /// The current through the device of a circuit, A: the greatest of its lines.
    pub fn device_amps(&self, conditions: &Conditions, board: u16, circuit: u16) -> Option<f64> {
        let at = self.model.circuit(board, circuit)?;
        overcurrent::amps(&self.model, &self.destroyed, conditions, &[at]).pop()
    }

    /// The network under these conditions, with the two ends of the first line of a circuit's device as
    /// the probes, and the device's own resistance, Ω.
    pub fn device_netlist(
        &self,
        conditions: &Conditions,
        board: u16,
        circuit: u16,
    ) -> Option<(Netlist, f64)> {
        let at = self.model.circuit(board, circuit)?;
        overcurrent::netlist(&self.model, &self.destroyed, conditions, at)
    }

    /// The points whose electronics were destroyed, by board, circuit and place.
    pub fn destroyed(&self) -> impl Iterator<Item = (u16, u16, &Place)> {
        self.destroyed.iter().filter_map(|(b, c, p)| {
            let board = self.model.boards.get(*b)?;
            let circuit = board.circuits.get(*c)?;
            Some((board.number, circuit.number, &circuit.points.get(*p)?.place))
        })
    }

    /// Takes up what a log says that came of earlier probes, so that a bay made anew stands where that
    /// one stood.
    pub fn remember(&mut self, consequence: &Consequence) {
        let Consequence::Destroyed {
            board,
            circuit,
            place,
        } = consequence
        else {
            return;
        };
        let Some((b, c)) = self.model.circuit(*board, *circuit) else {
            return;
        };
        if let Some(p) = self.model.at((b, c)).point(place) {
            self.destroyed.insert((b, c, p));
            self.last.take();
        }
    }

    fn outcome(
        &self,
        conditions: &Conditions,
        probe: &Probe,
    ) -> Result<(Measured, Vec<Consequence>), ProbeError> {
        let mut last = self.last.borrow_mut();
        let conditions = conditions.found_by(probe);
        probing::outcome(&self.model, &self.destroyed, &mut last, &conditions, probe)
    }
}
