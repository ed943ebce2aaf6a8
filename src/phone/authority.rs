//! The private authority of this machine, by which a phone knows it again, and the certificate of
//! each run.
//!
//! The authority is made once and kept where only its owner can read it. It is constrained to private
//! addresses and to one name: with its key, stolen, nobody could pretend to be any other site to a phone
//! that has installed it. What it signs is made anew at each start, for the addresses that the machine has
//! then, and its key is kept nowhere.

use super::lan::{self, NAME};
use anyhow::{Context, bail};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use jiff::civil::Date;
use jiff::tz::Offset;
use jiff::{Timestamp, ToSpan};
use rcgen::{
    BasicConstraints, CertificateParams, CidrSubnet, DistinguishedName, DnType,
    ExtendedKeyUsagePurpose, GeneralSubtree, IsCa, Issuer, KeyPair, KeyUsagePurpose,
    NameConstraints, PKCS_ECDSA_P256_SHA256, SanType,
};
use rustls::pki_types::{CertificateDer, PrivateKeyDer, PrivatePkcs8KeyDer};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::io::{ErrorKind, Write};
use std::net::IpAddr;
use std::path::{Path, PathBuf};

/// Years for which an authority holds. A phone has to install it but once.
const YEARS: i32 = 10;
/// Days for which the certificate of a run holds, the day before it included, for a phone whose clock is
/// behind. Phones refuse more than 397 (common practice of browsers since 2020).
const LEAF_DAYS: i32 = 30;
const KEPT_AS: &str = "phone-authority.toml";

/// Signs the certificate of each run.
pub struct Authority {
    certificate: CertificateDer<'static>,
    issuer: Issuer<'static, KeyPair>,
}

/// What is kept of it.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Kept {
    made: Timestamp,
    certificate: String,
    key: String,
}

/// A certificate with its key.
pub struct Leaf {
    /// Its own certificate, and that of the authority.
    pub chain: Vec<CertificateDer<'static>>,
    /// Its key.
    pub key: PrivateKeyDer<'static>,
}

impl Authority {
    /// The folder in which it is kept for this machine's user.
    ///
    /// # Errors
    /// When the user has no home folder.
    pub fn folder() -> anyhow::Result<PathBuf> {
        let base = etcetera::choose_base_strategy()
            .context("this machine has no home folder to keep the phone's authority in")?;
        Ok(etcetera::BaseStrategy::data_dir(&base).join("bothhands"))
    }

    /// The one kept in `folder`; it is made where there is none, and anew in the year in which it ends.
    ///
    /// # Errors
    /// When it can't be read or kept, or others can read it: what to do.
    pub fn kept_in(folder: &Path) -> anyhow::Result<Self> {
        let path = folder.join(KEPT_AS);
        let remedy = || {
            format!(
                "{}: the phone's authority can't be used; delete the file and pair again, which makes another",
                path.display()
            )
        };
        let now = Timestamp::now();
        match std::fs::read_to_string(&path) {
            Ok(text) => {
                only_its_owner_reads(&path)?;
                let kept: Kept = toml::from_str(&text).with_context(remedy)?;
                let year_before = date(kept.made).checked_add((YEARS - 1).years())?;
                if year_before < date(now) {
                    return Self::made(folder, &path, now);
                }
                Self::of(&kept).with_context(remedy)
            }
            Err(why) if why.kind() == ErrorKind::NotFound => Self::made(folder, &path, now),
            Err(why) => Err(why).with_context(remedy),
        }
    }

    fn made(folder: &Path, path: &Path, now: Timestamp) -> anyhow::Result<Self> {
        let key = KeyPair::generate_for(&PKCS_ECDSA_P256_SHA256)?;
        let kept = Kept {
            made: now,
            certificate: STANDARD.encode(params(now)?.self_signed(&key)?.der()),
            key: STANDARD.encode(key.serialized_der()),
        };
        let text = toml::to_string(&kept)?;
        keep(folder, path, &text).with_context(|| {
            format!(
                "{}: the phone's authority can't be kept; look at the folder",
                path.display()
            )
        })?;
        Self::of(&kept)
    }

