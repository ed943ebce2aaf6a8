//! Numbers, values and lengths of time as they are spoken: digit by digit as in ICAO
//! radiotelephony (Annex 10 Vol. II), so that "fifteen" is never taken for "fifty".

use crate::quantity::{Number, Reading, Relation, Unit};
use jiff::SignedDuration;

/// A number digit by digit: "zero decimal three four".
pub fn digits(number: Number) -> String {
    let word = |c| match c {
        '0' => "zero",
        '1' => "one",
        '2' => "two",
        '3' => "three",
        '4' => "four",
        '5' => "five",
        '6' => "six",
        '7' => "seven",
        '8' => "eight",
        '9' => "nine",
        _ => "decimal",
    };
    let words: Vec<_> = number.to_string().chars().map(word).collect();
    words.join(" ")
}

/// A value with its unit, as said: "over nine nine nine megohms".
pub fn value(reading: &Reading) -> String {
    let number = reading.number.map(digits).unwrap_or_default();
    let unit = reading.unit.map(Unit::spoken).unwrap_or_default();
    let text = match reading.relation {
        Relation::Exact => format!("{number} {unit}"),
        Relation::Over => format!("over {number} {unit}"),
        Relation::Under => format!("under {number} {unit}"),
        Relation::OverRange => "over range".to_owned(),
    };
    text.trim().to_owned()
}

/// A length of time in words, to the minute.
pub fn duration(time: SignedDuration) -> String {
    let minutes = u32::try_from((time.as_secs() + 30) / 60).unwrap_or(0);
    match minutes {
        0 => "less than a minute".to_owned(),
        1..60 => plural(minutes, "minute", "minutes"),
        _ => format!(
            "{} {}",
            plural(minutes / 60, "hour", "hours"),
            plural(minutes % 60, "minute", "minutes")
        ),
    }
}

/// "1 step is", "2 steps are".
pub(super) fn plural(n: u32, one: &str, many: &str) -> String {
    if n == 1 {
        format!("1 {one}")
    } else {
        format!("{n} {many}")
    }
}

/// With a capital first letter.
pub fn capital(text: &str) -> String {
    let mut chars = text.chars();
    match chars.next() {
        Some(first) => first.to_uppercase().chain(chars).collect(),
        None => String::new(),
    }
}
