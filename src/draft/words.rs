//! One circuit in one line, as an electrician would say or write it.

use crate::grammar::number::in_digits;
use crate::installation::{
    Accessory, Cable, Circuit, CircuitKind, DeviceWords, MOST_POINTS, NotClear, Phases,
    SystemVoltage, metres, nearest, without_flat,
};

/// Additional protection is by a residual current of no more than this (BS 7671 415.1.1): what an
/// RCBO without another number is taken to have. It is read back.
const USUAL_MILLIAMPS: f64 = 30.0;

/// What was said of one circuit so far, in any order.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CircuitWords {
    /// By which it is called.
    pub number: Option<u16>,
    name: Option<String>,
    kind: Option<CircuitKind>,
    devices: DeviceWords,
    cable: Option<Cable>,
    metres: Option<f64>,
    points: Vec<(String, Option<u16>)>,
    phases: Option<Phases>,
    two_way: bool,
    afdd: bool,
    wiring: Option<String>,
    reference_method: Option<String>,
}

impl CircuitWords {
    /// Takes a line in, all of it or nothing: "circuit three, ring, thirty-two amp B, RCBO, eight
    /// sockets", "3, radial, 16 B, rcbo 30, 4 sockets, 2.5/1.5, 18 m".
    ///
    /// # Errors
    /// With the piece that is not understood, and what to write.
    pub fn take(&mut self, line: &str) -> Result<(), NotClear> {
        let mut after = self.clone();
        let mut named = false;
        for (n, piece) in line.split([',', ';']).enumerate() {
            let piece = as_figures(piece.trim());
            if piece.is_empty() {
                continue;
            }
            if n == 0
                && let Some(number) = circuit_number(&piece)?
            {
                after.number = Some(number);
            } else if !after.take_piece(&piece)? {
                if named {
                    return Err(not_understood(&piece));
                }
                after.name = Some(as_a_name(&piece)?);
                named = true;
            }
        }
        *self = after;
        Ok(())
    }

    /// What was said of a circuit with this number, a piece each.
    ///
    /// # Errors
    /// With the piece that is not understood, and what to write.
    pub fn of(number: u16, said: &[String]) -> Result<Self, NotClear> {
        let mut words = Self::default();
        words.take(&format!("{number}, {}", said.join(", ")))?;
        Ok(words)
    }

    /// Whether a line is about a circuit and nothing else: every piece of it is known, and none would
    /// have to be its name.
    pub fn are(line: &str) -> bool {
        let mut words = Self::default();
        let all = pieces(line);
        let known = |piece: &String| {
            words
                .take_piece(&as_figures(piece))
                .is_ok_and(|known| known)
        };
        !all.is_empty() && all.iter().all(known)
    }

