//! Reading the job file: every problem that can be found is found in one go, each with its line.

use super::problem::{JobError, Problem};
use super::rules;
use super::{Board, Cable, Circuit, Device, Instrument, Job, Rcd, Site, Supply};
use serde::de::DeserializeOwned;
use std::collections::BTreeSet;
use std::fs;
use std::io::{self, ErrorKind};
use std::path::Path;
use toml::Spanned;
use toml::de::{DeTable, DeValue, ValueDeserializer};

impl Job {
    /// Reads a job file.
    ///
    /// # Errors
    /// [`JobError`] when the file cannot be read, or with every problem that was found in it.
    pub fn load(path: &Path) -> Result<Self, JobError> {
        Self::parse(&Self::text_of(path)?, &path.display().to_string())
    }

    /// The text of a job file, as it is.
    ///
    /// # Errors
    /// [`JobError`] when it cannot be read, or is not text in UTF-8.
    pub fn text_of(path: &Path) -> Result<String, JobError> {
        let read = if path == Path::new("-") {
            io::read_to_string(io::stdin())
        } else {
            fs::read_to_string(path)
        };
        read.map_err(|error| JobError {
            name: path.display().to_string(),
            problems: vec![Problem {
                line: 0,
                text: match error.kind() {
                    ErrorKind::InvalidData => {
                        "is not text in UTF-8 (it may be in UTF-16 or Latin-1): save it as UTF-8"
                            .to_owned()
                    }
                    _ => format!("cannot be read ({error}): check the path"),
                },
            }],
        })
    }

    /// Reads the text of a job file; `name` is how messages call it.
    ///
    /// ```
    /// use bothhands::installation::Job;
    /// let wrong = Job::parse("title = 'Boathouse'\nkimd = 'initial-verification'\n", "boathouse.toml");
    /// let message = wrong.unwrap_err().to_string();
    /// assert!(message.contains("boathouse.toml:2: `kimd` is not a key of the job"), "{message}");
    /// ```
    ///
    /// # Errors
    /// [`JobError`] with every problem that was found.
    pub fn parse(text: &str, name: &str) -> Result<Self, JobError> {
        let mut reader = Reader::new(text);
        let (root, syntax) = DeTable::parse_recoverable(text);
        for error in &syntax {
            let at = error.span().map_or(0, |s| s.start);
            reader.report(at, error.message().replace('\n', ", "));
        }
        let job = if syntax.is_empty() {
            reader.job(root.into_inner())
        } else {
            None
        };
        match job {
            Some(job) if reader.problems.is_empty() => Ok(job),
            _ => {
                let mut problems = reader.problems;
                problems.sort();
                problems.dedup();
                Err(JobError {
                    name: name.to_owned(),
                    problems,
                })
            }
        }
    }
}

/// A table of the file with the place it stands.
#[derive(Clone)]
pub(super) struct Node<'i> {
    table: DeTable<'i>,
    start: usize,
}

impl Node<'_> {
    /// Where the value of `key` stands; where the table starts when it has none.
    pub(super) fn at(&self, key: &str) -> usize {
        self.table
            .get(key)
            .map_or(self.start, |value| value.span().start)
    }

    /// Where the value of `key` in the table `inner` stands.
    pub(super) fn at_inner(&self, inner: &str, key: &str) -> usize {
        match self.table.get(inner).map(|v| (v.span().start, v.get_ref())) {
            Some((start, DeValue::Table(table))) => {
                table.get(key).map_or(start, |value| value.span().start)
            }
            Some((start, _)) => start,
            None => self.start,
        }
    }
}

pub(super) struct Reader<'i> {
    text: &'i str,
    problems: Vec<Problem>,
}

impl<'i> Reader<'i> {
    fn new(text: &'i str) -> Self {
        Self {
            text,
            problems: Vec::new(),
        }
    }

    pub(super) fn report(&mut self, at: usize, text: impl Into<String>) {
        let before = self.text.get(..at).unwrap_or(self.text);
        self.problems.push(Problem {
            line: before.matches('\n').count() + 1,
            text: text.into(),
        });
    }

