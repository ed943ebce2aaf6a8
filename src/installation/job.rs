use super::inspection::Inspection;
pub use crate::limits::{
    CableInsulation, CpcIs, DeviceKind, Earthing, Metal, Phases, RcdDelay, SystemVoltage,
};
use crate::quantity::Number;
pub use crate::terms::RcdTest;
use crate::terms::{Place, Stage};
use jiff::civil::Date;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A job as written in its TOML file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Job {
    /// What the job is, in a few words.
    pub title: String,
    /// Initial verification, periodic inspection, minor works or live re-test.
    pub kind: JobKind,
    /// Who tests.
    pub tester: String,
    /// Who supervises, when the tester is a learner.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supervisor: Option<String>,
    /// The day by which the next inspection is due, where whoever is in charge has set one: it is
    /// printed for the customer and on the labels.
    #[serde(
        default,
        deserialize_with = "date",
        skip_serializing_if = "Option::is_none"
    )]
    #[schemars(with = "Option<String>", extend("format" = "date"))]
    pub next_inspection: Option<Date>,
    /// The tests this job is limited to; all of them when absent. Isolation, putting back and
    /// energising always belong to it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tests: Option<Vec<Stage>>,
    /// What is looked at before anything is tested, and how far that goes; no inspection when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inspection: Option<Inspection>,
    /// Where the work is.
    pub site: Site,
    /// What feeds the installation.
    pub supply: Supply,
    /// Those that may be used.
    #[serde(default, rename = "instrument")]
    pub instruments: Vec<Instrument>,
    /// In the order in which they are tested.
    #[serde(rename = "board")]
    pub boards: Vec<Board>,
}

/// What the inspection is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum JobKind {
    /// New work, before it is put into service.
    InitialVerification,
    /// What is found in use.
    PeriodicInspection,
    /// An addition or alteration to one circuit, with no new circuit.
    MinorWorks,
    /// Live tests alone, of what stays in use: nothing is isolated.
    LiveRetest,
}

impl JobKind {
    /// Whether it is of an installation that is found in use: what is dangerous there is told of, and
    /// the person in charge decides.
    pub fn is_in_use(self) -> bool {
        matches!(self, Self::PeriodicInspection | Self::LiveRetest)
    }
}

/// What is off while a board is tested.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum IsolatedBy {
    /// The whole board, by its main switch.
    #[default]
    Board,
    /// The circuits that are listed, each by its own device; the rest of the board stays live.
    Circuits,
}

impl IsolatedBy {
    fn is_board(&self) -> bool {
        *self == Self::Board
    }
}

impl Board {
    /// Whether its circuits are isolated by their own devices while the rest stays live.
    pub fn isolates_circuits(&self) -> bool {
        self.isolate == IsolatedBy::Circuits
    }
}

/// Where the work is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Site {
    /// As it stands on the schedule.
    pub name: String,
    /// Its address, in one line.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub address: Option<String>,
    /// The temperature of the conductors during the tests, °C; 20 when not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ambient_celsius: Option<f64>,
}

/// The supply's characteristics.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Supply {
    /// TN-S, TN-C-S or TT.
    pub earthing: Earthing,
    /// Of the supply at the origin.
    pub phases: Phases,
    /// Nominal voltage to earth, U0, in volts.
    #[serde(default = "default_u0")]
    pub volts: f64,
    /// Every source that could feed the installation.
    #[serde(default = "mains_only")]
    pub sources: Vec<Source>,
    /// External earth fault loop impedance that is known before the test, Ω, in quotes: "0.35".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>")]
    pub ze_ohms: Option<Number>,
    /// Prospective fault current that is known before the test, kA, in quotes: "16".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>")]
    pub fault_current_ka: Option<Number>,
    /// How that Ze is known; by enquiry at the distributor when not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ze_by: Option<GivenBy>,
    /// How that fault current is known; by enquiry at the distributor when not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fault_current_by: Option<GivenBy>,
    /// Frequency, Hz.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hertz: Option<f64>,
    /// Maximum demand, A for each phase.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_demand_amps: Option<f64>,
    /// The fuse or breaker of the supply; short: "BS 1361 60 A".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<super::schema::InShort<Device>>")]
    pub fuse: Option<Device>,
    /// The main switch.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub main_switch: Option<MainSwitch>,
    /// Cross-section of the earthing conductor, copper, mm².
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub earthing_conductor_mm2: Option<f64>,
    /// Cross-section of the main bonding conductors, copper, mm².
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bonding_mm2: Option<f64>,
    /// Main protective bonds: "water", "gas".
    #[serde(default)]
    pub bonds: Vec<String>,
    /// Supplementary bonds, by the parts they join: "shower pipes".
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub supplementary_bonds: Vec<String>,
}

