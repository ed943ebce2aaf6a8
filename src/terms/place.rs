use serde::{Deserialize, Serialize};
use std::fmt;

/// A place on a circuit: an accessory of the job, by kind and number or by its own name.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Place {
    /// The words of the place without its number: "socket", "door entry unit", "board".
    pub name: String,
    /// Its number on the circuit, when it has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<u16>,
}

/// What stands for the name of a place of which only the number was said.
const NUMBER: &str = "number";

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

    /// The board.
    pub fn board() -> Self {
        Self {
            name: "board".to_owned(),
            number: None,
        }
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