    fn job(&mut self, table: DeTable<'i>) -> Option<Job> {
        let node = Node { table, start: 0 };
        let mut rest = node.clone();
        let mut lost = Vec::new();
        self.child::<Site>(&mut rest, "site", "the site", &mut lost);
        self.child::<Supply>(&mut rest, "supply", "the supply", &mut lost);
        let instruments = self.list(&mut rest, "instrument", |reader, node| {
            let read = reader.table::<Instrument>(node.clone(), "an instrument", Vec::new())?;
            rules::instrument(reader, &read, &node);
            Some(read)
        });
        let boards = self.list(&mut rest, "board", Self::board);
        if boards.is_none() {
            lost.push("board".to_owned());
        }
        // The boards are read one by one above; an empty list stands in for them.
        rest.table.insert(
            Spanned::new(0..0, "board".into()),
            Spanned::new(0..0, DeValue::Array(Default::default())),
        );
        let boards = boards.unwrap_or_default();
        rules::boards(self, &boards);
        let mut job: Job = self.table(rest, "the job", lost)?;
        job.instruments = instruments
            .unwrap_or_default()
            .into_iter()
            .filter_map(|(one, _)| one)
            .collect();
        rules::job(self, &job, &node);
        rules::board_phases(self, &job, &boards);
        let boards = boards.into_iter();
        let (boards, nodes): (Vec<_>, Vec<_>) =
            boards.filter_map(|(one, node)| Some((one?, node))).unzip();
        job.boards = boards;
        rules::feeds(self, &job, &nodes);
        Some(job)
    }

    fn board(&mut self, node: Node<'i>) -> Option<Board> {
        let mut rest = node.clone();
        let circuits = self.list(&mut rest, "circuit", Self::circuit);
        let mut board: Board = self.table(rest, "a board", Vec::new())?;
        rules::board(self, &board, &node, circuits.as_deref().unwrap_or_default());
        board.circuits = circuits
            .unwrap_or_default()
            .into_iter()
            .filter_map(|(one, _)| one)
            .collect();
        Some(board)
    }

    fn circuit(&mut self, node: Node<'i>) -> Option<Circuit> {
        let before = self.problems.len();
        let mut rest = node.clone();
        let mut lost = Vec::new();
        self.child::<Device>(&mut rest, "device", "a device", &mut lost);
        self.child::<Rcd>(&mut rest, "rcd", "an rcd", &mut lost);
        self.child::<Cable>(&mut rest, "cable", "a cable", &mut lost);
        let points = self.list(&mut rest, "point", |reader, node| {
            reader.table(node, "a point", Vec::new())
        });
        rules::points(self, points.as_deref().unwrap_or_default());
        let mut circuit: Circuit = self.table(rest, "a circuit", lost)?;
        circuit.points = points
            .unwrap_or_default()
            .into_iter()
            .filter_map(|(one, _)| one)
            .collect();
        if self.problems.len() == before {
            rules::circuit(self, &circuit, &node);
        }
        Some(circuit)
    }

