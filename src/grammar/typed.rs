//! Typed lines made into the words that would have been spoken.

use super::number;
use regex::Regex;
use std::sync::LazyLock;

/// Symbols and short forms, as whole tokens, and how they are said.
const SHORT: &[(&str, &str)] = &[
    (">", "over"),
    ("<", "under"),
    (">=", "over"),
    ("<=", "under"),
    ("+", "plus"),
    ("&", "and"),
    ("@", "at"),
    ("ω", "ohms"),
    ("mω", "milliohms"),
    ("kω", "kilohms"),
    ("gω", "gigohms"),
    ("kohm", "kilohms"),
    ("kohms", "kilohms"),
    ("v", "volts"),
    ("a", "amps"),
    ("ma", "milliamps"),
    ("ka", "kiloamps"),
    ("ms", "milliseconds"),
    ("ol", "over range"),
    ("ln", "line to neutral"),
    ("le", "line to earth"),
    ("ne", "neutral to earth"),
    ("pfc", "p f c"),
    ("psc", "p f c"),
    ("zed", "z"),
    ("ze", "z e"),
    ("zs", "z s"),
    ("rn", "r n"),
    ("cpc", "c p c"),
    ("spd", "s p d"),
    ("rcd", "r c d"),
    ("c1", "code one"),
    ("c2", "code two"),
    ("c3", "code three"),
    ("fi", "further investigation"),
    ("sat", "satisfactory"),
    ("what's", "what is"),
    ("that's", "that is"),
    ("it's", "it is"),
    ("i've", "i have"),
    ("can't", "cannot"),
    ("didn't", "did not"),
    ("doesn't", "does not"),
];

/// Units whose letter case tells milli from mega; looked at before the case is dropped. Without a
/// capital or a symbol, "mohm" could be either and is not understood.
const CASED: &[(&str, &str)] = &[
    ("MΩ", " megohms "),
    ("GΩ", " gigohms "),
    ("mΩ", " milliohms "),
    ("Mohm", " megohms "),
    ("MOhm", " megohms "),
    ("mOhm", " milliohms "),
    ("Ω", " ohms "),
];

/// Marks that are left out, unless they stand between figures: "1,5" and "2-3" are no numbers.
const IGNORED: &str = ",.;:!?'\"()[]-–—_/=*";

#[allow(
    clippy::expect_used,
    reason = "a wrong pattern fails every test of this file"
)]
static TOKEN: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"[0-9]*\.[0-9]+|[0-9]+|[\p{L}']+|[<>]=?|[^\s]").expect("a constant pattern")
});

/// "socket 25: 0.34", "Zs = 0.87"
#[allow(clippy::expect_used, reason = "a constant pattern")]
static READS: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"(?P<before>[\p{L}0-9])\s*(?::\s|=)\s*(?P<after>[<>]?\s*[0-9.])")
        .expect("a constant pattern")
});

/// "item 5.12": no decimal, but a number of parts.
#[allow(clippy::expect_used, reason = "a constant pattern")]
static ITEM: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"(?i)\bitem\s+(?P<section>[1-9][0-9]?)\.(?P<item>[1-9][0-9]?)(?:\.(?P<part>[1-9][0-9]?))?\b").expect("a constant pattern")
});

/// "N/A", "N/V".
#[allow(clippy::expect_used, reason = "a constant pattern")]
static MARKS: LazyLock<Regex> =
    LazyLock::new(|| Regex::new(r"(?i)\bn/(a|v)\b").expect("a constant pattern"));

/// A mark other than the point between figures, or a sign before them.
#[allow(clippy::expect_used, reason = "a constant pattern")]
static BETWEEN_FIGURES: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"(?P<before>[0-9]|^|\s)[-–—,/:](?P<after>\.?[0-9])").expect("a constant pattern")
});

#[allow(clippy::expect_used, reason = "a constant pattern")]
static PLACE_TOKEN: LazyLock<Regex> =
    LazyLock::new(|| Regex::new(r"[0-9]+|[\p{L}']+").expect("a constant pattern"));

#[allow(clippy::expect_used, reason = "a constant pattern")]
static PAIR: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(
        r"(?i)\b(?P<a>l[123]?|n|e|pe)(?:\s*\+\s*(?P<b>l[123]?|n))?\s*[-–/]\s*(?P<c>l[123]?|n|e|pe)(?:\s*\+\s*(?P<d>l[123]?|n))?\b",
    )
    .expect("a constant pattern")
});

