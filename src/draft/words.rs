//! One circuit in one line, as an electrician would say or write it.

use super::made;
use super::piece::{self, as_figures, is_a_number, not_understood};
use crate::grammar::number::in_digits;
use crate::installation::{
    Accessory, Cable, Circuit, CircuitKind, DeviceWords, NotClear, Phases, Rcd, SystemVoltage,
    metres, nearest,
};

/// Additional protection is by a residual current of no more than this (BS 7671 415.1.1): what an
/// RCBO without another number is taken to have. It is read back.
const USUAL_MILLIAMPS: f64 = 30.0;

/// The fuse of a circuit that has no other device; else a point of it.
pub(super) const FUSED_UNIT: &str = "fused connection unit";
/// A point without a number.
pub(super) const SPUR: &str = "spur";

/// What was said of one circuit so far, in any order.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CircuitWords {
    /// By which it is called.
    pub number: Option<u16>,
    pub(super) name: Option<String>,
    /// What it feeds, by its sort: a cooker.
    pub(super) feeds: Option<String>,
    pub(super) kind: Option<CircuitKind>,
    pub(super) devices: DeviceWords,
    pub(super) cable: Option<Cable>,
    /// The one size that was given of the cable.
    pub(super) size_alone: Option<f64>,
    pub(super) metres: Option<f64>,
    pub(super) points: Vec<(String, Option<u16>)>,
    /// Points that were counted without a word, and what they are taken for.
    pub(super) taken_for: Option<(u16, &'static str)>,
    pub(super) unit: Option<&'static str>,
    pub(super) phases: Option<Phases>,
    pub(super) two_way: bool,
    pub(super) afdd: bool,
    pub(super) wiring: Option<String>,
    pub(super) reference_method: Option<String>,
    /// The standard and rated current of an RCD that is no part of the device.
    pub(super) rcd_standard: Option<String>,
    pub(super) rcd_amps: Option<f64>,
}

impl CircuitWords {
    /// Takes a line in, all of it or nothing: "circuit three, ring, thirty-two amp B, RCBO, eight
    /// sockets", "3, radial, 16 B, rcbo 30, 4 sockets, 2.5/1.5, 18 m". It puts right what was said in
    /// lines before it; in one line nothing is said twice.
    ///
    /// # Errors
    /// With the piece that is not understood, or says otherwise than another, and what to write.
    pub fn take(&mut self, line: &str) -> Result<(), NotClear> {
        let said = Self::of_line(line, true)?;
        self.put_right_by(said);
        Ok(())
    }

    /// What was said of a circuit with this number, a line or a piece each: a later one puts an earlier one
    /// right.
    ///
    /// # Errors
    /// With the piece that is not understood, or says otherwise than another of its line, and what to write.
    pub fn of(number: u16, said: &[String]) -> Result<Self, NotClear> {
        let mut words = Self {
            number: Some(number),
            ..Self::default()
        };
        for line in said {
            words.put_right_by(Self::of_line(line, false)?);
        }
        Ok(words)
    }

    /// What a line says; `begins` when the circuit's number may stand in front.
    fn of_line(line: &str, begins: bool) -> Result<Self, NotClear> {
        let mut all = Self::default();
        for (n, piece) in line.split([',', ';']).enumerate() {
            let piece = as_figures(piece.trim());
            let begins = begins && n == 0;
            if piece.is_empty() {
                continue;
            }
            if begins && let Some(number) = circuit_number(&piece)? {
                all.number = Some(number);
                continue;
            }
            match piece::understood(&piece, begins)? {
                Some(said) => all.beside(said)?,
                None if all.name.is_some() => return Err(not_understood(&piece)),
                None => all.name = Some(as_a_name(&piece)?),
            }
        }
        Ok(all)
    }