/// How something about the supply is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum GivenBy {
    /// The distributor was asked.
    Enquiry,
    /// It was measured, on another day.
    Measured,
    /// It was worked out.
    Calculated,
}

impl GivenBy {
    /// As said and written.
    pub fn shown(self) -> &'static str {
        match self {
            Self::Enquiry => "enquiry",
            Self::Measured => "measurement",
            Self::Calculated => "calculation",
        }
    }
}

/// The main switch of an installation.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MainSwitch {
    /// Its standard, as marked on it: "BS EN 60947-3".
    pub standard: String,
    /// Rated current, A.
    pub amps: f64,
    /// How many poles.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub poles: Option<u8>,
    /// Where it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub location: Option<String>,
}

fn default_u0() -> f64 {
    230.0
}

fn mains_only() -> Vec<Source> {
    vec![Source::Mains]
}

/// A source of supply that isolation must deal with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    /// The distributor's supply.
    Mains,
    /// A photovoltaic array.
    Solar,
    /// A battery with its inverter.
    Battery,
    /// A generating set.
    Generator,
    /// An uninterruptible supply.
    Ups,
}

impl Source {
    /// As said and written.
    pub fn shown(self) -> &'static str {
        match self {
            Self::Mains => "mains",
            Self::Solar => "solar",
            Self::Battery => "battery",
            Self::Generator => "generator",
            Self::Ups => "uninterruptible supply",
        }
    }
}

/// A test instrument.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Instrument {
    /// What it is called.
    pub name: String,
    /// Its serial number.
    pub serial: String,
    /// The last day on which it is in calibration: a TOML date, or as text, "31 March 2027"
    /// or "31/03/2027". A voltage
    /// indicator that is nothing else has none: it is proved before and after each use.
    #[serde(
        default,
        deserialize_with = "date",
        skip_serializing_if = "Option::is_none"
    )]
    #[schemars(with = "Option<String>", extend("format" = "date"))]
    pub calibration_due: Option<Date>,
    /// The tests it may be used for.
    pub used_for: Vec<InstrumentUse>,
    /// The largest insulation resistance it shows, MΩ: past this it reads over range.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>")]
    pub insulation_range_megohms: Option<Number>,
    /// What its loop range reads on a reference, Ω, in quotes: it is compared with that before use.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>")]
    pub loop_reference_ohms: Option<Number>,
    /// What its RCD range reads on a reference, ms, in quotes: it is compared with that before use.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>")]
    pub rcd_reference_ms: Option<Number>,
}

/// A date as TOML has it, or as text, which is how the log keeps it.
fn date<'de, D: serde::Deserializer<'de>>(deserializer: D) -> Result<Option<Date>, D::Error> {
    #[derive(Deserialize)]
    #[serde(untagged)]
    enum Written {
        Toml(toml::value::Datetime),
        Text(String),
    }
    let text = match Written::deserialize(deserializer)? {
        Written::Toml(date) => date.to_string(),
        Written::Text(text) => text,
    };
    text.parse()
        .ok()
        .or_else(|| super::usual::day(&text))
        .map(Some)
        .ok_or_else(|| serde::de::Error::custom("expected a date such as 2027-03-31"))
}

impl InstrumentUse {
    /// As it stands in the job file.
    pub fn written(self) -> &'static str {
        match self {
            Self::VoltageIndication => "voltage-indication",
            Self::Continuity => "continuity",
            Self::Insulation => "insulation",
            Self::Loop => "loop",
            Self::Rcd => "rcd",
            Self::PhaseSequence => "phase-sequence",
        }
    }
}

impl CircuitKind {
    /// As it stands in the job file.
    pub fn written(self) -> &'static str {
        match self {
            Self::Radial => "radial",
            Self::Ring => "ring",
            Self::Lighting => "lighting",
            Self::SinglePoint => "single-point",
            Self::Motor => "motor",
            Self::Distribution => "distribution",
        }
    }
}

