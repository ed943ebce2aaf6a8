//! The words that a job file may hold, as people usually write them: "tncs", "EICR", "cooker",
//! "B16 RCBO". Each is taken where it can mean one thing only; where it could be several, the answer
//! says which to write.

use super::{Cable, CircuitKind, Device, InstrumentUse, JobKind, Rcd, Source, scope};
use crate::limits::{CableInsulation, CpcIs, DeviceKind, Earthing, Metal, RcdDelay, Tables};
use jiff::civil::Date;
use serde::Serialize;
use serde::de::{DeserializeOwned, IntoDeserializer, value::StrDeserializer};
use std::str::FromStr;

/// Residual currents that devices are rated for (BS EN 61008, BS EN 61009 preferred values, from memory), mA: a bare
/// number beside "RCBO" is one of these, or the rated current.
const RESIDUAL_MILLIAMPS: [f64; 5] = [10.0, 30.0, 100.0, 300.0, 500.0];

/// One list of words: other ways to write each, and what to answer where that could be several.
pub(super) struct Words {
    /// The word of the job file, and how else it is written. Case, spaces and signs do not matter.
    usual: &'static [(&'static str, &'static [&'static str])],
    /// What is written and could be several things, and what to do.
    unclear: &'static [(&'static str, &'static str)],
}

pub(super) const JOB_KINDS: Words = Words {
    usual: &[
        (
            "initial-verification",
            &[
                "initial",
                "new work",
                "new",
                "eic",
                "electrical installation certificate",
            ],
        ),
        (
            "periodic-inspection",
            &["periodic", "eicr", "condition report", "inspection in use"],
        ),
        ("minor-works", &["minor work", "minor"]),
        ("live-retest", &["live only", "live tests only", "retest"]),
    ],
    unclear: &[],
};

pub(super) const STAGES: Words = Words {
    usual: &[
        ("isolation", &["safe isolation"]),
        ("instruments", &["instrument check"]),
        ("continuity", &["r1+r2", "bonding", "cpc"]),
        ("ring", &["ring continuity", "ring final"]),
        ("insulation", &["insulation resistance", "ir"]),
        ("external-loop", &["ze", "external loop impedance"]),
        (
            "fault-current",
            &["ipf", "pfc", "pscc", "prospective fault current"],
        ),
        ("loop-impedance", &["zs", "loop"]),
        ("rcd", &["rcds", "rcd tests", "residual current device"]),
        ("phase-sequence", &["phase rotation", "sequence"]),
        ("functional", &["functional checks", "functional tests"]),
    ],
    unclear: &[],
};

pub(super) const EARTHINGS: Words = Words {
    usual: &[
        ("TN-C-S", &["pme", "protective multiple earthing"]),
        ("TN-S", &[]),
        ("TT", &["earth rod", "earth electrode"]),
    ],
    unclear: &[
        ("TN", "write TN-S or TN-C-S"),
        (
            "TN-C",
            "write TN-C-S; TN-C throughout is not for this program",
        ),
        ("IT", scope::IT),
    ],
};

pub(super) const SOURCES: Words = Words {
    usual: &[
        ("mains", &["grid", "supply", "distributor", "dno"]),
        ("solar", &["pv", "photovoltaic", "solar panels"]),
        ("battery", &["battery storage", "storage"]),
        ("generator", &["genset", "generating set"]),
        ("ups", &["uninterruptible supply"]),
    ],
    unclear: &[],
};

pub(super) const USES: Words = Words {
    usual: &[
        (
            "voltage-indication",
            &[
                "voltage indicator",
                "proving dead",
                "dead",
                "voltage",
                "two pole",
            ],
        ),
        ("continuity", &["r1+r2", "low ohms", "low resistance"]),
        ("insulation", &["insulation resistance", "ir"]),
        (
            "loop",
            &["zs", "ze", "loop impedance", "fault current", "earth loop"],
        ),
        ("rcd", &["rcds", "rcd tests"]),
        ("phase-sequence", &["phase rotation", "sequence"]),
    ],
    unclear: &[(
        "multifunction",
        "write each test that it is used for, as in [\"continuity\", \"insulation\", \"loop\", \"rcd\"]",
    )],
};

pub(super) const CIRCUIT_KINDS: Words = Words {
    usual: &[
        (
            "radial",
            &[
                "radial circuit",
                "radial final",
                "smoke alarm",
                "smoke alarms",
                "heat alarm",
                "heat alarms",
                "smoke and heat alarms",
                "smoke detectors",
            ],
        ),
        (
            "ring",
            &[
                "ring final",
                "ring final circuit",
                "ring main",
                "rfc",
                "ring circuit",
            ],
        ),
        (
            "lighting",
            &["light", "lights", "lamps", "lighting circuit", "luminaires"],
        ),
        (
            "single-point",
            &[
                "single",
                "cooker",
                "electric cooker",
                "oven",
                "electric oven",
                "hob",
                "electric hob",
                "shower",
                "electric shower",
                "immersion",
                "immersion heater",
                "heater",
                "water heater",
                "storage heater",
                "boiler",
                "charging point",
                "charge point",
                "ev charging point",
                "ev charge point",
                "ev charger",
                "ev point",
                "car charger",
                "car charging point",
                "vehicle charging point",
                "fixed",
                "fixed load",
                "fixed equipment",
            ],
        ),
        ("motor", &["motor circuit", "winch", "compressor"]),
        (
            "distribution",
            &["distribution circuit", "submain", "feeder", "sub board"],
        ),
    ],
    unclear: &[
        (
            "socket",
            "sockets are on a ring or on a radial: write \"ring\" or \"radial\"",
        ),
        (
            "sockets",
            "sockets are on a ring or on a radial: write \"ring\" or \"radial\"",
        ),
        ("medical", scope::MEDICAL),
        ("medical location", scope::MEDICAL),
        ("pv", scope::PHOTOVOLTAIC),
        ("pv string", scope::PHOTOVOLTAIC),
        ("pv array", scope::PHOTOVOLTAIC),
        ("solar", scope::PHOTOVOLTAIC),
        ("solar array", scope::PHOTOVOLTAIC),
        ("photovoltaic", scope::PHOTOVOLTAIC),
        ("battery", scope::BATTERY),
        ("battery storage", scope::BATTERY),
        (
            "power",
            "write what sort it is: \"ring\", \"radial\" or \"single-point\"",
        ),
    ],
};

