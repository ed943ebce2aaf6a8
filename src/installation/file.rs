//! Reading the job file: every problem that can be found is found in one go, each with its line.

use super::problem::{JobError, Problem};
use super::rules;
use super::usual::{self, nearest};
use super::written_out::written_out;
use super::{
    Accessory, Board, Cable, Circuit, Device, GroupRcd, Inspection, Instrument, ItemList, Job, Rcd,
    Site, Supply, Surge,
};
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
        let text = &written_out(text);
        let mut reader = Reader::new(text);
        let job = reader.root(text).and_then(|root| {
            reader.report_marked(&root);
            let marked: BTreeSet<usize> = reader.problems.iter().map(|p| p.line).collect();
            let job = reader.job(root, name);
            // What is to be filled in is nothing else that is wrong.
            reader
                .problems
                .retain(|p| !marked.contains(&p.line) || p.text.contains(FILL_THIS_IN));
            job
        });
        reader.done(job, name)
    }
}

/// Reads settings of another file than a job: one table, and instruments as a job file has them;
/// `name` is how messages call the file, `what` what the table is.
///
/// # Errors
/// [`JobError`] with every problem that was found.
pub fn read_settings<T: DeserializeOwned>(
    text: &str,
    name: &str,
    what: &str,
) -> Result<(T, Vec<Instrument>), JobError> {
    let text = &written_out(text);
    let mut reader = Reader::new(text);
    let root = reader.root(text);
    let read = root.and_then(|root| {
        let mut node = Node {
            table: root,
            start: 0,
        };
        let instruments = reader.instruments(&mut node);
        Some((reader.table(node, what, Vec::new())?, instruments))
    });
    reader.done(read, name)
}

/// A table of the file with the place it stands.
#[derive(Clone)]
pub(super) struct Node<'i> {
    table: DeTable<'i>,
    start: usize,
}

