use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::{fmt, str::FromStr};

/// `N` bytes, written as `2 * N` lower-case hexadecimal digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub struct Hex<const N: usize>([u8; N]);

/// A SHA-256 digest (FIPS 180-4).
pub type Digest256 = Hex<32>;

/// Names one event among all events of all devices: the first 128 bits of its hash.
pub type EventId = Hex<16>;

/// Names one chain of events: 128 random bits drawn when a device starts to write.
pub type ChainId = Hex<16>;

impl<const N: usize> Hex<N> {
    /// All bits zero: what the first event of a log names as the hash before it.
    pub const ZERO: Self = Self([0; N]);

    /// The bytes themselves.
    pub fn bytes(&self) -> &[u8; N] {
        &self.0
    }
}

impl<const N: usize> From<[u8; N]> for Hex<N> {
    fn from(bytes: [u8; N]) -> Self {
        Self(bytes)
    }
}

impl<const N: usize> fmt::Display for Hex<N> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&hex::encode(self.0))
    }
}

impl<const N: usize> From<Hex<N>> for String {
    fn from(hex: Hex<N>) -> Self {
        hex.to_string()
    }
}

/// Text that is not the expected number of lower-case hexadecimal digits.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\u{201c}{text}\u{201d} is not {digits} lower-case hexadecimal digits")]
pub struct NotHex {
    text: String,
    digits: usize,
}

impl<const N: usize> FromStr for Hex<N> {
    type Err = NotHex;

    /// Upper case is refused, so that one value has one spelling.
    fn from_str(text: &str) -> Result<Self, NotHex> {
        parse(text).ok_or_else(|| NotHex {
            text: text.chars().take(80).collect(),
            digits: 2 * N,
        })
    }
}

impl<const N: usize> TryFrom<String> for Hex<N> {
    type Error = NotHex;

    fn try_from(text: String) -> Result<Self, NotHex> {
        text.parse()
    }
}

fn parse<const N: usize>(text: &str) -> Option<Hex<N>> {
    let mut bytes = [0; N];
    let lower = !text.contains(|c: char| c.is_ascii_uppercase());
    let read = lower && hex::decode_to_slice(text, &mut bytes).is_ok();
    read.then_some(Hex(bytes))
}

/// SHA-256 over fields, each written as a netstring: its length in bytes in decimal, a colon,
/// the bytes, a comma. No two lists of fields have the same encoding.
pub(super) fn digest(fields: &[&[u8]]) -> Digest256 {
    let mut sha = Sha256::new();
    for field in fields {
        sha.update(field.len().to_string());
        sha.update(b":");
        sha.update(field);
        sha.update(b",");
    }
    Hex(sha.finalize().into())
}

/// SHA-256 of plain bytes.
pub(super) fn digest_of(bytes: &[u8]) -> Digest256 {
    Hex(Sha256::digest(bytes).into())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4 example "abc", as published by NIST.
    #[test]
    fn the_digest_is_sha_256() {
        assert_eq!(
            digest_of(b"abc").to_string(),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn fields_are_netstrings() {
        assert_eq!(digest(&[b"abc", b""]), digest_of(b"3:abc,0:,"));
        assert_ne!(digest(&[b"ab", b"c"]), digest(&[b"a", b"bc"]));
    }

    #[test]
    fn one_value_has_one_spelling() {
        let hex: Hex<2> = "0aff".parse().unwrap();
        assert_eq!(hex.bytes(), &[0x0a, 0xff]);
        assert_eq!(hex.to_string(), "0aff");
        for wrong in ["0AFF", "0af", "0aff0", "0aff00", "", "zz00", "é0f"] {
            assert!(wrong.parse::<Hex<2>>().is_err(), "{wrong}");
        }
    }
}
