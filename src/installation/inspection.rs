//! What is looked at before anything is tested: the items of a schedule of inspection, and what was
//! agreed about how far the inspection goes. BS 7671 642 and 651 to 653.

use crate::terms::ItemNumber;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// One thing to be looked at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct InspectionItem {
    /// By which it is called: "4.3".
    pub number: ItemNumber,
    /// What is looked at, in a few words.
    pub text: String,
    /// The regulations that it rests on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub regulation: Option<String>,
    /// Whether covers must be off for it, so that it comes after isolation.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub dead: bool,
}

/// Items that belong together.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct InspectionSection {
    /// The first part of its items' numbers.
    pub number: u16,
    /// What it is about.
    pub name: String,
    /// In the order in which they are looked at.
    pub items: Vec<InspectionItem>,
}

/// A list of items: one of these is a file that a job names, or that ships.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ItemList {
    /// Where its numbers and texts come from; printed below the schedule of inspection.
    pub edition: String,
    /// The sections, in order.
    #[serde(rename = "section")]
    pub sections: Vec<InspectionSection>,
}

/// The inspection that belongs to a job.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Inspection {
    /// A file with a list of items of your own, beside the job file; the list that ships when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub list: Option<String>,
    /// What of the installation the visit covers.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub extent: Option<String>,
    /// What was agreed to be left out, with its reason.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub agreed_limitations: Option<String>,
    /// With whom the limitations were agreed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub agreed_with: Option<String>,
    /// What could not be done on the day, with its reason.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operational_limitations: Option<String>,
    /// The items themselves, where they stand in no file of their own. The log keeps them here.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub items: Option<ItemList>,
}

/// The list that ships.
const SHIPPED: &str = include_str!("inspection-items.toml");

impl ItemList {
    /// Reads a list of items.
    ///
    /// # Errors
    /// What is wrong with it: no TOML of that form, a number twice, an item outside its section.
    pub fn parse(text: &str) -> Result<Self, String> {
        let list: Self = toml::from_str(text).map_err(|error| error.message().to_owned())?;
        list.checked()
    }

    /// The same list, when its numbers are right.
    ///
    /// # Errors
    /// A number that stands there twice or outside its section, or no item at all.
    pub fn checked(self) -> Result<Self, String> {
        let mut seen = BTreeSet::new();
        for section in &self.sections {
            for item in &section.items {
                if item.number.parts().first() != Some(&section.number) {
                    return Err(format!(
                        "item {} stands in section {}: an item's number begins with its section's",
                        item.number, section.number
                    ));
                }
                if !seen.insert(&item.number) {
                    return Err(format!("item {} stands there twice", item.number));
                }
            }
        }
        if seen.is_empty() {
            return Err("it has no items: write [[section]] with items = [...]".to_owned());
        }
        Ok(self)
    }

    /// The list that ships.
    ///
    /// # Errors
    /// When it is not whole, which a test rules out.
    pub fn shipped() -> Result<Self, String> {
        Self::parse(SHIPPED)
    }

    /// All items, in order.
    pub fn all(&self) -> impl Iterator<Item = &InspectionItem> {
        self.sections.iter().flat_map(|section| &section.items)
    }
}

impl Inspection {
    /// All items, in order.
    pub fn all(&self) -> impl Iterator<Item = &InspectionItem> {
        self.items.iter().flat_map(ItemList::all)
    }

    /// The item with this number.
    pub fn item(&self, number: &ItemNumber) -> Option<&InspectionItem> {
        self.all().find(|item| item.number == *number)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_that_ships_is_whole() {
        let list = ItemList::shipped().unwrap();
        assert!(list.all().count() > 60);
        assert!(list.edition.contains("from memory"));
        assert!(list.all().any(|item| item.dead));
    }

    #[test]
    fn a_list_that_is_not_whole_is_refused() {
        let list = |items: &str| {
            ItemList::parse(&format!(
                "edition = 'ours'\n[[section]]\nnumber = 1\nname = 'one'\nitems = [{items}]"
            ))
        };
        assert!(list("{ number = '1.1', text = 'a' }").is_ok());
        for wrong in [
            "",
            "{ number = '2.1', text = 'a' }",
            "{ number = '1', text = 'a' }",
            "{ number = '1.100', text = 'a' }",
            "{ number = '1.1', text = 'a' }, { number = '1.1', text = 'b' }",
        ] {
            assert!(list(wrong).is_err(), "{wrong}");
        }
    }
}
