use serde::{Deserialize, Serialize};
use std::fmt;
use std::hash::{Hash, Hasher};
use std::str::FromStr;

/// A place on a circuit: an accessory of the job, by kind and number or by its own name. What goes by
/// several names is one place: surge protection is the surge protector.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Place {
    /// The words of the place without its number: "socket", "door entry unit", "board".
    pub name: String,
    /// Its number on the circuit, when it has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<u16>,
}

/// What stands for the name of a place of which only the number was said.
const NUMBER: &str = "number";

/// What surge protection is called; the first is what the program says.
const SURGE_PROTECTION: [&str; 4] = ["surge protector", "surge protection", "s p d", "spd"];

impl PartialEq for Place {
    fn eq(&self, other: &Self) -> bool {
        self.known_as() == other.known_as()
    }
}

impl Eq for Place {}

impl Hash for Place {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.known_as().hash(state);
    }
}

impl Place {
    /// A place of which only the number was said: "out at three".
    pub fn numbered(number: u16) -> Self {
        Self {
            name: NUMBER.to_owned(),
            number: Some(number),
        }
    }

    /// Its number, where nothing else of it was said.
    pub fn number_alone(&self) -> Option<u16> {
        self.number.filter(|_| self.name == NUMBER)
    }

    /// The one name of what goes by several, and its number.
    fn known_as(&self) -> (&str, Option<u16>) {
        let name = match self.is_surge_protection() {
            true => SURGE_PROTECTION[0],
            false => &self.name,
        };
        (name, self.number)
    }

    /// Surge protection, as a prompt calls it.
    pub fn surge_protection() -> Self {
        Self {
            name: SURGE_PROTECTION[0].to_owned(),
            number: None,
        }
    }

    /// Whether it is surge protection, by one of the words it goes by.
    pub fn is_surge_protection(&self) -> bool {
        SURGE_PROTECTION.contains(&self.name.as_str())
    }

    /// Whether it may be an outlet of a circuit: not the board or what feeds it, nor what is bonded.
    pub fn may_be_an_outlet(&self) -> bool {
        const NONE: [&str; 9] = [
            "board",
            "main switch",
            "consumer unit",
            "origin",
            "isolator",
            "water pipe",
            "gas pipe",
            "oil pipe",
            "structural steel",
        ];
        !self.is_surge_protection() && !NONE.contains(&self.name.as_str())
    }

    /// The board.
    pub fn board() -> Self {
        Self {
            name: "board".to_owned(),
            number: None,
        }
    }
}

/// "socket 3", as it is shown: what stands last is its number, where it is one.
impl FromStr for Place {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let words: Vec<&str> = text.split_whitespace().collect();
        let (name, number) = match words.split_last() {
            Some((last, before)) if !before.is_empty() => match last.parse() {
                Ok(number) => (before, Some(number)),
                Err(_) => (words.as_slice(), None),
            },
            Some(_) => (words.as_slice(), None),
            None => return Err("a place without a name: write it as \"socket 3\"".to_owned()),
        };
        Ok(Self {
            name: name.join(" ").to_lowercase(),
            number,
        })
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.name)?;
        if let Some(number) = self.number {
            write!(f, " {number}")?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn surge_protection_is_one_place_by_any_of_its_names() {
        for name in SURGE_PROTECTION {
            assert_eq!(name.parse(), Ok(Place::surge_protection()));
            let second: Place = format!("{name} 2").parse().unwrap();
            assert_ne!(second, Place::surge_protection());
            assert_eq!(second, "surge protector 2".parse().unwrap());
        }
        assert_ne!("pump".parse(), Ok(Place::surge_protection()));
    }

    #[test]
    fn what_is_shown_is_read_back() {
        for text in ["socket 3", "door entry unit", "board", "socket"] {
            assert_eq!(text.parse::<Place>().unwrap().to_string(), text);
        }
        assert_eq!("Socket 12".parse::<Place>().unwrap().number, Some(12));
        assert!("  ".parse::<Place>().is_err());
    }
}
