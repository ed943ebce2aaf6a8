use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// A number exactly as an instrument shows it or a person says it: the digits and how many of
/// them stand after the decimal point. "0.20" and "0.2" have the same value but are not the same
/// display, and both are kept.
///
/// Non-negative; at most 12 digits.
///
/// ```
/// use bothhands::quantity::Number;
/// let n: Number = "0.340".parse().unwrap();
/// assert_eq!(n.to_string(), "0.340");
/// assert_eq!(n.value(), 0.34);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Number {
    digits: u64,
    places: u8,
}

/// Why a text is not a [`Number`].
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not a number such as 999, 0.34 or 1.50")]
pub struct NumberError(pub String);

impl Number {
    /// The most digits a number may have; instruments show at most five.
    const MAX_DIGITS: usize = 12;

    /// `digits` with `places` of them after the decimal point: `new(34, 2)` is 0.34.
    pub fn new(digits: u64, places: u8) -> Option<Self> {
        let most = 10u64.pow(Self::MAX_DIGITS as u32);
        (digits < most && usize::from(places) <= Self::MAX_DIGITS)
            .then_some(Self { digits, places })
    }

    /// A whole number.
    pub fn whole(value: u32) -> Self {
        Self {
            digits: value.into(),
            places: 0,
        }
    }

    /// The value, as near as a double can hold it.
    pub fn value(self) -> f64 {
        // Parsing the decimal text gives the correctly rounded double; dividing would not always.
        self.to_string().parse().unwrap_or(f64::NAN)
    }

    /// How many digits stand after the decimal point.
    pub fn places(self) -> u8 {
        self.places
    }

    /// The value as a whole number, when nothing stands after the decimal point but noughts.
    pub fn as_whole(self) -> Option<u64> {
        let scale = 10u64.checked_pow(self.places.into())?;
        self.digits
            .is_multiple_of(scale)
            .then_some(self.digits / scale)
    }

    /// This less another, exactly; nothing when the other is greater.
    pub fn minus(self, other: Self) -> Option<Self> {
        let places = self.places.max(other.places);
        let scaled = |n: Self| {
            n.digits
                .checked_mul(10u64.checked_pow(u32::from(places - n.places))?)
        };
        Self::new(scaled(self)?.checked_sub(scaled(other)?)?, places)
    }

    /// Whether both have the same value, whatever digits they show.
    pub fn same_value(self, other: Self) -> bool {
        let scaled = |n: Self| {
            let up = Self::MAX_DIGITS as u32 - u32::from(n.places);
            u128::from(n.digits) * 10u128.pow(up)
        };
        scaled(self) == scaled(other)
    }
}

impl fmt::Display for Number {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let places = usize::from(self.places);
        if places == 0 {
            return write!(f, "{}", self.digits);
        }
        let text = format!("{:0width$}", self.digits, width = places + 1);
        let (whole, part) = text.split_at(text.len() - places);
        write!(f, "{whole}.{part}")
    }
}

impl FromStr for Number {
    type Err = NumberError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let wrong = || NumberError(text.to_owned());
        let (whole, part) = text.split_once('.').unwrap_or((text, ""));
        let digits = format!("{whole}{part}");
        let plain = !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit());
        if !plain || (text.contains('.') && part.is_empty()) {
            return Err(wrong());
        }
        let significant = digits.trim_start_matches('0');
        if significant.len() > Self::MAX_DIGITS {
            return Err(wrong());
        }
        let digits = if significant.is_empty() {
            0
        } else {
            significant.parse().map_err(|_| wrong())?
        };
        let places = u8::try_from(part.len()).map_err(|_| wrong())?;
        Self::new(digits, places).ok_or_else(wrong)
    }
}

impl TryFrom<String> for Number {
    type Error = NumberError;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        text.parse()
    }
}

impl From<Number> for String {
    fn from(number: Number) -> Self {
        number.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_shown_comes_back_as_it_was() {
        for text in [
            "0", "0.0", "0.05", "0.340", "1.50", "207.123", "999", "1999",
        ] {
            assert_eq!(text.parse::<Number>().unwrap().to_string(), text);
        }
    }

    #[test]
    fn a_missing_nought_is_written_out() {
        assert_eq!(".34".parse::<Number>().unwrap().to_string(), "0.34");
    }

    #[test]
    fn what_is_not_a_number_is_refused() {
        for text in ["", ".", "1.", "-1", "1e3", "1,5", "9999999999999"] {
            assert!(text.parse::<Number>().is_err(), "{text}");
        }
    }

    #[test]
    fn subtraction_is_exact_and_never_negative() {
        let number = |t: &str| t.parse::<Number>().unwrap();
        assert_eq!(number("0.34").minus(number("0.1")), Some(number("0.24")));
        assert_eq!(number("1").minus(number("0.05")), Some(number("0.95")));
        assert_eq!(number("0.1").minus(number("0.11")), None);
    }

    #[test]
    fn value_is_compared_without_the_display() {
        let number = |t: &str| t.parse::<Number>().unwrap();
        assert!(number("0.2").same_value(number("0.200")));
        assert!(!number("0.2").same_value(number("0.02")));
    }
}
