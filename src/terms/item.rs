use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// The number of an item, "4.3" or "5.12.1": it is said "item four point three".
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(try_from = "String", into = "String")]
#[schemars(with = "String")]
pub struct ItemNumber([u16; 3]);

/// Stands where a number has no third part.
const NONE: u16 = 0;

impl ItemNumber {
    /// From its parts, the section first; nothing where they are not two or three from 1 to 99.
    pub fn of(parts: &[u16]) -> Option<Self> {
        let numbers = match *parts {
            [section, item] => [section, item, NONE],
            [section, item, part] if part != NONE => [section, item, part],
            _ => return None,
        };
        let whole = parts.iter().all(|part| (1..100).contains(part));
        whole.then_some(Self(numbers))
    }

    /// Its parts, the section first.
    pub fn parts(&self) -> &[u16] {
        let parts = if self.0[2] == NONE { 2 } else { 3 };
        &self.0[..parts]
    }
}

impl fmt::Display for ItemNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parts: Vec<String> = self.parts().iter().map(u16::to_string).collect();
        f.write_str(&parts.join("."))
    }
}

impl From<ItemNumber> for String {
    fn from(number: ItemNumber) -> Self {
        number.to_string()
    }
}

impl FromStr for ItemNumber {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let parts: Result<Vec<u16>, _> = text.split('.').map(str::parse).collect();
        parts
            .ok()
            .and_then(|parts| Self::of(&parts))
            .ok_or_else(|| {
                format!(
                    "`{text}` is no number of an item: write it as \"4.3\", each part from 1 to 99"
                )
            })
    }
}

impl TryFrom<String> for ItemNumber {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}
