//! The schema of the job file is that of the files here, and the reference is made from it.
//!
//! `REFERENCE=write cargo test --test it limits::schema` writes `demo/guide/job-file.md` anew.

use bothhands::{config, installation};
use serde_json::{Map, Value};
use std::path::PathBuf;

const PAGE: &str = "demo/guide/job-file.md";

const HEAD: &str = r#"# The job file and the configuration, key by key

Made from the program's own types; `bothhands schema` prints the same as a JSON Schema, for an editor that completes and
checks as you type, and `bothhands schema --tables` as it stands here. A new job file comes from `bothhands new`; `bothhands
check` says what is wrong in one, with its line.

Words are taken in any case and as they are usually written: `tncs` and `PME` are `TN-C-S`, `EICR` is `periodic-inspection`,
`cooker` is `single-point`, `B` is `BS EN 60898 B`. What could be several things is answered with what to write.
`sockets = 8` counts points that nobody needs to tell apart; one that differs is written out beside it, with its number.

What stands in an old installation is written as it is marked: `device = "BS 1361 30 A"`, `"BS 3871 type 2 20 A"`, `"250 A MCCB trips
at 2000 A"`; one that the tables lack is `{ kind = "other", called = "...", amps = 10, ia_amps = 50, source = "..." }`. Cables:
`"10 3-core SWA 25 m"` (the armour is the protective conductor), `"16/16 SWA 40 m"` (a core is), `"2.5/2.5 singles 20 m"`, `"1.5 2-core MICC
12 m"`, `"35/16 aluminium XLPE 30 m"`, `"7/.029 and 3/.029 12 m"`. An RCD of several circuits is a `[[board.rcd]]` before the circuits, with
their numbers, or without where it protects the whole board.

"#;

fn page() -> String {
    let job = installation::reference(&installation::schema(), "The job");
    let config = installation::reference(&config::schema(), "The configuration");
    let about = "Its place, and what it sets now: `bothhands config`. Its instruments are as in the job file.\n\n";
    let config = config
        .split("## `[[instrument]]`")
        .next()
        .unwrap()
        .replacen("\n\n", &format!("\n\n{about}"), 1);
    format!("{HEAD}{job}{}", config.trim_end().to_owned() + "\n")
}

#[test]
fn the_reference_names_every_key() {
    let wanted = page();
    if std::env::var("REFERENCE").is_ok_and(|v| v == "write") {
        std::fs::write(PAGE, wanted).unwrap();
        return;
    }
    let text = std::fs::read_to_string(PAGE).unwrap_or_default();
    assert!(
        text == wanted,
        "{PAGE} is out of date: REFERENCE=write cargo test --test it limits::schema"
    );
}

/// What of a value a schema does not allow. Knows only the words of JSON Schema that ours uses, and
/// fails at any other, so that none goes unheeded.
fn refused(root: &Value, schema: &Value, value: &Value, at: &str) -> Vec<String> {
    let mut wrong = Vec::new();
    let schema = schema.as_object().unwrap();
    let has = |key: &str| schema.get(key);
    for (word, rule) in schema {
        let fits = match word.as_str() {
            "$schema" | "$defs" | "title" | "description" | "default" | "format" | "properties"
            | "minimum" | "maximum" => true,
            "$ref" => {
                let name = rule.as_str().unwrap().strip_prefix("#/$defs/").unwrap();
                wrong.extend(refused(root, &root["$defs"][name], value, at));
                true
            }
            "anyOf" | "oneOf" => {
                let fitting = rule.as_array().unwrap().iter();
                let fitting = fitting.filter(|one| refused(root, one, value, at).is_empty());
                match word.as_str() {
                    "oneOf" => fitting.count() == 1,
                    _ => fitting.count() > 0,
                }
            }
            "type" => {
                let kinds: Vec<&str> = match rule {
                    Value::Array(all) => all.iter().map(|kind| kind.as_str().unwrap()).collect(),
                    one => vec![one.as_str().unwrap()],
                };
                kinds.into_iter().any(|kind| is_a(value, kind))
            }
            "const" => rule == value,
            "enum" => rule.as_array().unwrap().contains(value),
            "required" => value.as_object().is_none_or(|table| {
                let keys = rule.as_array().unwrap().iter();
                keys.map(|key| key.as_str().unwrap())
                    .all(|key| table.contains_key(key))
            }),
            "additionalProperties" => {
                assert_eq!(rule, &Value::Bool(false));
                let known = has("properties").and_then(Value::as_object).unwrap();
                let empty = Map::new();
                let table = value.as_object().unwrap_or(&empty);
                table.keys().all(|key| known.contains_key(key))
            }
            "items" => {
                for (n, item) in value.as_array().into_iter().flatten().enumerate() {
                    wrong.extend(refused(root, rule, item, &format!("{at}[{n}]")));
                }
                true
            }
            other => panic!("the schema says {other:?}, which this test does not know"),
        };
        if !fits {
            wrong.push(format!("{at}: {word} {rule}"));
        }
    }
    if let (Some(number), "number" | "integer") = (value.as_f64(), kind_of(schema)) {
        let bound = |key| has(key).and_then(Value::as_f64);
        if bound("minimum").is_some_and(|least| number < least)
            || bound("maximum").is_some_and(|most| number > most)
        {
            wrong.push(format!("{at}: {number} is out of bounds"));
        }
    }
    if let (Some(properties), Some(table)) = (
        has("properties").and_then(Value::as_object),
        value.as_object(),
    ) {
        for (key, value) in table {
            if let Some(schema) = properties.get(key) {
                wrong.extend(refused(root, schema, value, &format!("{at}.{key}")));
            }
        }
    }
    wrong
}

