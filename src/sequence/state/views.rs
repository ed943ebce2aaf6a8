//! What may be asked of a state; nothing here changes it.

use super::observations::Observation;
use super::out_list::{OutEntry, place_of, takes_out};
use super::pending::{Override, Question};
use super::readings::{ReadingRecord, ReadingStatus, Suspicion};
use super::steps::StepOutcome;
use super::{State, count};
use crate::installation::{Board, Circuit, CircuitKind, GroupRcd, Job, Rcd, board_said};
use crate::limits::Finding;
use crate::limits::{Outcome, Tables};
use crate::quantity::{Conductors, Number, Pair, Reading, Relation, Unit};
use crate::sequence::breakage::{self, Break};
use crate::sequence::facts::{
    Doubt, Edition, Electronics, EventNo, Mode, Plan, Quantity, Refusal, Step, StepId, StepKind,
};
use crate::terms::{BayEdition, Delivery, Level, Part, Place, Practice, Predicted, Stage};
use jiff::{SignedDuration, Timestamp};
use std::cmp::Reverse;
use std::sync::Arc;

impl State {
    /// The job.
    pub fn job(&self) -> &Job {
        &self.job
    }

    /// How what is said is worded now. No ledger: it decides nothing.
    pub fn delivery(&self) -> Delivery {
        self.delivery
    }

    /// How somebody learns by it, or is examined; nothing where an installation is tested.
    pub fn practice(&self) -> Option<&Practice> {
        self.practice.as_deref()
    }

    /// How much is told.
    pub fn level(&self) -> Level {
        self.practice()
            .map(|practice| practice.level)
            .unwrap_or_default()
    }

    /// Whether the installation is a simulated one: nothing of it is a result.
    pub fn practises(&self) -> bool {
        self.practice()
            .is_some_and(|practice| practice.simulated.is_some())
    }

    /// What the simulated installation of a practice does.
    pub fn bay_edition(&self) -> BayEdition {
        let simulated = self.practice().and_then(|p| p.simulated.as_ref());
        simulated.map(|of| of.edition).unwrap_or_default()
    }

    /// Whether what is hidden is still to be named.
    pub fn to_diagnose(&self) -> bool {
        self.practises() && !self.diagnosed
    }

    /// What must still be predicted before a reading of this step counts.
    pub fn to_predict(&self, step: &StepId) -> Option<Predicted> {
        let wanted = self.practice().is_some_and(|practice| practice.predict);
        [Predicted::Value, Predicted::Limit]
            .into_iter()
            .filter(|_| wanted)
            .find(|of| !self.predicted.contains(&(step.clone(), *of)))
    }

    /// The edition of the plan that the log follows.
    pub fn edition(&self) -> Edition {
        self.edition
    }

    /// The limits that readings are compared with. Verdicts already kept stay as they were.
    pub fn tables(&self) -> &Tables {
        &self.tables
    }

    /// The same with other limits, from an edited copy of the tables.
    #[must_use]
    pub fn with_tables(self, tables: Tables) -> Self {
        Self {
            tables: Arc::new(tables),
            ..self
        }
    }

    /// The plan.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// Whether it takes readings or waits.
    pub fn mode(&self) -> Mode {
        self.mode
    }

    /// When the log was begun.
    pub fn opened(&self) -> Timestamp {
        self.pace.opened
    }

    /// When the last event happened.
    pub fn last_event_at(&self) -> Timestamp {
        self.pace.last_event_at
    }

    /// The number the next event will have.
    pub fn next_event(&self) -> EventNo {
        self.next
    }

    /// What waits for "affirm" or "negative".
    pub fn question(&self) -> Option<&Question> {
        self.pending.question.as_ref()
    }

    /// The last thing said that "negative", "correction" or "disregard" would take back.
    pub fn last_taken(&self) -> Option<EventNo> {
        self.pending.last_taken
    }

    /// Why the last thing asked for was refused.
    pub fn last_refusal(&self) -> Option<&Refusal> {
        self.pending.last_refusal.as_ref()
    }

    /// Every refusal that was gone past with a reason.
    pub fn overrides(&self) -> &[Override] {
        &self.pending.overrides
    }

