//! What the program is made of, held to `.deny.toml`: licences, where it comes from, and no crate
//! twice or banned. Looks at what is built for Linux; where it comes from, at all of Cargo.lock.

use serde::Deserialize;
use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

#[derive(Deserialize)]
struct Law {
    licenses: Licenses,
    bans: Bans,
}

#[derive(Deserialize)]
struct Licenses {
    allow: BTreeSet<String>,
}

#[derive(Deserialize)]
struct Bans {
    wildcards: String,
    skip: BTreeSet<String>,
    deny: BTreeSet<String>,
}

#[derive(Deserialize)]
struct Metadata {
    packages: Vec<Package>,
}

#[derive(Deserialize)]
struct Package {
    name: String,
    version: String,
    license: Option<String>,
}

#[derive(Deserialize)]
struct Lock {
    package: Vec<Locked>,
}

#[derive(Deserialize)]
struct Locked {
    name: String,
    source: Option<String>,
}

fn law() -> Law {
    toml::from_str(&std::fs::read_to_string(".deny.toml").unwrap()).unwrap()
}

/// The packages that a build for Linux takes, by what `cargo tree` says: that of Cargo.lock holds
/// crates that no feature turns on.
fn packages() -> Vec<Package> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let run = |arguments: &[&str]| {
        let output = Command::new(&cargo).args(arguments).output().unwrap();
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        String::from_utf8(output.stdout).unwrap()
    };
    let platform = "x86_64-unknown-linux-gnu";
    let all = run(&[
        "metadata",
        "--locked",
        "--format-version=1",
        "--filter-platform",
        platform,
    ]);
    let all: Metadata = serde_json::from_str(&all).unwrap();
    let taken = run(&[
        "tree",
        "--locked",
        "--all-features",
        "--target",
        platform,
        "--edges=normal,build,dev",
        "--prefix=none",
        "--format={p}",
    ]);
    let taken: BTreeSet<(&str, &str)> = taken
        .lines()
        .filter_map(|line| {
            let mut words = line.split(' ');
            Some((words.next()?, words.next()?.strip_prefix('v')?))
        })
        .collect();
    let found: Vec<Package> = all
        .packages
        .into_iter()
        .filter(|package| taken.contains(&(&package.name, &package.version)))
        .collect();
    assert!(found.len() > 200, "{}", found.len());
    found
}

/// Whether an expression of licences (SPDX; a slash is an old "or") is met by those allowed.
fn met(expression: &str, allowed: &BTreeSet<String>) -> bool {
    let spaced = expression
        .replace('/', " OR ")
        .replace('(', " ( ")
        .replace(')', " ) ");
    let mut words = spaced.split_whitespace().peekable();
    let met = either(&mut words, allowed);
    met && words.next().is_none()
}

type Words<'a> = std::iter::Peekable<std::str::SplitWhitespace<'a>>;

fn either(words: &mut Words, allowed: &BTreeSet<String>) -> bool {
    let mut met = both(words, allowed);
    while words.next_if_eq(&"OR").is_some() {
        met |= both(words, allowed);
    }
    met
}

fn both(words: &mut Words, allowed: &BTreeSet<String>) -> bool {
    let mut met = one(words, allowed);
    while words.next_if_eq(&"AND").is_some() {
        met &= one(words, allowed);
    }
    met
}

fn one(words: &mut Words, allowed: &BTreeSet<String>) -> bool {
    let met = match words.next() {
        Some("(") => {
            let inside = either(words, allowed);
            inside && words.next() == Some(")")
        }
        Some(name) => allowed.contains(name),
        None => false,
    };
    if words.next_if_eq(&"WITH").is_some() {
        words.next();
    }
    met
}

#[test]
fn licences_are_read_as_spdx_says() {
    let allowed = ["MIT".to_owned(), "ISC".to_owned()].into();
    for (expression, wanted) in [
        ("MIT", true),
        ("GPL-3.0", false),
        ("GPL-3.0 OR MIT", true),
        ("GPL-3.0/MIT", true),
        ("GPL-3.0 AND MIT", false),
        ("ISC AND MIT", true),
        ("(GPL-3.0 OR MIT) AND ISC", true),
        ("GPL-3.0 OR MIT AND GPL-2.0", false),
        ("MIT WITH exception OR GPL-2.0", true),
        ("", false),
    ] {
        assert_eq!(met(expression, &allowed), wanted, "{expression}");
    }
}

#[test]
fn every_dependency_has_a_licence_that_is_allowed() {
    let law = law();
    let wrong: Vec<String> = packages()
        .into_iter()
        .filter(|p| {
            !met(
                p.license.as_deref().unwrap_or_default(),
                &law.licenses.allow,
            )
        })
        .map(|p| format!("{} {}: {:?}", p.name, p.version, p.license))
        .collect();
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn no_dependency_is_banned_or_there_twice() {
    let law = law();
    let mut versions: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for package in packages() {
        assert!(
            !law.bans.deny.contains(&package.name),
            "{} is banned",
            package.name
        );
        versions
            .entry(package.name)
            .or_default()
            .insert(package.version);
    }
    let twice: BTreeSet<&String> = versions
        .iter()
        .filter(|(_, versions)| versions.len() > 1)
        .map(|(name, _)| name)
        .collect();
    let borne: BTreeSet<&String> = law.bans.skip.iter().collect();
    assert_eq!(
        twice, borne,
        "what is there twice, and what .deny.toml bears"
    );
}

/// "Any version" is none: of no manifest of ours, with its features or without.
#[test]
fn no_dependency_is_of_any_version() {
    assert_eq!(law().bans.wildcards, "deny");
    for manifest in ["Cargo.toml", "tests/features/Cargo.toml"] {
        let text = std::fs::read_to_string(manifest).unwrap();
        let parsed: toml::Table = toml::from_str(&text).unwrap();
        let mut versions = 0;
        any_version(manifest, &toml::Value::Table(parsed), false, &mut versions);
        assert!(versions > 5, "{manifest}: only {versions} versions");
    }
}

fn any_version(place: &str, value: &toml::Value, of_a_dependency: bool, versions: &mut usize) {
    match value {
        toml::Value::String(version) if of_a_dependency => {
            *versions += 1;
            assert!(!version.contains('*'), "{place}: {version}");
        }
        toml::Value::Table(table) => {
            for (key, value) in table {
                let dependencies = key.ends_with("dependencies");
                let within = of_a_dependency && (key == "version" || !value.is_str());
                let named = of_a_dependency && value.is_str() && !KEYS.contains(&key.as_str());
                any_version(
                    &format!("{place}, {key}"),
                    value,
                    dependencies || within || named,
                    versions,
                );
            }
        }
        _ => {}
    }
}

/// Keys of a dependency whose text is no version.
const KEYS: [&str; 4] = ["package", "path", "registry", "git"];

#[test]
fn every_dependency_comes_from_the_crates_registry() {
    let lock = std::fs::read_to_string("Cargo.lock").unwrap();
    let lock: Lock = toml::from_str(&lock).unwrap();
    let (ours, others): (Vec<_>, Vec<_>) = lock
        .package
        .into_iter()
        .partition(|package| package.name.starts_with("bothhands"));
    assert!(ours.iter().all(|package| package.source.is_none()));
    let sources: BTreeSet<Option<String>> = others.into_iter().map(|p| p.source).collect();
    let registries: Vec<_> = sources.iter().flatten().collect();
    assert_eq!(
        sources.len(),
        1,
        "one registry, and nothing from elsewhere: {sources:?}"
    );
    assert!(registries[0].starts_with("registry+"), "{registries:?}");
}