    /// What a limit or a test would want to know and nobody said, to be asked for.
    pub fn not_known(&self) -> Vec<&'static str> {
        [
            (self.devices.is_empty(), "device"),
            (self.cable.is_none(), "sizes"),
            (self.metres.is_none(), "length"),
            (
                self.points.is_empty() && self.kind != Some(CircuitKind::SinglePoint),
                "points",
            ),
        ]
        .into_iter()
        .filter_map(|(missing, what)| missing.then_some(what))
        .collect()
    }

    /// Takes one piece in; false when it is none of what is known of circuits.
    fn take_piece(&mut self, piece: &str) -> Result<bool, NotClear> {
        let small = piece.to_lowercase();
        if let Some(name) = ["called ", "named ", "name "]
            .iter()
            .find_map(|word| small.strip_prefix(word))
        {
            let from = piece.len() - name.len();
            self.name = Some(piece.get(from..).unwrap_or(name).trim().to_owned());
            return Ok(true);
        }
        match small.as_str() {
            "3 phase" | "3-phase" => self.phases = Some(Phases::Three),
            "single phase" | "single-phase" | "1 phase" => self.phases = Some(Phases::Single),
            "2 way" | "2-way" | "two-way" | "2 way switching" => self.two_way = true,
            "afdd" => self.afdd = true,
            _ => {
                if let Ok(kind) = small.parse::<CircuitKind>() {
                    self.kind = Some(kind);
                    // "cooker" and "smoke alarms" say what it feeds, too.
                    let feeds = kind == CircuitKind::SinglePoint && !small.starts_with("single")
                        || kind == CircuitKind::Radial && !small.starts_with("radial");
                    if feeds && self.name.is_none() {
                        self.name = Some(small);
                    }
                } else if let Some(length) =
                    metres(&small).filter(|_| small.ends_with(['m', 's', 'e']))
                {
                    self.metres = Some(length);
                } else if is_a_cable(&small) {
                    let cable: Cable = small.parse()?;
                    self.metres = cable.metres.or(self.metres);
                    self.cable = Some(cable);
                } else if self.devices.take(&small) {
                } else {
                    return self.counts(&small);
                }
            }
        }
        Ok(true)
    }

    /// Whether the breaking capacity of a device was said, or there is no device.
    pub(super) fn knows_breaking(&self) -> bool {
        self.devices.breaking_ka().is_some() || self.devices.is_empty()
    }

    /// "8 sockets", "1 light".
    fn counts(&mut self, piece: &str) -> Result<bool, NotClear> {
        let Some((many, what)) = piece.split_once(' ') else {
            return Ok(false);
        };
        let Ok(many) = many.parse::<u16>() else {
            return Ok(false);
        };
        let what = what.trim();
        // "32 amps of something" is no 32 points.
        let first = what.split(' ').next().unwrap_or(what);
        let units = [
            "a",
            "amp",
            "amps",
            "ma",
            "milliamp",
            "milliamps",
            "ka",
            "kiloamp",
            "kiloamps",
            "m",
            "mm",
            "mm2",
        ];
        if units.contains(&first) {
            return Err(not_understood(piece));
        }
        let what = ["double ", "twin ", "single "]
            .iter()
            .find_map(|word| what.strip_prefix(word))
            .unwrap_or(what);
        let one = what.strip_suffix('s').unwrap_or(what);
        let one = match one {
            "socket outlet" | "outlet" => "socket",
            "lamp" | "luminaire" | "fitting" => "light",
            same => same,
        };
        if !(1..=MOST_POINTS).contains(&many) {
            return Err(NotClear(format!(
                "{many} {what}: a circuit has 1 to {MOST_POINTS} points"
            )));
        }
        self.point(one, Some(many));
        Ok(true)
    }

    fn point(&mut self, name: &str, many: Option<u16>) {
        self.points.retain(|(known, _)| known != name);
        self.points.push((name.to_owned(), many));
    }

    /// Takes in what a column of a table holds.
    ///
    /// # Errors
    /// With what is not understood, and what to write.
    pub fn take_column(&mut self, column: Column, cell: &str) -> Result<(), NotClear> {
        let cell = cell.trim();
        let none = matches!(
            cell.to_lowercase().as_str(),
            "" | "-" | "–" | "no" | "none" | "n/a"
        );
        if none {
            return Ok(());
        }
        match column {
            Column::Number => {
                let number = circuit_number(cell)?;
                self.number = Some(number.ok_or_else(|| {
                    NotClear(format!(
                        "`{cell}` is no number of a circuit: write it as in 3"
                    ))
                })?);
            }
            Column::Name => self.name = Some(cell.to_owned()),
            Column::Kind => self.kind = Some(cell.parse()?),
            Column::Device => {
                if !self.devices.take(cell) {
                    return Err(NotClear(format!(
                        "`{cell}` is no device: write its type and rated current, as in B32, B32 RCBO or \
                         BS 88-3"
                    )));
                }
            }
            Column::Amps => {
                let given = cell.trim_end_matches(['a', 'A', ' ']);
                if let Some(amps) = self.devices.amps()
                    && given.parse() != Ok(amps)
                {
                    return Err(NotClear(format!(
                        "`{cell}`, but the device says {amps} A: which is it? Write one of them"
                    )));
                }
                let unit = if cell.to_lowercase().ends_with('a') {
                    ""
                } else {
                    " A"
                };
                if !self.devices.take(&format!("{cell}{unit}")) {
                    return Err(NotClear(format!(
                        "`{cell}` is no rated current: write it as in 32"
                    )));
                }
            }
            Column::Rcd => {
                let named = if cell.eq_ignore_ascii_case("yes") {
                    ""
                } else {
                    cell
                };
                if !self.devices.take(&format!("{named} rcd")) {
                    return Err(NotClear(format!(
                        "`{cell}` is no residual current: write it in mA, as in 30, or leave it empty"
                    )));
                }
            }
            Column::Breaking => {
                let given = cell.to_lowercase();
                let given = given.trim_end_matches("ka").trim();
                if given.parse::<f64>().is_err() || !self.devices.take(&format!("{given} kA")) {
                    return Err(NotClear(format!(
                        "`{cell}` is no breaking capacity: write it in kA, as in 6"
                    )));
                }
            }
            Column::Sizes => {
                let cable: Cable = cell.parse()?;
                self.metres = cable.metres.or(self.metres);
                self.cable = Some(cable);
            }
            Column::RcdType => {
                if !self.devices.take(&format!("rcd type {cell}")) {
                    return Err(NotClear(format!(
                        "`{cell}` is no type of an RCD: write AC, A, F or B as marked on it"
                    )));
                }
            }
            Column::Live => self.cable_of(cell, |cable| &mut cable.line_mm2)?,
            Column::Cpc => self.cable_of(cell, |cable| &mut cable.cpc_mm2)?,
            Column::Phases => match cell {
                "1" => self.phases = Some(Phases::Single),
                "3" => self.phases = Some(Phases::Three),
                _ => {
                    return Err(NotClear(format!(
                        "`{cell}` is no number of phases: write 1 or 3"
                    )));
                }
            },
            Column::Wiring => self.wiring = Some(cell.to_owned()),
            Column::Method => self.reference_method = Some(cell.to_owned()),
            Column::Afdd => self.afdd = true,
            Column::Metres => {
                self.metres = Some(metres(cell).ok_or_else(|| {
                    NotClear(format!(
                        "`{cell}` is no length: write it in metres, as in 18"
                    ))
                })?);
            }
            Column::Points => {
                for piece in cell.split([',', ';', '+']) {
                    let piece = in_digits(piece.trim()).to_lowercase();
                    if let Ok(many) = piece.parse::<u16>() {
                        self.counts(&format!("{many} points"))?;
                    } else if !piece.is_empty() && !self.counts(&piece)? {
                        self.point(&piece, None);
                    }
                }
            }
        }
        Ok(())
    }

    /// Takes one of the sizes of a cable whose sizes stand in two columns.
    fn cable_of(&mut self, cell: &str, size: fn(&mut Cable) -> &mut f64) -> Result<(), NotClear> {
        let mm2: f64 = cell.parse().map_err(|_| {
            NotClear(format!(
                "`{cell}` is no cross-section: write it in mm², as in 2.5"
            ))
        })?;
        let cable = self
            .cable
            .get_or_insert_with(|| Cable::copper(mm2, mm2, None));
        *size(cable) = mm2;
        Ok(())
    }

    /// The circuit, called by `number` where none was said.
    ///
    /// # Errors
    /// With what is missing.
    pub fn circuit(&self, number: u16) -> Result<Circuit, NotClear> {
        let counts = |what: &str| self.points.iter().any(|(name, _)| name == what);
        let kind = match self.kind {
            Some(kind) => kind,
            None if counts("light") && !counts("socket") => CircuitKind::Lighting,
            None if counts("smoke alarm") || counts("heat alarm") => CircuitKind::Radial,
            None => {
                return Err(NotClear(
                    "what sort of circuit is missing: add ring, radial, lighting, cooker, motor or \
                     distribution"
                        .to_owned(),
                ));
            }
        };
        let device = self.devices.device()?;
        let cable = match (&self.cable, self.metres) {
            (Some(cable), metres) => Some(Cable {
                metres,
                ..cable.clone()
            }),
            (None, Some(_)) => {
                return Err(NotClear(
                    "a length without the sizes of the conductors: add them, as in 2.5/1.5"
                        .to_owned(),
                ));
            }
            (None, None) => None,
        };
        let name = self
            .name
            .clone()
            .unwrap_or_else(|| match self.points.first() {
                Some((name, Some(_))) => format!("{name}s"),
                Some((name, None)) => name.clone(),
                None => default_name(kind).to_owned(),
            });
        let is_ring = kind == CircuitKind::Ring;
        let mut points: Vec<Accessory> = Vec::new();
        // In the order in which a job file counts them.
        let mut said: Vec<_> = self.points.iter().collect();
        said.sort_by_key(|(name, _)| match name.as_str() {
            "socket" => 0,
            "light" => 1,
            _ => 2,
        });
        for (name, many) in said {
            let numbers = many.map_or(vec![None], |many| (1..=many).map(Some).collect());
            points.extend(numbers.into_iter().map(|number| Accessory {
                name: name.clone(),
                number,
                sensitive: is_electronic(name).then(|| "electronics".to_owned()),
                feeds_on: is_ring || number.is_some(),
                spur: false,
            }));
        }
        if let Some(last) = points.last_mut().filter(|_| !is_ring) {
            last.feeds_on = false;
        }
        Ok(Circuit {
            number: self.number.unwrap_or(number),
            name,
            kind,
            phases: self.phases.unwrap_or(Phases::Single),
            system: SystemVoltage::Low,
            device,
            rcd: self.devices.residual(USUAL_MILLIAMPS),
            cable,
            wiring: self.wiring.clone(),
            reference_method: self.reference_method.clone(),
            equipment_possible: true,
            afdd: self.afdd,
            two_way: self.two_way,
            points,
        })
    }

    /// The same with the breaking capacity that the devices of the board have.
    pub(super) fn breaking(&mut self, ka: f64) {
        self.devices.take(&format!("{ka} kA"));
    }

    /// What was taken to be so although it was not said.
    pub fn assumed(&self) -> Option<String> {
        let residual = self.devices.residual(USUAL_MILLIAMPS);
        let electronic = self.points.iter().find(|(name, _)| is_electronic(name));
        let electronic = electronic.map(|(name, _)| {
            format!("{name} is taken to hold electronics: 500 V keeps off until it is out")
        });
        let milliamps = (residual.is_some() && self.devices.milliamps.is_none()).then(|| {
            format!(
                "{USUAL_MILLIAMPS} mA was not said: it is what an RCD for additional protection has"
            )
        });
        let all: Vec<String> = milliamps.into_iter().chain(electronic).collect();
        (!all.is_empty()).then(|| all.join("; "))
    }
}

