use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// A set of conductors at one end of a measurement: one, or several joined together.
///
/// Written with `+` between joined conductors: `L`, `N`, `E`, `L1`, `L+N`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Conductors(u8);

impl Conductors {
    /// Line of a single-phase circuit.
    pub const L: Self = Self(1);
    /// Neutral.
    pub const N: Self = Self(2);
    /// Earth: the protective conductor or the means of earthing.
    pub const E: Self = Self(4);
    /// First line of a three-phase circuit.
    pub const L1: Self = Self(8);
    /// Second line of a three-phase circuit.
    pub const L2: Self = Self(16);
    /// Third line of a three-phase circuit.
    pub const L3: Self = Self(32);

    /// Every line of a three-phase circuit.
    pub const LINES: Self = Self::L1.with(Self::L2).with(Self::L3);

    const NAMES: [(Self, &'static str, &'static str); 6] = [
        (Self::L, "L", "line"),
        (Self::L1, "L1", "line one"),
        (Self::L2, "L2", "line two"),
        (Self::L3, "L3", "line three"),
        (Self::N, "N", "neutral"),
        (Self::E, "E", "earth"),
    ];

    /// These and those, joined.
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether every conductor of `other` is among these.
    pub const fn contains(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }

    /// Whether the two sets share a conductor.
    pub const fn overlaps(self, other: Self) -> bool {
        self.0 & other.0 != 0
    }

    /// These; and where "line" is among them without its number, every line.
    pub const fn with_every_line(self) -> Self {
        if self.contains(Self::L) {
            self.with(Self::LINES)
        } else {
            self
        }
    }

    /// How many conductors are joined here.
    pub const fn count(self) -> u32 {
        self.0.count_ones()
    }

    /// As said aloud: "line", "line and neutral", "all lines".
    pub fn spoken(self) -> String {
        let lines = Self::LINES;
        if self.contains(lines) {
            let rest = Self(self.0 & !lines.0);
            return if rest.0 == 0 {
                "all lines".to_owned()
            } else {
                format!("all lines and {}", rest.spoken())
            };
        }
        self.join(" and ", |(_, _, spoken)| spoken)
    }

    fn join(
        self,
        between: &str,
        name: fn((Self, &'static str, &'static str)) -> &'static str,
    ) -> String {
        let names: Vec<_> = Self::NAMES
            .into_iter()
            .filter(|(c, _, _)| self.contains(*c))
            .map(name)
            .collect();
        names.join(between)
    }
}

impl fmt::Display for Conductors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.join("+", |(_, short, _)| short))
    }
}

impl FromStr for Conductors {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        text.split('+').try_fold(Self(0), |all, name| {
            Self::NAMES
                .into_iter()
                .find(|(_, short, _)| *short == name)
                .map(|(c, _, _)| all.with(c))
                .ok_or_else(|| format!("`{name}` is not a conductor: use L, N, E, L1, L2 or L3"))
        })
    }
}

impl TryFrom<String> for Conductors {
    type Error = String;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse()
    }
}

impl From<Conductors> for String {
    fn from(conductors: Conductors) -> Self {
        conductors.to_string()
    }
}

/// Between which conductors a reading was taken, in the trade's order: line before neutral before
/// earth. Written `L-N`, `L-E`, `N-E`, `L1-L2`, `L+N-E`.
///
/// ```
/// use bothhands::quantity::{Conductors, Pair};
/// assert_eq!(Pair::new(Conductors::E, Conductors::L).unwrap(), Pair::LE);
/// assert_eq!(Pair::LE.spoken(), "line to earth");
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Pair {
    from: Conductors,
    to: Conductors,
}

impl Pair {
    /// Line to neutral.
    pub const LN: Self = Self::ordered(Conductors::L, Conductors::N);
    /// Line to earth.
    pub const LE: Self = Self::ordered(Conductors::L, Conductors::E);
    /// Neutral to earth.
    pub const NE: Self = Self::ordered(Conductors::N, Conductors::E);
    /// Line and neutral joined, to earth.
    pub const LN_E: Self = Self::ordered(Conductors::L.with(Conductors::N), Conductors::E);

