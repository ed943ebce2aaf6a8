//! The screen in a real terminal with keyboard and microphone at once: somebody types, another speaks.

#![cfg(all(feature = "microphone", feature = "system-voice", target_os = "linux"))]

use crate::commands::screen::Terminal;
use crate::sound::room::{Outcome, in_the_room, manifest, play};
use bothhands::log::Log;
use bothhands::sequence::Event;
use bothhands::store::{OpenMode, Store};
use std::time::{Duration, Instant};

/// How long what was spoken may take to stand on the screen.
const HEARD: Duration = Duration::from_secs(12);

#[test]
fn keyboard_and_microphone_work_on_one_screen() -> Outcome {
    in_the_room(module_path!())
}

#[test]
#[ignore = "run in the test room by the test above"]
fn what_is_spoken_and_what_is_typed_stand_on_the_screen_and_in_the_log() -> Outcome {
    let terminal = Terminal::with("demo/boathouse.toml", None, "--voice none", (100, 30));
    terminal.wait_for(&["identify what you will isolate", "you: _"]);
    for line in ["done", "proved", "isolated", "locked off"] {
        terminal.write(line);
        terminal.keys(&["Enter"]);
    }
    terminal.wait_for(&["read back: Locked off."]);
    terminal.write("dead\rdead\rdead\rproved\r");
    terminal.wait_for(&["leads apart"]);
    // Spoken: over nine nine nine. A machine in heavy use may lose sound: it may be said once more.
    let spoken = manifest("demo/recordings/09-leads-open.flac");
    let mut tries = 0;
    while !terminal.shown().contains("Over nine nine nine") {
        tries += 1;
        assert!(
            tries <= 2,
            "said twice, and not heard:\n{}",
            terminal.shown()
        );
        println!("spoken, try {tries}");
        play("room", &spoken)?.wait()?;
        let end = Instant::now() + HEARD;
        while Instant::now() < end && !terminal.shown().contains("Over nine nine nine") {
            std::thread::sleep(Duration::from_millis(100));
        }
    }
    terminal.wait_for(&["leads joined"]);
    terminal.write("0.00");
    terminal.wait_for(&["you: 0.00_"]);
    terminal.keys(&["Enter"]);
    let shown = terminal.wait_for(&["Zero decimal zero zero"]);
    println!("{shown}");
    terminal.keys(&["C-c"]);
    terminal.ended("Stopped.");
    let log = Log::read(&Store::open(terminal.log(), OpenMode::Read)?)?;
    let readings: Vec<String> = log
        .events()
        .filter_map(|(event, _)| match event {
            Event::Reading { reading, .. } => Some(reading.to_string()),
            _ => None,
        })
        .collect();
    assert_eq!(readings.len(), 2, "{readings:?}");
    assert!(
        readings[0].contains(">999") || readings[0].contains("> 999"),
        "{readings:?}"
    );
    assert!(readings[1].contains("0.00"), "{readings:?}");
    Ok(())
}
