//! Which words mean the same, and which mean nothing by themselves.

/// Words of one meaning, each group under its first word.
const SAME: &[&[&str]] = &[
    &["zero", "oh", "nought"],
    &["one", "a"],
    &["three", "tree"],
    &["four", "fower"],
    &["five", "fife"],
    &["nine", "niner"],
    &["point", "decimal"],
    &["over", "greater", "more", "above"],
    &["under", "less", "below"],
    &["line", "live", "l"],
    &["neutral", "n"],
    &["earth", "e"],
    &["affirm", "affirmative", "yes"],
    &["negative", "wrong"],
    &["done", "ready", "complete", "completed"],
    &["proved", "proven"],
    &["lamp", "lamps"],
    &["cover", "covers"],
    &["lock", "locks"],
    &["fuse", "fuses"],
    &["connector", "connectors"],
    &["linked", "joined"],
    &["all", "everything"],
    &["client", "customer"],
    &["volts", "volt"],
    &["ohms", "ohm"],
    &["milliohms", "milliohm"],
    &["kilohms", "kilohm"],
    &["megohms", "megohm", "meg", "megs"],
    &["gigohms", "gigohm", "gig", "gigs"],
    &["amps", "amp"],
    &["milliamps", "milliamp"],
    &["kiloamps", "kiloamp"],
    &["milliseconds", "millisecond"],
    &["fail", "failed"],
    &["works", "passed"],
];

/// Words that change no meaning where the grammars use them. Not "at" nor "reads": "eighty at point
/// six" is not "eighty point six", and "socket reads three point five" not "socket three point five".
const NONE: &[&str] = &[
    "to", "and", "than", "is", "are", "the", "please", "it", "number", "cycle", "still",
];

/// The class of a word: words of one meaning share it, and a word of its own is its own class.
/// Nothing for words that carry no meaning.
pub(super) fn class(word: &str) -> Option<&str> {
    if NONE.contains(&word) {
        return None;
    }
    let group = SAME.iter().find(|group| group.contains(&word));
    Some(
        group
            .and_then(|group| group.first())
            .copied()
            .unwrap_or(word),
    )
}