pub(super) const DEVICE_KINDS: Words = Words {
    usual: &[
        (
            "BS EN 60898 B",
            &["b", "type b", "b mcb", "mcb b", "mcb type b", "60898 b"],
        ),
        (
            "BS EN 60898 C",
            &["c", "type c", "c mcb", "mcb c", "mcb type c", "60898 c"],
        ),
        (
            "BS EN 60898 D",
            &["d", "type d", "d mcb", "mcb d", "mcb type d", "60898 d"],
        ),
        (
            "BS EN 61009 B",
            &["b rcbo", "rcbo b", "rcbo type b", "type b rcbo", "61009 b"],
        ),
        (
            "BS EN 61009 C",
            &["c rcbo", "rcbo c", "rcbo type c", "type c rcbo", "61009 c"],
        ),
        (
            "BS EN 61009 D",
            &["d rcbo", "rcbo d", "rcbo type d", "type d rcbo", "61009 d"],
        ),
        (
            "BS 3036",
            &[
                "3036",
                "rewirable",
                "rewireable",
                "rewirable fuse",
                "rewireable fuse",
                "semi enclosed",
                "semi enclosed fuse",
            ],
        ),
        ("BS 88-2", &["88-2", "bs en 60269-2", "bs 88 part 2"]),
        ("BS 88-3", &["88-3", "bs 88 part 3"]),
        (
            "BS 1362",
            &["1362", "plug fuse", "fused connection unit", "fcu"],
        ),
        (
            "BS 1361",
            &["1361", "cartridge fuse", "bs 1361 type 1", "bs 1361 type 2"],
        ),
        ("BS 88-6", &["88-6", "bs 88 part 6"]),
        (
            "BS 3871 1",
            &[
                "3871 1",
                "3871 type 1",
                "bs 3871 type 1",
                "type 1 bs 3871",
                "type 1",
                "type 1 mcb",
            ],
        ),
        (
            "BS 3871 2",
            &[
                "3871 2",
                "3871 type 2",
                "bs 3871 type 2",
                "type 2 bs 3871",
                "type 2",
                "type 2 mcb",
            ],
        ),
        (
            "BS 3871 3",
            &[
                "3871 3",
                "3871 type 3",
                "bs 3871 type 3",
                "type 3 bs 3871",
                "type 3",
                "type 3 mcb",
            ],
        ),
        (
            "BS 3871 4",
            &[
                "3871 4",
                "3871 type 4",
                "bs 3871 type 4",
                "type 4 bs 3871",
                "type 4",
                "type 4 mcb",
            ],
        ),
        (
            "BS 3871 B",
            &["3871 b", "3871 type b", "bs 3871 type b", "type b bs 3871"],
        ),
        (
            "BS 3871 C",
            &["3871 c", "3871 type c", "bs 3871 type c", "type c bs 3871"],
        ),
        (
            "BS 3871 D",
            &["3871 d", "3871 type d", "bs 3871 type d", "type d bs 3871"],
        ),
        (
            "BS EN 60947-2",
            &[
                "60947-2",
                "mccb",
                "moulded case",
                "moulded case breaker",
                "moulded case circuit breaker",
            ],
        ),
        ("other", &["another", "not listed"]),
    ],
    unclear: &[
        (
            "bs 3871",
            "write its type too, as marked: \"BS 3871 1\", 2, 3, 4, B, C or D",
        ),
        ("mcb", "write its type too: \"BS EN 60898 B\", C or D"),
        ("rcbo", "write its type too: \"BS EN 61009 B\", C or D"),
        (
            "bs en 60898",
            "write its type too: \"BS EN 60898 B\", C or D",
        ),
        (
            "bs en 61009",
            "write its type too: \"BS EN 61009 B\", C or D",
        ),
        (
            "bs 88",
            "write its part: \"BS 88-2\", \"BS 88-3\" or \"BS 88-6\"",
        ),
        (
            "fuse",
            "write its standard: \"BS 88-2\", \"BS 88-3\", \"BS 3036\", \"BS 1361\" or \"BS 1362\"",
        ),
    ],
};

pub(super) const GIVEN_BY: Words = Words {
    usual: &[
        (
            "enquiry",
            &["distributor", "by enquiry", "inquiry", "declared", "dno"],
        ),
        ("measured", &["measurement", "by measurement"]),
        ("calculated", &["calculation", "by calculation"]),
    ],
    unclear: &[],
};

pub(super) const METALS: Words = Words {
    usual: &[("copper", &["cu"]), ("aluminium", &["al", "aluminum"])],
    unclear: &[],
};

pub(super) const CABLE_INSULATIONS: Words = Words {
    usual: &[
        ("pvc", &["thermoplastic", "70", "pvc 70"]),
        ("xlpe", &["thermosetting", "90", "xlpe 90", "lsf 90", "epr"]),
        (
            "mineral-covered",
            &["micc covered", "covered micc", "mims covered"],
        ),
        ("mineral-bare", &["micc bare", "bare micc", "mims bare"]),
    ],
    unclear: &[
        (
            "micc",
            "write mineral-covered or mineral-bare: a bare one may run hotter",
        ),
        (
            "mineral",
            "write mineral-covered or mineral-bare: a bare one may run hotter",
        ),
    ],
};

pub(super) const CPCS: Words = Words {
    usual: &[
        ("core", &["cpc"]),
        ("separate", &["own conductor", "singles"]),
        ("armour", &["armor", "swa", "steel wire armour"]),
        ("sheath", &["copper sheath"]),
    ],
    unclear: &[],
};

pub(super) const SYSTEMS: Words = Words {
    usual: &[
        ("LV", &["low voltage", "low"]),
        ("above 500 V", &["over 500 V", "> 500 V"]),
    ],
    unclear: &[("ELV", "write \"SELV\", \"PELV\" or \"FELV\"")],
};

pub(super) const DELAYS: Words = Words {
    usual: &[
        ("general", &["none", "instantaneous", "no delay"]),
        ("s", &["type s", "selective", "delayed", "time delayed"]),
    ],
    unclear: &[],
};