impl Node<'_> {
    /// Whether `key` is written.
    pub(super) fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

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

    /// The whole file as a table; nothing where it is no TOML.
    fn root(&mut self, text: &'i str) -> Option<DeTable<'i>> {
        let (root, syntax) = DeTable::parse_recoverable(text);
        for error in &syntax {
            let at = error.span().map_or(0, |s| s.start);
            self.report(at, error.message().replace('\n', ", "));
        }
        syntax.is_empty().then(|| root.into_inner())
    }

    /// What was read, when nothing is wrong.
    fn done<T>(self, read: Option<T>, name: &str) -> Result<T, JobError> {
        match read {
            Some(read) if self.problems.is_empty() => Ok(read),
            _ => {
                let mut problems = self.problems;
                problems.sort();
                problems.dedup();
                Err(JobError {
                    name: name.to_owned(),
                    problems,
                })
            }
        }
    }

    fn instruments(&mut self, from: &mut Node<'i>) -> Vec<Instrument> {
        let all = self.list(from, "instrument", |reader, node| {
            let read = reader.table::<Instrument>(node.clone(), "an instrument", Vec::new())?;
            rules::instrument(reader, &read, &node);
            Some(read)
        });
        let all = all.unwrap_or_default().into_iter();
        all.filter_map(|(one, _)| one).collect()
    }

    pub(super) fn report(&mut self, at: usize, text: impl Into<String>) {
        let before = self.text.get(..at).unwrap_or(self.text);
        self.problems.push(Problem {
            line: before.matches('\n').count() + 1,
            text: text.into(),
        });
    }

    /// Every value that is marked to be filled in.
    fn report_marked(&mut self, table: &DeTable<'i>) {
        for (key, value) in table {
            match value.get_ref() {
                DeValue::Table(table) => self.report_marked(table),
                DeValue::Array(all) => {
                    for table in all.iter().filter_map(|one| one.get_ref().as_table()) {
                        self.report_marked(table);
                    }
                }
                DeValue::String(text) => {
                    if let Some(wanted) = text.strip_prefix(TO_FILL_IN) {
                        let wanted = wanted.trim_start_matches([':', ' ']);
                        let text = format!("{}: {FILL_THIS_IN}: {wanted}", key.get_ref());
                        self.report(value.span().start, text);
                    }
                }
                _ => {}
            }
        }
    }

    fn job(&mut self, table: DeTable<'i>, name: &str) -> Option<Job> {
        let node = Node { table, start: 0 };
        let mut rest = node.clone();
        let mut lost = Vec::new();
        self.child::<Site>(&mut rest, "site", "the site", &mut lost);
        self.child::<Supply>(&mut rest, "supply", "the supply", &mut lost);
        self.child::<Inspection>(&mut rest, "inspection", "the inspection", &mut lost);
        let instruments = self.instruments(&mut rest);
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
        job.instruments = instruments;
        if let Some(inspection) = &mut job.inspection {
            inspection.items = self.items(inspection, name, &node);
        }
        rules::board_phases(self, &job, &boards);
        let boards = boards.into_iter();
        let (boards, nodes): (Vec<_>, Vec<_>) =
            boards.filter_map(|(one, node)| Some((one?, node))).unzip();
        job.boards = boards;
        rules::job(self, &job, &node);
        rules::feeds(self, &job, &nodes);
        rules::parts(self, &job, &nodes);
        Some(job.in_parts())
    }

    /// The items of the inspection: of the file that the job names, beside the job file, or the list
    /// that ships.
    fn items(&mut self, inspection: &Inspection, name: &str, node: &Node<'i>) -> Option<ItemList> {
        let list = inspection.list.as_deref();
        let (read, key) = match (&inspection.items, list) {
            (Some(inline), _) => (inline.clone().checked(), "items"),
            (None, None) => (ItemList::shipped(), "list"),
            (None, Some(list)) => {
                let beside = Path::new(name).parent().unwrap_or(Path::new(""));
                (list_of(&beside.join(list)), "list")
            }
        };
        read.map_err(|why| {
            let at = node.at_inner("inspection", key);
            let of = list
                .filter(|_| inspection.items.is_none())
                .unwrap_or("of the inspection");
            self.report(at, format!("list of items {of}: {why}"));
        })
        .ok()
    }

    fn board(&mut self, node: Node<'i>) -> Option<Board> {
        let mut rest = node.clone();
        let circuits = self.list(&mut rest, "circuit", Self::circuit);
        let rcds = self.list(&mut rest, "rcd", |reader, node| {
            reader.table::<GroupRcd>(node, "an rcd of several circuits", Vec::new())
        });
        let rcds = rcds.unwrap_or_default();
        let known: Vec<u16> = circuits
            .iter()
            .flatten()
            .filter_map(|(one, _)| Some(one.as_ref()?.number))
            .collect();
        rules::groups(self, &rcds, &known);
        let mut lost = Vec::new();
        self.child::<Surge>(&mut rest, "surge", "surge protection", &mut lost);
        let mut board: Board = self.table(rest, "a board", lost)?;
        board.rcds = rcds.into_iter().filter_map(|(one, _)| one).collect();
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
        residual_of_device(&mut rest);
        self.child::<Device>(&mut rest, "device", "a device", &mut lost);
        self.child::<Rcd>(&mut rest, "rcd", "an rcd", &mut lost);
        self.child::<Cable>(&mut rest, "cable", "a cable", &mut lost);
        let counted: Vec<(&str, u16)> = COUNTED
            .iter()
            .filter_map(|(key, name)| Some((*name, self.counted(&mut rest, key)?)))
            .collect();
        let points = self.list(&mut rest, "point", |reader, node| {
            reader.table(node, "a point", Vec::new())
        });
        rules::points(self, points.as_deref().unwrap_or_default());
        let mut circuit: Circuit = self.table(rest, "a circuit", lost)?;
        let written = points.unwrap_or_default();
        circuit.points = written.into_iter().filter_map(|(one, _)| one).collect();
        circuit.count_points(&counted);
        if self.problems.len() == before {
            rules::circuit(self, &circuit, &node);
        }
        Some(circuit)
    }

    /// How many points are counted under `key`, which is taken out.
    fn counted(&mut self, from: &mut Node<'i>, key: &str) -> Option<u16> {
        let value = from.table.remove(key)?;
        let start = value.span().start;
        let number = value.get_ref().as_integer();
        let number = number.and_then(|n| u16::from_str_radix(n.as_str(), n.radix()).ok());
        let counted = number.filter(|n| (1..=MOST_POINTS).contains(n));
        if counted.is_none() {
            let text = format!(
                "{key}: write how many there are, from 1 to {MOST_POINTS}, as in {key} = 8"
            );
            self.report(start, text);
        }
        counted
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
                    self.report(
                        start,
                        format!("{what} needs `{key}`: add {}", example(what, key)),
                    );
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
            let written = culprit
                .as_deref()
                .and_then(|key| table.get(key))
                .and_then(|value| shown(self.text, value));
            self.report(at, explain(message, what, culprit.as_deref(), written));
            let key = culprit?;
            table.remove(key.as_str());
            lost.push(key);
        }
    }
}

