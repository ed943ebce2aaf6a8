//! The one data table of limits, and the way to use an edited copy of it.

use super::facts::CableMake;
use super::kinds::{
    CableInsulation, CircuitUse, CpcIs, DeviceKind, Earthing, Metal, RcdDelay, SystemVoltage,
};
use crate::quantity::TestVoltage;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

/// The voltage that the fuse tables of BS 7671 are made for.
pub(super) const TABLE_VOLTS: f64 = 230.0;

const SHIPPED: &str = include_str!("tables.toml");

#[allow(clippy::expect_used, reason = "a test reads the shipped tables")]
static SHIPPED_TABLES: LazyLock<Tables> = LazyLock::new(|| {
    Tables::parse(SHIPPED, "the shipped tables").expect("a test reads the shipped tables")
});

/// How well a value is founded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Provenance {
    /// From the named standard or guide.
    Published,
    /// What the trade does; no single source.
    CommonPractice,
    /// Written from memory: confirm against a bought copy.
    Memory,
    /// A choice of this program, used only for remarks.
    Ours,
}

impl Provenance {
    /// All of them.
    pub const ALL: [Self; 4] = [
        Self::Published,
        Self::CommonPractice,
        Self::Memory,
        Self::Ours,
    ];

    /// The letter that stands beside a value.
    pub fn letter(self) -> char {
        match self {
            Self::Published => 'P',
            Self::CommonPractice => 'C',
            Self::Memory => 'M',
            Self::Ours => 'O',
        }
    }

    /// What the letter means.
    pub fn meaning(self) -> &'static str {
        match self {
            Self::Published => "published source, named",
            Self::CommonPractice => "common practice of the trade",
            Self::Memory => "from memory, to be confirmed in your own copy",
            Self::Ours => "a choice of this program, for remarks only",
        }
    }
}

/// Every limit, with its clause; see the comments in `tables.toml` for units.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(
    missing_docs,
    reason = "the fields are documented where they are filled, in tables.toml"
)]
pub struct Tables {
    /// The edition that stands in every verdict.
    pub edition: String,
    pub conductors: Conductors,
    #[serde(default = "shipped_reactance")]
    pub reactance: Reactance,
    pub temperature: Temperature,
    pub expected: Expected,
    pub continuity: Continuity,
    pub bonding: Bonding,
    pub ring: Ring,
    pub insulation: Insulation,
    pub insulation_pattern: InsulationPattern,
    #[serde(rename = "loop")]
    pub earth_loop: EarthLoop,
    pub loop_cold: LoopCold,
    pub loop_compared: LoopCompared,
    #[serde(default = "shipped_cables")]
    pub cables: Cables,
    #[serde(default = "shipped_setting")]
    pub setting: Setting,
    #[serde(default = "shipped_tester_check")]
    pub tester_check: TesterCheck,
    #[serde(rename = "breaker")]
    pub breakers: Vec<Breaker>,
    #[serde(rename = "fuse")]
    pub fuses: Vec<Fuse>,
    #[serde(rename = "fuse_gate", default)]
    pub fuse_gates: Vec<FuseGate>,
    pub disconnection: Disconnection,
    pub supplementary: Supplementary,
    pub tt: Tt,
    pub external: External,
    pub fault_current: FaultCurrent,
    #[serde(default = "shipped_supply_voltage")]
    pub supply_voltage: SupplyVoltage,
    pub adiabatic: Adiabatic,
    pub cable_rating: CableRating,
    pub voltage_drop: VoltageDrop,
    pub rcd: RcdTimes,
}

