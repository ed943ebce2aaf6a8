//! The rooms of `src/` use each other as the table in `DEVELOPERS.md` says, and in no other way.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// Who uses whom.
type Uses = BTreeMap<String, BTreeSet<String>>;

/// The room that may use every other: it joins them.
const ALL: &str = "all";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

#[test]
fn the_rooms_keep_to_their_table() {
    let table = table(&fs::read_to_string(root().join("DEVELOPERS.md")).unwrap());
    let found = in_the_source(&root().join("src"));
    let rooms = |uses: &Uses| uses.keys().cloned().collect::<Vec<_>>();
    assert_eq!(
        rooms(&table),
        rooms(&found),
        "left, the rooms of the table; right, the folders of src"
    );
    let mut wrong = Vec::new();
    for (room, uses) in &found {
        let allowed = &table[room];
        if allowed.contains(ALL) {
            continue;
        }
        for used in uses.difference(allowed) {
            wrong.push(format!(
                "src/{room} uses `{used}`, which its row leaves out"
            ));
        }
        for unused in allowed.difference(uses) {
            wrong.push(format!("src/{room} may use `{unused}` and does not"));
        }
    }
    assert!(
        wrong.is_empty(),
        "mend the use, or the table \"Rooms\" in DEVELOPERS.md:\n{}",
        wrong.join("\n")
    );
}

#[test]
fn no_room_uses_one_that_uses_it() {
    let found = in_the_source(&root().join("src"));
    for room in found.keys() {
        let mut reached: BTreeSet<&str> = BTreeSet::new();
        let mut next: Vec<&str> = vec![room];
        while let Some(here) = next.pop() {
            for used in found.get(here).into_iter().flatten() {
                if reached.insert(used) {
                    next.push(used);
                }
            }
        }
        assert!(
            !reached.contains(room.as_str()),
            "src/{room} is in a circle"
        );
    }
}