/// A list of items in a file of its own.
fn list_of(path: &Path) -> Result<ItemList, String> {
    // A folder or a device is none, and is not waited for.
    if fs::metadata(path).is_ok_and(|it| !it.is_file() || it.len() > LARGEST_LIST) {
        return Err("is no file of at most 100 kB: a list of items is a short text".to_owned());
    }
    let text = fs::read_to_string(path).map_err(|error| {
        format!("cannot be read ({error}): check the path, which is from the job file")
    })?;
    ItemList::parse(&text)
}

/// What stands in the file for a value, when it is short.
fn shown<'t>(text: &'t str, value: &Spanned<DeValue<'_>>) -> Option<&'t str> {
    let text = text.get(value.span())?.trim_matches(['"', '\'']);
    (text.chars().count() <= 40).then_some(text)
}

/// A list of items is no longer than this, bytes.
const LARGEST_LIST: u64 = 100_000;

/// How a value begins that is still to be filled in, as in a new job file.
pub const TO_FILL_IN: &str = "FILL IN";

/// What is said of such a value.
const FILL_THIS_IN: &str = "fill this in";

/// What may be counted in place of a list, and what each is called.
pub(super) const COUNTED: [(&str, &str); 2] = [("sockets", "socket"), ("lights", "light")];

/// As many points as one circuit may have by a number: more is a slip.
pub const MOST_POINTS: u16 = 200;

/// A residual current that was named with the device stands beside it.
fn residual_of_device(circuit: &mut Node<'_>) {
    let has_its_own = circuit.table.contains_key("rcd");
    let device = circuit.table.get_mut("device").map(Spanned::get_mut);
    if let Some(DeValue::Table(device)) = device
        && !has_its_own
        && let Some(rcd) = device.remove("rcd")
    {
        let at = rcd.span();
        circuit.table.insert(Spanned::new(at, "rcd".into()), rcd);
    }
}

impl Circuit {
    /// Points that are counted, "socket" 1 to 8, before those that are written out; one that is
    /// written out with its number stands where it is counted. The circuit goes on from each but the
    /// last; from that too on a ring, and where more are written out.
    fn count_points(&mut self, counted: &[(&str, u16)]) {
        let mut written = std::mem::take(&mut self.points);
        for (name, many) in counted {
            for number in 1..=*many {
                let same = |point: &Accessory| point.name == *name && point.number == Some(number);
                let point = match written.iter().position(same) {
                    Some(at) => written.remove(at),
                    None => Accessory {
                        name: (*name).to_owned(),
                        number: Some(number),
                        sensitive: None,
                        feeds_on: true,
                        spur: false,
                    },
                };
                self.points.push(point);
            }
        }
        let is_ring = self.kind == super::CircuitKind::Ring;
        if let (Some(last), [], false) = (self.points.last_mut(), written.as_slice(), is_ring) {
            last.feeds_on = false;
        }
        self.points.append(&mut written);
    }
}

/// The message of the deserialiser in words that say what to do.
fn explain(message: &str, what: &str, key: Option<&str>, written: Option<&str>) -> String {
    // What stood in the file may hold the end of a line; a message is one line.
    let message = &message.replace(char::is_control, " ");
    let key = key.map(|key| key.replace(char::is_control, " "));
    if let Some(unknown) = between_ticks(message, "unknown field ") {
        let mut known: BTreeSet<_> = message.split('`').skip(3).step_by(2).collect();
        if what == "a circuit" {
            known.extend(COUNTED.map(|(key, _)| key));
        }
        let meant = nearest(unknown, known.iter().copied());
        let meant = meant.map(|near| format!(", did you mean `{near}`?"));
        let known = known.into_iter().collect::<Vec<_>>().join(", ");
        return match meant {
            Some(meant) => {
                format!("`{unknown}` is not a key of {what}{meant} The keys are {known}")
            }
            None => format!("`{unknown}` is not a key of {what}: the keys are {known}"),
        };
    }
    let name = key.clone().unwrap_or_default();
    let key = key.map(|k| format!("{k}: ")).unwrap_or_default();
    if let Some(unknown) = between_ticks(message, "unknown variant ") {
        let unclear = usual::unclear(what, &name, unknown);
        let known = message.split('`').skip(3).step_by(2);
        let instead = match unclear {
            Some(instead) => format!(": {instead}"),
            None => usual::did_you_mean(unknown, known),
        };
        return format!("{key}`{unknown}` is not known here{instead}");
    }
    let number = message.contains("invalid type: floating point")
        || message.contains("invalid type: integer");
    if number && message.contains("expected a string") {
        return format!("{key}write the number in quotes, so that its digits are kept: \"0.35\"");
    }
    let wrong = [
        "invalid type: ",
        "invalid value: ",
        "invalid length ",
        "wanted ",
    ];
    if let Some(rest) = wrong.iter().find_map(|start| message.strip_prefix(start)) {
        let (_, wanted) = rest.split_once("expected ").unwrap_or((rest, ""));
        let instead = written
            .filter(|_| matches!(what, "a circuit" | "the supply"))
            .and_then(|text| usual::short_form(&name, text))
            .unwrap_or_else(|| format!("write {}", in_its_place(wanted, what, &name)));
        let stands = written.map_or_else(
            || "this cannot stand here".to_owned(),
            |text| {
                format!(
                    "`{}` cannot stand here",
                    text.replace(char::is_control, " ")
                )
            },
        );
        return format!("{key}{stands}: {instead}");
    }
    format!("{key}{message}")
}

