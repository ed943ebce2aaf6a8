//! Numbers, values and lengths of time as they are spoken: digit by digit as in ICAO
//! radiotelephony (Annex 10 Vol. II), so that "fifteen" is never taken for "fifty".

use crate::quantity::{Number, Reading, Relation};
use crate::terms::Wording;
use jiff::SignedDuration;

/// A number digit by digit: "zero decimal three four", "nought point three four".
pub fn digits(number: Number, wording: Wording) -> String {
    let words: Vec<_> = number
        .to_string()
        .chars()
        .map(|c| wording.digit(c))
        .collect();
    words.join(" ")
}

/// A value without its unit, as said: "over nine nine nine".
pub fn bare_value(reading: &Reading, wording: Wording) -> String {
    let number = reading
        .number
        .map(|number| digits(number, wording))
        .unwrap_or_default();
    match reading.relation {
        Relation::Exact => number,
        Relation::Over => format!("over {number}"),
        Relation::Under => format!("under {number}"),
        Relation::OverRange => "over range".to_owned(),
    }
}

/// The same digit three times in a row in one word, as the grammar takes it too: "over triple nine".
pub fn three_as_one(value: &str) -> String {
    let words: Vec<&str> = value.split(' ').collect();
    let each = words
        .chunk_by(|one, next| one == next)
        .map(|same| match same {
            [word, _, _] => format!("triple {word}"),
            same => same.join(" "),
        });
    each.collect::<Vec<_>>().join(" ")
}

/// A value with its unit, as said: "over nine nine nine megohms".
pub fn value(reading: &Reading, wording: Wording) -> String {
    let bare = bare_value(reading, wording);
    match reading
        .unit
        .filter(|_| reading.relation != Relation::OverRange)
    {
        Some(unit) => format!("{bare} {}", unit.spoken()).trim().to_owned(),
        None => bare,
    }
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
pub fn plural(n: impl TryInto<u32>, one: &str, many: &str) -> String {
    let n = n.try_into().unwrap_or(u32::MAX);
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
