//! What the program once said or did wrongly, a test for each, in words and typed lines as a person
//! says them. Their names begin with the number that the list of them gives.

mod eyes;
mod found;
mod keeping;
mod limits;
mod sequence;
mod since;
mod visits;

use std::collections::BTreeSet;

/// The numbers of the list; 31 and 32 are tested with the screen and with changed jobs, 37 with the model's sums.
#[test]
fn every_line_of_the_list_has_a_test_named_after_it() {
    let elsewhere = BTreeSet::from([31, 32, 37]);
    let wanted: BTreeSet<u32> = (1..=37).filter(|n| !elsewhere.contains(n)).collect();
    let texts = [
        include_str!("keeping.rs"),
        include_str!("limits.rs"),
        include_str!("sequence.rs"),
    ];
    let named: BTreeSet<u32> = texts
        .iter()
        .flat_map(|text| text.split("#[test]").skip(1))
        .filter_map(|test| {
            let name = test.split_once("fn ")?.1;
            let name = name
                .strip_prefix("line_")
                .or_else(|| name.strip_prefix("wrong_"))?;
            name.get(..2)?.parse().ok()
        })
        .collect();
    assert_eq!(named, wanted);
}
