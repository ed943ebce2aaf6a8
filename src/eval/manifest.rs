use crate::grammar::{Grammar, Intent};
use anyhow::{Context, bail};
use std::path::{Path, PathBuf};

/// One line of a manifest.
#[derive(Debug, Clone)]
pub struct Clip {
    /// The recording.
    pub path: PathBuf,
    /// The expected words; empty when the clip must be ignored.
    pub words: String,
    /// The meaning of those words; nothing when the clip must be ignored.
    pub said: Option<Intent>,
}

/// Reads a manifest; every line's words must be understood under `rule`.
///
/// # Errors
/// When it cannot be read, holds no clip, or a line is wrong, which is then named.
pub fn read_manifest(path: &Path, grammar: &Grammar, rule: &str) -> anyhow::Result<Vec<Clip>> {
    let text = std::fs::read_to_string(path)
        .with_context(|| format!("{}: cannot be read; check the path", path.display()))?;
    let folder = path.parent().unwrap_or(Path::new(""));
    let mut clips = Vec::new();
    for (number, line) in text.lines().enumerate() {
        let line = line.trim_end_matches(['\r', '\n']);
        if line.trim().is_empty() || line.starts_with('#') {
            continue;
        }
        let (file, words) = line.split_once('\t').unwrap_or((line, ""));
        let words = words.trim();
        let said = grammar.understand(rule, words);
        if said.is_none() && !words.is_empty() {
            bail!(
                "{} line {}: \"{words}\" is nothing that rule `{rule}` allows; correct the words \
                 or leave them out if the recording must be ignored",
                path.display(),
                number + 1
            );
        }
        clips.push(Clip {
            path: folder.join(file.trim()),
            words: words.to_owned(),
            said,
        });
    }
    if clips.is_empty() {
        bail!(
            "{}: names no recording; give lines `path<TAB>expected words`",
            path.display()
        );
    }
    Ok(clips)
}

/// Reads the manifest of the second recordings: the same words, line by line.
///
/// # Errors
/// When it cannot be read, or is not about the same words; the line is then named.
pub fn read_second(
    path: &Path,
    grammar: &Grammar,
    rule: &str,
    first: &[Clip],
) -> anyhow::Result<Vec<Clip>> {
    let second = read_manifest(path, grammar, rule)?;
    if second.len() != first.len() {
        bail!(
            "{}: names {} recordings where the first list names {}; give one for each, in the \
             same order",
            path.display(),
            second.len(),
            first.len()
        );
    }
    for (number, (a, b)) in first.iter().zip(&second).enumerate() {
        if a.words != b.words {
            bail!(
                "{}: recording {} is of \"{}\" where that of the first list is of \"{}\"; give \
                 the same words in the same order",
                path.display(),
                number + 1,
                b.words,
                a.words
            );
        }
    }
    Ok(second)
}
