//! The job file: site, supply, instruments, boards, circuits and their accessories.

mod job;

pub use job::{
    Accessory, Board, Cable, Circuit, CircuitKind, Device, DeviceKind, Earthing, Instrument,
    InstrumentUse, Job, JobKind, Phases, Rcd, RcdDelay, Site, Source, Supply, SystemVoltage,
};