    fn of(kept: &Kept) -> anyhow::Result<Self> {
        let key = PrivatePkcs8KeyDer::from(STANDARD.decode(&kept.key)?);
        let key = KeyPair::from_pkcs8_der_and_sign_algo(&key, &PKCS_ECDSA_P256_SHA256)?;
        let certificate = CertificateDer::from(STANDARD.decode(&kept.certificate)?);
        Ok(Self {
            certificate,
            issuer: Issuer::new(params(kept.made)?, key),
        })
    }

    /// Its certificate, for a phone to install.
    pub fn certificate(&self) -> &[u8] {
        &self.certificate
    }

    /// By which it is known again: SHA-256 in pairs of digits, as phones show it.
    pub fn fingerprint(&self) -> String {
        let pairs: Vec<String> = Sha256::digest(&self.certificate)
            .iter()
            .map(|byte| format!("{byte:02X}"))
            .collect();
        pairs.join(":")
    }

    /// A certificate for these addresses and the one name, with a key of its own.
    ///
    /// # Errors
    /// When the machine has no random numbers, or no clock.
    pub fn leaf(&self, addresses: &[IpAddr], now: Timestamp) -> anyhow::Result<Leaf> {
        let key = KeyPair::generate_for(&PKCS_ECDSA_P256_SHA256)?;
        let mut params = CertificateParams::default();
        params.distinguished_name = named("bothhands, this run");
        params.subject_alt_names = addresses.iter().copied().map(SanType::IpAddress).collect();
        params
            .subject_alt_names
            .push(SanType::DnsName(NAME.try_into()?));
        params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
        params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
        params.use_authority_key_identifier_extension = true;
        let begins = date(now).checked_sub(1.day())?;
        holds(&mut params, begins, begins.checked_add(LEAF_DAYS.days())?)?;
        let certificate = params.signed_by(&key, &self.issuer)?;
        Ok(Leaf {
            chain: vec![certificate.der().clone(), self.certificate.clone()],
            key: PrivatePkcs8KeyDer::from(key.serialize_der()).into(),
        })
    }
}

fn named(name: &str) -> DistinguishedName {
    let mut named = DistinguishedName::new();
    named.push(DnType::CommonName, name);
    named
}

fn params(made: Timestamp) -> anyhow::Result<CertificateParams> {
    let mut params = CertificateParams::default();
    params.distinguished_name = named("bothhands, this machine's phones");
    params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
    params.key_usages = vec![KeyUsagePurpose::KeyCertSign];
    let addresses = lan::PRIVATE.iter().map(|&(address, prefix)| {
        GeneralSubtree::IpAddress(CidrSubnet::from_addr_prefix(address, prefix))
    });
    params.name_constraints = Some(NameConstraints {
        permitted_subtrees: addresses
            .chain([GeneralSubtree::DnsName(NAME.to_owned())])
            .collect(),
        excluded_subtrees: Vec::new(),
    });
    let begins = date(made).checked_sub(1.day())?;
    holds(&mut params, begins, begins.checked_add(YEARS.years())?)?;
    Ok(params)
}

/// From the beginning of one day to that of another.
fn holds(params: &mut CertificateParams, from: Date, to: Date) -> anyhow::Result<()> {
    let at = |day: Date| -> anyhow::Result<_> {
        let (month, day_of) = (u8::try_from(day.month())?, u8::try_from(day.day())?);
        Ok(rcgen::date_time_ymd(day.year().into(), month, day_of))
    };
    params.not_before = at(from)?;
    params.not_after = at(to)?;
    Ok(())
}

fn date(at: Timestamp) -> Date {
    Offset::UTC.to_datetime(at).date()
}

#[cfg(unix)]
fn only_its_owner_reads(path: &Path) -> anyhow::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    let mode = std::fs::metadata(path)?.permissions().mode();
    if mode & 0o077 != 0 {
        bail!(
            "{}: others on this machine can read the key of the phone's authority. If nobody else uses it, `chmod 600` the file; else delete it, pair again, and remove the old authority from the phone",
            path.display()
        );
    }
    Ok(())
}

#[cfg(not(unix))]
fn only_its_owner_reads(_path: &Path) -> anyhow::Result<()> {
    Ok(())
}