    /// The step the person moved to by voice.
    pub fn focus(&self) -> Option<&Step> {
        self.step(self.cursor.focus.as_ref()?)
    }

    /// The step that was done and was asked for again.
    pub fn asked_again(&self) -> Option<&Step> {
        self.step(self.cursor.again.as_ref()?)
    }

    /// Everything that was ever on the out-list.
    pub fn out_list(&self) -> &[OutEntry] {
        &self.out_list.0
    }

    /// An entry of the out-list, by the event that put it there.
    pub fn out_entry(&self, no: EventNo) -> Option<&OutEntry> {
        self.out_list.get(no)
    }

    /// What closed the step before the reading that is asked about.
    pub fn answered_before(&self) -> Option<&StepOutcome> {
        self.pending.before.as_ref().map(|(_, before)| before)
    }

    /// The job as a file said last: what was added by voice is not in it.
    pub fn written_job(&self) -> &Job {
        &self.written
    }

    /// Whether a changed job put a reading in doubt.
    pub(in crate::sequence) fn is_judged_anew(&self, no: EventNo) -> bool {
        self.pending.anew.contains(&no)
    }

    /// The next reading that a changed job put in doubt, and that was not answered yet.
    pub(in crate::sequence) fn to_be_asked_anew(&self) -> Option<EventNo> {
        let questioned = |no: &EventNo| {
            let record = self.reading(*no);
            record.is_some_and(|record| record.status == ReadingStatus::Questioned)
        };
        self.pending.anew.iter().copied().find(questioned)
    }

    /// When something was last said that surely came from the person.
    pub fn last_sure_at(&self) -> Timestamp {
        self.pace.last_sure_at
    }

    /// What was seen and stands on the report with its code, and was not taken back.
    pub fn observations(&self) -> impl Iterator<Item = &Observation> {
        self.observations
            .all()
            .iter()
            .filter(|seen| !seen.withdrawn)
    }

    /// What was seen and is being told.
    pub fn told_now(&self) -> Option<&Observation> {
        self.observations().find(|seen| self.is_telling(seen))
    }

    /// Whether what is noted now belongs to this one.
    pub fn is_telling(&self, seen: &Observation) -> bool {
        self.observations.telling() == Some(seen.no)
    }

    /// Whether a note that stands as a reason is being taken, and whether anything was noted yet.
    pub fn observation(&self) -> Option<bool> {
        self.pending.observation
    }

    /// What is surely out now: said so, and not only ordered.
    pub fn sure_entries(&self) -> impl Iterator<Item = &OutEntry> {
        self.open_entries().filter(|entry| entry.is_surely_out())
    }

    /// The same on one circuit.
    pub fn sure_on(&self, board: u16, circuit: u16) -> impl Iterator<Item = &OutEntry> {
        self.open_on(board, circuit)
            .filter(|entry| entry.is_surely_out())
    }

    /// Ends of a ring that are out of their terminals.
    pub fn ring_ends_out(&self, board: u16, circuit: u16) -> impl Iterator<Item = &OutEntry> {
        self.sure_on(board, circuit)
            .filter(|entry| entry.is_ring_end())
    }

    /// What a step ordered out, and nobody has said whether it is.
    pub fn ordered_entries(&self) -> impl Iterator<Item = (&OutEntry, &StepId)> {
        self.open_entries()
            .filter_map(|entry| Some((entry, entry.ordered.as_ref()?)))
    }

    /// What is out now, ordered out included.
    pub fn open_entries(&self) -> impl Iterator<Item = &OutEntry> {
        self.out_list.open()
    }

    /// What is out now and bars energising: all but what was overridden, and what is on a circuit
    /// that stays off; but a link at the board, the earthing conductor and a bond bar all.
    pub fn barring_entries(&self) -> impl Iterator<Item = &OutEntry> {
        self.open_entries().filter(|entry| {
            let alone = entry
                .circuit
                .is_some_and(|circuit| self.stays_off(entry.board, circuit));
            let must = entry.must_go_back() && !breakage::is(Break::LinkMayStay);
            !entry.overridden && (!alone || must)
        })
    }

    /// What is out on one circuit.
    pub fn open_on(&self, board: u16, circuit: u16) -> impl Iterator<Item = &OutEntry> {
        self.open_entries()
            .filter(move |entry| entry.board == board && entry.circuit == Some(circuit))
    }