pub(super) const RCD_TESTS: Words = Words {
    usual: &[
        ("half", &["0.5", "half rated", "x0.5"]),
        ("once", &["1", "x1", "rated"]),
        ("five", &["5", "x5", "five times"]),
    ],
    unclear: &[],
};

pub(super) const WAVEFORMS: Words = Words {
    usual: &[
        ("AC", &["type ac"]),
        ("A", &["type a"]),
        ("F", &["type f"]),
        ("B", &["type b"]),
    ],
    unclear: &[],
};

/// Letters and digits only, small.
fn squeezed(text: &str) -> String {
    text.chars()
        .filter(|c| c.is_alphanumeric())
        .flat_map(char::to_lowercase)
        .collect()
}

impl Words {
    /// The word of the job file that is meant; nothing when none is, or several could be.
    pub(super) fn meant(&self, text: &str) -> Option<&'static str> {
        let text = squeezed(text);
        let same = |word: &&&str| squeezed(word) == text;
        self.usual
            .iter()
            .find(|(word, others)| same(&word) || others.iter().any(|other| same(&other)))
            .map(|(word, _)| *word)
    }

    /// What to do about a word that could be several.
    pub(super) fn unclear(&self, text: &str) -> Option<&'static str> {
        let text = squeezed(text);
        let found = self.unclear.iter().find(|(word, _)| squeezed(word) == text);
        found.map(|(_, what)| *what)
    }
}

/// The value that a word of the job file stands for.
fn read<T: DeserializeOwned>(word: &str) -> Option<T> {
    let word: StrDeserializer<'_, serde::de::value::Error> = word.into_deserializer();
    T::deserialize(word).ok()
}

/// The value that is usually written so, or what to write instead.
fn from_usual<T: DeserializeOwned>(words: &Words, text: &str) -> Result<T, NotClear> {
    words
        .meant(text)
        .and_then(read)
        .or_else(|| read(text))
        .ok_or_else(|| match words.unclear(text) {
            Some(what) => NotClear(what.to_owned()),
            None => NotClear(format!(
                "`{text}` is not known here{}",
                did_you_mean(text, words.all())
            )),
        })
}

impl Words {
    /// The words of the job file.
    fn all(&self) -> impl Iterator<Item = &'static str> + Clone {
        self.usual.iter().map(|(word, _)| *word)
    }
}

/// Why something written can't be taken as it stands: what to write instead.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct NotClear(pub String);

/// ", did you mean ...?" when one of `known` is near enough to have been meant; else ": write ...".
pub fn did_you_mean<'a>(text: &str, known: impl Iterator<Item = &'a str> + Clone) -> String {
    let all: Vec<&str> = known.clone().collect();
    match nearest(text, known) {
        Some(near) => format!(", did you mean \"{near}\"? Write {}", all.join(", ")),
        None => format!(": write {}", all.join(", ")),
    }
}

/// The one of `known` that `text` was probably meant to be; none when two are as near.
pub fn nearest<'a>(text: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let text = text.to_lowercase();
    let mut near: Vec<(usize, &str)> = known
        .map(|word| {
            let away = strsim::damerau_levenshtein(&text, &word.to_lowercase());
            (away, word)
        })
        .filter(|(away, word)| *away <= 2.min(word.chars().count() / 2))
        .collect();
    near.sort_unstable();
    match near.as_slice() {
        [(one, _), (other, _), ..] if one == other => None,
        [(_, word), ..] => Some(word),
        [] => None,
    }
}

macro_rules! from_str {
    ($($type:ty: $words:ident),* $(,)?) => {$(
        impl FromStr for $type {
            type Err = NotClear;

            fn from_str(text: &str) -> Result<Self, NotClear> {
                from_usual(&$words, text.trim())
            }
        }
    )*};
}

from_str! {
    JobKind: JOB_KINDS,
    CircuitKind: CIRCUIT_KINDS,
    InstrumentUse: USES,
    Source: SOURCES,
    Earthing: EARTHINGS,
    DeviceKind: DEVICE_KINDS,
    RcdDelay: DELAYS,
}

/// What to do about a word in this table and key that could be several.
pub(super) fn unclear(what: &str, key: &str, word: &str) -> Option<&'static str> {
    let words = match (what, key) {
        ("the job", "kind") => &JOB_KINDS,
        ("the supply", "earthing") => &EARTHINGS,
        ("an instrument", "used_for") => &USES,
        ("a circuit", "kind") => &CIRCUIT_KINDS,
        ("a circuit", "system") => &SYSTEMS,
        ("a device", "kind") => &DEVICE_KINDS,
        ("a cable", "insulation") => &CABLE_INSULATIONS,
        _ => return None,
    };
    words.unclear(word)
}

/// What is wrong with the short form of a device or a cable of a circuit.
pub(super) fn short_form(key: &str, text: &str) -> Option<String> {
    match key {
        "device" | "fuse" => {
            let mut words = DeviceWords::default();
            let taken = words.take(text);
            words
                .device()
                .err()
                .filter(|_| taken)
                .map(|why| why.to_string())
        }
        "cable" => text.parse::<Cable>().err().map(|why| why.to_string()),
        _ => None,
    }
}

/// What was said or written of a circuit's devices, in any order and in several pieces: "32 amp B",
/// then "RCBO".
#[derive(Debug, Clone, Default, PartialEq)]
pub struct DeviceWords {
    kind: Option<DeviceKind>,
    letter: Option<char>,
    /// Whether its residual current part was named.
    pub rcbo: bool,
    rcd: bool,
    amps: Option<f64>,
    breaking_ka: Option<f64>,
    instantaneous: Option<f64>,
    /// The rated residual current, where it was given.
    pub milliamps: Option<f64>,
    waveform: Option<&'static str>,
    delay: Option<RcdDelay>,
}

impl DeviceWords {
    /// The rated breaking capacity, kA, where it was given.
    pub fn breaking_ka(&self) -> Option<f64> {
        self.breaking_ka
    }

    /// Whether nothing was said.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// The rated current, A, where it was given.
    pub fn amps(&self) -> Option<f64> {
        self.amps
    }

