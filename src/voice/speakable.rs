use crate::terms::Wording;

/// Turns a line as shown into a line as said, so that every voice of every speech service says it
/// alike: numbers digit by digit, symbols and units as words.
///
/// Whole hundreds and thousands are said as such and all else digit by digit, as in ICAO
/// radiotelephony (Annex 10 volume II, 5.2.1.4.1; Doc 9432), an open standard made for noise.
///
/// ```
/// use bothhands::terms::Wording;
/// use bothhands::voice::speakable;
/// let radio = |text| speakable(text, Wording::Radio);
/// assert_eq!(radio("L-N >999 MΩ at 500 V"), "L to N greater than nine nine nine megohms at five hundred volts");
/// assert_eq!(radio("socket 12: 0.35 Ω"), "socket one two: zero decimal three five ohms");
/// ```
pub fn speakable(text: &str, wording: Wording) -> String {
    let mut said = String::with_capacity(text.len() * 2);
    let mut rest = text;
    let mut before = None;
    while let Some(first) = rest.chars().next() {
        if let Some((number, after)) = number(rest) {
            if before.is_some_and(char::is_alphanumeric) {
                said.push(' ');
            }
            said.push_str(&number_words(number, wording));
            let (unit, after_unit) = unit(after);
            if let Some(unit) = unit {
                said.push(' ');
                said.push_str(unit);
            } else if after.starts_with(char::is_alphanumeric) {
                said.push(' ');
            }
            rest = after_unit;
            before = Some('0');
            continue;
        }
        let after = rest.get(first.len_utf8()..).unwrap_or("");
        match symbol(first, before, after) {
            Some(words) => {
                if !said.is_empty() && !said.ends_with(' ') {
                    said.push(' ');
                }
                said.push_str(words);
                if !after.starts_with(' ') && !words.is_empty() {
                    said.push(' ');
                }
            }
            // Control characters mean things to speech services.
            None if first.is_control() => said.push(' '),
            None => said.push(first),
        }
        before = Some(first);
        rest = after;
    }
    said
}

/// A line as said, with a pause between one digit and the next: a run of them is taken in better so.
///
/// ```
/// use bothhands::terms::Wording;
/// use bothhands::voice::paced;
/// assert_eq!(paced("Over nine nine nine.", Wording::Radio), "Over nine, nine, nine.");
/// assert_eq!(paced("Zero decimal three four.", Wording::Radio), "Zero decimal three, four.");
/// ```
pub fn paced(said: &str, wording: Wording) -> String {
    let is_digit = |word: &str| ('0'..='9').any(|d| wording.digit(d).eq_ignore_ascii_case(word));
    let bare = |word: &str| {
        word.trim_end_matches(|c: char| c.is_ascii_punctuation())
            .to_owned()
    };
    let words: Vec<&str> = said.split(' ').collect();
    let mut paced = String::with_capacity(said.len() + 8);
    for (n, word) in words.iter().enumerate() {
        let next = words.get(n + 1).map(|next| bare(next));
        paced.push_str(word);
        if is_digit(word) && next.is_some_and(|next| is_digit(&next)) {
            paced.push(',');
        }
        if n + 1 < words.len() {
            paced.push(' ');
        }
    }
    paced
}

/// The digits at the start of `text`, with their decimal part, and what follows.
fn number(text: &str) -> Option<(&str, &str)> {
    let digits =
        |text: &str| text.len() - text.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    let whole = digits(text);
    if whole == 0 {
        return None;
    }
    let part = text
        .get(whole..)
        .and_then(|after| after.strip_prefix('.'))
        .map_or(0, digits);
    let end = if part > 0 { whole + 1 + part } else { whole };
    Some(text.split_at(end))
}

fn number_words(number: &str, wording: Wording) -> String {
    let round = (!number.contains('.') && !number.starts_with('0'))
        .then(|| number.parse::<u32>().ok())
        .flatten()
        .filter(|n| n % 100 == 0 && (100..10_000).contains(n));
    let Some(round) = round else {
        return digit_words(number, wording);
    };
    let (thousands, hundreds) = (round / 1000, round % 1000 / 100);
    let mut parts = Vec::new();
    if thousands > 0 {
        parts.push(format!(
            "{} thousand",
            digit_words(&thousands.to_string(), wording)
        ));
    }
    if hundreds > 0 {
        parts.push(format!(
            "{} hundred",
            digit_words(&hundreds.to_string(), wording)
        ));
    }
    parts.join(" ")
}