impl Instrument {
    /// Whether it was due for calibration before this day.
    pub fn overdue_on(&self, day: Date) -> bool {
        self.calibration_due.is_some_and(|due| due < day)
    }

    /// Whether it is a voltage indicator and nothing else.
    pub fn proves_dead_only(&self) -> bool {
        let mut all = self.used_for.iter();
        all.all(|used| *used == InstrumentUse::VoltageIndication)
    }
}

/// What an instrument is used for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum InstrumentUse {
    /// Proving dead.
    VoltageIndication,
    /// Continuity of conductors, rings and bonds.
    Continuity,
    /// Insulation resistance.
    Insulation,
    /// Loop impedance and prospective fault current.
    Loop,
    /// Residual current devices.
    Rcd,
    /// Phase sequence.
    PhaseSequence,
}

/// A distribution board and its circuits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Board {
    /// By which it is called: "board two".
    pub number: u16,
    /// As it stands on the schedule.
    pub name: String,
    /// Where it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub location: Option<String>,
    /// Of its incoming supply.
    #[serde(default = "single")]
    pub phases: Phases,
    /// The board and distribution circuit it is fed from; the origin when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fed_from: Option<String>,
    /// Whether the insulation of all circuits is tested together, and circuit by circuit only when
    /// that is low.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub insulation_together: bool,
    /// What is off for the dead tests: the whole board, or the listed circuits alone, each by its own
    /// device, while the rest of the board stays live.
    #[serde(default, skip_serializing_if = "IsolatedBy::is_board")]
    pub isolate: IsolatedBy,
    /// Circuits that are isolated one after another, each by its own device, while the rest of the board
    /// stays live: their numbers, in the order of the work. The other circuits are tested live.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub one_after_another: Vec<u16>,
    /// Surge protection fitted in it; short: "type 2".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<super::schema::InShort<Surge>>")]
    pub surge: Option<Surge>,
    /// Residual current devices that protect several of its circuits: a main one, or one for each half of a
    /// split board.
    #[serde(default, rename = "rcd", skip_serializing_if = "Vec::is_empty")]
    pub rcds: Vec<GroupRcd>,
    /// In the order in which they are tested.
    #[serde(default, rename = "circuit")]
    pub circuits: Vec<Circuit>,
}

/// A residual current device that protects several circuits of a board.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GroupRcd {
    /// By which it is called: "RCD one".
    pub number: u16,
    /// The circuits that it protects, by their numbers; every circuit of the board when absent.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub circuits: Vec<u16>,
    /// Its standard, as marked on it: "BS EN 61008".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub standard: Option<String>,
    /// Rated current, A.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub amps: Option<f64>,
    /// Rated residual operating current, mA.
    pub milliamps: f64,
    /// General or time-delayed.
    #[serde(default)]
    pub delay: RcdDelay,
    /// Waveform type: AC, A, F or B.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub waveform: Option<String>,
    /// The tests that are made; at half and once the rated current when absent.
    #[serde(default = "half_and_once", skip_serializing_if = "is_half_and_once")]
    pub tests: Vec<RcdTest>,
}

impl GroupRcd {
    /// Whether it protects a circuit of its board.
    pub fn protects(&self, circuit: u16) -> bool {
        self.circuits.is_empty() || self.circuits.contains(&circuit)
    }

    /// As the device of a circuit.
    pub fn rcd(&self) -> Rcd {
        Rcd {
            standard: self.standard.clone(),
            amps: self.amps,
            milliamps: self.milliamps,
            delay: self.delay,
            waveform: self.waveform.clone(),
            tests: self.tests.clone(),
        }
    }

    /// Its place, as it is said.
    pub fn place(&self) -> Place {
        Place {
            name: "RCD".to_owned(),
            number: Some(self.number),
        }
    }
}

/// Surge protection of a board.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Surge {
    /// Its type, as marked on it: "2", "1+2".
    #[serde(rename = "type")]
    pub kind: String,
    /// Its standard: "BS EN 61643-11".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub standard: Option<String>,
}

fn single() -> Phases {
    Phases::Single
}