    /// Takes a piece in, all of it or nothing; false when it is not about devices, or says one thing of
    /// them twice.
    pub fn take(&mut self, text: &str) -> bool {
        match self.told_by(text) {
            Some(said) => {
                self.put_right_by(said);
                true
            }
            None => false,
        }
    }

    /// What a piece says, after what was said before it.
    fn told_by(&self, text: &str) -> Option<Self> {
        let mut said = Self::default();
        let spaced = spaced(text);
        let words: Vec<&str> = spaced.split_whitespace().collect();
        let about_residual = words.iter().any(|w| matches!(*w, "rcd" | "rcbo" | "rccb"));
        let has_letter = self.letter.is_some()
            || words
                .iter()
                .any(|w| breaker_type(w).is_some() || matches!(*w, "amp" | "amps"));
        let mut words = words.as_slice();
        if words.is_empty() {
            return None;
        }
        while let Some((first, rest)) = words.split_first() {
            // A standard is several words: the longest that is known.
            if let Some((kind, used)) = standard(words) {
                match kind {
                    Standard::Breaker => {}
                    Standard::Rcbo => said.rcbo = true,
                    Standard::Kind(kind) => said.kind = Some(kind),
                }
                words = words.get(used..).unwrap_or_default();
                continue;
            }
            let mut used = 1;
            match (*first, rest.first().copied()) {
                // "B" is a breaker's letter as well: of a residual current device once its own is said.
                ("type", Some("b"))
                    if said.milliamps.is_some()
                        && (said.letter.is_some() || said.amps.is_none()) =>
                {
                    said.waveform = WAVEFORMS.meant("b");
                    used = 2;
                }
                ("type", Some("ac" | "a" | "f")) => {
                    said.waveform = WAVEFORMS.meant(rest.first().copied().unwrap_or_default());
                    used = 2;
                }
                ("type", Some("s")) | ("selective" | "delayed", _) => {
                    said.delay = Some(RcdDelay::S);
                    used = if *first == "type" { 2 } else { 1 };
                }
                ("type" | "device" | "breaker" | "mcb" | "en" | "bs" | "with", Some(_))
                | ("breaker" | "mcb", None) => {}
                // "20 A B type"
                ("type", None) if said.letter.is_some() => {}
                ("rcbo", _) => said.rcbo = true,
                ("instantaneous" | "magnetic" | "trips", Some(_)) => {
                    let rest: Vec<&str> = rest.iter().copied().filter(|w| *w != "at").collect();
                    let amps = rest.first().and_then(|w| w.parse::<f64>().ok())?;
                    said.instantaneous = Some(amps);
                    let at = words.get(1) == Some(&"at");
                    let unit = matches!(rest.get(1), Some(&("a" | "amp" | "amps")));
                    used = 2 + usize::from(at) + usize::from(unit);
                }
                ("rcd" | "rccb", _) => said.rcd = true,
                _ if breaker_type(first).is_some() => {
                    once(&mut said.letter, breaker_type(first)?)?;
                }
                ("ac" | "a" | "f", _) if about_residual => said.waveform = WAVEFORMS.meant(first),
                _ => {
                    let number = first.parse::<f64>().ok()?;
                    let rated = said.amps.or(self.amps).is_some();
                    match rest.first().copied() {
                        Some("ma" | "milliamp" | "milliamps") => {
                            once(&mut said.milliamps, number)?;
                            used = 2;
                        }
                        Some("ka") => {
                            once(&mut said.breaking_ka, number)?;
                            used = 2;
                        }
                        Some("a" | "amp" | "amps") => {
                            once(&mut said.amps, number)?;
                            used = 2;
                        }
                        _ if about_residual
                            && (rated || !has_letter)
                            && RESIDUAL_MILLIAMPS.contains(&number) =>
                        {
                            once(&mut said.milliamps, number)?;
                        }
                        _ if has_letter
                            || about_residual
                            || said.kind.or(self.kind).is_some()
                            // A fuse's standard may come after.
                            || words.len() > 1 =>
                        {
                            once(&mut said.amps, number)?;
                        }
                        _ => return None,
                    }
                }
            }
            words = words.get(used..).unwrap_or_default();
        }
        // A fuse has no type B.
        (said.kind.is_none() || said.letter.is_none()).then_some(said)
    }

    /// Takes what is said now for what was said before, and keeps the rest.
    pub fn put_right_by(&mut self, said: Self) {
        if said.kind.is_some() {
            self.letter = None;
            self.rcbo = false;
        }
        if said.letter.is_some() {
            self.kind = None;
        }
        *self = Self {
            kind: said.kind.or(self.kind),
            letter: said.letter.or(self.letter),
            rcbo: said.rcbo || self.rcbo,
            rcd: said.rcd || self.rcd,
            amps: said.amps.or(self.amps),
            breaking_ka: said.breaking_ka.or(self.breaking_ka),
            instantaneous: said.instantaneous.or(self.instantaneous),
            milliamps: said.milliamps.or(self.milliamps),
            waveform: said.waveform.or(self.waveform),
            delay: said.delay.or(self.delay),
        };
    }

    /// What is said of two ways at once, each in words; nothing where they agree.
    pub fn against(&self, other: &Self) -> Option<(String, String)> {
        fn differ<T: PartialEq>(
            one: Option<T>,
            other: Option<T>,
            told: impl Fn(T) -> String,
        ) -> Option<(String, String)> {
            let (one, other) = one.zip(other)?;
            (one != other).then(|| (told(one), told(other)))
        }
        let with = |unit: &'static str| move |value: f64| format!("{value} {unit}");
        differ(self.type_said(), other.type_said(), |kind| kind)
            .or_else(|| differ(self.amps, other.amps, with("A")))
            .or_else(|| differ(self.milliamps, other.milliamps, with("mA")))
            .or_else(|| differ(self.breaking_ka, other.breaking_ka, with("kA")))
            .or_else(|| differ(self.instantaneous, other.instantaneous, with("A")))
            .or_else(|| {
                differ(self.waveform, other.waveform, |waveform| {
                    format!("RCD type {waveform}")
                })
            })
    }

    /// Whether the type of the device was said.
    pub fn has_type(&self) -> bool {
        self.kind.is_some() || self.letter.is_some()
    }

