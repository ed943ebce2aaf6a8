//! The screen in a real terminal: tmux holds it, types into it and tells what stands on it.

use crate::need;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// A terminal with the program in it, in a folder of its own.
pub struct Terminal {
    dir: TempDir,
}

/// Longer than anything here takes on a busy machine.
const PATIENCE: Duration = Duration::from_secs(60);

impl Terminal {
    fn begin(arguments: &str, width: u32, height: u32) -> Self {
        let silent = "pcm.!default { type null }\nctl.!default { type null }\n";
        let job = "tests/dialogues/jobs/radial.toml";
        Self::with(job, Some(silent), arguments, (width, height))
    }

    /// A terminal that works on this job; with a microphone of this configuration, such as one that
    /// hears nothing, or with the one that there is.
    pub fn with(
        job: &str,
        microphone: Option<&str>,
        arguments: &str,
        (width, height): (u32, u32),
    ) -> Self {
        need("tmux", "tmux");
        let dir = tempfile::tempdir().unwrap();
        fs::copy(job, dir.path().join("job.toml")).unwrap();
        let configured = microphone.map(|text| {
            fs::write(dir.path().join("asound.conf"), text).unwrap();
            "ALSA_CONFIG_PATH=asound.conf"
        });
        let terminal = Self { dir };
        let program = env!("CARGO_BIN_EXE_bothhands");
        let command = format!(
            "cd {}; {} {program} test job.toml {arguments} --screen 2>said.txt; echo \"ended with $?\"; sleep 600",
            terminal.dir.path().display(),
            configured.unwrap_or_default()
        );
        let (width, height) = (width.to_string(), height.to_string());
        terminal.tmux(&[
            "-f",
            "/dev/null",
            "new-session",
            "-d",
            "-x",
            &width,
            "-y",
            &height,
            &command,
        ]);
        terminal
    }

    fn tmux(&self, arguments: &[&str]) -> Output {
        let socket = self.dir.path().join("tmux");
        let mut tmux = Command::new("tmux");
        tmux.arg("-S").arg(socket).args(arguments);
        let output = tmux.output().unwrap();
        assert!(output.status.success(), "{arguments:?}: {output:?}");
        output
    }

    pub fn keys(&self, keys: &[&str]) {
        self.tmux(&[&["send-keys"], keys].concat());
    }

    pub fn write(&self, text: &str) {
        self.tmux(&["send-keys", "-l", text]);
    }

    /// The log of the session.
    pub fn log(&self) -> std::path::PathBuf {
        self.dir.path().join("job.db")
    }

    fn size(&self, width: u32, height: u32) {
        let (width, height) = (width.to_string(), height.to_string());
        self.tmux(&["resize-window", "-x", &width, "-y", &height]);
    }

    pub fn shown(&self) -> String {
        String::from_utf8(self.tmux(&["capture-pane", "-p"]).stdout).unwrap()
    }

    /// What is shown once all of this stands there.
    pub fn wait_for(&self, all: &[&str]) -> String {
        let end = Instant::now() + PATIENCE;
        loop {
            let shown = self.shown();
            if all.iter().all(|text| shown.contains(text)) {
                return shown;
            }
            assert!(
                Instant::now() < end,
                "{all:?} never came:\n{shown}\n{}",
                self.said()
            );
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// What the program wrote beside the screen.
    fn said(&self) -> String {
        fs::read_to_string(self.dir.path().join("said.txt")).unwrap_or_default()
    }

    pub fn ended(&self, way: &str) {
        self.wait_for(&["ended with 0"]);
        assert!(self.said().contains(way), "{}", self.said());
        assert!(Path::new(&self.dir.path().join("job.db")).exists());
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        let socket = self.dir.path().join("tmux");
        let _ = Command::new("tmux")
            .arg("-S")
            .arg(socket)
            .arg("kill-server")
            .output();
    }
}

#[test]
fn typing_is_shown_taken_and_put_right_and_every_way_out_is_told() {
    let terminal = Terminal::begin("--words -", 100, 30);
    terminal.wait_for(&[
        "asked now",
        "identify what you will isolate",
        "To end: Ctrl-C",
    ]);
    terminal.write("donex");
    terminal.keys(&["BSpace"]);
    terminal.wait_for(&["you: done_"]);
    terminal.keys(&["Enter"]);
    let shown = terminal.wait_for(&["read back: Done.", "Prove the voltage indicator"]);
    assert!(
        shown.contains("you: _"),
        "the line is empty again:\n{shown}"
    );
    // Lines sent at once are lines, not one long one.
    terminal.write("proved\risolated\nlocked off\r");
    terminal.wait_for(&["read back: Locked off.", "Prove dead, line to neutral"]);
    terminal.write("half a");
    terminal.wait_for(&["you: half a_"]);
    terminal.keys(&["Escape"]);
    terminal.wait_for(&["you: _"]);
    terminal.keys(&["Escape"]);
    terminal.wait_for(&["To end: Ctrl-C"]);
    terminal.write("q");
    terminal.wait_for(&["you: q_"]);
    terminal.keys(&["Enter"]);
    terminal.wait_for(&["To end: Ctrl-C"]);
    terminal.keys(&["C-d"]);
    terminal.ended("Nothing more to hear. 4 taken");
}

#[test]
fn every_size_shows_all_panes_there_is_room_for() {
    let terminal = Terminal::begin("--words -", 40, 24);
    let narrow = terminal.wait_for(&[
        "asked now",
        "Say done.",
        "last readings",
        "out",
        "said",
        "you: _",
    ]);
    let words = narrow.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("find every source: mains"),
        "whole words:\n{narrow}"
    );
    for (width, height) in [(120, 40), (100, 10), (40, 12), (100, 30)] {
        terminal.size(width, height);
        let panes = ["asked now", "Board 1", "said", "you: _"];
        let shown = terminal.wait_for(&panes);
        if height >= 24 {
            let all = terminal.wait_for(&["last readings", "out", "find every source"]);
            assert!(all.contains("nothing is out"), "{all}");
        }
        assert_eq!(shown.matches("asked now").count(), 1, "{shown}");
    }
    terminal.keys(&["C-c"]);
    terminal.ended("Stopped. 0 taken");
}

#[test]
#[cfg(feature = "microphone")]
fn beside_a_microphone_lines_can_be_typed_and_ctrl_c_ends_it() {
    let terminal = Terminal::begin("--voice terminal", 100, 30);
    terminal.wait_for(&["identify what you will isolate", "you: _"]);
    terminal.write("done");
    terminal.keys(&["Enter"]);
    terminal.wait_for(&["read back: Done."]);
    terminal.keys(&["C-c"]);
    terminal.ended("Stopped. 1 taken");
}
