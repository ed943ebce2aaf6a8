use std::fmt;

/// One thing that is wrong in a file, and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Problem {
    /// The line it stands on, from 1; 0 when it concerns the file as a whole.
    pub line: usize,
    /// What is wrong and what to write instead.
    pub text: String,
}

/// Why a job file cannot be used: every problem found, in the order of its lines.
///
/// Shown as one line each, `boathouse.toml:12: ...`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobError {
    /// The file's name, as it was given.
    pub name: String,
    /// What is wrong; never empty.
    pub problems: Vec<Problem>,
}

impl JobError {
    /// One problem that concerns the file as a whole.
    pub(crate) fn whole(name: &str, text: impl Into<String>) -> Self {
        Self {
            name: name.to_owned(),
            problems: vec![Problem {
                line: 0,
                text: text.into(),
            }],
        }
    }
}

impl fmt::Display for JobError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, Problem { line, text }) in self.problems.iter().enumerate() {
            if i > 0 {
                writeln!(f)?;
            }
            match line {
                0 => write!(f, "{}: {text}", self.name)?,
                line => write!(f, "{}:{line}: {text}", self.name)?,
            }
        }
        Ok(())
    }
}

impl std::error::Error for JobError {}