    fn type_said(&self) -> Option<String> {
        let letter = || {
            let letter = self.letter?.to_ascii_uppercase();
            Some(format!("type {letter}"))
        };
        self.kind.map(|kind| kind.to_string()).or_else(letter)
    }

    /// The device against overcurrent, when one was named.
    ///
    /// # Errors
    /// When something of it is missing: what to add.
    pub fn device(&self) -> Result<Option<Device>, NotClear> {
        let clear = |kind: &str, text: String| kind.parse().map_err(|_| NotClear(text));
        let kind = match (self.kind, self.letter) {
            (Some(kind), _) => Some(kind),
            (None, Some(letter)) => {
                let number = if self.rcbo { 61009 } else { 60898 };
                let letter = letter.to_ascii_uppercase();
                Some(clear(
                    &format!("BS EN {number} {letter}"),
                    format!("type {letter} is none of B, C and D"),
                )?)
            }
            (None, None) => None,
        };
        match (kind, self.amps) {
            (Some(kind), Some(amps)) => Ok(Some(Device {
                breaking_ka: self.breaking_ka,
                instantaneous_amps: self.instantaneous,
                ..Device::new(kind, amps)
            })),
            (Some(kind), None) => Err(NotClear(format!(
                "the rated current of the {kind} is missing: add it, as in 32 A"
            ))),
            (None, Some(amps)) => Err(NotClear(format!(
                "the type of the {amps} A device is missing: add B, C or D, or a fuse's standard such as \
                 BS 88-3"
            ))),
            (None, None) if self.rcbo => Err(NotClear(
                "the RCBO's type and rated current are missing: add them, as in B32".to_owned(),
            )),
            (None, None) => Ok(None),
        }
    }

    /// The residual current device, when one was named; its rated residual current where it was
    /// given, else `usual`.
    pub fn residual(&self, usual: f64) -> Option<Rcd> {
        let named = self.rcbo || self.rcd || self.milliamps.is_some();
        named.then(|| Rcd {
            standard: None,
            amps: None,
            milliamps: self.milliamps.unwrap_or(usual),
            delay: self.delay.unwrap_or_default(),
            waveform: self.waveform.map(str::to_owned),
            tests: super::job::half_and_once(),
        })
    }
}

/// What is said once; nothing where something else was said of it already.
fn once<T: PartialEq>(known: &mut Option<T>, said: T) -> Option<()> {
    match known {
        Some(known) => (*known == said).then_some(()),
        None => {
            *known = Some(said);
            Some(())
        }
    }
}

/// The letter of a breaker's type, as it is written or as ICAO spells it.
fn breaker_type(word: &str) -> Option<char> {
    match word {
        "b" | "bravo" => Some('b'),
        "c" | "charlie" => Some('c'),
        "d" | "delta" => Some('d'),
        _ => None,
    }
}

/// What a standard is of.
enum Standard {
    Breaker,
    Rcbo,
    Kind(DeviceKind),
}

/// The standard that these words begin with, and how many they are.
fn standard(words: &[&str]) -> Option<(Standard, usize)> {
    (1..=words.len().min(5)).rev().find_map(|used| {
        let first = words.get(..used)?;
        let text = squeezed(&first.concat());
        let standard = match text.as_str() {
            "bsen60898" | "en60898" | "60898" => Standard::Breaker,
            "bsen61009" | "en61009" | "61009" => Standard::Rcbo,
            _ => {
                let kind: DeviceKind = DEVICE_KINDS.meant(&text).and_then(read)?;
                let modern = kind.has_multiple() && !kind.is_of_bs_3871();
                if modern || kind == DeviceKind::Other {
                    return None;
                }
                Standard::Kind(kind)
            }
        };
        Some((standard, used))
    })
}

/// Small letters, with a space between a number and what follows it: "b16" and "16a" are two words,
/// "88-2" is one.
fn spaced(text: &str) -> String {
    let mut spaced = String::new();
    let mut last = ' ';
    for letter in text.to_lowercase().chars() {
        let number = |c: char| c.is_ascii_digit() || c == '.' || c == '-';
        let apart =
            (number(last) && letter.is_alphabetic()) || (last.is_alphabetic() && number(letter));
        if apart && letter != '-' {
            spaced.push(' ');
        }
        spaced.push(match letter {
            ',' | '(' | ')' | '_' | '/' => ' ',
            same => same,
        });
        last = letter;
    }
    spaced
}

impl FromStr for Cable {
    type Err = NotClear;

    /// "2.5/1.5", "2.5/1.5 mm², 18 m", "7/.029 and 3/.029 12 m", "10 3-core SWA 25 m".
    fn from_str(text: &str) -> Result<Self, NotClear> {
        let wrong = || {
            NotClear(format!(
                "`{text}` is no cable: write line and protective conductor, as in 2.5/1.5, and its length \
                 where it is known, as in 2.5/1.5 18 m"
            ))
        };
        let spaced = text
            .to_lowercase()
            .replace(['²', ','], " ")
            .replace("mm2", " ");
        let (spaced, flat) = without_flat(&spaced.replace("mm", " "));
        let (spaced, made) = Made::taken_from(&spaced);
        let spaced = imperial_as_metric(&spaced)
            .replace(" and ", "/")
            .replace(" by ", "/")
            .replace(" with ", "/");
        let number = |text: &str| text.trim().parse::<f64>().map_err(|_| wrong());
        let length = |rest: String| match rest.as_str() {
            "" => Ok(None),
            length => metres(length).map(Some).ok_or_else(wrong),
        };
        let (line_mm2, given, metres) = match spaced.split_once('/') {
            Some((line, rest)) => {
                let mut rest = rest.split_whitespace();
                let cpc = number(rest.next().ok_or_else(wrong)?)?;
                (number(line)?, Some(cpc), length(rest.collect())?)
            }
            None => {
                let (line, rest) = spaced.trim().split_once(' ').unwrap_or((spaced.trim(), ""));
                let rest = rest.split_whitespace().collect::<String>();
                (number(line)?, None, length(rest)?)
            }
        };
        let cpc_mm2 = match given {
            Some(mm2) => mm2,
            None => made.cpc(line_mm2, flat)?.ok_or_else(wrong)?,
        };
        Ok(Self {
            metal: made.metal,
            insulation: made.insulation,
            // Of an armoured cable with a core named for it, that core.
            cpc_is: match (made.cpc_is, given) {
                (CpcIs::Armour, Some(_)) => CpcIs::Core,
                (cpc, _) => cpc,
            },
            ..Self::copper(line_mm2, cpc_mm2, metres)
        })
    }
}