/// What to write where the deserialiser wanted something else.
fn in_its_place(wanted: &str, what: &str, key: &str) -> String {
    let whole = |most: &str| format!("a whole number up to {most}, without quotes");
    match wanted {
        "a boolean" => "true or false, without quotes".to_owned(),
        "f64" | "f32" => "a number without quotes or unit, as in 2.5".to_owned(),
        "i8" => "a whole number from -128 to 127, without quotes".to_owned(),
        "u8" => whole("255"),
        "u16" => whole("65535"),
        "a string" => "text in quotes".to_owned(),
        "a sequence" => "a list, as in [\"one\", \"another\"]".to_owned(),
        _ if wanted.contains("struct") || wanted.contains("map") => {
            format!("a table: {}", example(what, key))
        }
        _ => example(what, key),
    }
}

/// What stands between the ticks after `before`.
fn between_ticks<'m>(message: &'m str, before: &str) -> Option<&'m str> {
    message.strip_prefix(before)?.split('`').nth(1)
}

/// How a key could be written in its table.
fn example(what: &str, key: &str) -> String {
    let value = match (what, key) {
        (_, "title") => "\"Boathouse, new wiring\"",
        ("the job", "kind") => "\"initial-verification\"",
        ("a device", "kind") => "\"BS EN 60898 B\"",
        (_, "kind") => "\"radial\", \"ring\", \"lighting\" or another sort of circuit",
        (_, "tester") => "\"who tests\"",
        (_, "site") => return "a [site] table with its name".to_owned(),
        (_, "supply") => return "a [supply] table with earthing and phases".to_owned(),
        (_, "earthing") => "\"TN-S\", \"TN-C-S\" or \"TT\"",
        (_, "phases") => "1 or 3",
        (_, "serial") => "\"the number on the instrument\"",
        (_, "calibration_due") => "\"2027-03-31\"",
        (_, "used_for") => "[\"continuity\", \"insulation\"]",
        (_, "sources") => "[\"mains\"]",
        (_, "bonds" | "supplementary_bonds") => "[\"water\"]",
        (_, "number") => "1",
        (_, "name") => "\"what it is called\"",
        (_, "amps") => "32",
        (_, "milliamps") => "30",
        (_, "surge") => "\"type 2\", or { type = \"2\" }",
        ("surge protection", "type") => "\"2\"",
        (_, "fuse") => "\"BS 1361 60 A\", or { kind = \"BS 1361\", amps = 60 }",
        (_, "main_switch") => "{ standard = \"BS EN 60947-3\", amps = 100, poles = 2 }",
        (_, "standard") => "\"BS EN 61008\"",
        (_, "rate") => "-20, from -100 to 100",
        (_, "volume") => "80, from 0 to 100",
        (_, "line_mm2") => "2.5",
        (_, "cpc_mm2") => "1.5",
        (_, "device") => {
            "{ kind = \"BS EN 60898 B\", amps = 32 }, or \"B32\", or \"B32 RCBO 30 mA\""
        }
        (_, "rcd") => "{ milliamps = 30, waveform = \"A\" }, or 30",
        (_, "cable") => "{ line_mm2 = 2.5, cpc_mm2 = 1.5, metres = 18 }, or \"2.5/1.5 18 m\"",
        _ => return format!("`{key} = ...`"),
    };
    format!("{key} = {value}")
}
