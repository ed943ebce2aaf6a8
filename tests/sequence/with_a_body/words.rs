//! Numbers and places as a person says them.

const UNITS: [&str; 20] = [
    "nought",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
];

/// Digit by digit: "nought point four five".
pub fn digits(number: &str) -> String {
    let words: Vec<&str> = number
        .chars()
        .map(|c| match c.to_digit(10) {
            Some(digit) => UNITS[digit as usize],
            None => "point",
        })
        .collect();
    words.join(" ")
}

pub fn count(number: u16) -> String {
    UNITS
        .get(usize::from(number))
        .map_or_else(|| number.to_string(), |word| (*word).to_owned())
}

/// A number in words or figures.
pub fn number_of(words: &str) -> Option<u16> {
    let words = words.trim();
    let known = UNITS.iter().position(|word| *word == words);
    known
        .and_then(|n| u16::try_from(n).ok())
        .or_else(|| words.parse().ok())
}

/// "socket 2" said aloud.
pub fn place(written: &str) -> String {
    match written.rsplit_once(' ') {
        Some((name, number)) if number.parse::<u16>().is_ok() => {
            format!("{name} {}", count(number.parse().unwrap()))
        }
        _ => written.to_owned(),
    }
}