macro_rules! sections {
    ($($(#[$doc:meta])* $name:ident { $($field:ident: $type:ty),* $(,)? })*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Deserialize)]
        #[serde(deny_unknown_fields)]
        #[expect(missing_docs, reason = "the fields are documented in tables.toml")]
        pub struct $name {
            pub clause: String,
            pub mark: Provenance,
            $(pub $field: $type,)*
        }
    )*};
}

/// What a copy of the table has that was made before there was such a row.
fn shipped_supply_voltage() -> SupplyVoltage {
    SHIPPED_TABLES.supply_voltage.clone()
}

fn shipped_reactance() -> Reactance {
    SHIPPED_TABLES.reactance.clone()
}

/// The same of what cables are made of.
fn shipped_cables() -> Cables {
    SHIPPED_TABLES.cables.clone()
}

/// The same of the check of testers.
fn shipped_tester_check() -> TesterCheck {
    SHIPPED_TABLES.tester_check.clone()
}

/// The same of breakers that are judged by their setting.
fn shipped_setting() -> Setting {
    SHIPPED_TABLES.setting.clone()
}

sections! {
    /// Reactance of cables by size.
    Reactance { pair: Vec<(f64, f64)> }
    /// Loop and RCD testers on their references.
    TesterCheck { percent: f64 }
    /// Breakers that are judged by their setting.
    Setting { tolerance: f64 }
    /// What a cable is made of where it is not copper in PVC.
    Cables {
        aluminium: Vec<(f64, f64)>, imperial: Vec<(f64, f64)>, copper: f64, lay: f64, armour: f64,
        armour_mm2: Vec<[f64; 4]>, sheath_light_mm2: Vec<[f64; 4]>, sheath_heavy_mm2: Vec<[f64; 4]>,
        pvc: Insulated, xlpe: Insulated, mineral_covered: Insulated, mineral_bare: Insulated,
    }
    /// Voltage of the supply.
    SupplyVoltage { line_volts: f64, plus_percent: f64, minus_percent: f64 }
    /// Conductor resistance by size.
    Conductors { class_1: Vec<(f64, f64)>, class_2: Vec<(f64, f64)>, class_5: Vec<(f64, f64)> }
    /// How resistance grows with temperature.
    Temperature { coefficient: f64, reference_celsius: f64, running_celsius: f64, test_celsius: f64 }
    /// How far a reading may stray before a remark.
    Expected { low_factor: f64, high_factor: f64, allowance_ohms: f64, slip_from: f64, slip_to: f64 }
    /// The continuity range of instruments.
    Continuity { range_ohms: f64 }
    /// Main bonds.
    Bonding { ohms: f64 }
    /// Ring final circuits.
    Ring { within_ohms: f64, least_ohms: f64, point_within_ohms: f64, cpc_within_factor: f64 }
    /// Insulation resistance limits.
    Insulation { extra_low: InsulationLimit, low: InsulationLimit, above_500: InsulationLimit }
    /// Where the patterns of insulation readings part.
    InsulationPattern { short_megohms: f64, look_megohms: f64 }
    /// Earth fault loop of circuit-breakers.
    EarthLoop { cmin: f64, places: u8 }
    /// Measured cold, compared hot, by rule of thumb.
    LoopCold { factor: f64 }
    /// Measured Zs beside Ze + (R1+R2).
    LoopCompared { within_ohms: f64, within_factor: f64 }
    /// Maximum disconnection times.
    Disconnection { sockets_amps: f64, fixed_amps: f64, times: Vec<BandTimes>, others: OtherTimes }
    /// Supplementary bonds.
    Supplementary { touch_volts: f64, seconds: f64 }
    /// TT systems protected by an RCD.
    Tt { touch_volts: f64, stable_ohms: f64 }
    /// Usual external impedances.
    External { tn_s_ohms: f64, tn_c_s_ohms: f64, tt_electrode_ohms: f64 }
    /// Prospective fault current.
    FaultCurrent { three_phase_factor: f64 }
    /// Protective conductor size against heat.
    Adiabatic { k_core: f64, k_separate: f64, makers_seconds: f64 }
    /// What a cable carries at the most.
    CableRating { amps: Vec<(f64, f64)>, ring_mm2: f64, ring_amps: f64 }
    /// Voltage drop.
    VoltageDrop { lighting_percent: f64, other_percent: f64 }
    /// Residual current devices.
    RcdTimes { additional_milliamps: f64, general: BreakTimes, type_s: BreakTimes }
}

/// A row of BS 7671 Table 64.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InsulationLimit {
    /// D.c. test voltage.
    pub test_volts: u16,
    /// Least insulation resistance, MΩ.
    pub megohms: f64,
}