    /// Adds what another piece of the same line says.
    ///
    /// # Errors
    /// When it says otherwise than what is there: which is it?
    pub(super) fn beside(&mut self, said: Self) -> Result<(), NotClear> {
        let which = |one: &str, other: &str| {
            NotClear(format!(
                "{one} and {other}: which is it? Say one of them; another circuit is a line of its own"
            ))
        };
        if let Some((one, other)) = self.name.as_deref().zip(said.name.as_deref()) {
            return Err(which(one, other));
        }
        let kind = match (self.kind, said.kind) {
            // A cooker is on a radial, too.
            (Some(CircuitKind::Radial), Some(other)) | (Some(other), Some(CircuitKind::Radial))
                if other != CircuitKind::Ring =>
            {
                Some(other)
            }
            (Some(one), Some(other)) if one != other => {
                return Err(which(&self.sort_said(), &said.sort_said()));
            }
            (one, other) => one.or(other),
        };
        if let Some((one, other)) = self.devices.against(&said.devices) {
            return Err(which(&one, &other));
        }
        if let Some((one, other)) = self.cable.as_ref().zip(said.cable.as_ref())
            && one != other
        {
            return Err(which(&one.shown(), &other.shown()));
        }
        if let Some((one, other)) = self.metres.zip(said.metres)
            && one != other
        {
            return Err(which(&format!("{one} m"), &format!("{other} m")));
        }
        for (name, many) in &said.points {
            let known = self.points.iter().find(|(known, _)| known == name);
            if let Some((_, before)) = known
                && before != many
            {
                let told = |many: &Option<u16>| {
                    many.map_or_else(|| name.clone(), |many| format!("{many} {name}s"))
                };
                return Err(which(&told(before), &told(many)));
            }
        }
        if let Some((one, other)) = self.phases.zip(said.phases)
            && one != other
        {
            return Err(which("single phase", "three phase"));
        }
        let feeds = match (&self.feeds, &said.feeds) {
            (Some(one), Some(other)) if one != other => Some(format!("{one} and {other}")),
            _ => None,
        };
        let unit = [self.unit, said.unit].contains(&Some(FUSED_UNIT));
        self.put_right_by(said);
        self.kind = kind;
        self.feeds = feeds.or(self.feeds.take());
        self.unit = unit.then_some(FUSED_UNIT).or(self.unit);
        Ok(())
    }

    /// Takes what is said now for what was said before, and keeps the rest.
    fn put_right_by(&mut self, said: Self) {
        let mut points = std::mem::take(&mut self.points);
        points.retain(|(known, _)| said.points.iter().all(|(name, _)| name != known));
        points.extend(said.points);
        let mut devices = std::mem::take(&mut self.devices);
        devices.put_right_by(said.devices);
        let size_alone = match said.cable {
            Some(_) => said.size_alone,
            None => self.size_alone,
        };
        *self = Self {
            number: said.number.or(self.number),
            name: said.name.or(self.name.take()),
            feeds: said.feeds.or(self.feeds.take()),
            kind: said.kind.or(self.kind),
            devices,
            cable: said.cable.or(self.cable.take()),
            size_alone,
            metres: said.metres.or(self.metres),
            points,
            taken_for: said.taken_for.or(self.taken_for),
            unit: said.unit.or(self.unit),
            phases: said.phases.or(self.phases),
            two_way: said.two_way || self.two_way,
            afdd: said.afdd || self.afdd,
            wiring: said.wiring.or(self.wiring.take()),
            reference_method: said.reference_method.or(self.reference_method.take()),
            rcd_standard: said.rcd_standard.or(self.rcd_standard.take()),
            rcd_amps: said.rcd_amps.or(self.rcd_amps),
        };
    }

    /// The sort in the words that were said.
    fn sort_said(&self) -> String {
        let kind = self.kind.map(CircuitKind::written).unwrap_or_default();
        self.feeds.clone().unwrap_or_else(|| kind.to_owned())
    }

    /// Whether a line is about a circuit and nothing else: every piece of it is known, or is a number or a
    /// measure that something is wrong with, and none would have to be its name.
    pub fn are(line: &str) -> bool {
        let pieces = line.split([',', ';']).map(str::trim);
        let mut all = pieces.filter(|piece| !piece.is_empty()).peekable();
        let known = |piece: &str| {
            let piece = as_figures(piece);
            match piece::understood(&piece, false) {
                Ok(said) => said.is_some(),
                Err(_) => piece.contains(|c: char| c.is_ascii_digit()),
            }
        };
        all.peek().is_some() && all.all(known)
    }

