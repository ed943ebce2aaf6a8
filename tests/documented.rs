//! Every public item of the library says what it is. The compiler's own `missing_docs` asks it of
//! every field and variant too, which are named for what they are.

use std::path::Path;

/// Not held to it yet.
const LATER: [&str; 2] = ["src/sequence/state.rs", "src/commands/mod.rs"];
const ITEMS: [&str; 8] = [
    "fn ",
    "const fn ",
    "struct ",
    "enum ",
    "trait ",
    "type ",
    "const ",
    "static ",
];

#[test]
fn every_public_item_says_what_it_is() {
    let mut files = Vec::new();
    crate::rust_files(Path::new("src"), &mut files);
    let silent: Vec<String> = files
        .iter()
        .filter(|file| !LATER.iter().any(|later| file.ends_with(later)))
        .flat_map(|file| undocumented(file))
        .collect();
    assert!(files.len() > 80, "{}", files.len());
    assert!(silent.is_empty(), "say what they are: {silent:#?}");
}

fn undocumented(file: &Path) -> Vec<String> {
    let text = std::fs::read_to_string(file).unwrap();
    // Tests stand at the end.
    let text = text
        .split("#[cfg(test)]\nmod tests")
        .next()
        .unwrap_or_default();
    let lines: Vec<&str> = text.lines().map(str::trim).collect();
    (0..lines.len())
        .filter(|&n| {
            lines[n]
                .strip_prefix("pub ")
                .is_some_and(|rest| ITEMS.iter().any(|item| rest.starts_with(item)))
                && !lines[n].contains('$')
        })
        .filter(|&n| !has_words(&lines[..n]))
        .map(|n| format!("{}:{}: {}", file.display(), n + 1, lines[n]))
        .collect()
}

/// Whether the lines above an item, its attributes left out, end in a doc comment.
fn has_words(above: &[&str]) -> bool {
    let mut in_attribute = false;
    for line in above.iter().rev() {
        if line.starts_with("///") || line.starts_with("#[doc") {
            return true;
        }
        in_attribute |= line.ends_with(")]");
        if line.starts_with("#[") {
            in_attribute = false;
        } else if !in_attribute {
            return false;
        }
    }
    false
}