/// "Each knows only those under it": of the layers of `src/sequence`, as the table in `DEVELOPERS.md`
/// numbers them, none uses one above it or beside it.
#[test]
fn the_layers_of_the_sequence_know_only_what_is_under_them() {
    let text = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let layers = layers(&text);
    assert_eq!(layers.len(), 7, "{layers:?}");
    let folder = root().join("src/sequence");
    let mut wrong = Vec::new();
    let mut uses = 0;
    for (layer, number) in &layers {
        let mut files = Vec::new();
        let alone = folder.join(layer).with_extension("rs");
        if alone.is_file() {
            files.push(alone);
        } else {
            rust_files(&folder.join(layer), &mut files);
        }
        for file in &files {
            let inside = file.strip_prefix(&folder).unwrap();
            let is_mod = file.ends_with("mod.rs");
            let depth = inside.components().count() - usize::from(is_mod);
            // From the crate's root or from below, it is the same path.
            let up = "super::".repeat(depth);
            let source = fs::read_to_string(file).unwrap();
            let source = source.replace("crate::sequence::", &up);
            let source = source.replace("crate::", "elsewhere::");
            for used in used_by(&source, depth) {
                let Some(under) = layers.get(&used).filter(|_| used != *layer) else {
                    continue;
                };
                uses += 1;
                if under >= number {
                    wrong.push(format!("{} uses `{used}`", inside.display()));
                }
            }
            // What the room gives out by its own name may come from any layer.
            let given_out = format!("{up}{{");
            for (at, _) in source.match_indices(&up) {
                let after = source[at + up.len()..].trim_start_matches('{').trim_start();
                let before = source[..at].chars().next_back();
                if before != Some(':') && after.starts_with(char::is_uppercase) {
                    wrong.push(format!(
                        "{} uses {given_out}... of the room",
                        inside.display()
                    ));
                }
            }
        }
    }
    assert!(uses > 30, "only {uses} uses were found");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Layers of several files in which none uses one that uses it, round about.
const WITHOUT_CIRCLES: [&str; 3] = ["say", "decide", "state"];

#[test]
fn no_file_of_a_layer_uses_one_that_uses_it() {
    let mut wrong = Vec::new();
    for layer in WITHOUT_CIRCLES {
        let files = files_of(&root().join("src/sequence").join(layer), layer);
        assert!(files.len() > 8, "{layer}: only {} files", files.len());
        let uses: usize = files.values().map(BTreeSet::len).sum();
        assert!(uses > 20, "{layer}: only {uses} uses were found");
        for file in files.keys() {
            if let Some(round) = round(&files, file) {
                wrong.push(format!("{layer}: {}", round.join(" uses ")));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_circle_of_files_is_found() {
    let files: Uses = [("a", "b"), ("b", "mod"), ("mod", "a"), ("c", "a")]
        .map(|(file, used)| (file.to_owned(), BTreeSet::from([used.to_owned()])))
        .into();
    assert_eq!(round(&files, "a").unwrap(), ["a", "b", "mod", "a"]);
    assert_eq!(round(&files, "c"), None);
    let modules = ["lines", "line"].map(str::to_owned).into();
    let source =
        "use super::line::Line; use super::{Narrator, lines::lines}; fn here() { super::near(); }";
    let given_out = "pub use line::{Line, LineKind}; pub use lines::Narrator; fn near() {}";
    let by = given_out_by(given_out, &modules);
    assert_eq!(
        files_used(source, &modules, &by),
        ["line", "lines", "mod"].map(str::to_owned).into()
    );
}

/// The way by which a file uses itself in the end.
fn round(files: &Uses, file: &str) -> Option<Vec<String>> {
    let mut ways = vec![vec![file.to_owned()]];
    let mut seen = BTreeSet::new();
    while let Some(way) = ways.pop() {
        for used in way
            .last()
            .and_then(|last| files.get(last))
            .into_iter()
            .flatten()
        {
            let way = [way.as_slice(), std::slice::from_ref(used)].concat();
            if used == file {
                return Some(way);
            }
            if seen.insert(used.clone()) {
                ways.push(way);
            }
        }
    }
    None
}

/// The files of a layer by name, each with those that it uses; what stands in `mod.rs` itself is "mod".
fn files_of(folder: &Path, layer: &str) -> Uses {
    let mut paths = Vec::new();
    rust_files(folder, &mut paths);
    let sources: BTreeMap<String, String> = paths
        .iter()
        .map(|path| {
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            let source = fs::read_to_string(path).unwrap();
            let source = source.replace(&format!("crate::sequence::{layer}::"), "super::");
            (name, without_tests(&code(&source)))
        })
        .collect();
    let modules: BTreeSet<String> = sources.keys().filter(|n| *n != "mod").cloned().collect();
    let by = given_out_by(&sources["mod"], &modules);
    sources
        .iter()
        .map(|(name, source)| {
            let mut used = if name == "mod" {
                let is_used = |module: &&String| {
                    let path = format!("{module}::");
                    let mut at = source.match_indices(&path);
                    at.any(|(at, _)| !source[..at].ends_with(is_of_a_name))
                };
                modules.iter().filter(is_used).cloned().collect()
            } else {
                files_used(source, &modules, &by)
            };
            used.remove(name);
            (name.clone(), used)
        })
        .collect()
}

/// From which file each name comes that `mod.rs` takes from its files.
fn given_out_by(source: &str, modules: &BTreeSet<String>) -> BTreeMap<String, String> {
    let mut by = BTreeMap::new();
    for taken in source.split("use ").skip(1) {
        let taken = taken.split(';').next().unwrap_or_default();
        let Some((module, names)) = taken.split_once("::") else {
            continue;
        };
        if !modules.contains(module) {
            continue;
        }
        for name in names.trim_matches(['{', '}']).split(',') {
            let name = name.rsplit([' ', ':']).find(|part| !part.is_empty());
            by.extend(name.map(|name| (name.to_owned(), module.to_owned())));
        }
    }
    by
}

/// The files of its folder that a file uses.
fn files_used(
    source: &str,
    modules: &BTreeSet<String>,
    by: &BTreeMap<String, String>,
) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    for (at, start) in source.match_indices("super::") {
        let before = &source[..at];
        if !before.ends_with(is_of_a_name) && !before.ends_with("::") {
            first_names(&source[at + start.len()..], &mut names);
        }
    }
    // One folder up is another layer.
    names.remove("super");
    let file = |name: String| match by.get(&name) {
        _ if modules.contains(&name) => name,
        Some(module) => module.clone(),
        None => "mod".to_owned(),
    };
    names.into_iter().map(file).collect()
}

/// How a text is looked at, or compared with another.
const LOOKS_AT_WORDS: [&str; 10] = [
    "starts_with(",
    "ends_with(",
    "strip_prefix(",
    "strip_suffix(",
    "to_lowercase(",
    "split_once(",
    ".dedup()",
    ".text ==",
    ".text !=",
    ".text.contains(",
];

/// What is said follows from what happened, and never from the words that were made of it before. `prompt`
/// reads the marks in `prompts.toml`.
#[test]
fn nothing_in_say_looks_at_its_own_wording() {
    let mut files = Vec::new();
    rust_files(&root().join("src/sequence/say"), &mut files);
    files.retain(|file| !file.ends_with("prompt.rs"));
    assert!(files.len() > 15, "only {} files", files.len());
    let mut wrong = Vec::new();
    for file in files {
        let source = without_tests(&code(&fs::read_to_string(&file).unwrap()));
        for looks in LOOKS_AT_WORDS
            .iter()
            .filter(|looks| source.contains(**looks))
        {
            wrong.push(format!("{}: {looks}", file.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The layers by name, with their numbers, of the table under "How the sequence works".
fn layers(text: &str) -> BTreeMap<String, u32> {
    text.lines()
        .skip_while(|line| *line != "## How the sequence works")
        .skip(1)
        .take_while(|line| !line.starts_with("## "))
        .filter_map(|line| {
            let mut cells = line.trim_matches('|').split('|').map(str::trim);
            let number = cells.next()?.parse().ok()?;
            let name = cells.next()?.strip_prefix('`')?.strip_suffix('`')?;
            Some((name.to_owned(), number))
        })
        .collect()
}

/// What lies at the top is what the drawing has, and no more; what is ignored or hidden is nobody's.
#[test]
fn the_top_level_is_as_drawn() {
    let ignored = fs::read_to_string(root().join(".gitignore")).unwrap();
    let mut found: Vec<String> = fs::read_dir(root())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| !name.starts_with('.'))
        .filter(|name| !ignored.lines().any(|line| line.trim_matches('/') == name))
        .collect();
    found.sort();
    let drawn = [
        "CHANGELOG.md",
        "Cargo.lock",
        "Cargo.toml",
        "DEVELOPERS.md",
        "LICENSE-APACHE",
        "LICENSE-MIT",
        "Makefile",
        "README.md",
        "benches",
        "demo",
        "grammars",
        "models",
        "src",
        "tests",
    ];
    assert_eq!(found, drawn);
}

/// One name, one thing: what can be seen outside its room has a name of its own. `Args` are what clap
/// takes of one command each.
#[test]
fn one_name_stands_for_one_thing() {
    let mut seen: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut files = Vec::new();
    rust_files(&root().join("src"), &mut files);
    for file in files {
        let source = fs::read_to_string(&file).unwrap();
        let shown = file.strip_prefix(root()).unwrap().display().to_string();
        for name in names_given_out(&source) {
            seen.entry(name).or_default().push(shown.clone());
        }
    }
    assert!(seen.len() > 300, "only {} names", seen.len());
    let twice: Vec<_> = seen
        .iter()
        .filter(|(name, at)| at.len() > 1 && *name != "Args")
        .collect();
    assert!(twice.is_empty(), "{twice:#?}");
}

/// The types that a file gives out beyond its room.
fn names_given_out(source: &str) -> Vec<String> {
    source
        .lines()
        .filter_map(|line| {
            let rest = line.strip_prefix("pub ");
            let rest = rest.or_else(|| line.strip_prefix("pub(crate) "))?;
            let (kind, name) = rest.split_once(' ')?;
            ["struct", "enum", "trait", "type"]
                .contains(&kind)
                .then(|| {
                    name.chars()
                        .take_while(|c| c.is_alphanumeric() || *c == '_')
                        .collect()
                })
        })
        .collect()
}

#[test]
fn a_use_is_found_however_it_is_written() {
    let source = "
        use crate::audio::Utterance;
        use crate::{grammar::{Grammar, Said}, log, quantity as q};
        fn here() { crate::store::open(); super::super::voice::say(); super::near(); }
        use bothhands::speech;
    ";
    let expected = [
        "audio", "grammar", "log", "quantity", "speech", "store", "voice",
    ];
    assert_eq!(used_by(source, 2), expected.map(str::to_owned).into());
}

#[test]
fn what_stands_in_a_comment_a_string_or_a_test_is_no_use() {
    let source = r####"
        // use crate::audio;
        /* crate::grammar /* nested */ crate::log */
        fn here<'a>(_: &'a str) -> char { let _ = "crate::store \" crate::voice"; '"' }
        const RAW: &str = r#"crate::speech " "#;
        #[cfg(test)]
        use crate::eval;
        #[cfg(test)]
        mod tests { use crate::review; fn of() { let _ = '}'; } }
        use crate::terms;
    "####;
    assert_eq!(used_by(source, 2), BTreeSet::from(["terms".to_owned()]));
}

/// The table under "Rooms": the first column names the folder, the last what it may use.
fn table(text: &str) -> Uses {
    let mut rows = Uses::new();
    for line in text
        .lines()
        .skip_while(|line| *line != "## Rooms")
        .skip(1)
        .take_while(|line| !line.starts_with("## "))
    {
        let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
        let room = cells
            .first()
            .and_then(|cell| cell.strip_prefix("`src/")?.strip_suffix('`'));
        let (Some(room), Some(last)) = (room, cells.last()) else {
            continue;
        };
        let uses = match *last {
            "-" => BTreeSet::new(),
            list => list
                .split(',')
                .map(|name| name.trim().trim_matches('`').to_owned())
                .collect(),
        };
        rows.insert(room.to_owned(), uses);
    }
    rows
}

/// What the files of each folder of `src` use of the others, tests left out.
fn in_the_source(src: &Path) -> Uses {
    let mut found = Uses::new();
    for folder in fs::read_dir(src)
        .unwrap()
        .map(|entry| entry.unwrap().path())
    {
        if !folder.is_dir() {
            continue;
        }
        let room = folder.file_name().unwrap().to_string_lossy().into_owned();
        let mut files = Vec::new();
        rust_files(&folder, &mut files);
        let tests: BTreeSet<PathBuf> = files
            .iter()
            .flat_map(|file| modules_of_tests(file))
            .collect();
        let uses = found.entry(room.clone()).or_default();
        for file in &files {
            if tests
                .iter()
                .any(|test| file.starts_with(test) || *file == test.with_extension("rs"))
            {
                continue;
            }
            let inside = file.strip_prefix(src).unwrap();
            let is_mod = file.ends_with("mod.rs");
            let depth = inside.components().count() - usize::from(is_mod);
            uses.extend(used_by(&fs::read_to_string(file).unwrap(), depth));
        }
        uses.remove(&room);
    }
    found
}

fn rust_files(folder: &Path, files: &mut Vec<PathBuf>) {
    for path in fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
    {
        if path.is_dir() {
            rust_files(&path, files);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            files.push(path);
        }
    }
}

/// Where the modules are that a file declares for tests only: without the ending.
fn modules_of_tests(file: &Path) -> Vec<PathBuf> {
    let code = code(&fs::read_to_string(file).unwrap());
    let folder = if file.ends_with("mod.rs") {
        file.parent().unwrap().to_owned()
    } else {
        file.with_extension("")
    };
    code.split("#[cfg(test)]")
        .skip(1)
        .filter_map(|after| {
            let name = after.trim_start().strip_prefix("mod ")?.split_once(';')?.0;
            let is_name = name.chars().all(|c| c.is_alphanumeric() || c == '_');
            is_name.then(|| folder.join(name))
        })
        .collect()
}

/// The rooms that a file names, when it stands `depth` modules below the crate's root.
fn used_by(source: &str, depth: usize) -> BTreeSet<String> {
    let code = without_tests(&code(source));
    let mut used = BTreeSet::new();
    for start in ["crate::", "bothhands::"] {
        for (at, _) in code.match_indices(start) {
            if !code[..at].ends_with(is_of_a_name) {
                named(&code[at + start.len()..], &mut used);
            }
        }
    }
    let to_the_root = "super::".repeat(depth);
    for (at, _) in code.match_indices(&to_the_root) {
        if !code[..at].ends_with(is_of_a_name) && !code[..at].ends_with("::") {
            named(&code[at + to_the_root.len()..], &mut used);
        }
    }
    used
}

fn is_of_a_name(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// The first name of a path, or of each path in braces, where it is that of a module.
fn named(path: &str, used: &mut BTreeSet<String>) {
    let mut names = BTreeSet::new();
    first_names(path, &mut names);
    // What begins with a capital is no module.
    names.retain(|name| name.starts_with(|c: char| c.is_lowercase()));
    used.extend(names);
}

/// The first name of a path, or of each path in braces.
fn first_names(path: &str, names: &mut BTreeSet<String>) {
    let mut first = |path: &str| {
        let name: String = path
            .trim_start()
            .chars()
            .take_while(|c| is_of_a_name(*c))
            .collect();
        if !name.is_empty() {
            names.insert(name);
        }
    };
    let Some(list) = path.strip_prefix('{') else {
        return first(path);
    };
    let mut deep = 0;
    let mut from = 0;
    for (at, c) in list.char_indices() {
        match c {
            '{' => deep += 1,
            '}' if deep == 0 => return first(&list[from..at]),
            '}' => deep -= 1,
            ',' if deep == 0 => {
                first(&list[from..at]);
                from = at + 1;
            }
            _ => {}
        }
    }
}

/// Code with every item left out that is for tests only.
fn without_tests(code: &str) -> String {
    let mut kept = String::new();
    let mut parts = code.split("#[cfg(test)]");
    kept.push_str(parts.next().unwrap_or_default());
    for part in parts {
        let mut deep = 0usize;
        let end = part.char_indices().find_map(|(at, c)| {
            match c {
                '{' => deep += 1,
                '}' => {
                    deep = deep.saturating_sub(1);
                    return (deep == 0).then_some(at + 1);
                }
                ';' if deep == 0 => return Some(at + 1),
                _ => {}
            }
            None
        });
        kept.push_str(&part[end.unwrap_or(part.len())..]);
    }
    kept
}

/// Rust without its comments, and with empty strings and characters.
fn code(source: &str) -> String {
    let mut code = String::new();
    let mut rest = source;
    while let Some(c) = rest.chars().next() {
        let skipped = if rest.starts_with("//") {
            rest.find('\n').unwrap_or(rest.len())
        } else if rest.starts_with("/*") {
            comment(rest)
        } else if c == '"' {
            text(rest)
        } else if c == 'r' && !code.ends_with(is_of_a_name) {
            raw_text(rest)
        } else if c == '\'' {
            character(rest)
        } else {
            0
        };
        if skipped == 0 {
            code.push(c);
            rest = &rest[c.len_utf8()..];
        } else {
            code.push(' ');
            rest = &rest[skipped..];
        }
    }
    code
}

/// The length of a comment in `/* */`, which may hold others.
fn comment(text: &str) -> usize {
    let (mut deep, mut at) = (0, 0);
    while let Some(rest) = text.get(at..).filter(|rest| !rest.is_empty()) {
        if rest.starts_with("/*") {
            deep += 1;
            at += 2;
        } else if rest.starts_with("*/") {
            deep -= 1;
            at += 2;
            if deep == 0 {
                return at;
            }
        } else {
            at += rest.chars().next().map_or(1, char::len_utf8);
        }
    }
    text.len()
}

/// The length of a string.
fn text(text: &str) -> usize {
    let mut escaped = false;
    for (at, c) in text.char_indices().skip(1) {
        match c {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            '"' => return at + 1,
            _ => {}
        }
    }
    text.len()
}

/// The length of a raw string; 0 when there is none.
fn raw_text(text: &str) -> usize {
    let hashes = text[1..].chars().take_while(|c| *c == '#').count();
    let Some(inside) = text[1 + hashes..].strip_prefix('"') else {
        return 0;
    };
    let end = format!("\"{}", "#".repeat(hashes));
    let found = inside.find(&end).map_or(inside.len(), |at| at + end.len());
    2 + hashes + found
}

/// The length of a character in quotes; 0 for a lifetime.
fn character(text: &str) -> usize {
    let mut chars = text.char_indices().skip(1);
    match chars.next() {
        Some((_, '\\')) => text[2..]
            .char_indices()
            .skip(1)
            .find(|(_, c)| *c == '\'')
            .map_or(0, |(at, _)| at + 3),
        Some(_) => match chars.next() {
            Some((at, '\'')) => at + 1,
            _ => 0,
        },
        None => 0,
    }
}