/// What a column of a table of circuits holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Column {
    /// The circuit's number.
    Number,
    /// What it feeds.
    Name,
    /// What sort it is.
    Kind,
    /// What protects it.
    Device,
    /// The rated current of that.
    Amps,
    /// The rated breaking capacity of the device.
    Breaking,
    /// The rated residual current.
    Rcd,
    /// The waveform type of that.
    RcdType,
    /// Line and protective conductor.
    Sizes,
    /// Cross-section of the live conductors.
    Live,
    /// Cross-section of the protective conductor.
    Cpc,
    /// The length.
    Metres,
    /// What is on it.
    Points,
    /// 1 or 3.
    Phases,
    /// Type of wiring.
    Wiring,
    /// Reference method.
    Method,
    /// Whether arc fault detection is fitted.
    Afdd,
}

fn default_name(kind: CircuitKind) -> &'static str {
    match kind {
        CircuitKind::Ring => "ring final circuit",
        CircuitKind::Radial => "radial circuit",
        CircuitKind::Lighting => "lights",
        CircuitKind::SinglePoint => "fixed equipment",
        CircuitKind::Motor => "motor",
        CircuitKind::Distribution => "distribution circuit",
    }
}

/// A piece with its numbers in figures, as it is written.
fn as_figures(piece: &str) -> String {
    in_digits(piece).replace("r c d", "rcd")
}