/// What was said of a cable besides its sizes and its length.
#[derive(Debug, Default)]
struct Made {
    metal: Metal,
    insulation: CableInsulation,
    cpc_is: CpcIs,
    mineral: bool,
    heavy: bool,
    cores: Option<usize>,
}

impl Made {
    /// What the words say, and the text without them.
    fn taken_from(text: &str) -> (String, Self) {
        let mut made = Self::default();
        let mut named = None;
        let mut left = Vec::new();
        let text = text.replace(['(', ')'], " ").replace("-core", "core");
        for word in text.split_whitespace() {
            let cores = word.strip_suffix("core").and_then(|n| n.parse().ok());
            match word {
                "swa" | "armoured" | "armored" => made.cpc_is = CpcIs::Armour,
                "singles" => made.cpc_is = CpcIs::Separate,
                "xlpe" | "lsf" => named = Some(CableInsulation::Xlpe),
                "pvc" => named = Some(CableInsulation::Pvc),
                "micc" | "mims" | "mineral" => made.mineral = true,
                "bare" => named = Some(CableInsulation::MineralBare),
                "covered" => named = Some(CableInsulation::MineralCovered),
                "heavy" => made.heavy = true,
                "light" | "duty" => {}
                "aluminium" | "aluminum" | "al" => made.metal = Metal::Aluminium,
                "copper" | "cu" => {}
                "core" | "cores" => {
                    made.cores = left.pop().and_then(|n: &str| n.parse().ok());
                }
                _ if cores.is_some() => made.cores = cores,
                word => left.push(word),
            }
        }
        // Armoured cable is XLPE where nothing else is said, mineral insulated cable covered: the
        // usual ones, the second the stricter one.
        let usual = match (made.mineral, made.cpc_is) {
            (true, _) => CableInsulation::MineralCovered,
            (_, CpcIs::Armour) => CableInsulation::Xlpe,
            _ => CableInsulation::Pvc,
        };
        made.insulation = named.unwrap_or(usual);
        if made.mineral {
            made.cpc_is = CpcIs::Sheath;
        }
        (left.join(" "), made)
    }

    /// The cross-section of what serves as the protective conductor, where it goes by the line.
    fn cpc(&self, line_mm2: f64, flat: bool) -> Result<Option<f64>, NotClear> {
        let cables = &Tables::shipped().cables;
        let known = match self.cpc_is {
            CpcIs::Armour => self.cores.map(|cores| cables.armour_of(line_mm2, cores)),
            CpcIs::Sheath => self
                .cores
                .map(|cores| cables.sheath_of(line_mm2, cores, self.heavy)),
            CpcIs::Core | CpcIs::Separate => {
                return Ok(cpc_of_flat(line_mm2).filter(|_| flat));
            }
        };
        match known {
            Some(Some(mm2)) => Ok(Some(mm2)),
            Some(None) => Err(NotClear(format!(
                "no armour or sheath is known of {line_mm2} mm² with so many cores: write it as a table with \
                 its cpc_mm2 and cpc_is"
            ))),
            None => Err(NotClear(
                "the number of cores is missing: the armour or the sheath goes by it, as in 10 3-core SWA 25 m"
                    .to_owned(),
            )),
        }
    }
}

/// Imperial sizes, "7/.029", as what they are in mm².
fn imperial_as_metric(text: &str) -> String {
    let cables = &Tables::shipped().cables;
    let each = text.split(' ').map(|word| {
        let word_of = word.replace("/0.", "/.");
        cables
            .imperial_size(&word_of)
            .map_or_else(|| word.to_owned(), |mm2| mm2.to_string())
    });
    each.collect::<Vec<_>>().join(" ")
}

/// The protective conductor of flat cable with one, by its line conductor, mm²; nothing for a size that
/// is not made: BS 6004, from memory.
pub(crate) fn cpc_of_flat(line_mm2: f64) -> Option<f64> {
    const SIZES: [(f64, f64); 7] = [
        (1.0, 1.0),
        (1.5, 1.0),
        (2.5, 1.5),
        (4.0, 1.5),
        (6.0, 2.5),
        (10.0, 4.0),
        (16.0, 6.0),
    ];
    let size = SIZES.into_iter().find(|(line, _)| *line == line_mm2);
    size.map(|(_, cpc)| cpc)
}

/// What is said of a cable without the name of the flat cable with its own protective conductor, and
/// whether it was named.
pub(crate) fn without_flat(text: &str) -> (String, bool) {
    const NAMES: [&str; 6] = [
        "twin and earth",
        "twin & earth",
        "twin + earth",
        "t and e",
        "t & e",
        "t&e",
    ];
    let mut without = text.to_owned();
    for name in NAMES {
        without = without.replace(name, " ");
    }
    let named = without != text;
    let words: Vec<&str> = without
        .split_whitespace()
        .filter(|word| !named || !matches!(*word, "flat" | "cable" | "of"))
        .collect();
    (words.join(" "), named)
}

/// A day as people write it, in the order that is usual in Britain: "9 June 2027", "09/06/2027",
/// "2027-06-09".
pub fn day(text: &str) -> Option<Date> {
    let text = text.trim().replace(',', " ");
    let words: Vec<String> = text
        .split_whitespace()
        .filter(|word| !word.eq_ignore_ascii_case("of") && !word.eq_ignore_ascii_case("the"))
        .map(|word| {
            let digits = word.trim_end_matches(|c: char| c.is_ascii_alphabetic());
            let ending = word.get(digits.len()..).unwrap_or_default();
            let ordinal = matches!(ending, "st" | "nd" | "rd" | "th");
            if ordinal && !digits.is_empty() {
                digits
            } else {
                word
            }
            .to_owned()
        })
        .collect();
    let text = words.join(" ");
    const FORMS: [&str; 8] = [
        "%Y-%m-%d", "%d %B %Y", "%d %b %Y", "%B %d %Y", "%b %d %Y", "%d/%m/%Y", "%d.%m.%Y",
        "%d-%m-%Y",
    ];
    let found = FORMS
        .iter()
        .find_map(|form| Date::strptime(form, &text).ok());
    // "9/6/27" is a day of another century.
    found.filter(|day| day.year() >= 1900)
}

