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

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.name)?;
        if let Some(number) = self.number {
            write!(f, " {number}")?;
        }
        Ok(())
    }
}