/// The pieces of a line.
pub fn pieces(line: &str) -> Vec<String> {
    let pieces = line.split([',', ';']).map(str::trim);
    pieces
        .filter(|piece| !piece.is_empty())
        .map(str::to_owned)
        .collect()
}

/// "Add circuit 5, ring, B32": a number and what is said of it. Only where commas part it.
pub fn added(line: &str) -> Option<(u16, Vec<String>)> {
    let mut all = pieces(line).into_iter();
    let first = in_digits(&all.next()?.to_lowercase());
    let rest = ["add ", "new ", "another ", "one more "]
        .iter()
        .find_map(|word| first.strip_prefix(word))?;
    let named = rest.strip_prefix("a ").unwrap_or(rest);
    let number = named
        .strip_prefix("circuit")
        .and(circuit_number(named).ok()?)?;
    let said: Vec<String> = all.collect();
    (!said.is_empty()).then_some((number, said))
}

/// "3", "circuit 3", "no 3", "way 3".
pub(super) fn circuit_number(piece: &str) -> Result<Option<u16>, NotClear> {
    let small = piece.trim().to_lowercase();
    let number = ["circuit", "number", "no.", "no", "way"]
        .iter()
        .find_map(|word| small.strip_prefix(word))
        .unwrap_or(&small)
        .trim();
    let plain = !number.is_empty() && number.chars().all(|c| c.is_ascii_digit());
    match number.parse::<u16>() {
        Ok(number) if plain && number > 0 => Ok(Some(number)),
        _ if plain => Err(NotClear(format!(
            "circuit {number}: circuits are numbered from 1 to {}",
            u16::MAX
        ))),
        _ => Ok(None),
    }
}

