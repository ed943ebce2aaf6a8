//! Guards and the predicates they ask are broken one at a time, in this very build, and the random
//! walk must find each by a law: a check that cannot fail is none.
//!
//! ```sh
//! BROKEN=200000 cargo test --test it guards_broken -- --nocapture
//! BREAK=OffNotLocked,SurgeLeftIn cargo test --test it guards_broken -- --nocapture     # only these
//! SEED=1000000 cargo test --test it guards_broken -- --nocapture                       # other walks
//! ```

use crate::dialogues::world::World;
use crate::sequence::begun::{Begins, Begun};
use crate::sequence::model_walk::{GOING_ON, JOBS, Walk, Why};
use bothhands::installation::{Board, Job};
use bothhands::sequence::breakage::{self, Break};
use bothhands::sequence::{Agenda, Refusal};
use bothhands::terms::Stage;
use std::collections::BTreeSet;

const LENGTH: usize = 250;

/// A number that is told by the environment.
fn told<T: std::str::FromStr>(name: &str) -> Option<T> {
    std::env::var(name).ok()?.parse().ok()
}

/// How many things are said before something broken is given up on.
fn patience() -> usize {
    told("BROKEN").unwrap_or(30_000)
}

/// Whether this one is to be broken: all are, unless some are named.
fn is_wanted(what: Break) -> bool {
    std::env::var("BREAK").map_or(true, |only| {
        only.split(',').any(|name| name == format!("{what:?}"))
    })
}

/// Whether a job has what a guard is for.
fn shows_in(what: Break, job: &Job) -> bool {
    let mut boards = job.boards.iter();
    match what {
        Break::SurgeLeftIn => boards.any(|board| board.surge.is_some()),
        Break::NeutralLeftIn | Break::NeutralBackUnseen => boards.any(Board::isolates_circuits),
        Break::CoversOffUnproved | Break::BehindCoversUnknown => job.inspection.is_some(),
        Break::FeederUnasked
        | Break::FeederUnknown
        | Break::FeederUnread
        | Break::FedUnseen
        | Break::CutOffUnseen => boards.any(|board| board.feeder().is_some()),
        _ => true,
    }
}

/// The stages at which a guard is mostly asked; all where none is named.
fn asked_at(what: Break) -> &'static [Stage] {
    match what {
        Break::EnergisedWithThingsOut
        | Break::EnergisedUnproved
        | Break::CoversUnasked
        | Break::BareReasonGoesPast
        | Break::FailedUnseen
        | Break::EverythingTried
        | Break::EverythingAccepted
        | Break::FaultUnseen
        | Break::AnyReasonPasses
        | Break::LockForgotten => &[Stage::Energise],
        Break::SupplyUnasked
        | Break::SupplyWithThingsOut
        | Break::ReversedGoneOnWith
        | Break::NoSupplyUnseen => &[
            Stage::SupplyPolarity,
            Stage::ExternalLoop,
            Stage::FaultCurrent,
            Stage::Energise,
        ],
        Break::HighVoltageUnguarded
        | Break::TrialUnasked
        | Break::SurgeLeftIn
        | Break::NeutralLeftIn
        | Break::NeutralBackUnseen
        | Break::OrderedIsOut
        | Break::ElectronicsUnseen
        | Break::SuspicionUnseen
        | Break::AnythingTakesOut
        | Break::JoinedBarsNothing => &[Stage::Insulation],
        Break::IsolationInAnyOrder => &[Stage::Isolation],
        Break::LinkMayStay => &[Stage::Functional, Stage::Handover],
        Break::EarthingLeftOn => &[Stage::SupplyPolarity, Stage::ExternalLoop],
        Break::OffNotLocked => &[Stage::MakeSafe],
        Break::FinishedInDanger => &[Stage::LoopImpedance, Stage::MakeSafe],
        Break::CoversOffUnproved | Break::BehindCoversUnknown => {
            &[Stage::Inspection, Stage::Isolation, Stage::SupplyPolarity]
        }
        _ => &[],
    }
}

/// How a session must stand for a guard to be asked at all.
fn stands_for(what: Break, state: &Agenda) -> bool {
    match what {
        Break::LockForgotten => {
            let mut boards = state.job().boards.iter();
            boards.any(|board| state.unlocked(board.number))
        }
        // A voltage was read there that is not that of the supply.
        Break::NoSupplyUnseen => {
            let boards = state.job().boards.iter();
            let mut faults = boards.flat_map(|board| state.supply_faults(board.number));
            faults.any(|step| step.measure().is_some())
        }
        Break::CutOffUnseen => {
            let mut boards = state.job().boards.iter();
            boards.any(|board| !state.has_its_supply(board.number))
        }
        _ => true,
    }
}

