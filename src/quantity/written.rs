use super::{Number, Reading, Relation};

/// Why what was typed is no value.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "\u{201c}{0}\u{201d} is no value: write it as shown, such as 0.34, >999, <0.01 or over range"
)]
pub struct NotAValue(pub String);

/// Reads a value as it is written on a schedule: `0.34`, `>999`, `<0.01`, `over range`.
///
/// # Errors
/// When it is none of these.
///
/// ```
/// use bothhands::quantity::parse_value;
/// assert_eq!(parse_value("> 999").unwrap().shown(), ">999");
/// assert_eq!(parse_value("over range").unwrap().shown(), "over range");
/// assert!(parse_value("about 3").is_err());
/// ```
pub fn parse_value(text: &str) -> Result<Reading, NotAValue> {
    let wrong = || NotAValue(text.trim().to_owned());
    let typed = text.trim().to_lowercase();
    if matches!(typed.as_str(), "over range" | "over-range" | "off scale") {
        return Ok(Reading::over_range());
    }
    let (relation, number) = match typed.strip_prefix('>').or(typed.strip_prefix("over ")) {
        Some(rest) => (Relation::Over, rest),
        None => match typed.strip_prefix('<').or(typed.strip_prefix("under ")) {
            Some(rest) => (Relation::Under, rest),
            None => (Relation::Exact, typed.as_str()),
        },
    };
    let number: Number = number.trim().parse().map_err(|_| wrong())?;
    Ok(Reading::exact(number).with_relation(relation))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Whatever a schedule shows can be typed in again and is the same.
        #[test]
        fn what_is_shown_can_be_typed(digits in 0u64..100_000, places in 0u8..4, how in 0usize..3) {
            let relation = [Relation::Exact, Relation::Over, Relation::Under][how];
            let reading = Reading::exact(Number::new(digits, places).unwrap()).with_relation(relation);
            prop_assert_eq!(parse_value(&reading.shown()), Ok(reading));
        }
    }

    #[test]
    fn what_is_no_value_says_how_to_write_one() {
        for text in ["", "abc", "1,5", "-3", ">>9", "over"] {
            let error = parse_value(text).unwrap_err().to_string();
            assert!(error.contains("0.34"), "{error}");
        }
    }
}