/// A piece that is none of what is known, as the circuit's name, unless it looks like a slip.
fn as_a_name(piece: &str) -> Result<String, NotClear> {
    let known = [
        "radial",
        "ring",
        "lighting",
        "lights",
        "cooker",
        "shower",
        "motor",
        "distribution",
        "rcbo",
    ];
    match nearest(piece, known.into_iter()) {
        Some(near) => Err(NotClear(format!(
            "`{piece}` is not understood: did you mean \"{near}\"? If it is the circuit's name, say \
             \"called {piece}\""
        ))),
        None if piece.chars().any(char::is_alphabetic) => Ok(piece.to_owned()),
        None => Err(not_understood(piece)),
    }
}

fn not_understood(piece: &str) -> NotClear {
    NotClear(format!(
        "`{piece}` is not understood: say the number, what sort it is, the device, the points, the sizes \
         and the length, as in 3, radial, 16 A B, RCBO 30 mA, 4 sockets, 2.5/1.5, 18 m"
    ))
}

/// "2.5/1.5", "six by two point five", "2.5 and 1.5 twin and earth", "4 mm2".
fn is_a_cable(piece: &str) -> bool {
    let (_, flat) = without_flat(piece);
    let made = ["swa", "armoured", "micc", "mims", "singles"];
    let made = piece.split_whitespace().any(|word| made.contains(&word));
    flat || made || piece.contains('/') || piece.contains(" by ") || piece.ends_with("mm2")
}

/// Points that hold electronics whatever their make: 500 V keeps off them until they are out.
fn is_electronic(name: &str) -> bool {
    ["smoke", "heat alarm", "charging", "charger", "charge point"]
        .iter()
        .any(|word| name.contains(word))
}