/// How hot the conductors of a cable run, and what they stand.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Insulated {
    /// Under full load, °C.
    pub running_celsius: f64,
    /// k as a core: copper, aluminium.
    pub core: [f64; 2],
    /// k separate: copper, aluminium.
    pub separate: [f64; 2],
    /// k of the armour or the sheath.
    pub outside: f64,
}

impl Cables {
    /// What holds for an insulation.
    pub fn of(&self, insulation: CableInsulation) -> &Insulated {
        match insulation {
            CableInsulation::Pvc => &self.pvc,
            CableInsulation::Xlpe => &self.xlpe,
            CableInsulation::MineralCovered => &self.mineral_covered,
            CableInsulation::MineralBare => &self.mineral_bare,
        }
    }

    /// The cross-section of an imperial size, mm² to the hundredth: strands, and inches of each.
    pub fn imperial_mm2(strands: f64, inches: f64) -> f64 {
        let millimetres = inches * 25.4;
        let mm2 = strands * std::f64::consts::FRAC_PI_4 * millimetres * millimetres;
        (mm2 * 100.0).round() / 100.0
    }

    /// The name of an imperial size, "7/.029", by its cross-section.
    pub fn imperial_name(&self, mm2: f64) -> Option<String> {
        let sizes = self.imperial.iter();
        sizes
            .copied()
            .find(|(strands, inches)| Self::imperial_mm2(*strands, *inches) == mm2)
            .map(|(strands, inches)| format!("{strands:.0}/{}", inch(inches)))
    }

    /// The cross-section of the imperial size of this name, mm².
    pub fn imperial_size(&self, name: &str) -> Option<f64> {
        let (strands, inches) = name.split_once('/')?;
        let (strands, inches): (f64, f64) = (strands.parse().ok()?, inches.parse().ok()?);
        let known = self.imperial.contains(&(strands, inches));
        known.then(|| Self::imperial_mm2(strands, inches))
    }

    /// The cross-section of steel wire armour by the size of a line and the number of cores, mm².
    pub fn armour_of(&self, line_mm2: f64, cores: usize) -> Option<f64> {
        outside(&self.armour_mm2, line_mm2, cores)
    }

    /// The cross-section of the copper sheath of a mineral insulated cable, mm².
    pub fn sheath_of(&self, line_mm2: f64, cores: usize, heavy: bool) -> Option<f64> {
        let rows = if heavy {
            &self.sheath_heavy_mm2
        } else {
            &self.sheath_light_mm2
        };
        outside(rows, line_mm2, cores)
    }
}

/// ".029"
fn inch(inches: f64) -> String {
    format!("{inches:.3}").trim_start_matches('0').to_owned()
}

fn outside(rows: &[[f64; 4]], line_mm2: f64, cores: usize) -> Option<f64> {
    let row = rows.iter().find(|row| row.first() == Some(&line_mm2))?;
    row.get(cores.checked_sub(1)?)
        .copied()
        .filter(|_| cores > 1)
}

/// Instantaneous tripping of circuit-breakers.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Breaker {
    /// The kinds it holds for.
    pub kinds: Vec<DeviceKind>,
    /// Ia as a multiple of In.
    pub multiple: f64,
    /// Another multiple for longer times.
    #[serde(default)]
    pub slow: Option<SlowMultiple>,
    /// How well it is founded, where that is not as the section of the loop says.
    #[serde(default)]
    pub mark: Option<Provenance>,
}

/// Ia of a circuit-breaker where it has longer to disconnect.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SlowMultiple {
    /// From this disconnection time on, s.
    pub seconds: f64,
    /// Ia as a multiple of In.
    pub multiple: f64,
    /// How well it is founded.
    pub mark: Provenance,
}