    /// Takes the array of tables `key` out of `from` and reads each; nothing when there is none.
    fn list<T>(
        &mut self,
        from: &mut Node<'i>,
        key: &str,
        mut read: impl FnMut(&mut Self, Node<'i>) -> Option<T>,
    ) -> Option<Vec<(Option<T>, Node<'i>)>> {
        let value = from.table.remove(key)?;
        let start = value.span().start;
        let DeValue::Array(items) = value.into_inner() else {
            self.report(start, format!("`{key}` is a list: write [[...{key}]]"));
            return Some(Vec::new());
        };
        let mut all = Vec::new();
        for item in items {
            let start = item.span().start;
            match item.into_inner() {
                DeValue::Table(table) => {
                    let node = Node { table, start };
                    all.push((read(self, node.clone()), node));
                }
                _ => self.report(
                    start,
                    format!("each `{key}` is a table: write [[...{key}]]"),
                ),
            }
        }
        Some(all)
    }

    /// Reads the table `key` on its own, so that all of its problems are found; takes it out when
    /// there are any.
    fn child<T: DeserializeOwned>(
        &mut self,
        from: &mut Node<'i>,
        key: &str,
        what: &str,
        lost: &mut Vec<String>,
    ) {
        let Some(value) = from.table.get(key) else {
            return;
        };
        let DeValue::Table(table) = value.get_ref() else {
            return;
        };
        let node = Node {
            table: table.clone(),
            start: value.span().start,
        };
        let before = self.problems.len();
        self.table::<T>(node, what, Vec::new());
        if self.problems.len() > before {
            from.table.remove(key);
            lost.push(key.to_owned());
        }
    }

    /// Reads a table. After each problem the key at fault is left out and the rest read again,
    /// until all have been found; `lost` names keys already left out.
    fn table<T: DeserializeOwned>(
        &mut self,
        node: Node<'i>,
        what: &str,
        mut lost: Vec<String>,
    ) -> Option<T> {
        let Node { mut table, start } = node;
        loop {
            let whole = Spanned::new(start..start, DeValue::Table(table.clone()));
            let error = match T::deserialize(ValueDeserializer::from(whole)) {
                Ok(read) => return Some(read),
                Err(error) => error,
            };
            let message = error.message();
            if let Some(key) = between_ticks(message, "missing field ") {
                if lost.iter().all(|l| l != key) {
                    self.report(start, format!("{what} needs `{key}`: add {}", example(key)));
                }
                return None;
            }
            let culprit = error.span().and_then(|span| {
                let found = table.iter().find(|(key, value)| {
                    key.span() == span
                        || (value.span().start <= span.start && span.end <= value.span().end)
                });
                found.map(|(key, _)| key.get_ref().to_string())
            });
            let at = error.span().map_or(start, |s| s.start);
            self.report(at, explain(message, what, culprit.as_deref()));
            let key = culprit?;
            table.remove(key.as_str());
            lost.push(key);
        }
    }
}

/// The message of the deserialiser in words that say what to do.
fn explain(message: &str, what: &str, key: Option<&str>) -> String {
    // What stood in the file may hold the end of a line; a message is one line.
    let message = &message.replace(char::is_control, " ");
    let key = key.map(|key| key.replace(char::is_control, " "));
    if let Some(unknown) = between_ticks(message, "unknown field ") {
        let known: BTreeSet<_> = message.split('`').skip(3).step_by(2).collect();
        let known = known.into_iter().collect::<Vec<_>>().join(", ");
        return format!("`{unknown}` is not a key of {what}: the keys are {known}");
    }
    let key = key.map(|k| format!("{k}: ")).unwrap_or_default();
    if let Some(unknown) = between_ticks(message, "unknown variant ") {
        let known: Vec<_> = message.split('`').skip(3).step_by(2).collect();
        return format!(
            "{key}`{unknown}` is not known here: write {}",
            known.join(", ")
        );
    }
    let number = message.contains("invalid type: floating point")
        || message.contains("invalid type: integer");
    if number && message.contains("expected a string") {
        return format!("{key}write the number in quotes, so that its digits are kept: \"0.35\"");
    }
    format!("{key}{message}")
}

/// What stands between the ticks after `before`.
fn between_ticks<'m>(message: &'m str, before: &str) -> Option<&'m str> {
    message.strip_prefix(before)?.split('`').nth(1)
}

/// How a missing key could be written.
fn example(key: &str) -> String {
    let value = match key {
        "title" => "\"Boathouse, new wiring\"",
        "kind" => "a kind, such as \"initial-verification\", \"ring\" or \"BS EN 60898 B\"",
        "tester" => "\"who tests\"",
        "site" => return "a [site] table with its name".to_owned(),
        "supply" => return "a [supply] table with earthing and phases".to_owned(),
        "earthing" => "\"TN-S\", \"TN-C-S\" or \"TT\"",
        "phases" => "1 or 3",
        "serial" => "\"the number on the instrument\"",
        "calibration_due" => "\"2027-03-31\"",
        "used_for" => "[\"continuity\", \"insulation\"]",
        "number" => "1",
        "name" => "\"what it is called\"",
        "amps" => "32",
        "milliamps" => "30",
        "line_mm2" => "2.5",
        "cpc_mm2" => "1.5",
        _ => return format!("`{key} = ...`"),
    };
    format!("{key} = {value}")
}