/// A circuit in one line, as it was understood.
pub fn read_back(circuit: &Circuit) -> String {
    let mut told = vec![format!("Circuit {}, {}", circuit.number, circuit.name)];
    told.push(sort(circuit.kind).to_owned());
    if circuit.phases == Phases::Three {
        told.push("three phases".to_owned());
    }
    told.push(circuit.device.as_ref().map_or_else(
        || "no device given".to_owned(),
        |device| {
            let breaking = device.breaking_ka.map(|ka| format!(", breaks {ka} kA"));
            let breaking = breaking.unwrap_or_default();
            format!("{} {} A{breaking}", device.shown(), device.amps)
        },
    ));
    told.extend(circuit.rcd.as_ref().map(|rcd| {
        let waveform = rcd.waveform.as_ref().map(|w| format!(" type {w}"));
        format!("RCD {} mA{}", rcd.milliamps, waveform.unwrap_or_default())
    }));
    told.extend(circuit.cable.as_ref().map(|cable| {
        let length = cable.metres.map(|m| format!(", {m} m"));
        format!("{}{}", cable.shown(), length.unwrap_or_default())
    }));
    if circuit.two_way {
        told.push("two-way switching".to_owned());
    }
    if circuit.afdd {
        told.push("AFDD".to_owned());
    }
    told.push(points_told(&circuit.points).unwrap_or_else(|| "no points given".to_owned()));
    told.join("; ") + "."
}

/// The same as it is said aloud.
pub fn spoken(circuit: &Circuit) -> String {
    let mut told = vec![format!(
        "circuit {}, {}: {}",
        circuit.number,
        circuit.name,
        sort(circuit.kind)
    )];
    if circuit.phases == Phases::Three {
        told.push("three phases".to_owned());
    }
    told.extend(circuit.device.as_ref().map(|device| {
        let breaking = device
            .breaking_ka
            .map(|ka| format!(", breaks {ka} kiloamps"));
        let kind = device.kind.to_string();
        let kind = match kind.rsplit_once(' ') {
            Some((_, letter)) if device.kind.is_rcbo() => format!("type {letter} RCBO"),
            Some((_, letter @ ("B" | "C" | "D"))) => format!("type {letter}"),
            _ => kind,
        };
        format!("{} amp {kind}{}", device.amps, breaking.unwrap_or_default())
    }));
    told.extend(circuit.rcd.as_ref().map(|rcd| {
        let waveform = rcd.waveform.as_ref().map(|w| format!(", type {w}"));
        format!(
            "{} milliamp RCD{}",
            rcd.milliamps,
            waveform.unwrap_or_default()
        )
    }));
    told.extend(circuit.cable.as_ref().map(|cable| {
        let length = cable.metres.map(|m| format!(", {m} metres"));
        format!("{}{}", aloud(&cable.shown()), length.unwrap_or_default())
    }));
    told.extend(circuit.two_way.then(|| "two-way switching".to_owned()));
    told.extend(circuit.afdd.then(|| "arc fault detection".to_owned()));
    told.extend(points_told(&circuit.points));
    told.join(", ")
}

/// What a cable is, as it is said: "2.5/1.5 mm²" is "2.5 by 1.5".
fn aloud(cable: &str) -> String {
    cable
        .replace(" mm²", "")
        .replace('/', " by ")
        .replace("°C", "degrees")
}

fn sort(kind: CircuitKind) -> &'static str {
    match kind {
        CircuitKind::Radial => "radial",
        CircuitKind::Ring => "ring",
        CircuitKind::Lighting => "lighting",
        CircuitKind::SinglePoint => "one fixed load",
        CircuitKind::Motor => "motor",
        CircuitKind::Distribution => "distribution",
    }
}

/// "8 sockets, 1 spur"; nothing where there are no points.
fn points_told(points: &[Accessory]) -> Option<String> {
    let all = counted(points);
    let each = all.iter().map(|(name, many)| match many {
        Some(1) => format!("1 {name}"),
        Some(many) => format!("{many} {name}s"),
        None => name.clone(),
    });
    (!all.is_empty()).then(|| each.collect::<Vec<_>>().join(", "))
}

