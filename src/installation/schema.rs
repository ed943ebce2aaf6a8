//! What a job file may hold, made from its types: a schema for editors, and the reference in
//! `demo/guide/job-file.md`.

use super::Job;
use super::file::{COUNTED, MOST_POINTS};
use schemars::{JsonSchema, Schema, json_schema, schema_for};
use serde_json::{Map, Value};
use std::fmt::Write as _;

/// Written out as a table, or short, as text.
#[derive(JsonSchema)]
#[serde(untagged)]
#[allow(dead_code, reason = "it only says what may stand in the file")]
pub(super) enum InShort<T> {
    Table(T),
    Text(String),
}

/// The same, or a number by itself.
#[derive(JsonSchema)]
#[serde(untagged)]
#[allow(dead_code, reason = "it only says what may stand in the file")]
pub(super) enum OrNumber<T> {
    Table(T),
    Text(String),
    Number(f64),
}

/// Points may be counted in place of being written out.
pub(super) fn with_counted(schema: &mut Schema) {
    let properties = schema.get_mut("properties").and_then(Value::as_object_mut);
    let Some(properties) = properties else { return };
    for (key, name) in COUNTED {
        let counted = json_schema!({
            "description": format!("How many points called \"{name}\" there are, numbered from 1."),
            "type": "integer",
            "minimum": 1,
            "maximum": MOST_POINTS,
        });
        properties.insert(key.to_owned(), counted.to_value());
    }
}

/// The job file's schema (JSON Schema 2020-12). It knows the words of the job file; other usual words
/// are taken too.
pub fn schema() -> Schema {
    schema_for!(Job)
}

/// Every key of a file with this schema, as tables in Markdown; `whole` is the heading of the first.
pub fn reference(schema: &Schema, whole: &str) -> String {
    let schema = schema.as_value();
    let mut pages = Pages {
        parts: schema.get("$defs").and_then(Value::as_object),
        text: String::new(),
    };
    pages.table(schema, whole, "");
    pages.text
}

struct Pages<'s> {
    parts: Option<&'s Map<String, Value>>,
    text: String,
}

impl<'s> Pages<'s> {
    /// What a schema stands for: itself, or the part that it names.
    fn resolved(&self, schema: &'s Value) -> &'s Value {
        let name = schema.get("$ref").and_then(Value::as_str);
        let name = name.and_then(|name| name.strip_prefix("#/$defs/"));
        name.and_then(|name| self.parts?.get(name))
            .unwrap_or(schema)
    }

    /// Every schema that one may be.
    fn choices(&self, schema: &'s Value) -> Vec<&'s Value> {
        let schema = self.resolved(schema);
        match schema.get("anyOf").and_then(Value::as_array) {
            Some(all) => all.iter().flat_map(|one| self.choices(one)).collect(),
            None => vec![schema],
        }
    }

    /// A table's keys, and after it those of the tables in it.
    fn table(&mut self, schema: &'s Value, heading: &str, path: &str) {
        let Some(properties) = schema.get("properties").and_then(Value::as_object) else {
            return;
        };
        let required = schema.get("required").and_then(Value::as_array);
        let _ = write!(
            self.text,
            "## {heading}\n\n| key | what it is | what may stand there | without it |\n| --- | --- | --- | --- |\n"
        );
        let mut inside = Vec::new();
        for (key, value) in properties {
            let needed = required.is_some_and(|all| all.iter().any(|one| one == key));
            let without = match value.get("default") {
                _ if needed => "needed".to_owned(),
                None | Some(Value::Null) => "–".to_owned(),
                Some(Value::Array(all)) if all.is_empty() => "none".to_owned(),
                Some(value) => format!("`{value}`"),
            };
            let what = text(value, "description");
            let what = if what.is_empty() {
                text(self.resolved(value), "description")
            } else {
                what
            };
            let _ = writeln!(
                self.text,
                "| `{key}` | {what} | {} | {without} |",
                self.may_be(value)
            );
            for choice in self.choices(value) {
                let item = choice.get("items").map(|item| self.resolved(item));
                let (table, is_list) = match item {
                    Some(item) => (item, true),
                    None => (choice, false),
                };
                if table.get("properties").is_some() {
                    let path = if path.is_empty() {
                        key.clone()
                    } else {
                        format!("{path}.{key}")
                    };
                    inside.push((table, path, is_list));
                }
            }
        }
        self.text.push('\n');
        for (table, path, is_list) in inside {
            let heading = if is_list {
                format!("`[[{path}]]`")
            } else {
                format!("`[{path}]`")
            };
            self.table(table, &heading, &path);
        }
    }

    fn may_be(&self, schema: &'s Value) -> String {
        let all: Vec<String> = self
            .choices(schema)
            .into_iter()
            .filter_map(|choice| self.one(choice))
            .collect();
        all.join("; or ")
    }

    fn one(&self, schema: &'s Value) -> Option<String> {
        if let Some(all) = schema.get("oneOf").and_then(Value::as_array) {
            let words = all.iter().flat_map(|one| {
                let word = one
                    .get("const")
                    .map(|word| (word, text(one, "description")));
                let plain = one
                    .get("enum")
                    .and_then(Value::as_array)
                    .into_iter()
                    .flatten();
                word.into_iter()
                    .chain(plain.map(|word| (word, String::new())))
            });
            let words = words.map(|(word, what)| {
                let what = what.trim_end_matches('.').to_owned();
                match what.is_empty() {
                    true => format!("`{word}`"),
                    false => format!("`{word}` ({what})"),
                }
            });
            return Some(words.collect::<Vec<_>>().join(", "));
        }
        if let Some(all) = schema.get("enum").and_then(Value::as_array) {
            let words = all
                .iter()
                .filter(|word| !word.is_null())
                .map(|word| format!("`{word}`"));
            return Some(words.collect::<Vec<_>>().join(" or "));
        }
        if schema.get("properties").is_some() {
            return Some("a table, below".to_owned());
        }
        let kinds: Vec<&str> = match schema.get("type") {
            Some(Value::String(kind)) => vec![kind.as_str()],
            Some(Value::Array(kinds)) => kinds.iter().filter_map(Value::as_str).collect(),
            _ => Vec::new(),
        };
        let kind = kinds.into_iter().find(|kind| *kind != "null")?;
        let limit = |key: &str| schema.get(key).and_then(Value::as_f64);
        Some(match kind {
            "string" if text(schema, "format") == "date" => "a date, as in `2027-03-31`".to_owned(),
            "string" => "text".to_owned(),
            "integer" => match (limit("minimum"), limit("maximum")) {
                (Some(least), Some(most)) => format!("a whole number, {least} to {most}"),
                _ => "a whole number".to_owned(),
            },
            "number" => "a number".to_owned(),
            "boolean" => "`true` or `false`".to_owned(),
            "array" => {
                let of = schema.get("items").map(|item| self.may_be(item));
                match of.as_deref() {
                    Some("a table, below") => "tables, below".to_owned(),
                    of => format!("a list of: {}", of.unwrap_or("anything")),
                }
            }
            other => other.to_owned(),
        })
    }
}

/// Text of a schema in one line, fit for a table.
fn text(schema: &Value, key: &str) -> String {
    let text = schema.get(key).and_then(Value::as_str).unwrap_or_default();
    text.split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
        .replace('|', "\\|")
}
