//! The file in which corrections are kept.

use super::adapt::Correction;

/// Corrections, each with the SHA-256 (hexadecimal) of the model's file that it belongs to.
#[derive(Debug, Clone, PartialEq)]
pub struct Corrections(pub Vec<(String, Correction)>);

/// What the file begins with; the number is that of its layout.
const HEADING: &str = "bothhands ear 1";

impl Corrections {
    /// The file: a heading, a line `model width labels` for each correction, an empty line; then of
    /// each the weights and the bias as little-endian floats of 32 bits.
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = format!("{HEADING}\n").into_bytes();
        for (model, of) in &self.0 {
            bytes.extend(format!("{model} {} {}\n", of.width, of.labels).into_bytes());
        }
        bytes.push(b'\n');
        for (_, of) in &self.0 {
            let numbers = of.weights.iter().chain(&of.bias);
            bytes.extend(numbers.flat_map(|n| n.to_le_bytes()));
        }
        bytes
    }

    /// What [`Corrections::to_bytes`] gave.
    ///
    /// # Errors
    /// When the bytes are no such file, said in a few words.
    pub fn parse(bytes: &[u8]) -> Result<Self, &'static str> {
        /// More numbers than any model's last layer has.
        const MOST: usize = 1 << 20;
        let end = bytes.windows(2).position(|two| two == b"\n\n");
        let (text, numbers) = bytes.split_at(end.ok_or("it has no heading")?);
        let text = std::str::from_utf8(text).map_err(|_| "its heading is no text")?;
        let mut lines = text.lines();
        match lines.next() {
            Some(HEADING) => {}
            Some(other) if other.starts_with("bothhands ear ") => {
                return Err("it was written by another version of the program");
            }
            _ => return Err("it has no heading"),
        }
        let (numbers, rest) = numbers.get(2..).unwrap_or_default().as_chunks::<4>();
        let mut numbers = numbers.iter().map(|n| f32::from_le_bytes(*n));
        let mut all = Vec::new();
        for line in lines {
            let mut fields = line.split(' ');
            let mut number = || fields.next_back()?.parse::<usize>().ok();
            let (Some(labels), Some(width)) = (number(), number()) else {
                return Err("its heading is damaged");
            };
            let size = width.checked_mul(labels).filter(|&size| size <= MOST);
            let (Some(size), Some(model)) = (size, fields.next()) else {
                return Err("its heading is damaged");
            };
            let weights: Vec<f32> = numbers.by_ref().take(size).collect();
            let bias: Vec<f32> = numbers.by_ref().take(labels).collect();
            let whole = weights.len() == size && bias.len() == labels;
            if !whole || weights.iter().chain(&bias).any(|n| !n.is_finite()) {
                return Err("it is cut off or damaged");
            }
            let correction = Correction {
                width,
                labels,
                weights,
                bias,
            };
            all.push((model.to_owned(), correction));
        }
        if numbers.next().is_some() || !rest.is_empty() {
            return Err("it is longer than it says");
        }
        Ok(Self(all))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn some() -> Corrections {
        let of = |width: usize, labels: usize| Correction {
            width,
            labels,
            weights: (0..width * labels).map(|n| n as f32 / 7.0).collect(),
            bias: (0..labels).map(|n| -(n as f32)).collect(),
        };
        Corrections(vec![
            ("ab12".to_owned(), of(3, 2)),
            ("cd34".to_owned(), of(5, 4)),
        ])
    }

    #[test]
    fn what_is_written_is_read() {
        assert_eq!(Corrections::parse(&some().to_bytes()), Ok(some()));
    }

    #[test]
    fn what_is_damaged_is_refused() {
        let whole = some().to_bytes();
        for end in 0..whole.len() {
            assert!(Corrections::parse(&whole[..end]).is_err(), "cut at {end}");
        }
        let mut longer = whole.clone();
        longer.push(0);
        assert!(Corrections::parse(&longer).is_err());
        let text = String::from_utf8_lossy(&whole[..30]).replace("ear 1", "ear 2");
        let newer = [text.as_bytes(), &whole[30..]].concat();
        assert_eq!(
            Corrections::parse(&newer),
            Err("it was written by another version of the program")
        );
        let mut no_number = whole.clone();
        let last = no_number.len() - 4;
        no_number[last..].copy_from_slice(&f32::NAN.to_le_bytes());
        assert!(Corrections::parse(&no_number).is_err());
    }
}
