//! All integration tests in one program, a folder for each room. A new file is named in the `mod.rs`
//! of its folder; [`no_test_file_is_forgotten`] says so where it was not.
//!
//! ```sh
//! cargo test --test it keeping::        # one room
//! cargo test --test it -- --ignored     # never all of these: each says what it is for
//! ```

#![allow(
    missing_docs,
    unreachable_pub,
    reason = "a program of tests, used by nobody"
)]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::missing_panics_doc,
    reason = "a test may fail"
)]

mod bay;
mod commands;
mod dependencies;
mod dialogues;
mod fuzz;
#[cfg(all(feature = "hand-in", unix))]
mod handed_in;
mod handing_over;
mod hearing;
mod keeping;
mod limits;
mod looking_back;
#[cfg(feature = "phone")]
mod phone;
mod practice;
mod rooms;
mod sequence;
mod sound;
mod wrong;

use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// The machine's attention, as long as it is kept.
pub struct Attention {
    _of_these: MutexGuard<'static, ()>,
    _of_all: File,
}

/// Held by a test that needs the machine's attention: sound that runs in real time, a browser. Two
/// of them at once would be late for each other, in this program or in another run of it.
pub fn attention() -> Attention {
    static ATTENTION: Mutex<()> = Mutex::new(());
    let of_these = ATTENTION.lock().unwrap_or_else(PoisonError::into_inner);
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join("attention");
    let of_all = File::create(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    of_all.lock().unwrap();
    Attention {
        _of_these: of_these,
        _of_all: of_all,
    }
}

/// Fails where a program is missing, with the Debian package that has it: no test passes unrun.
pub fn need(program: &str, package: &str) {
    let found = std::env::var_os("PATH").is_some_and(|path| {
        std::env::split_paths(&path).any(|folder| folder.join(program).is_file())
    });
    assert!(found, "{program} is missing: apt-get install {package}");
}

/// The name of a module as tests are chosen by it: without that of the program.
pub fn test_path(module: &str) -> &str {
    module.split_once("::").map_or("", |(_, path)| path)
}

#[test]
fn no_test_file_is_forgotten() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    let mut files = Vec::new();
    rust_files(&folder, &mut files);
    assert!(files.len() > 40, "{files:?}");
    let forgotten: Vec<_> = files.iter().filter(|file| !is_named(file)).collect();
    assert!(
        forgotten.is_empty(),
        "name them in the mod.rs of their folder: {forgotten:?}"
    );
}

fn rust_files(folder: &Path, found: &mut Vec<PathBuf>) {
    if folder.join("Cargo.toml").exists() {
        return;
    }
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            rust_files(&path, found);
        } else if path.extension().is_some_and(|end| end == "rs") {
            found.push(path);
        }
    }
}

/// Whether the file above says `mod NAME;`, which is `main.rs` in `tests/` and `mod.rs` in its folders.
fn is_named(file: &Path) -> bool {
    if file.file_name().unwrap() == "main.rs" {
        return true;
    }
    let folder = file.parent().unwrap();
    let (above, name) = if file.file_name().unwrap() == "mod.rs" {
        (folder.parent().unwrap(), folder.file_name().unwrap())
    } else {
        (folder, file.file_stem().unwrap())
    };
    let name = name.to_str().unwrap();
    // A file may have a folder of its own name for its parts.
    let files = [
        above.join("main.rs"),
        above.join("mod.rs"),
        above.with_extension("rs"),
    ];
    files
        .iter()
        .filter_map(|file| std::fs::read_to_string(file).ok())
        .collect::<Vec<_>>()
        .iter()
        .flat_map(|text| text.lines())
        .any(|line| {
            let line = line.trim_start_matches("pub ");
            line.strip_prefix("mod ")
                .and_then(|rest| rest.strip_suffix(';'))
                == Some(name)
        })
}
