//! Which phone is this session's: a secret that is good for once and not for long, and a second phone
//! that has to ask.

use sha2::{Digest, Sha256};
use std::time::{Duration, Instant};

/// How long a secret can be used.
pub(super) const GOOD_FOR: Duration = Duration::from_secs(600);
/// A phone that was silent for so long has gone: another takes its place without asking.
pub(super) const GONE: Duration = Duration::from_secs(10);
/// How long a second phone waits to be let in.
const ASKING: Duration = Duration::from_secs(120);

/// The pairing of a session.
pub(super) struct Pairing {
    secret: (String, Instant),
    phone: Option<Phone>,
    asking: Option<Asking>,
}

struct Phone {
    token: [u8; 32],
    seen: Instant,
}

struct Asking {
    ticket: [u8; 32],
    code: String,
    since: Instant,
    let_in: bool,
}

/// What comes of asking to be paired.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Outcome {
    /// It is the session's phone now.
    Paired {
        /// By which it is known from here on.
        token: String,
        /// Shown on both sides.
        code: String,
    },
    /// Another phone is there, and is asked.
    Asks {
        /// To come again with.
        ticket: String,
        /// Shown on both sides.
        code: String,
    },
    /// The secret is none, was used, or is too old.
    Refused,
}

impl Pairing {
    /// No phone yet.
    ///
    /// # Errors
    /// When the machine has no random numbers.
    pub(super) fn new(now: Instant) -> anyhow::Result<Self> {
        Ok(Self {
            secret: (text()?, now),
            phone: None,
            asking: None,
        })
    }

    /// The secret to pair with now; another one where the last has become too old.
    ///
    /// # Errors
    /// As [`Pairing::new`].
    pub(super) fn secret(&mut self, now: Instant) -> anyhow::Result<&str> {
        if now.duration_since(self.secret.1) >= GOOD_FOR {
            self.secret = (text()?, now);
        }
        Ok(&self.secret.0)
    }

    /// Takes a secret.
    ///
    /// # Errors
    /// As [`Pairing::new`].
    pub(super) fn take(&mut self, secret: &str, now: Instant) -> anyhow::Result<Outcome> {
        let old = now.duration_since(self.secret.1) >= GOOD_FOR;
        if old || hashed(secret) != hashed(&self.secret.0) {
            return Ok(Outcome::Refused);
        }
        self.secret = (text()?, now);
        let code = code()?;
        if !self.is_there(now) {
            return self.paired(code, now);
        }
        let ticket = text()?;
        self.asking = Some(Asking {
            ticket: hashed(&ticket),
            code: code.clone(),
            since: now,
            let_in: false,
        });
        Ok(Outcome::Asks { ticket, code })
    }

    /// A phone that asks comes again.
    ///
    /// # Errors
    /// As [`Pairing::new`].
    pub(super) fn again(&mut self, ticket: &str, now: Instant) -> anyhow::Result<Outcome> {
        let there = self.is_there(now);
        let Some(asking) = self.asks(now).filter(|a| a.ticket == hashed(ticket)) else {
            return Ok(Outcome::Refused);
        };
        let code = asking.code.clone();
        if asking.let_in || !there {
            return self.paired(code, now);
        }
        Ok(Outcome::Asks {
            ticket: ticket.to_owned(),
            code,
        })
    }

    /// The code of a phone that asks to take the place of the one that is there.
    pub(super) fn asked_by(&self, now: Instant) -> Option<&str> {
        self.asks(now)
            .filter(|asking| !asking.let_in)
            .map(|asking| asking.code.as_str())
    }

    /// The phone that is there lets the one with this code take its place; whether there is one.
    pub(super) fn let_in(&mut self, code: &str, now: Instant) -> bool {
        let asks = self.asks(now).is_some_and(|asking| asking.code == code);
        if let Some(asking) = self.asking.as_mut().filter(|_| asks) {
            asking.let_in = true;
        }
        asks
    }

    /// Whether this is the session's phone, which is seen with it.
    pub(super) fn knows(&mut self, token: &str, now: Instant) -> bool {
        let token = hashed(token);
        match self.phone.as_mut().filter(|phone| phone.token == token) {
            Some(phone) => {
                phone.seen = now;
                true
            }
            None => false,
        }
    }

    /// Whether the session's phone was heard of a moment ago.
    pub(super) fn is_there(&self, now: Instant) -> bool {
        let silent = |phone: &Phone| now.duration_since(phone.seen);
        self.phone
            .as_ref()
            .is_some_and(|phone| silent(phone) < GONE)
    }

    fn asks(&self, now: Instant) -> Option<&Asking> {
        let asking = self.asking.as_ref();
        asking.filter(|asking| now.duration_since(asking.since) < ASKING)
    }

    fn paired(&mut self, code: String, now: Instant) -> anyhow::Result<Outcome> {
        let token = text()?;
        self.asking = None;
        self.phone = Some(Phone {
            token: hashed(&token),
            seen: now,
        });
        Ok(Outcome::Paired { token, code })
    }
}