/// A length: "18", "18 m", "18 metres".
pub fn metres(text: &str) -> Option<f64> {
    let text = text.trim().to_lowercase();
    let number = ["metres", "metre", "meters", "meter", "m"]
        .iter()
        .find_map(|unit| text.strip_suffix(unit))
        .unwrap_or(&text);
    number.trim().parse().ok()
}

/// The value as it is written in one line of a job file.
pub(crate) fn in_one_line(value: &impl Serialize) -> Option<String> {
    let value = serde_json::to_value(value).ok()?;
    toml_of(&value)
}

fn toml_of(value: &serde_json::Value) -> Option<String> {
    use serde_json::Value;
    Some(match value {
        Value::Null => return None,
        Value::Object(all) => {
            let all = all
                .iter()
                .filter_map(|(key, value)| Some(format!("{key} = {}", toml_of(value)?)));
            format!("{{ {} }}", all.collect::<Vec<_>>().join(", "))
        }
        Value::Array(all) => {
            let all: Vec<_> = all.iter().filter_map(toml_of).collect();
            format!("[{}]", all.join(", "))
        }
        Value::String(text) => toml_edit::Value::from(text.as_str()).to_string(),
        Value::Number(number)
            if number
                .as_f64()
                .is_some_and(|n| n.fract() == 0.0 && n.abs() < 1e9) =>
        {
            format!("{:.0}", number.as_f64().unwrap_or_default())
        }
        other => other.to_string(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::installation::RcdTest;
    use crate::limits::SystemVoltage;
    use crate::terms::Stage;

    /// Every list with the word that it is for, so that no list names a word that is none.
    type Known = fn(&str) -> bool;

    fn all() -> Vec<(&'static Words, Known)> {
        fn known<T: DeserializeOwned>(word: &str) -> bool {
            read::<T>(word).is_some()
        }
        vec![
            (&JOB_KINDS, known::<JobKind>),
            (&STAGES, known::<Stage>),
            (&EARTHINGS, known::<Earthing>),
            (&SOURCES, known::<Source>),
            (&USES, known::<InstrumentUse>),
            (&CIRCUIT_KINDS, known::<CircuitKind>),
            (&DEVICE_KINDS, known::<DeviceKind>),
            (&SYSTEMS, known::<SystemVoltage>),
            (&GIVEN_BY, known::<crate::installation::GivenBy>),
            (&METALS, known::<Metal>),
            (&CABLE_INSULATIONS, known::<CableInsulation>),
            (&CPCS, known::<CpcIs>),
            (&DELAYS, known::<RcdDelay>),
            (&RCD_TESTS, known::<RcdTest>),
        ]
    }

    #[test]
    fn every_list_names_words_of_the_job_file_only_and_none_twice() {
        for (words, known) in all() {
            let mut seen = std::collections::BTreeSet::new();
            for (word, others) in words.usual {
                assert!(known(word), "{word} is no word of the job file");
                for other in [word].into_iter().chain(*others) {
                    assert!(seen.insert(squeezed(other)), "{other} stands twice");
                    assert!(
                        words.unclear(other).is_none(),
                        "{other} is clear and unclear"
                    );
                }
            }
        }
    }

    fn device(text: &str) -> (String, f64, Option<f64>) {
        let mut words = DeviceWords::default();
        assert!(words.take(text), "{text}");
        let device = words.device().unwrap().unwrap();
        let rcd = words.residual(30.0);
        (
            device.kind.to_string(),
            device.amps,
            rcd.map(|rcd| rcd.milliamps),
        )
    }

    #[test]
    fn devices_are_taken_as_they_are_written() {
        for (text, kind, amps, milliamps) in [
            ("B16 RCBO", "BS EN 61009 B", 16.0, Some(30.0)),
            ("16 B", "BS EN 60898 B", 16.0, None),
            ("32 amp B", "BS EN 60898 B", 32.0, None),
            ("32A type C MCB", "BS EN 60898 C", 32.0, None),
            ("B32 rcbo 30 mA type A", "BS EN 61009 B", 32.0, Some(30.0)),
            ("BS EN 61009 B 20", "BS EN 61009 B", 20.0, Some(30.0)),
            ("BS EN 60898 type D 10 A 6 kA", "BS EN 60898 D", 10.0, None),
            ("BS 88-3 80 A", "BS 88-3", 80.0, None),
            ("30 A BS3036", "BS 3036", 30.0, None),
            ("30A rewireable fuse", "BS 3036", 30.0, None),
            ("20A B type", "BS EN 60898 B", 20.0, None),
            (
                "32A type B RCBO 30mA type A",
                "BS EN 61009 B",
                32.0,
                Some(30.0),
            ),
            ("B16 RCBO 30", "BS EN 61009 B", 16.0, Some(30.0)),
            ("13 A plug fuse", "BS 1362", 13.0, None),
            ("b10 rcbo 10ma", "BS EN 61009 B", 10.0, Some(10.0)),
            ("B10 RCBO", "BS EN 61009 B", 10.0, Some(30.0)),
            ("BS 1361 60 A", "BS 1361", 60.0, None),
            ("BS 3871 type 2 30 A", "BS 3871 2", 30.0, None),
            ("30 A type 2 MCB", "BS 3871 2", 30.0, None),
            ("type 3 20A", "BS 3871 3", 20.0, None),
            ("BS 3871 C 32", "BS 3871 C", 32.0, None),
            ("BS 88-6 32 A", "BS 88-6", 32.0, None),
            ("250 A MCCB trips at 2000 A", "BS EN 60947-2", 250.0, None),
            (
                "BS EN 60947-2 100 A instantaneous 800",
                "BS EN 60947-2",
                100.0,
                None,
            ),
        ] {
            assert_eq!(device(text), (kind.to_owned(), amps, milliamps), "{text}");
        }
    }

    #[test]
    fn what_is_missing_of_a_device_is_said() {
        for (text, told) in [
            ("rcbo 30", "type and rated current are missing"),
            ("32 amp", "add B, C or D"),
            ("type b", "rated current"),
        ] {
            let mut words = DeviceWords::default();
            assert!(words.take(text), "{text}");
            let why = words.device().unwrap_err().to_string();
            assert!(why.contains(told), "{text}: {why}");
        }
    }

    #[test]
    fn what_is_no_device_leaves_what_was_said_as_it_was() {
        let mut words = DeviceWords::default();
        let twice = ["B32 54", "32 A 20 A", "B C 32", "B6 FCU"];
        let others = ["8 sockets", "boat store", "2.5/1.5", "18 m", "", "3"];
        for text in others.into_iter().chain(twice) {
            assert!(!words.take(text), "{text}");
            assert!(words.is_empty(), "{text}");
        }
    }

    #[test]
    fn cables_are_taken_as_they_are_written() {
        for (text, line, cpc, length) in [
            ("2.5/1.5", 2.5, 1.5, None),
            ("2.5/1.5 mm², 18 m", 2.5, 1.5, Some(18.0)),
            ("10 / 4 mm2", 10.0, 4.0, None),
            ("1.5 and 1 31 metres", 1.5, 1.0, Some(31.0)),
        ] {
            let cable: Cable = text.parse().unwrap();
            assert_eq!(
                (cable.line_mm2, cable.cpc_mm2, cable.metres),
                (line, cpc, length),
                "{text}"
            );
        }
        for wrong in ["2.5", "2.5/", "a/b", "2.5/1.5 long"] {
            assert!(wrong.parse::<Cable>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn days_are_taken_in_the_british_order_and_nothing_else_is_one() {
        let wanted: Date = "2027-06-09".parse().unwrap();
        for text in [
            "2027-06-09",
            "9 June 2027",
            "9th June 2027",
            "the 9th of June, 2027",
            "09 Jun 2027",
            "June 9, 2027",
            "09/06/2027",
            "9/6/2027",
            "9.6.2027",
            "9-6-2027",
        ] {
            assert_eq!(day(text), Some(wanted), "{text}");
        }
        for text in [
            "9/6/27",
            "31/02/2027",
            "13/13/2027",
            "06/31/2027",
            "June 2027",
            "soon",
            "",
        ] {
            assert_eq!(day(text), None, "{text}");
        }
    }

    #[test]
    fn flat_cable_with_its_own_protective_conductor_is_named_or_sized() {
        for (text, line, cpc, metres) in [
            ("2.5 and 1.5 twin and earth", 2.5, 1.5, None),
            ("2.5 twin & earth 18 m", 2.5, 1.5, Some(18.0)),
            ("10 mm2 flat twin and earth", 10.0, 4.0, None),
            ("6/4 t&e", 6.0, 4.0, None),
            ("6 by 2.5", 6.0, 2.5, None),
        ] {
            let cable: Cable = text.parse().unwrap();
            assert_eq!(
                (cable.line_mm2, cable.cpc_mm2, cable.metres),
                (line, cpc, metres),
                "{text}"
            );
        }
        for text in ["2.5", "3 twin and earth", "twin and earth"] {
            assert!(text.parse::<Cable>().is_err(), "{text}");
        }
    }

    #[test]
    fn cables_of_other_makes_are_taken_as_they_are_written() {
        use CableInsulation::{MineralBare, MineralCovered, Pvc, Xlpe};
        for (text, line, cpc, insulation, cpc_is, metres) in [
            (
                "10 3-core SWA 25 m",
                10.0,
                39.0,
                Xlpe,
                CpcIs::Armour,
                Some(25.0),
            ),
            (
                "16/16 swa xlpe 40 m",
                16.0,
                16.0,
                Xlpe,
                CpcIs::Core,
                Some(40.0),
            ),
            (
                "25 mm2 4 core SWA PVC",
                25.0,
                70.0,
                Pvc,
                CpcIs::Armour,
                None,
            ),
            (
                "2.5/2.5 singles 20 m",
                2.5,
                2.5,
                Pvc,
                CpcIs::Separate,
                Some(20.0),
            ),
            (
                "1.5 2-core MICC 12 m",
                1.5,
                6.3,
                MineralCovered,
                CpcIs::Sheath,
                Some(12.0),
            ),
            (
                "4 2 core micc heavy bare",
                4.0,
                16.0,
                MineralBare,
                CpcIs::Sheath,
                None,
            ),
            (
                "7/.029 and 3/.029 12 m",
                2.98,
                1.28,
                Pvc,
                CpcIs::Core,
                Some(12.0),
            ),
            ("7/0.029 with 7/.029", 2.98, 2.98, Pvc, CpcIs::Core, None),
        ] {
            let cable: Cable = text.parse().unwrap();
            assert_eq!(
                (
                    cable.line_mm2,
                    cable.cpc_mm2,
                    cable.insulation,
                    cable.cpc_is,
                    cable.metres
                ),
                (line, cpc, insulation, cpc_is, metres),
                "{text}"
            );
        }
        let cable: Cable = "35/16 aluminium xlpe 30 m".parse().unwrap();
        assert_eq!((cable.metal, cable.insulation), (Metal::Aluminium, Xlpe));
        let why = "10 SWA 25 m".parse::<Cable>().unwrap_err().to_string();
        assert!(why.contains("number of cores"), "{why}");
    }

    #[test]
    fn usual_words_are_one_thing_or_are_answered() {
        assert_eq!("tn-c-s".parse(), Ok(Earthing::TnCS));
        assert_eq!("TNCS".parse(), Ok(Earthing::TnCS));
        assert_eq!("EICR".parse(), Ok(JobKind::PeriodicInspection));
        assert_eq!("cooker".parse(), Ok(CircuitKind::SinglePoint));
        assert_eq!("B".parse(), Ok(DeviceKind::BreakerB));
        let why = "socket".parse::<CircuitKind>().unwrap_err();
        assert!(why.to_string().contains("ring"), "{why}");
        let why = "initial-verfication".parse::<JobKind>().unwrap_err();
        assert!(
            why.to_string()
                .contains("did you mean \"initial-verification\"?"),
            "{why}"
        );
    }
}