    /// Whether the out-list lets the work go on to what must not be done with things out.
    ///
    /// # Errors
    /// The refusal, with the number of entries.
    pub fn nothing_out(&self) -> Result<(), Refusal> {
        self.nothing_out_of(|_| true)
    }

    /// The same of some of the entries.
    ///
    /// # Errors
    /// The refusal, with the number of entries.
    pub fn nothing_out_of(&self, which: fn(&OutEntry) -> bool) -> Result<(), Refusal> {
        let open = self.open_entries().filter(|entry| which(entry));
        let must = open.filter(|e| e.must_go_back()).count();
        if must > 0 && !breakage::is(Break::LinkMayStay) {
            return Err(Refusal::MustGoBack {
                entries: count(must),
            });
        }
        match self.barring_entries().filter(|entry| which(entry)).count() {
            0 => Ok(()),
            _ if breakage::is(Break::OutUnseen) => Ok(()),
            entries => Err(Refusal::StillOut {
                entries: count(entries),
            }),
        }
    }

    /// Electronics that are in the circuit now: accessories listed as sensitive that are neither
    /// out nor have a conductor out, and whatever a low reading made likely.
    pub fn electronics_in(&self, board: u16, circuit: u16) -> Vec<Electronics> {
        if breakage::is(Break::ElectronicsUnseen) {
            return Vec::new();
        }
        let found = self.circuit(board, circuit);
        let listed = found
            .map(|c| c.points.as_slice())
            .unwrap_or_default()
            .iter()
            .filter(|point| point.sensitive.is_some())
            .filter(|point| {
                !self
                    .sure_on(board, circuit)
                    .any(|entry| takes_out(entry, point, found))
            })
            .map(|point| Electronics::Listed(place_of(point)));
        let suspected = self
            .suspicion(board, circuit)
            .map(|_| Electronics::Suspected);
        listed.chain(suspected).collect()
    }

    /// The sound trial at 250 V without what was out, and the event that put that back in circuit
    /// since.
    fn back_since_found(&self, board: u16, circuit: u16) -> Option<(EventNo, EventNo)> {
        if self.edition == Edition::First {
            return None;
        }
        let sound = self
            .readings
            .sound_trials((board, circuit), self.tries_by_pair());
        let back = |record: &ReadingRecord| {
            let by = self.back_since(board, circuit, record.no)?;
            Some((record.no, by))
        };
        sound.into_iter().find_map(back)
    }

    /// The event that put back in circuit since what was out for a sound trial.
    fn back_since(&self, board: u16, circuit: u16, sound: EventNo) -> Option<EventNo> {
        // Another thing that is out is not this one: whether that is enough, a trial tells.
        let out_again = |was: &OutEntry| {
            self.sure_on(board, circuit)
                .any(|entry| entry.no > was.no && entry.takes_out_too(was))
        };
        let back = self.out_list.0.iter().filter_map(|entry| {
            let load = matches!(
                entry.part,
                Part::Load | Part::Accessory | Part::Conductors(_) | Part::Fuse
            );
            let was_out = (entry.board, entry.circuit) == (board, Some(circuit))
                && load
                && !entry.linked
                && !entry.withdrawn
                && !entry.is_at_board()
                && entry.no < sound;
            let (by, _) = entry.back?;
            (was_out && by > sound && !out_again(entry)).then_some(by)
        });
        back.max()
    }

    /// Whether each pair of live conductors is tried at 250 V by itself.
    fn tries_by_pair(&self) -> bool {
        self.edition >= Edition::Fourth
    }

    /// Whether a pair of live conductors was found low at 250 V, or what was out for its trial is back: it is
    /// tried again once something is altered. Where one trial stands for all pairs, that one is.
    pub fn tries_again(&self, board: u16, circuit: u16, pair: Pair) -> bool {
        let by_pair = self.tries_by_pair();
        let of_pair = |record: &&ReadingRecord| record.reading.pair == Some(pair);
        let sound = self.readings.sound_trials((board, circuit), by_pair);
        let back = |record: &ReadingRecord| self.back_since(board, circuit, record.no).is_some();
        !by_pair || sound.into_iter().find(of_pair).is_none_or(back)
    }