/// One circuit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(transform = super::schema::with_counted)]
pub struct Circuit {
    /// By which it is called: "circuit three".
    pub number: u16,
    /// What it feeds.
    pub name: String,
    /// What sort it is.
    pub kind: CircuitKind,
    /// Of the circuit.
    #[serde(default = "single")]
    pub phases: Phases,
    /// Nominal voltage of the circuit when it is not that of the supply.
    #[serde(default)]
    pub system: SystemVoltage,
    /// What protects it against overcurrent; short: "B32", "B32 RCBO 30 mA", "BS 88-3 80 A".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "super::schema::InShort<Device>")]
    pub device: Option<Device>,
    /// Its residual current device, when it has one; short: 30, "30 mA type A".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "super::schema::OrNumber<Rcd>")]
    pub rcd: Option<Rcd>,
    /// Its cable, when that is known; short: "2.5/1.5 18 m".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "super::schema::InShort<Cable>")]
    pub cable: Option<Cable>,
    /// Type of wiring, by the letter or the words of your form: "A", "singles in conduit".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wiring: Option<String>,
    /// Reference method of its installation, as the standard numbers them: "C", "100".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference_method: Option<String>,
    /// Whether equipment may be connected that nobody has listed: a 250 V test comes first.
    #[serde(default = "yes")]
    pub equipment_possible: bool,
    /// Whether an arc fault detection device is fitted.
    #[serde(default)]
    pub afdd: bool,
    /// Whether two-way or intermediate switching needs both positions tested.
    #[serde(default)]
    pub two_way: bool,
    /// Points along the circuit, in order from the board.
    #[serde(default, rename = "point")]
    pub points: Vec<Accessory>,
}

fn yes() -> bool {
    true
}

/// What sort of circuit it is; decides which tests are planned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CircuitKind {
    /// Points in a row, or several branches.
    Radial,
    /// A ring final circuit.
    Ring,
    /// Lamps and their switches.
    Lighting,
    /// Cooker, shower, heater: one fixed load.
    SinglePoint,
    /// One motor.
    Motor,
    /// The feed of another board.
    Distribution,
}

/// A protective device against overcurrent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Device {
    /// Its standard and type.
    pub kind: DeviceKind,
    /// Rated current In, A.
    pub amps: f64,
    /// Rated breaking capacity, kA.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub breaking_ka: Option<f64>,
    /// The setting at which a moulded-case breaker trips at once, A; it is judged by that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instantaneous_amps: Option<f64>,
    /// Its lower setting with a short delay, A.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub short_time_amps: Option<f64>,
    /// That delay, s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub short_time_seconds: Option<f64>,
    /// What another device is called: its standard and type as marked on it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub called: Option<String>,
    /// The largest Zs that another device allows, Ω, for the time that its circuit has, in quotes: "1.15".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>")]
    pub zs_ohms: Option<Number>,
    /// In its place the current that makes another device act in the time that its circuit has, A.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ia_amps: Option<f64>,
    /// Where that is from: "maker's data sheet of 1987".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

impl Device {
    /// One of a kind that the tables know.
    pub fn new(kind: DeviceKind, amps: f64) -> Self {
        Self {
            kind,
            amps,
            breaking_ka: None,
            instantaneous_amps: None,
            short_time_amps: None,
            short_time_seconds: None,
            called: None,
            zs_ohms: None,
            ia_amps: None,
            source: None,
        }
    }

    /// Its standard, and its type where its standard has types, as a form has them in two columns.
    pub fn standard_and_type(&self) -> (String, Option<String>) {
        let name = self.shown();
        // A type is marked with one letter or figure; another device is called as it is marked.
        let apart = name.rsplit_once(' ').filter(|_| self.called.is_none());
        match apart {
            Some((standard, kind)) if kind.chars().count() == 1 => {
                (standard.to_owned(), Some(kind.to_owned()))
            }
            _ => (name.to_owned(), None),
        }
    }

    /// Its standard and type, as on a schedule.
    pub fn shown(&self) -> &str {
        self.called.as_deref().unwrap_or(self.kind.name())
    }
}

/// A residual current device.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Rcd {
    /// Its standard, as marked on it; that of the device when it is one with that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub standard: Option<String>,
    /// Its rated current, A; that of the device when it is one with that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub amps: Option<f64>,
    /// Rated residual operating current, mA.
    pub milliamps: f64,
    /// General or time-delayed.
    #[serde(default)]
    pub delay: RcdDelay,
    /// Waveform type: AC, A, F or B.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub waveform: Option<String>,
    /// The tests that are made; at half and once the rated current when absent.
    #[serde(default = "half_and_once", skip_serializing_if = "is_half_and_once")]
    pub tests: Vec<RcdTest>,
}