fn kind_of(schema: &Map<String, Value>) -> &str {
    match schema.get("type") {
        Some(Value::String(kind)) => kind,
        Some(Value::Array(all)) => all[0].as_str().unwrap(),
        _ => "",
    }
}

fn is_a(value: &Value, kind: &str) -> bool {
    match kind {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "boolean" => value.is_boolean(),
        "null" => value.is_null(),
        "integer" => value.is_i64() || value.is_u64(),
        "number" => value.is_number(),
        other => panic!("{other} is no type"),
    }
}

/// A TOML file as JSON: dates are text.
fn json(text: &str) -> Value {
    fn value(toml: toml::Value) -> Value {
        match toml {
            toml::Value::Datetime(date) => Value::String(date.to_string()),
            toml::Value::Array(all) => all.into_iter().map(value).collect(),
            toml::Value::Table(table) => table.into_iter().map(|(k, v)| (k, value(v))).collect(),
            other => serde_json::to_value(other).unwrap(),
        }
    }
    value(toml::from_str(text).unwrap())
}

fn problems(text: &str) -> Vec<String> {
    let schema = installation::schema().to_value();
    refused(&schema, &schema, &json(text), "job")
}

fn jobs() -> Vec<PathBuf> {
    let mut all = vec![PathBuf::from("demo/boathouse.toml")];
    for folder in ["tests/jobs", "tests/dialogues/jobs"] {
        for file in std::fs::read_dir(folder).unwrap() {
            let path = file.unwrap().path();
            if path.extension().is_some_and(|end| end == "toml") {
                all.push(path);
            }
        }
    }
    all
}

#[test]
fn every_job_here_is_as_the_schema_says_and_what_is_wrong_is_not() {
    assert!(jobs().len() > 12, "{:?}", jobs());
    for path in jobs() {
        let text = std::fs::read_to_string(&path).unwrap();
        let found = problems(&text);
        let is_wrong = path.ends_with("everything_wrong.toml");
        assert_eq!(found.is_empty(), !is_wrong, "{}: {found:?}", path.display());
    }
    let whole = std::fs::read_to_string("demo/boathouse.toml").unwrap();
    for (old, new) in [
        ("phases = 1", "phases = 2"),
        ("feeds_on = true", "feeds_on = \"yes\""),
        ("kind = \"radial\"", "kind = \"radiall\""),
        ("metres = 23", "meters = 23"),
        ("title = ", "titel = "),
        ("sources = [\"mains\", \"solar\"]", "sources = [\"moon\"]"),
    ] {
        assert!(whole.contains(old), "{old}");
        assert!(
            !problems(&whole.replace(old, new)).is_empty(),
            "{new} went by"
        );
    }
}

#[test]
fn short_forms_and_a_new_job_are_as_the_schema_says() {
    let whole = std::fs::read_to_string("demo/boathouse.toml").unwrap();
    let short = whole
        .replace(
            "device = { kind = \"BS EN 61009 B\", amps = 20, breaking_ka = 6 }",
            "device = \"B20 RCBO\"\nsockets = 3",
        )
        .replace("rcd = { milliamps = 30, waveform = \"A\" }", "rcd = 30")
        .replace(
            "cable = { line_mm2 = 2.5, cpc_mm2 = 1.5, metres = 23 }",
            "cable = \"2.5/1.5 23 m\"",
        );
    assert_ne!(short, whole);
    assert_eq!(problems(&short), [""; 0]);
    assert!(installation::Job::parse(&short, "short").is_ok());
    assert!(!problems(&short.replace("sockets = 3", "sockets = 0")).is_empty());
}
