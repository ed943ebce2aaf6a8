//! Sessions that somebody began: those of `tests/dialogues/`, said up to a line drawn at random. A walk that
//! goes on from there comes to what one from the first word hardly ever does: energised, put back, at the end.

use crate::dialogues::plain::Stood;
use crate::dialogues::typed::{Run, files};
use crate::dialogues::world::World;
use crate::sequence::witness::Witness;
use bothhands::sequence::{Agenda, Event, EventNo, Mode, Step};
use bothhands::terms::Stage;
use jiff::Timestamp;
use std::collections::BTreeMap;
use std::rc::Rc;

/// A dialogue, as its session stood after each turn.
pub struct Begun {
    /// The name of the dialogue.
    pub name: String,
    pub world: Rc<World>,
    turns: Vec<Stood>,
    /// How it stood after each: the stage, and what else matters.
    situations: Vec<(Option<Stage>, String)>,
    events: Vec<(Event, Timestamp)>,
}

impl Begun {
    /// All dialogues, with so many sentences drawn from each rule of the grammar.
    pub fn all(sentences: usize) -> Vec<Self> {
        let mut worlds = BTreeMap::new();
        let begun = files().into_iter().map(|path| {
            let text = std::fs::read_to_string(&path).unwrap();
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            let mut run = Run::remembered(&text);
            run.all(false);
            let site = run.site.unwrap_or_else(|| panic!("{name}: no job"));
            let said = text.lines().find_map(|line| line.strip_prefix("job:"));
            let job = said.map(str::trim).filter(|job| !job.is_empty());
            let job = job.unwrap_or(&name).to_owned();
            let world = worlds.entry(job.clone()).or_insert_with(|| {
                let Event::Opened { job: opened, .. } = &site.events[0].0 else {
                    panic!("{name}: {:?}", site.events[0]);
                };
                Rc::new(World::around(&job, (**opened).clone(), text, sentences))
            });
            let turns = site.turns.unwrap();
            let situations = turns.iter().map(|stood| situation(stood.session.state()));
            Self {
                name,
                world: Rc::clone(world),
                situations: situations.collect(),
                turns,
                events: site.events,
            }
        });
        begun.collect()
    }

    /// How the session stood after this turn, what had come, and what the witness had heard of it.
    pub fn stood(&self, turn: usize) -> (&Stood, Vec<(Event, Timestamp)>, Witness) {
        let mut witness = Witness::default();
        let mut heard = 0;
        for stood in &self.turns[..=turn] {
            let state = stood.session.state();
            for (event, at) in &self.events[heard..stood.events] {
                witness
                    .hear(state, EventNo(heard as u64), event, *at)
                    .unwrap_or_else(|why| panic!("{}: {why}: {event:?}", self.name));
                heard += 1;
            }
        }
        let stood = &self.turns[turn];
        (stood, self.events[..stood.events].to_vec(), witness)
    }
}

/// What matters of how a session stands: its stage, and the kind of the step; whether it waits, whether
/// something is asked about, out or ordered out, whether a dead test shows what a reason passes, or what none
/// does, whether a circuit is off or a lock, and whether covers are.
fn situation(state: &Agenda) -> (Option<Stage>, String) {
    let boards: Vec<u16> = state
        .job()
        .boards
        .iter()
        .map(|board| board.number)
        .collect();
    let failed = boards.iter().flat_map(|board| state.failed_dead(*board));
    let (no_reason, passed): (Vec<&Step>, Vec<&Step>) =
        failed.partition(|step| state.no_reason_passes(step));
    let all = [
        state.mode() != Mode::Running,
        state.question().is_some(),
        state.open_entries().next().is_some(),
        !passed.is_empty(),
        !no_reason.is_empty(),
        state.circuits_off().next().is_some(),
        boards.iter().any(|board| state.unlocked(*board)),
        state.ordered_entries().next().is_some(),
        state.current().is_some_and(Step::is_behind_covers),
    ];
    let asked = state.current().map(|step| (step.stage, step.kind));
    let (stage, kind) = asked.unzip();
    (stage, format!("{kind:?} {all:?}"))
}

/// Everywhere that a walk can begin.
pub struct Begins<'a>(Vec<Vec<Vec<(&'a Begun, usize)>>>);

impl<'a> Begins<'a> {
    /// After each turn of these that came to one of the stages, to any where none is named, and stood so.
    pub fn of(
        all: impl IntoIterator<Item = &'a Begun>,
        stages: &[Stage],
        stood_so: impl Fn(&Agenda) -> bool,
    ) -> Self {
        let mut by: BTreeMap<Option<Stage>, BTreeMap<&str, Vec<_>>> = BTreeMap::new();
        for begun in all {
            for (turn, (stage, situation)) in begun.situations.iter().enumerate() {
                let wanted =
                    stages.is_empty() || stage.is_some_and(|stage| stages.contains(&stage));
                if !wanted || !stood_so(begun.turns[turn].session.state()) {
                    continue;
                }
                let of_stage = by.entry(*stage).or_default();
                let begins = of_stage.entry(situation.as_str()).or_default();
                begins.push((begun, turn));
            }
        }
        let stages = by.into_values().map(|stage| stage.into_values().collect());
        Self(stages.collect())
    }

    /// One of them: every stage is as likely as every other, and so is every situation in it, or the rare
    /// ones would hardly ever be drawn.
    pub fn any(&self, rng: &mut fastrand::Rng) -> (&'a Begun, usize) {
        let stage = &self.0[rng.usize(0..self.0.len())];
        let situation = &stage[rng.usize(0..stage.len())];
        situation[rng.usize(0..situation.len())]
    }
}