fn digit_words(number: &str, wording: Wording) -> String {
    let words: Vec<&str> = number.chars().map(|c| wording.digit(c)).collect();
    words.join(" ")
}

/// The unit that follows a number, in words, and what follows it.
fn unit(text: &str) -> (Option<&'static str>, &str) {
    const UNITS: [(&str, &str); 18] = [
        ("mm²", "square millimetres"),
        ("MΩ", "megohms"),
        ("GΩ", "gigohms"),
        ("kΩ", "kilohms"),
        ("mΩ", "milliohms"),
        ("Ω", "ohms"),
        ("mA", "milliamps"),
        ("kA", "kiloamps"),
        ("ms", "milliseconds"),
        ("mm", "millimetres"),
        ("Hz", "hertz"),
        ("kV", "kilovolts"),
        ("mV", "millivolts"),
        ("°C", "degrees"),
        ("%", "percent"),
        ("V", "volts"),
        ("A", "amps"),
        ("m", "metres"),
    ];
    let bare = text
        .strip_prefix([' ', '\u{a0}', '\u{202f}'])
        .unwrap_or(text);
    UNITS
        .iter()
        .find_map(|(symbol, words)| {
            let after = bare.strip_prefix(symbol)?;
            (!after.starts_with(char::is_alphanumeric)).then_some((Some(*words), after))
        })
        .unwrap_or((None, text))
}

fn symbol(c: char, before: Option<char>, after: &str) -> Option<&'static str> {
    let next = after.chars().next();
    let between = |test: fn(char) -> bool| before.is_some_and(test) && next.is_some_and(test);
    Some(match c {
        '>' => "greater than",
        '<' => "less than",
        '≥' => "at least",
        '≤' => "at most",
        '±' => "plus or minus",
        '×' => "times",
        '=' => "equals",
        '+' => "plus",
        'Ω' => "ohms",
        '&' => "and",
        // L-N, L1-E: from one conductor to another.
        '-' | '–' if between(|c| c.is_ascii_uppercase() || c.is_ascii_digit()) => "to",
        '–' | '—' => ",",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use crate::terms::Wording;
    use proptest::prelude::*;

    fn speakable(text: &str) -> String {
        super::speakable(text, Wording::Radio)
    }

    #[test]
    fn the_same_in_british_words() {
        assert_eq!(
            super::speakable("1.05 Ω", Wording::British),
            "one point nought five ohms"
        );
    }

    #[test]
    fn numbers_are_said_digit_by_digit_with_their_zeros() {
        assert_eq!(speakable("0.05"), "zero decimal zero five");
        assert_eq!(speakable("1.20 Ω"), "one decimal two zero ohms");
        assert_eq!(speakable("circuit 12."), "circuit one two.");
        assert_eq!(
            speakable("30 mA at 5 times"),
            "three zero milliamps at five times"
        );
    }

    // ICAO Doc 9432, 2.4.2: whole hundreds and thousands as such.
    #[test]
    fn whole_hundreds_and_thousands_are_said_as_such() {
        assert_eq!(speakable("500 V"), "five hundred volts");
        assert_eq!(speakable("1000V"), "one thousand volts");
        assert_eq!(speakable("2500"), "two thousand five hundred");
        assert_eq!(speakable("250 V"), "two five zero volts");
        assert_eq!(speakable("10000"), "one zero zero zero zero");
        assert_eq!(speakable("0.100"), "zero decimal one zero zero");
    }

    #[test]
    fn conductors_and_relations_are_words() {
        assert_eq!(speakable("L1-L2"), "L one to L two");
        assert_eq!(
            speakable("N-E <0.01 MΩ"),
            "N to E less than zero decimal zero one megohms"
        );
        assert_eq!(speakable("R1+R2"), "R one plus R two");
        assert_eq!(speakable("two-way switch"), "two-way switch");
    }

    proptest! {
        #[test]
        fn no_digit_and_no_control_character_reaches_the_speech_service(text in ".{0,60}") {
            let said = speakable(&text);
            prop_assert!(!said.chars().any(|c| c.is_ascii_digit() || c.is_control()));
        }

        #[test]
        fn plain_words_stay_as_they_are(text in "[a-z ,.]{0,40}") {
            prop_assert_eq!(speakable(&text), text);
        }
    }
}