/// Maximum Zs of fuses of one kind for one disconnection time.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fuse {
    /// The kind of fuse.
    pub kind: DeviceKind,
    /// The disconnection time, s.
    pub seconds: f64,
    /// Where the values stand.
    pub clause: String,
    /// The values.
    pub zs: Vec<FuseRow>,
}

/// The maximum Zs of one fuse, and what it comes from.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FuseRow {
    /// Rated current, A.
    pub amps: f64,
    /// Maximum Zs as printed, Ω.
    pub ohms: f64,
    /// The current that operates it in time, A.
    #[serde(default)]
    pub ia: Option<f64>,
    /// The value of an edition without Cmin, Ω.
    #[serde(default)]
    pub older: Option<f64>,
    /// What the table rounds to, Ω.
    #[serde(default = "hundredth")]
    pub to: f64,
    /// How well it is founded.
    pub mark: Provenance,
}

fn hundredth() -> f64 {
    0.01
}

/// Currents at which fuses of one kind clear within a tenth of a second.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FuseGate {
    /// The kind of fuse.
    pub kind: DeviceKind,
    /// Where the values stand.
    pub clause: String,
    /// How well they are founded.
    pub mark: Provenance,
    /// Rated current A, current A.
    pub amps: Vec<(f64, f64)>,
}

/// A band of BS 7671 Table 41.1, a.c.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BandTimes {
    /// Above this U0, V.
    pub over: f64,
    /// Up to and including this U0, V.
    pub to: f64,
    /// Seconds in a TN system.
    pub tn: f64,
    /// Seconds in a TT system.
    pub tt: f64,
}

/// Disconnection times of distribution circuits and circuits above the rated currents.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OtherTimes {
    /// Seconds in a TN system.
    pub tn: f64,
    /// Seconds in a TT system.
    pub tt: f64,
    /// Regulation for TN.
    pub tn_clause: String,
    /// Regulation for TT.
    pub tt_clause: String,
}

/// Break times of a residual current device, ms.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BreakTimes {
    /// The longest at IΔn.
    pub once: f64,
    /// The longest at 2 IΔn.
    pub twice: f64,
    /// The longest at 5 IΔn.
    pub five: f64,
    /// The shortest at IΔn; 0 where there is none.
    #[serde(default)]
    pub once_least: f64,
    /// The shortest at 2 IΔn.
    #[serde(default)]
    pub twice_least: f64,
    /// The shortest at 5 IΔn.
    #[serde(default)]
    pub five_least: f64,
}

/// Why a table of limits cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum TablesError {
    /// The file could not be read.
    #[error("{}: cannot be read ({error}): check the path after --tables", path.display())]
    Unreadable {
        /// The path as given.
        path: PathBuf,
        /// What went wrong.
        error: std::io::Error,
    },
    /// The text is not a table of limits.
    #[error(
        "{name}: {error}\nStart from a copy of the shipped tables.toml and change only values."
    )]
    Unfit {
        /// The file's name.
        name: String,
        /// What is wrong and on which line.
        error: Box<toml::de::Error>,
    },
    /// A value makes no sense.
    #[error("{name}: {what}")]
    Impossible {
        /// The file's name.
        name: String,
        /// Which value, and what it should be.
        what: String,
    },
}