    /// Whether these conductors of the circuit are linked together, and no others with them.
    pub fn linked(&self, board: u16, circuit: u16, conductors: Conductors) -> bool {
        breakage::is(Break::LinkedUnasked)
            || self
                .sure_on(board, circuit)
                .any(|entry| entry.linked && entry.part == Part::Conductors(conductors))
    }

    /// The latest reading between line and neutral of the circuit at 250 V, when it was not sound, or
    /// when what was out for it is back: something may be connected there.
    pub fn suspicion(&self, board: u16, circuit: u16) -> Option<Suspicion> {
        if breakage::is(Break::SuspicionUnseen) {
            return None;
        }
        let asked = self.pending.question.as_ref().map(Question::about);
        let set_aside = |no: EventNo| {
            self.edition > Edition::First
                && asked != Some(no)
                && self
                    .reading(no)
                    .is_some_and(|record| record.status == ReadingStatus::Questioned)
        };
        let unsound =
            self.readings
                .unsound_trial((board, circuit), self.tries_by_pair(), set_aside);
        let (reading, since) = match unsound {
            Some(latest) => (latest.no, latest.no),
            None => self.back_since_found(board, circuit)?,
        };
        Some(Suspicion {
            reading,
            put_back: unsound.is_none(),
            altered_since: unsound.is_none()
                || self.out_list.0.iter().any(|entry| {
                    entry.no > since
                        && !entry.withdrawn
                        && entry.ordered.is_none()
                        && (entry.board, entry.circuit) == (board, Some(circuit))
                }),
        })
    }

    /// Every reading ever heard, by event number.
    pub fn readings(&self) -> impl Iterator<Item = &ReadingRecord> {
        self.readings.all()
    }

    /// The reading that an event brought.
    pub fn reading(&self, no: EventNo) -> Option<&ReadingRecord> {
        self.readings.get(no)
    }

    /// The earliest reading that this one stands in the place of.
    pub fn replaced_by(&self, of: EventNo) -> Option<&ReadingRecord> {
        self.readings.replaced_by(of)
    }

    /// How the step with this name came to be closed, or left for later.
    pub fn outcome_of(&self, id: &StepId) -> Option<&StepOutcome> {
        self.steps.get(id)
    }

    /// How a step came to be closed, or left for later.
    pub fn outcome(&self, step: &Step) -> Option<&StepOutcome> {
        self.steps.at(step.order)
    }

    /// The steps that were answered, or left, the last one first.
    pub fn answers(&self) -> Vec<(&StepOutcome, &Step)> {
        let steps = self.plan().steps.iter();
        let mut answers: Vec<(&StepOutcome, &Step)> = steps
            .filter_map(|step| Some((self.outcome(step)?, step)))
            .collect();
        answers.sort_by_key(|(outcome, _)| Reverse(outcome.no()));
        answers
    }

    /// The reading that counts for the step with this name.
    pub fn result_of(&self, id: &StepId) -> Option<&ReadingRecord> {
        self.result(self.step(id)?)
    }

    /// The reading that counts for a step.
    pub fn result(&self, step: &Step) -> Option<&ReadingRecord> {
        match self.outcome(step)? {
            StepOutcome::Read(no) => self.reading(*no),
            _ => None,
        }
    }

    /// Whether nothing has closed a step yet; what is left for later waits too.
    pub fn waits(&self, step: &Step) -> bool {
        matches!(self.outcome(step), None | Some(StepOutcome::Skipped(..)))
    }

    /// Whether a step has a reading that counts, or something wrong was said of it: "not tested" said of it
    /// afterwards would be untrue. A correction takes it back.
    pub fn has_a_result(&self, step: &Step) -> bool {
        self.edition > Edition::First && (self.result(step).is_some() || self.has_failed(step))
    }

    /// Whether what closed the step is outside its limit.
    pub fn has_failed(&self, step: &Step) -> bool {
        if breakage::is(Break::FailedUnseen) {
            return false;
        }
        match self.outcome(step) {
            Some(StepOutcome::Read(no)) => {
                self.reading(*no).and_then(ReadingRecord::outcome) == Some(Outcome::Fail)
            }
            Some(StepOutcome::Stated(_, statement)) => step.is_wrong(*statement),
            _ => false,
        }
    }

