//! The job file: site, supply, instruments, boards, circuits and their accessories.

mod expected;
mod facts;
mod file;
mod inspection;
mod job;
mod oddities;
mod particulars;
mod parts;
mod problem;
mod rules;
mod schema;
mod scope;
mod usual;
mod written_out;

pub use expected::Expectation;
pub use facts::{circuits_by_number, number_of};
pub use file::{MOST_POINTS, TO_FILL_IN, read_settings};
pub use inspection::{Inspection, InspectionItem, InspectionSection, ItemList};
pub(crate) use job::half_and_once;
pub use job::{
    Accessory, Board, Cable, CableInsulation, Circuit, CircuitKind, CpcIs, Device, DeviceKind,
    Earthing, GivenBy, GroupRcd, Instrument, InstrumentUse, IsolatedBy, Job, JobKind, MainSwitch,
    Metal, Phases, Rcd, RcdDelay, RcdTest, Site, Source, Supply, Surge, SystemVoltage,
};
pub use parts::{board_said, part_said, place_said};
pub use problem::{JobError, Problem};
pub(crate) use rules::LARGEST_RCD;
pub use schema::{reference, schema};
pub use scope::out_of_scope;
pub use usual::{DeviceWords, NotClear, day, did_you_mean, metres, nearest};
pub(crate) use usual::{cpc_of_flat, in_one_line, without_flat};