impl Tables {
    /// The tables that come with the program.
    pub fn shipped() -> &'static Self {
        &SHIPPED_TABLES
    }

    /// The text of the shipped tables, to make an edited copy from.
    pub fn shipped_text() -> &'static str {
        SHIPPED
    }

    /// An edited copy of the tables.
    ///
    /// # Errors
    /// [`TablesError`], naming file and line.
    pub fn load(path: &Path) -> Result<Self, TablesError> {
        let text = std::fs::read_to_string(path).map_err(|error| TablesError::Unreadable {
            path: path.to_owned(),
            error,
        })?;
        Self::parse(&text, &path.display().to_string())
    }

    /// Tables from their text; `name` is how messages call it.
    ///
    /// # Errors
    /// [`TablesError`], naming file and line.
    pub fn parse(text: &str, name: &str) -> Result<Self, TablesError> {
        let tables: Self = toml::from_str(text).map_err(|error| TablesError::Unfit {
            name: name.to_owned(),
            error: Box::new(error),
        })?;
        match tables.impossible() {
            None => Ok(tables),
            Some(what) => Err(TablesError::Impossible {
                name: name.to_owned(),
                what,
            }),
        }
    }

    /// The first value that cannot be: the formulas rely on what is asked here.
    fn impossible(&self) -> Option<String> {
        if self.edition.trim().is_empty() {
            return Some("edition is empty: name the edition that the values are from".to_owned());
        }
        let c = &self.conductors;
        let sizes = [
            ("class_1", &c.class_1),
            ("class_2", &c.class_2),
            ("class_5", &c.class_5),
            ("aluminium", &self.cables.aluminium),
        ];
        for (class, rows) in sizes {
            let falls = rows.windows(2).all(|w| w[0].0 < w[1].0 && w[0].1 > w[1].1);
            if !falls || rows.iter().any(|r| !(positive(r.0) && positive(r.1))) {
                return Some(format!(
                    "conductors.{class}: sizes must grow and resistances fall, all above nothing"
                ));
            }
        }
        let grow = self.reactance.pair.windows(2).all(|w| w[0].0 < w[1].0);
        let above = |row: &(f64, f64)| positive(row.0) && positive(row.1);
        if !grow || !self.reactance.pair.iter().all(above) {
            return Some(
                "reactance.pair: sizes must grow, and all must be above nothing".to_owned(),
            );
        }
        for fuse in &self.fuses {
            let falls = fuse
                .zs
                .windows(2)
                .all(|w| w[0].amps < w[1].amps && w[0].ohms > w[1].ohms);
            let above_nothing = |row: &FuseRow| {
                let from = [Some(row.ohms), row.ia, row.older, Some(row.to)];
                from.into_iter().flatten().all(positive)
            };
            if !falls || !positive(fuse.seconds) || !fuse.zs.iter().all(above_nothing) {
                return Some(format!(
                    "fuse {}: rated currents must grow and Zs fall, all above nothing",
                    fuse.kind
                ));
            }
        }
        for gate in &self.fuse_gates {
            let grows = gate
                .amps
                .windows(2)
                .all(|w| w[0].0 < w[1].0 && w[0].1 < w[1].1);
            if !grows || gate.amps.iter().any(|g| !(positive(g.0) && g.1 > g.0)) {
                return Some(format!(
                    "fuse_gate {}: both currents must grow, the second above the rated one",
                    gate.kind
                ));
            }
        }
        let rating = &self.cable_rating;
        if rating
            .amps
            .iter()
            .any(|r| !(positive(r.0) && positive(r.1)))
        {
            return Some("cable_rating.amps: sizes and currents must be above nothing".to_owned());
        }
        for kind in DeviceKind::ALL {
            // Those of BS 3871 came later: an older copy takes the shipped rows.
            let later = kind.is_of_bs_3871();
            let own = self.breakers.iter().any(|b| b.kinds.contains(&kind));
            if kind.has_multiple() && !later && !own {
                return Some(format!("no [[breaker]] for {kind}: add its multiple of In"));
            }
        }
        for row in [
            &self.insulation.extra_low,
            &self.insulation.low,
            &self.insulation.above_500,
        ] {
            if test_voltage(row.test_volts).is_none() {
                return Some(format!(
                    "insulation: a {} V test is not among 250, 500 and 1000",
                    row.test_volts
                ));
            }
        }
        let multiples = self.breakers.iter();
        let mut multiples = multiples.flat_map(|b| [Some(b.multiple), b.slow.map(|s| s.multiple)]);
        if multiples.any(|multiple| multiple.is_some_and(|m| !positive(m))) {
            return Some("breaker: multiple must be more than nothing".to_owned());
        }
        let t = &self.temperature;
        let above_nothing = [
            ("temperature.coefficient", t.coefficient),
            ("temperature.running_celsius", t.running_celsius),
            ("expected.low_factor", self.expected.low_factor),
            ("expected.high_factor", self.expected.high_factor),
            ("expected.allowance_ohms", self.expected.allowance_ohms),
            ("expected.slip_from", self.expected.slip_from),
            ("expected.slip_to", self.expected.slip_to),
            ("continuity.range_ohms", self.continuity.range_ohms),
            ("bonding.ohms", self.bonding.ohms),
            ("ring.within_ohms", self.ring.within_ohms),
            ("ring.least_ohms", self.ring.least_ohms),
            ("ring.point_within_ohms", self.ring.point_within_ohms),
            ("ring.cpc_within_factor", self.ring.cpc_within_factor),
            (
                "insulation.extra_low.megohms",
                self.insulation.extra_low.megohms,
            ),
            ("insulation.low.megohms", self.insulation.low.megohms),
            (
                "insulation.above_500.megohms",
                self.insulation.above_500.megohms,
            ),
            (
                "insulation_pattern.short_megohms",
                self.insulation_pattern.short_megohms,
            ),
            (
                "insulation_pattern.look_megohms",
                self.insulation_pattern.look_megohms,
            ),
            ("loop.cmin", self.earth_loop.cmin),
            ("loop_cold.factor", self.loop_cold.factor),
            ("loop_compared.within_ohms", self.loop_compared.within_ohms),
            (
                "loop_compared.within_factor",
                self.loop_compared.within_factor,
            ),
            (
                "disconnection.sockets_amps",
                self.disconnection.sockets_amps,
            ),
            ("disconnection.fixed_amps", self.disconnection.fixed_amps),
            ("disconnection.others.tn", self.disconnection.others.tn),
            ("disconnection.others.tt", self.disconnection.others.tt),
            ("supplementary.touch_volts", self.supplementary.touch_volts),
            ("supplementary.seconds", self.supplementary.seconds),
            ("tt.touch_volts", self.tt.touch_volts),
            ("tt.stable_ohms", self.tt.stable_ohms),
            ("external.tn_s_ohms", self.external.tn_s_ohms),
            ("external.tn_c_s_ohms", self.external.tn_c_s_ohms),
            (
                "external.tt_electrode_ohms",
                self.external.tt_electrode_ohms,
            ),
            (
                "fault_current.three_phase_factor",
                self.fault_current.three_phase_factor,
            ),
            ("supply_voltage.line_volts", self.supply_voltage.line_volts),
            (
                "supply_voltage.plus_percent",
                self.supply_voltage.plus_percent,
            ),
            (
                "supply_voltage.minus_percent",
                self.supply_voltage.minus_percent,
            ),
            ("setting.tolerance", self.setting.tolerance),
            ("tester_check.percent", self.tester_check.percent),
            ("cables.copper", self.cables.copper),
            ("cables.lay", self.cables.lay),
            ("cables.armour", self.cables.armour),
            ("adiabatic.k_core", self.adiabatic.k_core),
            ("adiabatic.k_separate", self.adiabatic.k_separate),
            ("adiabatic.makers_seconds", self.adiabatic.makers_seconds),
            ("cable_rating.ring_mm2", rating.ring_mm2),
            ("cable_rating.ring_amps", rating.ring_amps),
            (
                "voltage_drop.lighting_percent",
                self.voltage_drop.lighting_percent,
            ),
            (
                "voltage_drop.other_percent",
                self.voltage_drop.other_percent,
            ),
            ("rcd.additional_milliamps", self.rcd.additional_milliamps),
            ("rcd.general.once", self.rcd.general.once),
            ("rcd.general.twice", self.rcd.general.twice),
            ("rcd.general.five", self.rcd.general.five),
            ("rcd.type_s.once", self.rcd.type_s.once),
            ("rcd.type_s.twice", self.rcd.type_s.twice),
            ("rcd.type_s.five", self.rcd.type_s.five),
        ];
        let wrong = above_nothing.into_iter().find(|(_, v)| !positive(*v));
        wrong.map(|(what, value)| format!("{what} is {value}: it must be more than nothing"))
    }

    /// The row of Table 64 for a circuit.
    pub fn insulation_limit(&self, system: SystemVoltage) -> InsulationLimit {
        match system {
            SystemVoltage::Selv | SystemVoltage::Pelv => self.insulation.extra_low,
            SystemVoltage::Low | SystemVoltage::Felv => self.insulation.low,
            SystemVoltage::Above500 => self.insulation.above_500,
        }
    }

    /// The d.c. voltage of the insulation test of a circuit.
    pub fn insulation_test_voltage(&self, system: SystemVoltage) -> TestVoltage {
        // `parse` refuses tables with another test voltage.
        test_voltage(self.insulation_limit(system).test_volts).unwrap_or(TestVoltage::V500)
    }

    /// Ia of a circuit-breaker as a multiple of its rated current, where it trips instantaneously;
    /// nothing for a fuse.
    pub fn breaker_multiple(&self, kind: DeviceKind) -> Option<f64> {
        self.breaker(kind).map(|b| b.multiple)
    }

    /// Ia of a circuit-breaker that has so many seconds, as a multiple of its rated current, and how
    /// well that is founded; nothing for a fuse.
    pub fn breaker_multiple_in(&self, kind: DeviceKind, seconds: f64) -> Option<(f64, Provenance)> {
        let breaker = self.breaker(kind)?;
        Some(match breaker.slow {
            Some(slow) if seconds >= slow.seconds => (slow.multiple, slow.mark),
            _ => (
                breaker.multiple,
                breaker.mark.unwrap_or(self.earth_loop.mark),
            ),
        })
    }

    /// The row of a circuit-breaker, the shipped one where an older copy of the tables has none.
    pub(super) fn breaker(&self, kind: DeviceKind) -> Option<&Breaker> {
        let of = |breakers: &'_ [Breaker]| breakers.iter().position(|b| b.kinds.contains(&kind));
        if let Some(at) = of(&self.breakers) {
            return self.breakers.get(at);
        }
        if !kind.has_multiple() {
            return None;
        }
        let shipped = &SHIPPED_TABLES.breakers;
        of(shipped).and_then(|at| shipped.get(at))
    }

    /// k of the protective conductor of a cable (543.1.3).
    pub fn k_of_cpc(&self, made: CableMake) -> (f64, Provenance, &str) {
        let usual = made.metal == Metal::Copper && made.insulation == CableInsulation::Pvc;
        let adiabatic = &self.adiabatic;
        match made.cpc {
            CpcIs::Core if usual => (adiabatic.k_core, adiabatic.mark, &adiabatic.clause),
            CpcIs::Separate if usual => (adiabatic.k_separate, adiabatic.mark, &adiabatic.clause),
            cpc => {
                let of = self.cables.of(made.insulation);
                let [copper, aluminium] = match cpc {
                    CpcIs::Core => of.core,
                    CpcIs::Separate => of.separate,
                    CpcIs::Armour | CpcIs::Sheath => [of.outside; 2],
                };
                let k = match made.metal {
                    Metal::Copper => copper,
                    Metal::Aluminium => aluminium,
                };
                (k, self.cables.mark, &self.cables.clause)
            }
        }
    }

    /// The current that operates a fuse in the time that its row is for: as the row has it, or by
    /// the value that it gives.
    pub fn operating_current(&self, row: &FuseRow) -> f64 {
        let by_value = self.earth_loop.cmin * TABLE_VOLTS / row.ohms;
        row.ia.unwrap_or(by_value)
    }

    /// The current at which a fuse clears within a tenth of a second; nothing where no gate is known.
    pub fn fuse_gate(&self, kind: DeviceKind, amps: f64) -> Option<f64> {
        let gates = self.fuse_gates.iter().filter(|gate| gate.kind == kind);
        gates
            .flat_map(|gate| &gate.amps)
            .find(|(rated, _)| *rated == amps)
            .map(|(_, current)| *current)
    }

    /// The most that a cable of so many mm² carries; nothing for a size the table does not have.
    pub fn cable_carries(&self, mm2: f64) -> Option<f64> {
        let rows = self.cable_rating.amps.iter();
        rows.copied()
            .find(|(size, _)| *size == mm2)
            .map(|(_, amps)| amps)
    }

    /// The longest time, in seconds, that a fault may last on a circuit of rated current `amps`,
    /// and the regulation that says so. Nothing for a voltage outside the table.
    ///
    /// Final circuits up to 63 A with socket-outlets and up to 32 A with fixed equipment only
    /// take the times of Table 41.1 (411.3.2.2); distribution circuits and the others take those
    /// of 411.3.2.3 (TN) and 411.3.2.4 (TT).
    pub fn disconnection_time(
        &self,
        earthing: Earthing,
        u0: f64,
        serves: CircuitUse,
        amps: f64,
    ) -> Option<(f64, &str)> {
        let table = &self.disconnection;
        let final_circuit = match serves {
            CircuitUse::Sockets => amps <= table.sockets_amps,
            CircuitUse::FixedEquipment | CircuitUse::Lighting => amps <= table.fixed_amps,
            CircuitUse::Distribution => false,
        };
        let tt = earthing == Earthing::Tt;
        let others = &table.others;
        Some(match (final_circuit, tt) {
            (false, false) => (others.tn, &others.tn_clause),
            (false, true) => (others.tt, &others.tt_clause),
            (true, _) => {
                let band = table.times.iter().find(|b| u0 > b.over && u0 <= b.to)?;
                (if tt { band.tt } else { band.tn }, &table.clause)
            }
        })
    }

    /// Break times of a residual current device, ms.
    pub fn break_times(&self, delay: RcdDelay) -> BreakTimes {
        match delay {
            RcdDelay::General => self.rcd.general,
            RcdDelay::S => self.rcd.type_s,
        }
    }
}

