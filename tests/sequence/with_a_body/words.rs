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

/// "4.20" said aloud: "four point twenty".
pub fn item(number: &str) -> String {
    const TENS: [&str; 4] = ["twenty", "thirty", "forty", "fifty"];
    let part = |part: &str| {
        let number: usize = part.parse().unwrap_or(0);
        match (number / 10, number % 10) {
            _ if number < UNITS.len() => UNITS[number].to_owned(),
            (tens, 0) => TENS[tens - 2].to_owned(),
            (tens, one) => format!("{} {}", TENS[tens - 2], UNITS[one]),
        }
    };
    number
        .split('.')
        .map(part)
        .collect::<Vec<_>>()
        .join(" point ")
}

/// Digits as they are heard, in figures: "zero decimal five".
pub fn figures(heard: &str) -> String {
    let figure = |word: &str| match word {
        "zero" => "0".to_owned(),
        "decimal" | "point" => ".".to_owned(),
        word => number_of(word).map_or_else(String::new, |n| n.to_string()),
    };
    heard.split(' ').map(figure).collect()
}
