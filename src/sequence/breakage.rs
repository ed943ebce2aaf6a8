//! Faults that can be switched on by name, to show that the invariants and the random walk find
//! each: a check that cannot fail is none. In builds without debug assertions there are none.

/// Makes the breaks and the list of all of them.
macro_rules! breaks {
    ($($(#[$doc:meta])* $name:ident),+ $(,)?) => {
        /// A guard, or a predicate that guards use, that can be broken.
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum Break {
            $($(#[$doc])* $name,)+
        }

        impl Break {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$name),+];
        }
    };
}

breaks! {
    // Guards.
    /// Dead tests are taken before proving dead.
    DeadTestsUnguarded,
    /// Live tests are taken before energising.
    LiveTestsUnguarded,
    /// Energising is not barred by the out-list.
    EnergisedWithThingsOut,
    /// More than 250 V is let onto electronics, and onto what was not tried.
    HighVoltageUnguarded,
    /// More than 250 V is let onto what was not tried at 250 V.
    TrialUnasked,
    /// All circuits of a board are tested together with their surge protection in.
    SurgeLeftIn,
    /// Insulation is tested at a live board with the neutral in its terminal.
    NeutralLeftIn,
    /// R1+R2 is read without a link.
    ReadUnlinked,
    /// The external loop is read with the earthing conductor on.
    EarthingLeftOn,
    /// Isolation is taken in any order.
    IsolationInAnyOrder,
    /// A board is energised with its covers off.
    CoversUnasked,
    /// A board is energised that was never proved dead.
    EnergisedUnproved,
    /// A board is energised before what feeds it.
    FeederUnasked,
    /// A board is energised by a supply that was not checked.
    SupplyUnasked,
    /// The supply is worked on with things out.
    SupplyWithThingsOut,
    /// More is measured of a supply that is reversed.
    ReversedGoneOnWith,
    /// What stays off is not locked off before the rest is live.
    OffNotLocked,
    /// Handed over with things out.
    HandedOverWithThingsOut,
    /// Handed over with a board that is not energised.
    HandedOverNotEnergised,
    /// Finished with a circuit that is dangerous.
    FinishedInDanger,
    /// Finished with things out.
    FinishedWithThingsOut,
    /// What is out bars nothing but energising.
    OutBarsNothing,
    /// The earthing conductor or a bond bars nothing while it is off.
    EarthOffBarsNothing,
    /// What is out on a circuit bars none of its live tests.
    OutOnCircuitBarsNothing,
    /// Links and crossings bar no reading that they falsify.
    JoinedBarsNothing,
    /// Whatever is asked for may be left out.
    AnythingLeftOut,
    /// A bare reason goes past a dead test outside its limit.
    BareReasonGoesPast,
    /// What is said is taken while the session waits, or is finished.
    TakenWhileWaiting,
    /// What is behind covers is looked at before proving dead.
    CoversOffUnproved,
    /// What is out is asked back before proving dead.
    PutBackUnproved,

    // Predicates that guards ask.
    /// Open dead tests are not counted before energising.
    OpenDeadTestsUncounted,
    /// A link may be left with a reason.
    LinkMayStay,
    /// Electronics that are in circuit are not seen.
    ElectronicsUnseen,
    /// What a low trial at 250 V makes likely is not suspected.
    SuspicionUnseen,
    /// Whatever is out takes all electronics out of circuit.
    AnythingTakesOut,
    /// A board that was energised is not known to be.
    EnergisedUnknown,
    /// A dead test outside its limit is not known to be.
    FailedUnseen,
    /// Conductors are taken to be linked that are not.
    LinkedUnasked,
    /// What was only ordered out counts as said to be out.
    OrderedIsOut,
    /// A neutral that was taken out at a live board counts as out when it is back.
    NeutralBackUnseen,
    /// Proving dead is believed without its steps.
    DeadUnproved,
    /// A lock that came off for energising is forgotten.
    LockForgotten,
    /// Nobody's absence is noticed.
    AbsenceUnseen,
    /// What was said of an isolation stands, whatever comes.
    IsolationStands,
    /// What is out is not listed as barring.
    OutUnseen,
    /// What a step orders out is not listed.
    OrderUnlisted,
    /// Faults that no reason passes are not known.
    FaultUnseen,
    /// Some reason passes every fault.
    AnyReasonPasses,
    /// A supply that is reversed or without an earth is not known to be.
    SupplyFaultUnseen,
    /// A circuit that stays off is forgotten.
    OffForgotten,
    /// What feeds a board is not known.
    FeederUnknown,
    /// What a board feeds is not known.
    FedUnseen,
    /// Every step is taken to put something back.
    AnythingPutsBack,
    /// No step is known to be done dead.
    DeadTestUnknown,
    /// No item is known to be behind covers.
    BehindCoversUnknown,
    /// No step is known to be done live.
    LiveTestUnknown,
    /// No step of an isolation is known to prove anything.
    ProvingUnknown,
    /// No step is known by what it measures.
    MeasuredUnknown,
    /// Every dead test is taken for a trial, by which nothing is judged.
    EverythingTried,
    /// Every dead test outside its limit is taken to be accepted with a reason.
    EverythingAccepted,
    /// A voltage at the incoming terminals that is not that of the supply is not known to be.
    NoSupplyUnseen,
    /// A board is taken to have its supply although the circuit that feeds it stays off.
    CutOffUnseen,
    /// What a board is fed from is not read from the job.
    FeederUnread,
}

#[cfg(debug_assertions)]
mod switch {
    use super::Break;
    use std::cell::Cell;

    thread_local! {
        static BROKEN: Cell<Option<Break>> = const { Cell::new(None) };
    }

    /// Whether this is broken, on this thread.
    pub(crate) fn is(what: Break) -> bool {
        BROKEN.get() == Some(what)
    }

    /// Runs something with one thing broken, on this thread.
    pub fn with<T>(what: Break, run: impl FnOnce() -> T) -> T {
        struct Mend;
        impl Drop for Mend {
            fn drop(&mut self) {
                BROKEN.set(None);
            }
        }
        BROKEN.set(Some(what));
        let _mend = Mend;
        run()
    }
}

#[cfg(debug_assertions)]
pub(super) use switch::is;
#[cfg(debug_assertions)]
pub use switch::with;

/// Nothing is ever broken.
#[cfg(not(debug_assertions))]
pub(super) const fn is(_what: Break) -> bool {
    false
}