fn positive(value: f64) -> bool {
    value > 0.0 && value.is_finite()
}

fn test_voltage(volts: u16) -> Option<TestVoltage> {
    [TestVoltage::V250, TestVoltage::V500, TestVoltage::V1000]
        .into_iter()
        .find(|v| v.volts() == volts)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_tables_are_read() {
        assert_eq!(Tables::shipped().edition, "BS 7671:2018+A2:2022");
    }

    #[test]
    fn an_edited_copy_brings_its_own_edition_and_values() {
        let text = SHIPPED
            .replace("BS 7671:2018+A2:2022", "BS 7671:2008")
            .replace("cmin = 0.95", "cmin = 1.0");
        let tables = Tables::parse(&text, "mine.toml").unwrap();
        assert_eq!(
            (tables.edition.as_str(), tables.earth_loop.cmin),
            ("BS 7671:2008", 1.0)
        );
    }

    #[test]
    fn a_value_that_cannot_be_is_refused_by_name() {
        let text = SHIPPED.replace("cmin = 0.95", "cmin = 0.0");
        let error = Tables::parse(&text, "mine.toml").unwrap_err().to_string();
        assert_eq!(
            error,
            "mine.toml: loop.cmin is 0: it must be more than nothing"
        );
    }

    #[test]
    fn a_misspelt_key_is_refused_with_its_line() {
        let text = SHIPPED.replace("cmin = 0.95", "cmim = 0.95");
        let error = Tables::parse(&text, "mine.toml").unwrap_err().to_string();
        assert!(error.contains("line ") && error.contains("cmim"), "{error}");
    }
}