/// A typed line as spoken words: lower case, without punctuation, numbers and symbols written out.
///
/// ```
/// use bothhands::grammar::typed::normalise;
/// assert_eq!(normalise("L-N >999 MΩ"), "line to neutral over nine nine nine megohms");
/// assert_eq!(normalise("Socket 12 back."), "socket twelve back");
/// assert_eq!(normalise("0.34"), "zero point three four");
/// ```
pub fn normalise(line: &str) -> String {
    let mut line = line
        .replace('\u{2126}', "Ω")
        .replace(['\u{2019}', '\u{2018}'], "'");
    line = PAIR.replace_all(&line, pair).into_owned();
    for (symbol, words) in CASED {
        line = line.replace(&format!("{symbol}s"), words);
        line = line.replace(symbol, words);
    }
    let line = ITEM.replace_all(&line, |found: &regex::Captures<'_>| {
        let part = |name| {
            let part = found.name(name)?.as_str().parse().ok()?;
            number::short_cardinal(part)
        };
        let parts: Vec<String> = ["section", "item", "part"]
            .into_iter()
            .filter_map(part)
            .collect();
        format!("item {}", parts.join(" point "))
    });
    let line = MARKS.replace_all(&line, |found: &regex::Captures<'_>| {
        if found[1].eq_ignore_ascii_case("a") {
            "not applicable"
        } else {
            "not verified"
        }
    });
    let line = READS.replace_all(&line, "$before reads $after");
    let line = BETWEEN_FIGURES.replace_all(&line, "$before not-a-number $after");
    let line = line.to_lowercase();
    let mut words: Vec<String> = Vec::new();
    let mut after_figures = false;
    for token in TOKEN.find_iter(&line) {
        let token = token.as_str().trim_matches('\'');
        // "a" is amps after figures and the article elsewhere.
        let short = SHORT
            .iter()
            .find(|(short, _)| *short == token && (after_figures || token != "a"));
        after_figures = token.ends_with(|c: char| c.is_ascii_digit());
        if let Some((_, said)) = short {
            words.push((*said).to_owned());
        } else if let Some(what) = token.strip_suffix("'s") {
            // "the neutral's out"
            words.extend([what.to_owned(), "is".to_owned()]);
        } else if token.contains(|c: char| c.is_ascii_digit()) {
            words.push(spoken_number(token));
        } else if !token.trim_matches('.').is_empty() && !IGNORED.contains(token) {
            words.push(token.to_owned());
        }
    }
    let line = words.join(" ");
    let line = line
        .replace("correction reads", "correction")
        .replace("negative reads", "negative");
    let line = line
        .strip_prefix("the ")
        .map_or(line.clone(), str::to_owned);
    match line.as_str() {
        // Typed, it cannot be misheard for "nought".
        "note" => "take a note".to_owned(),
        // Nor for "pause".
        "pass" => "passed".to_owned(),
        // Nor these for anything: spoken they need what they are about.
        "pause" | "resume" | "finish" => format!("{line} the session"),
        _ => match line.strip_prefix("skip") {
            Some(rest)
                if rest.is_empty() || (rest.starts_with(' ') && !rest.starts_with(" this")) =>
            {
                format!("skip this{rest}")
            }
            _ => line,
        },
    }
}

/// A place's name as it is said: lower case, hyphens and other marks left out, figures in words.
pub(super) fn place_name(name: &str) -> String {
    let name = name.to_lowercase();
    let words: Vec<String> = PLACE_TOKEN
        .find_iter(&name)
        .map(|token| match token.as_str() {
            figures if figures.starts_with(|c: char| c.is_ascii_digit()) => spoken_number(figures),
            word => word.to_owned(),
        })
        .collect();
    words.join(" ")
}

fn spoken_number(token: &str) -> String {
    let token = if token.starts_with('.') {
        format!("0{token}")
    } else {
        token.to_owned()
    };
    // Places and circuits are said as "twelve", values may be: one form serves both.
    let small = (token.len() <= 2 && !token.starts_with('0'))
        .then(|| token.parse().ok())
        .flatten()
        .and_then(number::short_cardinal);
    small.unwrap_or_else(|| number::spell(&token, "point"))
}