    /// The answers, with the events that brought them, to steps that the plan did not have: another build
    /// of the program asked for them.
    pub fn unplanned(&self) -> impl Iterator<Item = (EventNo, &StepId)> {
        self.steps.unplanned().map(|(no, step)| (*no, step))
    }

    /// The step with this name.
    pub fn step(&self, id: &StepId) -> Option<&Step> {
        self.plan.step(id)
    }

    /// The board with this number.
    pub fn board(&self, number: u16) -> Option<&Board> {
        self.job.boards.iter().find(|b| b.number == number)
    }

    /// The circuit with this number on a board.
    pub fn circuit(&self, board: u16, number: u16) -> Option<&Circuit> {
        self.job.circuit(board, number)
    }

    /// The number of the first board of the job.
    pub fn first_board(&self) -> u16 {
        let first = self.job().boards.first();
        first.map_or(1, |board| board.number)
    }

    /// The circuit a step is on.
    pub fn circuit_of(&self, step: &Step) -> Option<&Circuit> {
        self.circuit(step.board, step.circuit?)
    }

    /// The residual current device of several circuits that a step tests.
    pub fn group_of(&self, step: &Step) -> Option<&GroupRcd> {
        let number = step.place.as_ref()?.number?;
        if step.stage != Stage::Rcd || step.circuit.is_some() {
            return None;
        }
        let mut groups = self.board(step.board)?.rcds.iter();
        groups.find(|group| group.number == number)
    }

    /// The residual current device that a step tests: of several circuits, or its circuit's own.
    pub fn rcd_of(&self, step: &Step) -> Option<Rcd> {
        let own = || self.circuit_of(step)?.rcd.clone();
        self.group_of(step).map(GroupRcd::rcd).or_else(own)
    }

    /// The steps of a board that belong to the row of one of its circuits: of the residual current device
    /// that protects it with others, where it has none of its own, and of its arc fault detection.
    pub fn shown_with(&self, board: u16, circuit: &Circuit) -> Vec<&Step> {
        let group = self
            .board(board)
            .filter(|_| circuit.rcd.is_none())
            .and_then(|board| board.group_of(circuit))
            .map(|group| group.number);
        // What is of a whole board is done with what of it stays live, where it is worked on in parts.
        let whole = Some(board_said(board)).filter(|whole| *whole != board);
        let of_whole = whole
            .into_iter()
            .flat_map(|whole| self.plan().on(whole, None));
        let steps = self.plan().on(board, None).chain(of_whole);
        steps
            .filter(|step| {
                let of_group = self.group_of(step).map(|of| of.number);
                (of_group.is_some() && of_group == group)
                    || step.arc_fault_of() == Some(circuit.number)
            })
            .collect()
    }

    /// Whether a step is on a ring final circuit.
    pub fn is_on_a_ring(&self, step: &Step) -> bool {
        self.circuit_of(step)
            .is_some_and(|circuit| circuit.kind == CircuitKind::Ring)
    }

    /// A reading taken now with the resistance of the test leads taken off, when it was noted and
    /// not nulled. Nothing is left where the leads alone read more.
    pub fn without_leads(&self, reading: &Reading) -> Reading {
        off(reading, self.leads(None).as_ref())
    }

    /// The same of a reading that was taken earlier, with the leads as they were then.
    pub fn record_without_leads(&self, record: &ReadingRecord) -> Reading {
        off(&record.reading, self.leads(Some(record.no)).as_ref())
    }

