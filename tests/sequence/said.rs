//! What `log` says was said is what was said.

use crate::dialogues::typed::{Run, files};
use bothhands::log::Log;
use bothhands::report::dialogue;

/// Over all dialogues: the lines of every turn, live, are the lines that the report of its log makes
/// of the same events, in the same order.
#[test]
fn the_log_says_what_was_said() {
    let mut wrong = Vec::new();
    let files = files();
    for path in &files {
        let text = std::fs::read_to_string(path).unwrap();
        let mut run = Run::new(&text);
        run.all(false);
        let site = run.site.unwrap();
        let log = Log::of(site.events.clone());
        let told: Vec<String> = dialogue(&log)
            .unwrap()
            .into_iter()
            .flat_map(|exchange| exchange.program)
            .map(|line| line.text)
            .collect();
        let name = path.file_stem().unwrap().to_string_lossy();
        if let Some(n) =
            (0..told.len().max(site.said.len())).find(|n| told.get(*n) != site.said.get(*n))
        {
            wrong.push(format!(
                "{name}, line {n}:\n  live: {:?}\n  log:  {:?}",
                site.said.get(n),
                told.get(n)
            ));
        }
    }
    assert!(files.len() >= 40, "only {} dialogues", files.len());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