pub(crate) fn half_and_once() -> Vec<RcdTest> {
    vec![RcdTest::Half, RcdTest::Once]
}

fn is_half_and_once(tests: &[RcdTest]) -> bool {
    tests == [RcdTest::Half, RcdTest::Once]
}

/// Cable of a circuit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Cable {
    /// Cross-section of the live conductors, mm².
    pub line_mm2: f64,
    /// Cross-section of the protective conductor, mm²; of the armour or the sheath where that is it.
    pub cpc_mm2: f64,
    /// Length from the board to the furthest point, or round the whole ring, m.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub metres: Option<f64>,
    /// Conductor class of IEC 60228: 1, 2 or 5.
    #[serde(default = "class_one")]
    pub class: u8,
    /// What the conductors are made of.
    #[serde(default, skip_serializing_if = "is_usual")]
    pub metal: Metal,
    /// What they are insulated with.
    #[serde(default, skip_serializing_if = "is_usual")]
    pub insulation: CableInsulation,
    /// What serves as the protective conductor.
    #[serde(default, skip_serializing_if = "is_usual")]
    pub cpc_is: CpcIs,
}

impl Cable {
    /// Copper in PVC, with the protective conductor as a core.
    pub fn copper(line_mm2: f64, cpc_mm2: f64, metres: Option<f64>) -> Self {
        Self {
            line_mm2,
            cpc_mm2,
            metres,
            class: class_one(),
            metal: Metal::default(),
            insulation: CableInsulation::default(),
            cpc_is: CpcIs::default(),
        }
    }
}

fn is_usual<T: Default + PartialEq>(value: &T) -> bool {
    *value == T::default()
}

pub(super) fn class_one() -> u8 {
    1
}

/// A point on a circuit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Accessory {
    /// What it is called aloud, without its number: "socket", "door entry unit".
    pub name: String,
    /// Which of several with this name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<u16>,
    /// Permanently connected electronics in it, and what: "USB charging outlet".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sensitive: Option<String>,
    /// Whether the circuit goes on from here, so that conductors taken out must stay joined.
    #[serde(default)]
    pub feeds_on: bool,
    /// On a ring: fed by a spur.
    #[serde(default)]
    pub spur: bool,
}

impl Accessory {
    /// Whether something of this name, in small letters, holds electronics whatever its make: 500 V keeps off it
    /// until it is out. Common practice.
    pub fn is_electronic(name: &str) -> bool {
        Self::electronics_of(name).next().is_some()
    }

    /// The words in a name, in small letters, that tell of electronics.
    pub fn electronics_of(name: &str) -> impl Iterator<Item = &'static str> {
        const HOLD: [&str; 8] = [
            "smoke",
            "heat alarm",
            "charging",
            "charger",
            "charge point",
            "usb",
            "dimmer",
            "thermostat",
        ];
        HOLD.into_iter().filter(move |word| name.contains(word))
    }
}

impl Accessory {
    /// Its place, as it is said.
    pub fn place(&self) -> Place {
        Place {
            name: self.name.to_lowercase(),
            number: self.number,
        }
    }
}

impl Job {
    /// The circuit with this number on this board.
    pub fn circuit(&self, board: u16, number: u16) -> Option<&Circuit> {
        let board = self.boards.iter().find(|b| b.number == board)?;
        board.circuits.iter().find(|c| c.number == number)
    }

    /// The same, to be changed.
    pub fn circuit_mut(&mut self, board: u16, number: u16) -> Option<&mut Circuit> {
        let board = self.boards.iter_mut().find(|b| b.number == board)?;
        board.circuits.iter_mut().find(|c| c.number == number)
    }
}

impl Circuit {
    /// How many points it serves: where the job lists none, its far end is none of them.
    pub fn points_served(&self) -> usize {
        let points = self.points.iter();
        points
            .filter(|point| point.place() != Self::far_end())
            .count()
    }

    /// Where a circuit is read whose points the job does not list.
    pub fn far_end() -> Place {
        Place {
            name: "far end".to_owned(),
            number: None,
        }
    }
}
