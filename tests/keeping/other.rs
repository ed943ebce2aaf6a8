//! Other programs: this test binary, started again to do one thing.

use std::{
    io::{BufRead, BufReader},
    path::Path,
    process::{Child, ChildStdout, Command, Stdio},
};

const TASK: &str = "BOTHHANDS_TEST_TASK";

/// Starts this test binary again to run the test called `other_program` of a module
/// (`module_path!()`), which finds its task with [`task`].
pub fn start(module: &str, task: &[&str]) -> Other {
    start_with(module, task, &std::env::current_exe().unwrap(), |command| {
        command
    })
}

/// As [`start`], another binary and with something changed in how it is started.
pub fn start_with(
    module: &str,
    task: &[&str],
    binary: &Path,
    change: impl FnOnce(&mut Command) -> &mut Command,
) -> Other {
    let test = format!("{}::other_program", crate::test_path(module));
    let mut command = Command::new(binary);
    command
        .args(["--exact", "--ignored", &test, "--nocapture", "--quiet"])
        .env(TASK, task.join("\n"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null());
    let mut child = change(&mut command).spawn().unwrap();
    let lines = BufReader::new(child.stdout.take().unwrap());
    Other { child, lines }
}

/// The task of this process, which was started by [`start`].
pub fn task() -> Vec<String> {
    let task = std::env::var(TASK).expect("started by another test, which says what to do");
    task.lines().map(str::to_owned).collect()
}

/// Tells the one who started this process something. Lines of the test runner do not begin so.
pub fn tell(line: impl std::fmt::Display) {
    use std::io::Write;
    let line = line.to_string().replace('\n', " ");
    let mut out = std::io::stdout().lock();
    writeln!(out, "> {line}")
        .and_then(|()| out.flush())
        .expect("a pipe to the starter");
}

/// Another program that runs.
pub struct Other {
    child: Child,
    lines: BufReader<ChildStdout>,
}

impl Other {
    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// The next thing it tells; none when it has ended.
    pub fn hear(&mut self) -> Option<String> {
        let mut line = String::new();
        loop {
            line.clear();
            if self.lines.read_line(&mut line).ok()? == 0 {
                return None;
            }
            if let Some(told) = line
                .strip_suffix('\n')
                .and_then(|line| line.strip_prefix("> "))
            {
                return Some(told.to_owned());
            }
        }
    }

    /// Everything it still tells until it ends.
    pub fn hear_all(&mut self) -> Vec<String> {
        std::iter::from_fn(|| self.hear()).collect()
    }

    /// Kills it at once: SIGKILL, which it cannot see coming.
    pub fn kill(&mut self) {
        self.child.kill().expect("a process of our own");
        self.child.wait().expect("a process of our own");
    }
}

impl Drop for Other {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