    /// What the test leads read by themselves when they were last joined, on the continuity range;
    /// before this event, or now. Nothing when they were nulled since.
    pub fn leads(&self, before: Option<EventNo>) -> Option<Reading> {
        let early = |no: EventNo| before.is_none_or(|before| no < before);
        let step = self
            .plan
            .measuring(Quantity::LeadsShorted)
            .find(|step| step.measure().is_some_and(|m| m.unit == Unit::Ohm))?;
        // Measured again by the person; a slip put right afterwards was never so.
        let measured_again = |by: EventNo| {
            let doubt = self.reading(by).and_then(|record| record.doubt);
            matches!(doubt, Some(Doubt::ReadBefore { .. }))
        };
        let joined = match self.outcome(step) {
            Some(StepOutcome::Read(no)) if early(*no) => self.reading(*no),
            Some(StepOutcome::Stated(no, _)) if early(*no) => None,
            // Put right at the desk: so it was from the first.
            Some(StepOutcome::Read(no))
                if !measured_again(*no)
                    && self.replaced_by(*no).is_some_and(|old| early(old.no)) =>
            {
                self.reading(*no)
            }
            // What closed the step came later: what counted before it.
            _ => self
                .readings()
                .filter(|record| record.step == step.id && early(record.no))
                .filter(|record| match record.status {
                    ReadingStatus::Counts => true,
                    ReadingStatus::Replaced(by) => measured_again(by),
                    ReadingStatus::Questioned | ReadingStatus::Withdrawn => false,
                })
                .last(),
        };
        let leads = joined?.reading;
        (leads.relation == Relation::Exact).then_some(leads)
    }

    /// The external earth fault loop impedance measured at the origin.
    pub fn external_loop(&self) -> Option<Reading> {
        self.counting(Quantity::ExternalLoop)
            .last()
            .map(|record| record.reading)
    }

    /// The highest R1+R2 read on a circuit, without the test leads; on a ring, with line and cpc
    /// cross-connected.
    pub fn highest_r1_r2(&self, board: u16, circuit: u16) -> Option<Reading> {
        self.counting_on(board, circuit, Quantity::R1R2)
            .chain(self.counting_on(board, circuit, Quantity::RingLineEarth))
            // Less than the leads alone is no resistance of the circuit.
            .filter(|record| record.finding() != Some(Finding::BelowLeads))
            .map(|record| self.record_without_leads(record))
            .max_by(|a, b| a.size().total_cmp(&b.size()))
    }

    /// Where Zs of a circuit is asked for: where R1+R2 was highest, since the loop is longest there; at the
    /// last point where nothing tells.
    pub fn zs_place(&self, step: &Step) -> Option<Place> {
        let is_zs = step.kind == StepKind::LOOP_IMPEDANCE;
        if !is_zs || self.edition == Edition::First || self.practises() {
            return step.place.clone();
        }
        let highest = step.circuit.and_then(|circuit| {
            self.counting_on(step.board, circuit, Quantity::R1R2)
                .chain(self.counting_on(step.board, circuit, Quantity::RingLineEarth))
                .max_by(|a, b| a.reading.size().total_cmp(&b.reading.size()))
        });
        let listed = |place: &Place| {
            let circuit = self.circuit_of(step);
            circuit.is_some_and(|circuit| circuit.points.iter().any(|p| place_of(p) == *place))
        };
        let place = highest.and_then(|record| {
            let at = record.place.clone();
            at.or_else(|| self.step(&record.step)?.place.clone())
        });
        place.filter(listed).or_else(|| step.place.clone())
    }

    /// Readings of one quantity that count, in the order of the plan.
    pub fn counting(&self, quantity: Quantity) -> impl Iterator<Item = &ReadingRecord> {
        self.plan
            .measuring(quantity)
            .filter_map(|step| self.result(step))
    }

    /// The same, of one circuit.
    pub fn counting_on(
        &self,
        board: u16,
        circuit: u16,
        quantity: Quantity,
    ) -> impl Iterator<Item = &ReadingRecord> {
        self.plan
            .on(board, Some(circuit))
            .filter(move |step| step.measures(quantity))
            .filter_map(|step| self.result(step))
    }

    /// How long so many steps take at the pace so far; nothing before ten answers.
    pub fn time_for(&self, steps: usize) -> Option<SignedDuration> {
        self.pace.time_for(steps)
    }
}

/// A reading without that of the leads.
fn off(reading: &Reading, leads: Option<&Reading>) -> Reading {
    let leads = leads.and_then(|leads| leads.number?.converted(leads.unit?, reading.unit?));
    let number = match (reading.number, leads) {
        (Some(number), Some(leads)) => Some(number.minus(leads).unwrap_or(Number::whole(0))),
        (number, _) => number,
    };
    Reading { number, ..*reading }
}