/// "L1-N" as "line one to neutral", whichever way round it was written.
fn pair(found: &regex::Captures<'_>) -> String {
    let end = |one: &str, other: &str| {
        let names: Vec<String> = [one, other]
            .iter()
            .filter_map(|name| found.name(name))
            .map(|m| conductor(m.as_str()))
            .collect();
        names.join(" and ")
    };
    let (from, to) = (end("a", "b"), end("c", "d"));
    // A numbered line is said first; see readings.jsgf.
    let numbered = |end: &str| end.starts_with("line ") && !end.contains(" and ");
    if numbered(&to) && !numbered(&from) {
        return format!(" {to} to {from} ");
    }
    format!(" {from} to {to} ")
}

fn conductor(short: &str) -> String {
    match short.to_lowercase().as_str() {
        "l" => "line".to_owned(),
        "n" => "neutral".to_owned(),
        "e" | "pe" => "earth".to_owned(),
        numbered => numbered
            .bytes()
            .last()
            .map(|b| format!("line {}", number::digit_word(b.wrapping_sub(b'0'))))
            .unwrap_or_default(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn typed_lines_are_said_in_words() {
        for (typed, said) in [
            ("Affirm!", "affirm"),
            ("999", "nine nine nine"),
            (">999", "over nine nine nine"),
            ("> 999 MΩ", "over nine nine nine megohms"),
            ("<0.01", "under zero point zero one"),
            (".34", "zero point three four"),
            ("0.34Ω", "zero point three four ohms"),
            ("12 mΩ", "twelve milliohms"),
            ("L-N 230V", "line to neutral two three zero volts"),
            ("l1-l2 401 v", "line one to line two four zero one volts"),
            ("N-L1 230 V", "line one to neutral two three zero volts"),
            (
                "L+N-E >999",
                "line and neutral to earth over nine nine nine",
            ),
            ("N/E OL", "neutral to earth over range"),
            ("299 at 250V", "two nine nine at two five zero volts"),
            (
                "23 ms, positive half-cycle",
                "twenty three milliseconds positive half cycle",
            ),
            ("1.2 kA", "one point two kiloamps"),
            ("5 A", "five amps"),
            (
                "neutral out at socket 3, in a connector",
                "neutral out at socket three in a connector",
            ),
            ("What's out?", "what is out"),
            ("end-of-note", "end of note"),
            ("note", "take a note"),
            ("Pass.", "passed"),
            ("Pause", "pause the session"),
            ("finish the session", "finish the session"),
            ("skip", "skip this"),
            ("skip reason in use", "skip this reason in use"),
            ("skip this", "skip this"),
            ("2 GΩ", "two gigohms"),
            ("cpc out", "c p c out"),
            ("R1+R2 0.34", "r one plus r two zero point three four"),
            ("r1 + rn", "r one plus r n"),
            ("12 MOhms", "twelve megohms"),
            ("5 mOhm", "five milliohms"),
            (
                "socket 25: 0.34",
                "socket twenty five reads zero point three four",
            ),
            ("Zs = 0.87", "z s reads zero point eight seven"),
            ("correction: 299", "correction two nine nine"),
            ("neutral out @ socket 3", "neutral out at socket three"),
            ("Zs 0.87", "z s zero point eight seven"),
            ("LN>999", "line to neutral over nine nine nine"),
            ("", ""),
        ] {
            assert_eq!(normalise(typed), said, "{typed}");
        }
    }

    #[test]
    fn what_is_no_plain_number_is_not_made_into_one() {
        for typed in [
            "1,5", "2-3", "-5", "3/4", "1:5", "50%", "1.2.3", "1e3", "5 mohm", "$5",
        ] {
            let words = normalise(typed);
            let number = words.split(' ').take_while(|w| *w != "megohms");
            let number: Vec<&str> = number.collect();
            assert_eq!(
                number::from_words(&number.join(" ")),
                None,
                "{typed}: {words}"
            );
        }
    }

    #[test]
    fn spoken_words_stay_as_they_are() {
        let words = "line to neutral greater than two ninety nine megohms at socket twelve";
        assert_eq!(normalise(words), words);
    }

    proptest! {
        #[test]
        fn any_line_gives_plain_words(line in ".{0,80}") {
            let once = normalise(&line);
            prop_assert_eq!(once.to_lowercase(), once);
        }
    }
}