    /// Every pair of a single-phase circuit, in the order it is proved dead and insulation-tested.
    pub const SINGLE_PHASE: [Self; 3] = [Self::LN, Self::LE, Self::NE];

    /// Every pair of a three-phase and neutral circuit, in the order of common practice.
    pub const THREE_PHASE: [Self; 10] = [
        Self::ordered(Conductors::L1, Conductors::L2),
        Self::ordered(Conductors::L2, Conductors::L3),
        Self::ordered(Conductors::L1, Conductors::L3),
        Self::ordered(Conductors::L1, Conductors::N),
        Self::ordered(Conductors::L2, Conductors::N),
        Self::ordered(Conductors::L3, Conductors::N),
        Self::ordered(Conductors::L1, Conductors::E),
        Self::ordered(Conductors::L2, Conductors::E),
        Self::ordered(Conductors::L3, Conductors::E),
        Self::NE,
    ];

    /// Each line to neutral, of a three-phase circuit.
    pub const LINES_TO_NEUTRAL: [Self; 3] = [
        Self::THREE_PHASE[3],
        Self::THREE_PHASE[4],
        Self::THREE_PHASE[5],
    ];

    /// Each line to each other, of a three-phase circuit.
    pub const BETWEEN_LINES: [Self; 3] = [
        Self::THREE_PHASE[0],
        Self::THREE_PHASE[1],
        Self::THREE_PHASE[2],
    ];

    /// Each line to earth, of a three-phase circuit.
    pub const LINES_TO_EARTH: [Self; 3] = [
        Self::THREE_PHASE[6],
        Self::THREE_PHASE[7],
        Self::THREE_PHASE[8],
    ];

    const fn ordered(from: Conductors, to: Conductors) -> Self {
        Self { from, to }
    }

    /// The pair between two sets of conductors, in the trade's order whichever way it was said.
    /// Nothing when the sets are empty or share a conductor.
    pub fn new(a: Conductors, b: Conductors) -> Option<Self> {
        let rank = |c: Conductors| {
            Conductors::NAMES
                .iter()
                .position(|(one, _, _)| c.contains(*one))
        };
        let (ra, rb) = (rank(a)?, rank(b)?);
        if a.overlaps(b) {
            return None;
        }
        Some(if ra < rb {
            Self::ordered(a, b)
        } else {
            Self::ordered(b, a)
        })
    }

    /// The first end.
    pub fn from(self) -> Conductors {
        self.from
    }

    /// The second end.
    pub fn to(self) -> Conductors {
        self.to
    }

    /// Whether one end is earth.
    pub fn to_earth(self) -> bool {
        self.to == Conductors::E
    }

    /// As said aloud: "line to neutral".
    pub fn spoken(self) -> String {
        format!("{} to {}", self.from.spoken(), self.to.spoken())
    }
}

impl fmt::Display for Pair {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-{}", self.from, self.to)
    }
}

impl FromStr for Pair {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let (a, b) = text
            .split_once('-')
            .ok_or_else(|| format!("`{text}` is not a pair of conductors such as L-N"))?;
        Self::new(a.parse()?, b.parse()?)
            .ok_or_else(|| format!("`{text}` is not a pair of different conductors"))
    }
}

impl TryFrom<String> for Pair {
    type Error = String;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse()
    }
}

impl From<Pair> for String {
    fn from(pair: Pair) -> Self {
        pair.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pair_is_written_and_read_back() {
        for pair in Pair::THREE_PHASE
            .into_iter()
            .chain(Pair::SINGLE_PHASE)
            .chain([Pair::LN_E])
        {
            assert_eq!(pair.to_string().parse::<Pair>(), Ok(pair));
        }
    }

    #[test]
    fn a_pair_said_backwards_is_the_same_pair() {
        assert_eq!("E-N".parse::<Pair>(), Ok(Pair::NE));
        assert_eq!("L2-L1".parse::<Pair>().unwrap().to_string(), "L1-L2");
    }

    #[test]
    fn a_conductor_has_no_resistance_to_itself() {
        assert!("L-L".parse::<Pair>().is_err());
        assert!("L+N-N".parse::<Pair>().is_err());
    }
}
