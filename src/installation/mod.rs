//! The job file: site, supply, instruments, boards, circuits and their accessories.

mod expected;
mod facts;
mod file;
mod inspection;
mod job;
mod oddities;
mod particulars;
mod problem;
mod rules;
mod schema;
mod usual;
mod written_out;

pub use expected::Expectation;
pub use file::{MOST_POINTS, TO_FILL_IN, read_settings};
pub use inspection::{Inspection, InspectionItem, InspectionSection, ItemList};
pub use job::{
    Accessory, Board, Cable, CableInsulation, Circuit, CircuitKind, CpcIs, Device, DeviceKind,
    Earthing, GivenBy, GroupRcd, Instrument, InstrumentUse, IsolatedBy, Job, JobKind, MainSwitch,
    Metal, Phases, Rcd, RcdDelay, RcdTest, Site, Source, Supply, Surge, SystemVoltage,
};
pub use problem::{JobError, Problem};
pub use schema::{reference, schema};
pub use usual::{DeviceWords, NotClear, day, did_you_mean, metres, nearest};
pub(crate) use usual::{cpc_of_flat, in_one_line, without_flat};