/// A walk with a broken guard that came to an end.
struct Found {
    /// After how many things said, in all walks.
    said: usize,
    /// The law.
    why: String,
    /// The walk.
    seed: u64,
}

/// One walk, from anywhere: after how many things a law was broken, and which. What ends otherwise has found
/// nothing.
fn walk(begins: &Begins<'_>, seed: u64) -> (usize, Option<String>) {
    let mut walk = Walk::anywhere(begins, seed);
    for said in 1..=GOING_ON {
        match walk.step() {
            Ok(()) => {}
            Err(Why::Law(why)) => return (said, Some(why)),
            Err(Why::Other(_)) => return (said, None),
        }
    }
    (GOING_ON, None)
}

/// Which law a broken guard breaks, if any.
fn found(what: Break, begins: &Begins<'_>) -> Option<Found> {
    breakage::with(what, || {
        let mut said = 0;
        for seed in told("SEED").unwrap_or(0).. {
            let (more, why) = walk(begins, seed);
            said += more;
            if let Some(why) = why {
                return Some(Found { said, why, seed });
            }
            if said >= patience() {
                return None;
            }
        }
        None
    })
}

#[test]
fn each_broken_guard_is_found() {
    let began = std::time::Instant::now();
    let begun = Begun::all(12);
    println!("{} sessions begun in {:?}", begun.len(), began.elapsed());
    let mut wrong = Vec::new();
    let wanted: Vec<Break> = Break::ALL
        .iter()
        .copied()
        .filter(|b| is_wanted(*b))
        .collect();
    let mut all = 0;
    for what in &wanted {
        let shows = |begun: &&Begun| shows_in(*what, &begun.world.job);
        let begins = Begins::of(begun.iter().filter(shows), asked_at(*what), |state| {
            stands_for(*what, state)
        });
        let Some(Found { said, why, seed }) = found(*what, &begins) else {
            wrong.push(format!("{what:?}: not found"));
            continue;
        };
        all += said;
        let why: String = why.chars().take(150).collect();
        println!("{what:?}: found after {said}: {why}");
        // The same walk with nothing broken breaks no law.
        Walk::anywhere(&begins, seed).keeps_the_laws(GOING_ON);
    }
    let found = wanted.len() - wrong.len();
    println!(
        "{found} of {} found after {all} things said, in {} s",
        wanted.len(),
        began.elapsed().as_secs()
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What takes a refusal away.
#[derive(Debug, Clone, Copy)]
enum Taken {
    /// A guard gives it; each of these breaks takes it away somewhere.
    By(&'static [Break]),
    /// No guard of what is done gives it, or nothing is done without it.
    Formality(&'static str),
}

/// Every refusal with what takes it away; one that is left out does not compile.
macro_rules! refusals {
    ($($refusal:ident => $taken:expr),+ $(,)?) => {
        const REFUSALS: &[(&str, Taken)] = &[$((stringify!($refusal), $taken)),+];

        fn taken(refusal: &Refusal) -> (&'static str, Taken) {
            match refusal {
                $(Refusal::$refusal { .. } => (stringify!($refusal), $taken),)+
            }
        }
    };
}

use Break as B;
use Taken::{By, Formality};

refusals! {
    NotProvedDead => By(&[
        B::DeadTestsUnguarded,
        B::EnergisedUnproved,
        B::CoversOffUnproved,
        B::PutBackUnproved,
        B::DeadUnproved,
        B::LockForgotten,
        B::AbsenceUnseen,
        B::IsolationStands,
        B::DeadTestUnknown,
        B::BehindCoversUnknown,
        B::ProvingUnknown,
    ]),
    ElectronicsInCircuit => By(&[
        B::HighVoltageUnguarded,
        B::ElectronicsUnseen,
        B::SuspicionUnseen,
        B::AnythingTakesOut,
        B::LinkedUnasked,
    ]),
    StillOut => By(&[
        B::EnergisedWithThingsOut,
        B::HandedOverWithThingsOut,
        B::SupplyWithThingsOut,
        B::FinishedWithThingsOut,
        B::OutOnCircuitBarsNothing,
        B::OutBarsNothing,
        B::OutUnseen,
        B::OrderUnlisted,
        B::AnythingPutsBack,
    ]),
    MustGoBack => By(&[
        B::EarthOffBarsNothing,
        B::LinkMayStay,
        B::OutBarsNothing,
        B::AnythingPutsBack,
    ]),
    DeadTestsFailed => By(&[
        B::FailedUnseen,
        B::EverythingTried,
        B::EverythingAccepted,
    ]),
    FirstComes => By(&[
        B::IsolationInAnyOrder,
        B::CoversUnasked,
        B::EarthingLeftOn,
        B::ReadUnlinked,
        B::SurgeLeftIn,
        B::NeutralLeftIn,
        B::NeutralBackUnseen,
        B::TrialUnasked,
        B::OffNotLocked,
        B::SupplyUnasked,
        B::HandedOverNotEnergised,
        B::FinishedInDanger,
        B::OrderedIsOut,
        B::LinkedUnasked,
        B::MeasuredUnknown,
    ]),
    MustBePutRight => By(&[
        B::FaultUnseen,
        B::AnyReasonPasses,
        B::SupplyFaultUnseen,
        B::NoSupplyUnseen,
        B::ReversedGoneOnWith,
    ]),
    Joined => By(&[B::JoinedBarsNothing, B::OutBarsNothing, B::MeasuredUnknown]),
    CircuitOff => By(&[B::OffForgotten]),
    ObservationNeeded => By(&[B::BareReasonGoesPast]),
    DeadTestsOpen => By(&[B::OpenDeadTestsUncounted, B::FedUnseen, B::DeadTestUnknown]),
    NotEnergised => By(&[
        B::LiveTestsUnguarded,
        B::LiveTestUnknown,
        B::FeederUnasked,
        B::FeederUnknown,
        B::FeederUnread,
    ]),
    Energised => By(&[B::EnergisedUnknown]),
    Waiting => By(&[B::TakenWhileWaiting]),
    Finished => By(&[B::TakenWhileWaiting]),
    CannotBeSkipped => By(&[B::AnythingLeftOut]),
    SayDead => Formality("0 volts closes no step: the word \"dead\" does"),
    QuestionOpen => Formality("what is asked about counts only by \"affirm\", whatever is said instead"),
    CodeNeeded => Formality("how an item is told of: nothing is done by it"),
    ItemByItem => Formality("how an item is told of: nothing is done by it"),
    NotIsolated => Formality("a circuit is not added to the job file; every guard asks again of one that is"),
    InANote => Formality("it is kept as words of the note; nothing is taken without it either"),
    NoSuchPlace => Formality("there is nothing to go to"),
    WrongQuantity => Formality("there is no step that the value could close"),
    NothingToCalculate => Formality("there is nothing to work it out from"),
    // But for what has no supply there is no step that it could close.
    NotAskedNow => By(&[B::CutOffUnseen]),
    NotOut => Formality("there is no entry that could be put back"),
    WhichOne => Formality("a question of words: which entry is meant"),
    WhereIsIt => Formality("a question of words: where it is"),
    ReasonNeeded => Formality("no event that leaves something out can be made without its reason"),
    NothingToAnswer => Formality("there is nothing that it could answer"),
    NoSuchPoint => Formality("a practice's answer, which closes no step"),
    CircuitThere => Formality("an addition to the job file, which no guard lets closer to a test"),
    CircuitNotClear => Formality("an addition to the job file, which no guard lets closer to a test"),
    NameTheFault => Formality("a rule of practice: nothing real is tested there"),
    PredictFirst => Formality("a rule of practice: nothing real is tested there"),
}

#[test]
fn every_refusal_has_its_break_or_needs_none() {
    let mut breaks = Vec::new();
    for (refusal, taken) in REFUSALS {
        match taken {
            By(by) => {
                assert!(!by.is_empty(), "{refusal}");
                breaks.extend(*by);
            }
            Formality(reason) => assert!(reason.len() > 10, "{refusal}"),
        }
    }
    let alone: Vec<_> = Break::ALL.iter().filter(|b| !breaks.contains(b)).collect();
    assert!(alone.is_empty(), "these take no refusal away: {alone:?}");
}

/// What guards say of every step of the plan, all along a walk, is what the table has breaks for.
#[test]
fn no_guard_gives_a_refusal_without_a_break() {
    let mut met = BTreeSet::new();
    for (seed, name) in JOBS.iter().enumerate() {
        let world = World::of(name, 20);
        let mut walk = Walk::begin(&world, seed as u64);
        for said in 0..LENGTH {
            walk.step().unwrap();
            if said % 10 != 0 {
                continue;
            }
            let state = walk.state();
            for step in &state.plan().steps {
                let Err(refusal) = state.guard(step) else {
                    continue;
                };
                let (name, taken) = taken(&refusal);
                assert!(matches!(taken, By(_)), "{name}: {}", step.id);
                met.insert(name);
            }
        }
    }
    println!("met: {met:?}");
    assert!(met.len() >= 8, "{met:?}");
}
