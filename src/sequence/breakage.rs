//! Faults that can be switched on by name, to show that the invariants and the random walk find
//! each: a check that cannot fail is none. In builds without debug assertions there are none.

/// A guard, or a predicate that guards use, that can be broken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Break {
    /// Dead tests are taken before proving dead.
    DeadTestsUnguarded,
    /// Live tests are taken before energising, and without an earth.
    LiveTestsUnguarded,
    /// Energising is not barred by the out-list.
    EnergisedWithThingsOut,
    /// Open dead tests are not counted before energising.
    OpenDeadTestsUncounted,
    /// More than 250 V is let onto electronics.
    HighVoltageUnguarded,
    /// A link may be left with a reason.
    LinkMayStay,
    /// Electronics that are in circuit are not seen.
    ElectronicsUnseen,
    /// A board that was energised is not known to be.
    EnergisedUnknown,
    /// A dead test outside its limit is not known to be.
    FailedUnseen,
    /// Conductors are taken to be linked that are not.
    LinkedUnasked,
    /// Proving dead is believed without its steps.
    DeadUnproved,
    /// What is out is not listed as barring.
    OutUnseen,
    /// What a step orders out is not listed.
    OrderUnlisted,
    /// What is out bars nothing but energising.
    OutBarsNothing,
    /// Faults that no reason passes are not known.
    FaultUnseen,
}

impl Break {
    /// All of them.
    pub const ALL: &'static [Self] = &[
        Self::DeadTestsUnguarded,
        Self::LiveTestsUnguarded,
        Self::EnergisedWithThingsOut,
        Self::OpenDeadTestsUncounted,
        Self::HighVoltageUnguarded,
        Self::LinkMayStay,
        Self::ElectronicsUnseen,
        Self::EnergisedUnknown,
        Self::FailedUnseen,
        Self::LinkedUnasked,
        Self::DeadUnproved,
        Self::OutUnseen,
        Self::OrderUnlisted,
        Self::OutBarsNothing,
        Self::FaultUnseen,
    ];
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