    /// What a limit or a test would want to know and nobody said, to be asked for.
    pub fn not_known(&self) -> Vec<&'static str> {
        [
            (self.devices.is_empty(), "device"),
            (self.cable.is_none(), "sizes"),
            (self.metres.is_none(), "length"),
            (
                self.points.is_empty()
                    && self.unit.is_none()
                    && self.kind != Some(CircuitKind::SinglePoint),
                "points",
            ),
        ]
        .into_iter()
        .filter_map(|(missing, what)| missing.then_some(what))
        .collect()
    }

    /// Whether the breaking capacity of a device was said, or there is no device.
    pub(super) fn knows_breaking(&self) -> bool {
        self.devices.breaking_ka().is_some() || self.devices.is_empty()
    }

    /// Takes in what a column of a table holds.
    ///
    /// # Errors
    /// With what is not understood, and what to write.
    pub fn take_column(&mut self, column: CircuitsColumn, cell: &str) -> Result<(), NotClear> {
        let cell = cell.trim();
        let none = matches!(
            cell.to_lowercase().as_str(),
            "" | "-" | "–" | "no" | "none" | "n/a"
        );
        if none {
            return Ok(());
        }
        match column {
            CircuitsColumn::Number => {
                let number = circuit_number(cell)?;
                self.number = Some(number.ok_or_else(|| {
                    NotClear(format!(
                        "`{cell}` is no number of a circuit: write it as in 3"
                    ))
                })?);
            }
            CircuitsColumn::Name => self.name = Some(cell.to_owned()),
            CircuitsColumn::Kind => {
                let small = cell.to_lowercase();
                match piece::of_kind(&small) {
                    Some(said) => self.put_right_by(said),
                    None => self.kind = Some(cell.parse()?),
                }
            }
            CircuitsColumn::Device => {
                if !self.devices.take(cell) {
                    return Err(NotClear(format!(
                        "`{cell}` is no device: write its type and rated current, as in B32, B32 RCBO or \
                         BS 88-3"
                    )));
                }
            }
            CircuitsColumn::Amps => {
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
            CircuitsColumn::Rcd => {
                let named = match cell {
                    yes if yes.eq_ignore_ascii_case("yes") => String::new(),
                    number if is_a_number(number) => format!("{number} mA"),
                    said => said.to_owned(),
                };
                if !self.devices.take(&format!("{named} rcd")) {
                    return Err(NotClear(format!(
                        "`{cell}` is no residual current: write it in mA, as in 30, or leave it empty"
                    )));
                }
            }
            CircuitsColumn::Breaking => {
                let given = cell.to_lowercase();
                let given = given.trim_end_matches("ka").trim();
                if given.parse::<f64>().is_err() || !self.devices.take(&format!("{given} kA")) {
                    return Err(NotClear(format!(
                        "`{cell}` is no breaking capacity: write it in kA, as in 6"
                    )));
                }
            }
            CircuitsColumn::Sizes => {
                let small = cell.to_lowercase();
                let size = ["mm2", "mm²", "mm"]
                    .iter()
                    .find_map(|unit| small.strip_suffix(unit))
                    .unwrap_or(&small)
                    .trim();
                if is_a_number(size) {
                    let mm2 = size.parse().map_err(|_| not_understood(cell))?;
                    self.cable = Some(piece::paired(mm2)?);
                    self.size_alone = Some(mm2);
                } else {
                    let cable: Cable = cell.parse()?;
                    self.metres = cable.metres.or(self.metres);
                    self.cable = Some(cable);
                }
            }
            CircuitsColumn::RcdType => {
                if !self.devices.take(&format!("rcd type {cell}")) {
                    return Err(NotClear(format!(
                        "`{cell}` is no type of an RCD: write AC, A, F or B as marked on it"
                    )));
                }
            }
            CircuitsColumn::RcdStandard => self.rcd_standard = Some(cell.to_owned()),
            CircuitsColumn::RcdAmps => {
                let given = cell.trim_end_matches(['a', 'A', ' ']);
                let amps = given.parse::<f64>().ok().filter(|amps| *amps > 0.0);
                self.rcd_amps = Some(amps.ok_or_else(|| {
                    NotClear(format!(
                        "`{cell}` is no rated current of an RCD: write it in A, as in 63"
                    ))
                })?);
            }
            CircuitsColumn::Live => self.cable_of(cell, |cable| &mut cable.line_mm2)?,
            CircuitsColumn::Cpc => self.cable_of(cell, |cable| &mut cable.cpc_mm2)?,
            CircuitsColumn::Phases => match cell {
                "1" => self.phases = Some(Phases::Single),
                "3" => self.phases = Some(Phases::Three),
                _ => {
                    return Err(NotClear(format!(
                        "`{cell}` is no number of phases: write 1 or 3"
                    )));
                }
            },
            CircuitsColumn::Wiring => self.wiring = Some(cell.to_owned()),
            CircuitsColumn::Method => self.reference_method = Some(cell.to_owned()),
            CircuitsColumn::Afdd => self.afdd = true,
            CircuitsColumn::Metres => {
                self.metres = Some(metres(cell).ok_or_else(|| {
                    NotClear(format!(
                        "`{cell}` is no length: write it in metres, as in 18"
                    ))
                })?);
            }
            CircuitsColumn::Points => {
                for piece in cell.split([',', ';', '+']) {
                    let piece = in_digits(piece.trim()).to_lowercase();
                    if let Ok(many) = piece.parse::<u16>() {
                        let what = self.usual_points();
                        self.put_right_by(piece::counted(many, what.unwrap_or("points"))?);
                        self.taken_for = what.map(|what| (many, what));
                    } else if let Some((many, what)) = piece.split_once(' ')
                        && let Ok(many) = many.parse::<u16>()
                    {
                        self.put_right_by(piece::counted(many, what.trim())?);
                    } else if !piece.is_empty() {
                        self.points.retain(|(known, _)| *known != piece);
                        self.points.push((piece, None));
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

    /// What points are on most circuits of this sort; nothing where that can't be told.
    fn usual_points(&self) -> Option<&'static str> {
        match self.kind? {
            CircuitKind::Radial
                if self
                    .feeds
                    .as_deref()
                    .or(self.name.as_deref())
                    .is_some_and(warns) =>
            {
                Some("smoke alarms")
            }
            CircuitKind::Ring | CircuitKind::Radial => Some("sockets"),
            CircuitKind::Lighting => Some("lights"),
            _ => None,
        }
    }

    /// The circuit, called by `number` where none was said.
    ///
    /// # Errors
    /// With what is missing.
    pub fn circuit(&self, number: u16) -> Result<Circuit, NotClear> {
        let mut devices = self.devices.clone();
        let mut points = self.points.clone();
        match self.unit {
            Some(FUSED_UNIT) if !devices.has_type() => {
                devices.take("fcu");
            }
            Some(unit) if points.iter().all(|(name, _)| name != unit) => {
                points.push((unit.to_owned(), None));
            }
            _ => {}
        }
        let counts = |what: &str| points.iter().any(|(name, _)| name == what);
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
        let device = devices.device()?;
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
            .or_else(|| self.feeds.clone())
            .unwrap_or_else(|| match points.first() {
                Some((name, Some(_))) => format!("{name}s"),
                Some((name, None)) => name.clone(),
                None => default_name(kind).to_owned(),
            });
        let is_ring = kind == CircuitKind::Ring;
        // In the order in which a job file counts them.
        let mut said: Vec<_> = points.iter().collect();
        said.sort_by_key(|(name, _)| match name.as_str() {
            "socket" => 0,
            "light" => 1,
            _ => 2,
        });
        let mut points: Vec<Accessory> = Vec::new();
        for (name, many) in said {
            let numbers = many.map_or(vec![None], |many| (1..=many).map(Some).collect());
            points.extend(numbers.into_iter().map(|number| Accessory {
                name: name.clone(),
                number,
                sensitive: Accessory::is_electronic(name).then(|| "electronics".to_owned()),
                feeds_on: is_ring || number.is_some(),
                spur: false,
            }));
        }
        if let Some(last) = points.last_mut().filter(|_| !is_ring) {
            last.feeds_on = false;
        }
        // One device that is both has one standard and one rated current.
        let both = device.as_ref().is_some_and(|device| device.kind.is_rcbo());
        let rcd = devices.residual(USUAL_MILLIAMPS).map(|rcd| Rcd {
            standard: self.rcd_standard.clone().filter(|_| !both),
            amps: self.rcd_amps.filter(|_| !both),
            ..rcd
        });
        let circuit = Circuit {
            number: self.number.unwrap_or(number),
            name,
            kind,
            phases: self.phases.unwrap_or(Phases::Single),
            system: SystemVoltage::Low,
            device,
            rcd,
            cable,
            wiring: self.wiring.clone(),
            reference_method: self.reference_method.clone(),
            equipment_possible: true,
            afdd: self.afdd,
            two_way: self.two_way,
            points,
        };
        made::checked(&circuit)?;
        Ok(circuit)
    }

    /// The same with the breaking capacity that the devices of the board have.
    pub(super) fn breaking(&mut self, ka: f64) {
        self.devices.take(&format!("{ka} kA"));
    }

    /// What was taken to be so although it was not said.
    pub fn assumed(&self) -> Option<String> {
        let residual = self.devices.residual(USUAL_MILLIAMPS);
        let electronic = self
            .points
            .iter()
            .find(|(name, _)| Accessory::is_electronic(name));
        let electronic = electronic.map(|(name, _)| {
            format!("{name} is taken to hold electronics: 500 V keeps off until it is out")
        });
        let milliamps = (residual.is_some() && self.devices.milliamps.is_none()).then(|| {
            format!(
                "{USUAL_MILLIAMPS} mA was not said: it is what an RCD for additional protection has"
            )
        });
        let size = self.size_alone.zip(self.cable.as_ref());
        let size = size.map(|(mm2, cable)| {
            format!(
                "the protective conductor was not said: {mm2} mm² is taken as twin and earth, {}",
                cable.shown()
            )
        });
        let points = self.taken_for.map(|(many, what)| {
            format!("{many} points are taken as {what}: say otherwise where they are not")
        });
        let all: Vec<String> = milliamps
            .into_iter()
            .chain(size)
            .chain(points)
            .chain(electronic)
            .collect();
        (!all.is_empty()).then(|| all.join("; "))
    }
}

/// What a column of a table of circuits holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum CircuitsColumn {
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
    /// Its standard.
    RcdStandard,
    /// Its rated current.
    RcdAmps,
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

/// What a line says of a circuit, to be put with what was said of it before: one element for all of it, so
/// that what is said twice in one line is told from what puts another line right.
pub fn pieces(line: &str) -> Vec<String> {
    let line = line.trim().trim_matches([',', ';']).trim();
    (!line.is_empty())
        .then(|| line.to_owned())
        .into_iter()
        .collect()
}

/// "Add circuit 5, ring, B32": a number and what is said of it. Only where commas part it.
pub fn added(line: &str) -> Option<(u16, Vec<String>)> {
    let (first, said) = line.split_once([',', ';'])?;
    let first = in_digits(&first.trim().to_lowercase());
    let rest = ["add ", "new ", "another ", "one more "]
        .iter()
        .find_map(|word| first.strip_prefix(word))?;
    let named = rest.strip_prefix("a ").unwrap_or(rest);
    let number = named
        .strip_prefix("circuit")
        .and(circuit_number(named).ok()?)?;
    let said = pieces(said);
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
        None if !piece.chars().any(char::is_alphabetic) => Err(not_understood(piece)),
        None if measures(piece) => Err(NotClear(format!(
            "{}. If it is the circuit's name, say \"called {piece}\"",
            not_understood(piece)
        ))),
        None => Ok(piece.to_owned()),
    }
}

/// Whether something in it looks like a rating, a size or a length, which no name has.
fn measures(piece: &str) -> bool {
    let small = piece.to_lowercase();
    let rated = |word: &str| word.strip_prefix(['b', 'c', 'd']).is_some_and(is_a_number);
    let units = ["a", "amp", "amps", "ma", "ka", "mm", "mm2", "mm²", "m"];
    let mut before = false;
    small.split_whitespace().any(|word| {
        let with_unit = units
            .iter()
            .any(|unit| word.strip_suffix(unit).is_some_and(is_a_number));
        let of_number = before && units.contains(&word);
        before = is_a_number(word);
        rated(word) || with_unit || of_number
    })
}

/// Smoke and heat alarms, by their name.
fn warns(name: &str) -> bool {
    let name = name.to_lowercase();
    ["smoke", "heat alarm"]
        .iter()
        .any(|word| name.contains(word))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draft::{read_back, spoken};

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
            ("3, radial, 25mm2", "as in 2.5/1.5"),
            (
                "3, radial, 30A rewireable, 20A",
                "30 A and 20 A: which is it?",
            ),
            (
                "3, radial, rewireable fuse",
                "the rated current of the BS 3036 is missing",
            ),
            (
                "6 immersion 16 amp",
                "the type of the 16 A device is missing",
            ),
            ("3, radial, 20A bay", "say \"called 20A bay\""),
            ("3, radial, C16 something", "is not understood"),
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
            (
                "add circuit 20, lighting, 6 lights",
                Some((20, "lighting, 6 lights")),
            ),
            ("New circuit five, ring", Some((5, "ring"))),
            (
                "another circuit 7, called bay, radial",
                Some((7, "called bay, radial")),
            ),
            ("add circuit twenty, 6 lights", Some((20, "6 lights"))),
            ("add circuit five ring", None),
            ("add a socket, please", None),
            ("circuit 5, ring", None),
        ] {
            let found = added(line).map(|(number, said)| (number, said.join("|")));
            let told = told.map(|(number, said)| (number, said.to_owned()));
            assert_eq!(found, told, "{line}");
        }
    }

    #[test]
    fn a_circuit_is_understood_as_the_trade_says_it() {
        for (line, back) in [
            (
                "6 immersion 16 amp B",
                "Circuit 6, immersion; one fixed load; BS EN 60898 B 16 A; no points given.",
            ),
            (
                "6 immersion, 16A B type",
                "Circuit 6, immersion; one fixed load; BS EN 60898 B 16 A; no points given.",
            ),
            (
                "7, electric shower, B40, 10mm",
                "Circuit 7, electric shower; one fixed load; BS EN 60898 B 40 A; 10/4 mm²; no points given.",
            ),
            (
                "8 radial B32 6mm 12 m 4 sockets",
                "Circuit 8, sockets; radial; BS EN 60898 B 32 A; 6/2.5 mm², 12 m; 4 sockets.",
            ),
            (
                "10, radial, 32A type B RCBO 30mA type A, 3 sockets",
                "Circuit 10, sockets; radial; BS EN 61009 B 32 A; RCD 30 mA type A; 3 sockets.",
            ),
            (
                "11, lighting, 5A rewireable fuse, 6 lights",
                "Circuit 11, lights; lighting; BS 3036 5 A; 6 lights.",
            ),
            (
                "11, boiler, spur, B6, FCU",
                "Circuit 11, boiler; one fixed load; BS EN 60898 B 6 A; fused connection unit.",
            ),
            (
                "12, boiler, 3 A FCU",
                "Circuit 12, boiler; one fixed load; BS 1362 3 A; no points given.",
            ),
            (
                "13, cooker, radial, B32",
                "Circuit 13, cooker; one fixed load; BS EN 60898 B 32 A; no points given.",
            ),
            (
                "14, Lights 2, B6, 4 lights, 4 switches",
                "Circuit 14, Lights 2; lighting; BS EN 60898 B 6 A; 4 lights, 4 switches.",
            ),
            (
                "3 ring B32 RCBO 8 sockets 2.5/1.5 54 m",
                "Circuit 3, sockets; ring; BS EN 61009 B 32 A; RCD 30 mA; 2.5/1.5 mm², 54 m; 8 sockets.",
            ),
        ] {
            assert_eq!(understood(line), back, "{line}");
        }
        let mut words = CircuitWords::default();
        words.take("8, radial, B32, 6mm").unwrap();
        let assumed = words.assumed().unwrap();
        assert!(
            assumed.contains("6 mm² is taken as twin and earth, 6/2.5 mm²"),
            "{assumed}"
        );
    }

    #[test]
    fn what_is_said_later_puts_right_what_one_line_may_not_say_twice() {
        let said = |lines: &[&str]| {
            let lines: Vec<String> = lines.iter().map(|line| (*line).to_owned()).collect();
            let circuit = CircuitWords::of(7, &lines).and_then(|words| words.circuit(7));
            circuit.map_or_else(|why| format!("? {why}"), |circuit| read_back(&circuit))
        };
        assert!(said(&["cooker, B32, 6"]).contains("`6` alone does not say what it is"));
        assert!(said(&["cooker, B32", "6"]).contains("`6` alone does not say what it is"));
        assert!(said(&["cooker, B32, B6"]).contains("32 A and 6 A: which is it?"));
        let right = "Circuit 7, shower; one fixed load; BS EN 60898 B 40 A; no points given.";
        assert_eq!(said(&["cooker, B32", "B40, shower"]), right);
        let right = "Circuit 7, cooker; one fixed load; BS 3036 30 A; no points given.";
        assert_eq!(said(&["cooker, B32 RCBO", "BS 3036 30 A"]), right);
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