fn text() -> anyhow::Result<String> {
    Ok(hex::encode(random()?))
}

/// Four digits: enough to tell two phones from each other, and no secret.
fn code() -> anyhow::Result<String> {
    let [high, low, ..] = random()?;
    Ok(format!("{:04}", u16::from_be_bytes([high, low]) % 10_000))
}

/// Compared instead of what it is made of, so that how long it takes tells nothing.
fn hashed(text: &str) -> [u8; 32] {
    Sha256::digest(text.as_bytes()).into()
}

fn random() -> anyhow::Result<[u8; 16]> {
    let mut random = [0u8; 16];
    getrandom::fill(&mut random)
        .map_err(|why| anyhow::anyhow!("this machine gives no random numbers: {why}"))?;
    Ok(random)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn paired(pairing: &mut Pairing, now: Instant) -> String {
        let secret = pairing.secret(now).unwrap().to_owned();
        match pairing.take(&secret, now).unwrap() {
            Outcome::Paired { token, code } => {
                assert_eq!(code.len(), 4);
                token
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_secret_is_good_for_once() {
        let now = Instant::now();
        let mut pairing = Pairing::new(now).unwrap();
        let secret = pairing.secret(now).unwrap().to_owned();
        assert_eq!(secret.len(), 32);
        assert_eq!(pairing.take("", now).unwrap(), Outcome::Refused);
        assert_eq!(
            pairing.take(&"0".repeat(32), now).unwrap(),
            Outcome::Refused
        );
        let token = paired(&mut pairing, now);
        assert!(pairing.knows(&token, now));
        assert!(!pairing.knows(&secret, now));
        // Stolen from the first phone, or seen over a shoulder.
        assert_eq!(pairing.take(&secret, now).unwrap(), Outcome::Refused);
        assert_ne!(pairing.secret(now).unwrap(), secret);
    }

    #[test]
    fn an_old_secret_is_of_no_use_and_there_is_another() {
        let now = Instant::now();
        let mut pairing = Pairing::new(now).unwrap();
        let secret = pairing.secret(now).unwrap().to_owned();
        assert_eq!(pairing.secret(now + GOOD_FOR / 2).unwrap(), secret);
        let later = now + GOOD_FOR;
        assert_eq!(pairing.take(&secret, later).unwrap(), Outcome::Refused);
        assert_ne!(pairing.secret(later).unwrap(), secret);
        paired(&mut pairing, later);
    }

    #[test]
    fn a_second_phone_asks_and_the_first_lets_it_in() {
        let now = Instant::now();
        let mut pairing = Pairing::new(now).unwrap();
        let first = paired(&mut pairing, now);
        let secret = pairing.secret(now).unwrap().to_owned();
        let Outcome::Asks { ticket, code } = pairing.take(&secret, now).unwrap() else {
            panic!("it was let in");
        };
        assert_eq!(pairing.asked_by(now), Some(code.as_str()));
        assert!(matches!(
            pairing.again(&ticket, now).unwrap(),
            Outcome::Asks { .. }
        ));
        assert_eq!(pairing.again("another", now).unwrap(), Outcome::Refused);
        assert!(!pairing.let_in("00000", now));
        assert!(pairing.let_in(&code, now));
        let Outcome::Paired { token, .. } = pairing.again(&ticket, now).unwrap() else {
            panic!("it was let in");
        };
        assert!(pairing.knows(&token, now));
        assert!(!pairing.knows(&first, now), "one phone a session");
        assert_eq!(pairing.again(&ticket, now).unwrap(), Outcome::Refused);
    }

    #[test]
    fn one_that_nobody_answers_waits_and_comes_in_when_the_first_is_gone() {
        let now = Instant::now();
        let mut pairing = Pairing::new(now).unwrap();
        let first = paired(&mut pairing, now);
        let secret = pairing.secret(now).unwrap().to_owned();
        let Outcome::Asks { ticket, .. } = pairing.take(&secret, now).unwrap() else {
            panic!("it was let in");
        };
        let soon = now + GONE / 2;
        assert!(pairing.knows(&first, soon));
        assert!(matches!(
            pairing.again(&ticket, now + GONE).unwrap(),
            Outcome::Asks { .. }
        ));
        assert!(matches!(
            pairing.again(&ticket, soon + GONE).unwrap(),
            Outcome::Paired { .. }
        ));
        // One that waited too long has to pair anew.
        let secret = pairing.secret(soon + GONE).unwrap().to_owned();
        let Outcome::Asks { ticket, .. } = pairing.take(&secret, soon + GONE).unwrap() else {
            panic!("it was let in");
        };
        let late = soon + GONE + ASKING;
        assert_eq!(pairing.again(&ticket, late).unwrap(), Outcome::Refused);
        assert_eq!(pairing.asked_by(late), None);
    }
}