/// Whole or not at all, and from its first moment readable by its owner only.
fn keep(folder: &Path, path: &Path, text: &str) -> anyhow::Result<()> {
    std::fs::create_dir_all(folder)?;
    // Such files are made with 0600.
    let mut file = tempfile::NamedTempFile::new_in(folder)?;
    file.write_all(text.as_bytes())?;
    file.as_file().sync_all()?;
    file.persist(path)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustls::client::WebPkiServerVerifier;
    use rustls::client::danger::ServerCertVerifier;
    use rustls::pki_types::{ServerName, UnixTime};
    use rustls::{Error, RootCertStore};
    use std::sync::Arc;

    fn now() -> Timestamp {
        "2026-11-27T12:00:00Z".parse().unwrap()
    }

    /// What a phone that trusts the authority makes of a leaf, for an address, days from now.
    fn trusts(authority: &Authority, leaf: &Leaf, name: &str, days: i64) -> Result<(), Error> {
        let mut roots = RootCertStore::empty();
        roots.add(authority.certificate.clone()).unwrap();
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let verifier = WebPkiServerVerifier::builder_with_provider(Arc::new(roots), provider)
            .build()
            .unwrap();
        let name = ServerName::try_from(name.to_owned()).unwrap();
        let second = now().as_second() + days * 86_400;
        let when =
            UnixTime::since_unix_epoch(std::time::Duration::from_secs(second.try_into().unwrap()));
        let between = leaf.chain.get(1..).unwrap();
        verifier
            .verify_server_cert(leaf.chain.first().unwrap(), between, &name, &[], when)
            .map(|_| ())
    }

    #[test]
    fn it_is_made_once_kept_for_its_owner_only_and_known_again() {
        let folder = tempfile::tempdir().unwrap();
        let first = Authority::kept_in(folder.path()).unwrap();
        let second = Authority::kept_in(folder.path()).unwrap();
        assert_eq!(first.certificate(), second.certificate());
        assert_eq!(first.fingerprint().len(), 32 * 3 - 1);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            let path = folder.path().join(KEPT_AS);
            let mode = |path: &Path| std::fs::metadata(path).unwrap().permissions().mode();
            assert_eq!(mode(&path) & 0o777, 0o600);
            std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o644)).unwrap();
            let why = Authority::kept_in(folder.path()).err().unwrap().to_string();
            assert!(why.contains("chmod 600"), "{why}");
        }
    }

    #[test]
    fn what_is_damaged_says_what_to_do_and_what_ends_is_made_anew() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(KEPT_AS);
        keep(folder.path(), &path, "made = 3").unwrap();
        let why = Authority::kept_in(folder.path()).err().unwrap().to_string();
        assert!(why.contains("delete the file and pair again"), "{why}");

        let old = "2016-11-27T12:00:00Z".parse().unwrap();
        let first = Authority::made(folder.path(), &path, old).unwrap();
        let second = Authority::kept_in(folder.path()).unwrap();
        assert_ne!(first.certificate(), second.certificate());
    }

    #[test]
    fn a_leaf_holds_for_its_addresses_for_thirty_days_and_for_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(KEPT_AS);
        let authority = Authority::made(folder.path(), &path, now()).unwrap();
        let own: IpAddr = "192.168.4.5".parse().unwrap();
        let leaf = authority.leaf(&[own], now()).unwrap();
        for name in ["192.168.4.5", NAME] {
            assert_eq!(trusts(&authority, &leaf, name, 0), Ok(()), "{name}");
        }
        assert!(trusts(&authority, &leaf, "192.168.4.6", 0).is_err());
        assert_eq!(trusts(&authority, &leaf, "192.168.4.5", 28), Ok(()));
        assert!(trusts(&authority, &leaf, "192.168.4.5", LEAF_DAYS.into()).is_err());
        const { assert!(LEAF_DAYS <= 397) };
        // Another machine's authority is another.
        let elsewhere = tempfile::tempdir().unwrap();
        let other = Authority::kept_in(elsewhere.path()).unwrap();
        assert!(trusts(&other, &leaf, "192.168.4.5", 0).is_err());
    }

    #[test]
    fn with_a_stolen_key_nobody_could_be_another_site() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(KEPT_AS);
        let authority = Authority::made(folder.path(), &path, now()).unwrap();
        let outside: IpAddr = "93.184.216.34".parse().unwrap();
        let leaf = authority.leaf(&[outside], now()).unwrap();
        let refused = trusts(&authority, &leaf, "93.184.216.34", 0).unwrap_err();
        assert!(
            format!("{refused:?}").contains("NameConstraintViolation"),
            "{refused:?}"
        );
    }
}