/// Points of one name that are numbered from 1 on, counted; others by themselves.
pub(super) fn counted(points: &[Accessory]) -> Vec<(String, Option<u16>)> {
    let mut all: Vec<(String, Option<u16>)> = Vec::new();
    for point in points {
        match (point.number, all.last_mut()) {
            (Some(number), Some((name, Some(many))))
                if *name == point.name && *many + 1 == number =>
            {
                *many = number;
            }
            (Some(1), _) => all.push((point.name.clone(), Some(1))),
            (Some(number), _) => all.push((format!("{} {number}", point.name), None)),
            (None, _) => all.push((point.name.clone(), None)),
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn understood(line: &str) -> String {
        let mut words = CircuitWords::default();
        match words.take(line).and_then(|()| words.circuit(9)) {
            Ok(circuit) => read_back(&circuit),
            Err(why) => format!("? {why}"),
        }
    }

    #[test]
    fn a_circuit_is_said_in_one_line() {
        for (line, back) in [
            (
                "circuit three, ring, thirty-two amp B, RCBO, eight sockets",
                "Circuit 3, sockets; ring; BS EN 61009 B 32 A; RCD 30 mA; 8 sockets.",
            ),
            (
                "3, radial, 16 B, rcbo 30, 4 sockets, 2.5/1.5, 18 m",
                "Circuit 3, sockets; radial; BS EN 61009 B 16 A; RCD 30 mA; 2.5/1.5 mm², 18 m; 4 sockets.",
            ),
            (
                "boat-store sockets, radial, B20, rcd 100 mA type A, 3 double sockets",
                "Circuit 9, boat-store sockets; radial; BS EN 60898 B 20 A; RCD 100 mA type A; 3 sockets.",
            ),
            (
                "circuit 5, cooker, 32 amp type B, six by two point five, twelve metres",
                "Circuit 5, cooker; one fixed load; BS EN 60898 B 32 A; 6/2.5 mm², 12 m; no points given.",
            ),
            (
                "way 2, B6, 6 lights, two way",
                "Circuit 2, lights; lighting; BS EN 60898 B 6 A; two-way switching; 6 lights.",
            ),
            (
                "circuit four, radial, B20, 6 kA, two point five and one point five twin and earth, 3 sockets",
                "Circuit 4, sockets; radial; BS EN 60898 B 20 A, breaks 6 kA; 2.5/1.5 mm²; 3 sockets.",
            ),
            (
                "8, shower, B40 RCBO, ten twin and earth, nine metres",
                "Circuit 8, shower; one fixed load; BS EN 61009 B 40 A; RCD 30 mA; 10/4 mm², 9 m; no points given.",
            ),
            (
                "way 6, EV charging point, B32 RCBO type A, 6 mm2 t&e",
                "Circuit 6, ev charging point; one fixed load; BS EN 61009 B 32 A; RCD 30 mA type A; 6/2.5 mm²; no points given.",
            ),
            (
                "12, smoke alarms, B6, one point five and one flat twin and earth, 3 smoke alarms",
                "Circuit 12, smoke alarms; radial; BS EN 60898 B 6 A; 1.5/1 mm²; 3 smoke alarms.",
            ),
            (
                "3, radial, sixteen amp charlie, four sockets",
                "Circuit 3, sockets; radial; BS EN 60898 C 16 A; 4 sockets.",
            ),
            (
                "9, radial, BS 3871 type 2 20 A, 2.5/1.5, 14 m, 2 sockets",
                "Circuit 9, sockets; radial; BS 3871 2 20 A; 2.5/1.5 mm², 14 m; 2 sockets.",
            ),
            (
                "10, distribution, 100 A MCCB trips at 1000 A, 25 4-core SWA 40 m, called Slip board",
                "Circuit 10, Slip board; distribution; BS EN 60947-2 100 A; 25/70 mm², armour as cpc, XLPE 90 °C, 40 m; no points given.",
            ),
            (
                "11, cooker, BS 1361 30 A, 7/.029 and 3/.029, 11 m",
                "Circuit 11, cooker; one fixed load; BS 1361 30 A; 7/.029 (2.98) and 3/.029 (1.28) mm², 11 m; no points given.",
            ),
            (
                "7, distribution, BS 88-3 63 A, three phase, called Bay board",
                "Circuit 7, Bay board; distribution; three phases; BS 88-3 63 A; no points given.",
            ),
        ] {
            assert_eq!(understood(line), back, "{line}");
        }
    }

    #[test]
    fn what_is_not_understood_or_missing_is_answered() {
        for (line, told) in [
            ("3, radail, B16", "did you mean \"radial\"?"),
            (
                "3, boat store, radial, B16, something else",
                "`something else` is not understood",
            ),
            ("3, B16 , 4 sockets", "what sort of circuit is missing"),
            ("3, ring, 32 amp", "the type of the 32 A device is missing"),
            ("3, radial, RCBO", "type and rated current are missing"),
            ("3, radial, 18 m", "without the sizes"),
            ("0, radial", "numbered from 1"),
            ("3, radial, 900 sockets", "1 to 200 points"),
            (
                "3, radial, B16, 32 amps grey",
                "`32 amps grey` is not understood",
            ),
            ("3, radial, 2.5mm2", "as in 2.5/1.5"),
        ] {
            let answer = understood(line);
            assert!(
                answer.starts_with("? ") && answer.contains(told),
                "{line}: {answer}"
            );
        }
    }

    #[test]
    fn every_piece_that_is_listened_for_means_something() {
        let grammar = crate::grammar::Grammar::built_in().unwrap();
        let mut rng = fastrand::Rng::with_seed(5);
        let mut found = 0;
        for _ in 0..3000 {
            let said = grammar
                .random_sentence("circuit", &mut || rng.f64())
                .unwrap();
            if let (_, crate::grammar::Intent::Pieces(pieces)) = said {
                for piece in pieces {
                    assert!(CircuitWords::are(&piece), "{piece}");
                    found += 1;
                }
            }
        }
        assert!(found > 1000, "{found}");
    }

    #[test]
    fn a_circuit_is_read_back_in_words_that_can_be_said() {
        let said = pieces("ring, thirty-two amp B, RCBO, eight sockets, 2.5 by 1.5, 54 metres");
        let words = CircuitWords::of(5, &said).unwrap();
        assert_eq!(
            spoken(&words.circuit(5).unwrap()),
            "circuit 5, sockets: ring, 32 amp type B RCBO, 30 milliamp RCD, 2.5 by 1.5, 54 metres, 8 sockets"
        );
        assert!(words.not_known().is_empty());
        let words = CircuitWords::of(5, &[]).unwrap();
        assert_eq!(words.not_known(), ["device", "sizes", "length", "points"]);
    }

    #[test]
    fn a_line_that_adds_a_circuit_is_parted_by_its_commas() {
        for (line, told) in [
            ("add circuit 20, lighting, 6 lights", Some((20, 2))),
            ("New circuit five, ring", Some((5, 1))),
            ("another circuit 7, called bay, radial", Some((7, 2))),
            ("add circuit twenty, 6 lights", Some((20, 1))),
            ("add circuit five ring", None),
            ("add a socket, please", None),
            ("circuit 5, ring", None),
        ] {
            let found = added(line).map(|(number, said)| (number, said.len()));
            assert_eq!(found, told, "{line}");
        }
    }

    #[test]
    fn a_line_that_is_not_understood_changes_nothing() {
        let mut words = CircuitWords::default();
        words.take("3, ring, B32").unwrap();
        let before = words.clone();
        assert!(words.take("20 A, §").is_err());
        assert_eq!(words, before);
    }
}
