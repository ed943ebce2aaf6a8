//! The text of a new job file, with what is not known yet marked.

use super::told::counted;
use crate::installation::{
    Circuit, Earthing, GroupRcd, Instrument, InstrumentUse, JobKind, NotClear, Phases, RcdDelay,
    Source, TO_FILL_IN, half_and_once, in_one_line,
};
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// What is known of a new job.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Draft {
    /// What the job is, in a few words.
    pub title: Option<String>,
    /// New work, or found in use.
    pub kind: Option<JobKind>,
    /// Who tests.
    pub tester: Option<String>,
    /// Who supervises.
    pub supervisor: Option<String>,
    /// What the site is called.
    pub site: Option<String>,
    /// How the installation is earthed.
    pub earthing: Option<Earthing>,
    /// Of the supply.
    pub phases: Option<Phases>,
    /// What can feed it besides the mains; nothing when nobody said.
    pub others: Vec<Source>,
    /// Main protective bonds; nothing when nobody said.
    pub bonds: Option<Vec<String>>,
    /// Test instruments.
    pub instruments: Vec<Instrument>,
    /// The boards, in order; one without a name when nothing is known of any.
    pub boards: Vec<BoardDraft>,
}

/// What is known of a board.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct BoardDraft {
    /// By which it is called.
    pub number: u16,
    /// Its name.
    pub name: Option<String>,
    /// The board and circuit that it is fed from; nothing at the origin.
    pub fed_from: Option<String>,
    /// Circuits that are isolated one after another, while the rest of it stays live.
    pub one_after_another: Vec<u16>,
    /// Its residual current devices of several circuits.
    pub rcds: Vec<GroupRcd>,
    /// Its circuits, in order.
    pub circuits: Vec<Circuit>,
    /// How many more it has, that were not understood.
    pub left_out: usize,
    /// What was taken to be so of a circuit although nobody said it, by its number.
    pub assumed: BTreeMap<u16, String>,
}

/// A circuit to be written over, where none is known yet.
fn example() -> Result<Circuit, NotClear> {
    let mut words = super::CircuitWords::default();
    words.take("1, radial, B20 RCBO 30 mA type A, 6 kA, 2.5/1.5, 23 m, 3 sockets")?;
    words.circuit(1)
}

/// A word as it stands in a job file.
fn written(word: impl Serialize) -> String {
    let word = serde_json::to_value(word).unwrap_or_default();
    word.as_str().unwrap_or_default().to_owned()
}

impl Draft {
    /// Whether one of its instruments proves dead.
    pub(super) fn proves_dead(&self) -> bool {
        let mut all = self.instruments.iter();
        all.any(|one| one.used_for.contains(&InstrumentUse::VoltageIndication))
    }

    /// How many values are marked to be filled in.
    pub fn to_fill_in(&self) -> usize {
        self.text().matches(&format!("\"{TO_FILL_IN}")).count()
    }

    /// The job file: comments say what each line is for, and what is not known is marked.
    pub fn text(&self) -> String {
        let mut text = String::new();
        self.head(&mut text);
        self.supply(&mut text);
        self.instruments(&mut text);
        let none = [BoardDraft {
            number: 1,
            ..BoardDraft::default()
        }];
        let boards = match self.boards.as_slice() {
            [] => none.as_slice(),
            known => known,
        };
        for (n, board) in boards.iter().enumerate() {
            board.text(&mut text, n == 0);
        }
        text
    }

    fn head(&self, text: &mut String) {
        text.push_str(
            "# A job for bothhands. Lines that begin with # are for you. `bothhands check` on this file says\n\
             # what is still to be filled in, what is wrong, and what each test should read, and why.\n\
             # Every key there is: `bothhands schema`, or guide/job-file.md.\n\n",
        );
        let site = self.site.as_deref();
        let title = self.title.clone().or_else(|| site.map(str::to_owned));
        key(
            text,
            "title",
            title.as_deref(),
            "what the job is, as in Boathouse, new wiring",
            "",
        );
        let kind = self.kind.map(written);
        key(
            text,
            "kind",
            kind.as_deref(),
            "initial-verification for new work, periodic-inspection for what is in use",
            "initial-verification, periodic-inspection, minor-works or live-retest",
        );
        key(text, "tester", self.tester.as_deref(), "who tests", "");
        match &self.supervisor {
            Some(name) => key(text, "supervisor", Some(name), "", ""),
            None => {
                text.push_str("# supervisor = \"who supervises, when the tester is a learner\"\n");
            }
        }
        text.push_str("# tests = [\"insulation\"]   # to limit the job; all tests without this line\n\n[site]\n");
        key(text, "name", site, "what the place is called", "");
        text.push_str("# address = \"in one line\"\n\n");
        // What is found in use is looked at before it is tested.
        let inspected = self.kind == Some(JobKind::PeriodicInspection);
        text.push_str(if inspected {
            "# The schedule of inspection, walked by voice (guide/inspection.md); without this table there is none.\n\
             [inspection]\n\
             # extent = \"what the visit covers\"\n\
             # agreed_limitations = \"what is left out, and why\"\n\
             # agreed_with = \"with whom\"\n\n"
        } else {
            "# [inspection]   # a schedule of inspection, walked by voice (guide/inspection.md)\n\n"
        });
    }

    fn supply(&self, text: &mut String) {
        text.push_str("[supply]\n");
        let earthing = self.earthing.map(Earthing::name);
        key(
            text,
            "earthing",
            earthing,
            "TN-S, TN-C-S or TT",
            "TN-S, TN-C-S or TT",
        );
        match self.phases {
            Some(phases) => {
                let _ = writeln!(text, "phases = {}   # 1 or 3", u8::from(phases));
            }
            None => key(text, "phases", None, "1 or 3", ""),
        }
        let sources = std::iter::once(&Source::Mains).chain(&self.others);
        let sources: Vec<String> = sources.map(|source| quoted(&written(source))).collect();
        let _ = writeln!(
            text,
            "sources = [{}]   # every one that could feed it: mains, solar, battery, generator, ups",
            sources.join(", ")
        );
        match self.bonds.as_deref() {
            Some([]) => text.push_str("bonds = []   # no main protective bonds\n"),
            Some(bonds) => {
                let bonds: Vec<String> = bonds.iter().map(|bond| quoted(bond)).collect();
                let _ = writeln!(
                    text,
                    "bonds = [{}]   # main protective bonds",
                    bonds.join(", ")
                );
            }
            None => text.push_str("# bonds = [\"water\", \"gas\"]   # main protective bonds\n"),
        }
        text.push_str(
            "# ze_ohms = \"0.35\"            # as the distributor gave it, in quotes\n\
             # fault_current_ka = \"16\"\n\
             # ze_by = \"enquiry\", max_demand_amps = 55, fuse = \"BS 1361 60 A\", main_switch, earthing_conductor_mm2, \
             bonding_mm2: guide/job-file.md has them all\n\n",
        );
    }

    fn instruments(&self, text: &mut String) {
        text.push_str("# The instruments. A voltage indicator that is nothing else needs no calibration date.\n");
        if !self.proves_dead() {
            text.push_str("[[instrument]]\nname = \"voltage indicator\"\n");
            key(text, "serial", None, "the number on it", "");
            text.push_str("used_for = [\"voltage-indication\"]\n\n");
        }
        if self.instruments.iter().all(Instrument::proves_dead_only) {
            text.push_str("[[instrument]]\nname = \"installation tester\"\n");
            key(text, "serial", None, "the number on it", "");
            key(
                text,
                "calibration_due",
                None,
                "the last day, as in 31 March 2027",
                "",
            );
            text.push_str(
                "used_for = [\"continuity\", \"insulation\", \"loop\", \"rcd\"]\n\
                 # insulation_range_megohms = \"999\"   # the largest it shows: \"over range\" then settles\n\n",
            );
        }
        for one in &self.instruments {
            let _ = writeln!(text, "[[instrument]]\nname = {}", quoted(&one.name));
            let _ = writeln!(text, "serial = {}", quoted(&one.serial));
            if let Some(due) = one.calibration_due {
                let _ = writeln!(text, "calibration_due = {due}");
            }
            let used: Vec<_> = one
                .used_for
                .iter()
                .map(|used| quoted(used.written()))
                .collect();
            let _ = writeln!(text, "used_for = [{}]", used.join(", "));
            if let Some(range) = one.insulation_range_megohms {
                let _ = writeln!(text, "insulation_range_megohms = \"{range}\"");
            }
            text.push('\n');
        }
    }
}

impl BoardDraft {
    /// Its part of the job file; with what else there is to say of a board for the first one.
    fn text(&self, text: &mut String, is_first: bool) {
        if !is_first {
            text.push('\n');
        }
        let _ = writeln!(text, "[[board]]\nnumber = {}", self.number);
        key(
            text,
            "name",
            self.name.as_deref(),
            "what the board is called",
            "",
        );
        if is_first {
            text.push_str("# location = \"behind the workshop door\"\n");
        }
        match &self.fed_from {
            Some(from) => key(text, "fed_from", Some(from), "", ""),
            None if is_first => text.push_str(
                "# fed_from = \"board 1, circuit 7\"   # of a board that is not at the origin\n",
            ),
            None => {}
        }
        let is_three_phase = |circuit: &Circuit| circuit.phases == Phases::Three;
        if self.circuits.iter().any(is_three_phase) {
            text.push_str("phases = 3\n");
        }
        let in_turn: Vec<String> = self.one_after_another.iter().map(u16::to_string).collect();
        if !in_turn.is_empty() {
            let _ = writeln!(
                text,
                "one_after_another = [{}]   # each by its own device; the rest of the board stays live",
                in_turn.join(", ")
            );
        } else if is_first {
            text.push_str(
                "# one_after_another = [1, 3]   # circuits isolated by themselves on a board that stays live\n",
            );
        }
        for rcd in &self.rcds {
            group_text(text, rcd);
        }
        let example: Vec<Circuit> = example().into_iter().collect();
        let circuits = if self.circuits.is_empty() {
            text.push_str(
                "\n# One circuit as it could be: put yours in its place, and add one part for each.\n",
            );
            &example
        } else {
            &self.circuits
        };
        for circuit in circuits {
            circuit_text(text, circuit, self.circuits.is_empty());
        }
    }
}

fn group_text(text: &mut String, rcd: &GroupRcd) {
    let _ = writeln!(text, "\n[[board.rcd]]\nnumber = {}", rcd.number);
    match rcd.circuits.as_slice() {
        [] => text.push_str("# over every circuit of the board\n"),
        circuits => {
            let all: Vec<String> = circuits.iter().map(u16::to_string).collect();
            let _ = writeln!(text, "circuits = [{}]", all.join(", "));
        }
    }
    if let Some(standard) = &rcd.standard {
        key(text, "standard", Some(standard), "", "");
    }
    if let Some(amps) = rcd.amps {
        let _ = writeln!(text, "amps = {amps}");
    }
    let _ = writeln!(text, "milliamps = {}", rcd.milliamps);
    if rcd.delay == RcdDelay::S {
        text.push_str("delay = \"s\"\n");
    }
    if let Some(waveform) = &rcd.waveform {
        key(text, "waveform", Some(waveform), "", "");
    }
    if rcd.tests != half_and_once() {
        let tests: Vec<String> = rcd.tests.iter().map(|one| quoted(one.written())).collect();
        let _ = writeln!(text, "tests = [{}]", tests.join(", "));
    }
}

fn circuit_text(text: &mut String, circuit: &Circuit, is_example: bool) {
    let _ = writeln!(text, "\n[[board.circuit]]\nnumber = {}", circuit.number);
    let name = Some(circuit.name.as_str()).filter(|_| !is_example);
    key(
        text,
        "name",
        name,
        "what it feeds, as in boat-store sockets",
        "",
    );
    let kinds = if is_example {
        "   # radial, ring, lighting, single-point, motor or distribution"
    } else {
        ""
    };
    let _ = writeln!(text, "kind = {}{kinds}", quoted(circuit.kind.written()));
    if circuit.phases == Phases::Three {
        text.push_str("phases = 3\n");
    }
    if let Some(device) = &circuit.device {
        // Breaking capacity is marked on it; the largest fault current is compared with it.
        let device = in_one_line(device).unwrap_or_default();
        let _ = writeln!(text, "device = {device}");
    }
    if let Some(rcd) = &circuit.rcd {
        let waveform = rcd
            .waveform
            .as_deref()
            .map(|w| format!(", waveform = {}", quoted(w)));
        let delay = (rcd.delay == RcdDelay::S).then_some(", delay = \"s\"");
        let standard = rcd.standard.as_deref();
        let standard = standard.map(|one| format!(", standard = {}", quoted(one)));
        let amps = rcd.amps.map(|amps| format!(", amps = {amps}"));
        let _ = writeln!(
            text,
            "rcd = {{ milliamps = {}{}{}{}{} }}",
            rcd.milliamps,
            waveform.unwrap_or_default(),
            delay.unwrap_or_default(),
            standard.unwrap_or_default(),
            amps.unwrap_or_default()
        );
    }
    if let Some(cable) = &circuit.cable {
        let cable = in_one_line(cable).unwrap_or_default();
        let cable = cable.replace(", class = 1", "");
        let _ = writeln!(text, "cable = {cable}");
    }
    for (name, value) in [
        ("wiring", &circuit.wiring),
        ("reference_method", &circuit.reference_method),
    ] {
        if let Some(value) = value {
            key(text, name, Some(value), "", "");
        }
    }
    if circuit.two_way {
        text.push_str("two_way = true\n");
    }
    if circuit.afdd {
        text.push_str("afdd = true\n");
    }
    for (name, many) in counted(&circuit.points) {
        match (name.as_str(), many) {
            ("socket", Some(many)) => {
                let _ = writeln!(text, "sockets = {many}");
            }
            ("light", Some(many)) => {
                let _ = writeln!(text, "lights = {many}");
            }
            _ => {}
        }
    }
    let plain = |name: &str| matches!(name, "socket" | "light");
    let others = circuit.points.iter().filter(|point| !plain(&point.name));
    for point in others {
        let _ = writeln!(
            text,
            "[[board.circuit.point]]\nname = {}",
            quoted(&point.name)
        );
        if let Some(number) = point.number {
            let _ = writeln!(text, "number = {number}");
        }
        if let Some(sensitive) = &point.sensitive {
            let _ = writeln!(text, "sensitive = {}", quoted(sensitive));
        }
        if point.feeds_on {
            text.push_str("feeds_on = true\n");
        }
    }
    if is_example {
        text.push_str(
            "# A point of its own: electronics wired in are named, so that 500 V keeps off them.\n\
             # [[board.circuit.point]]\n# name = \"door entry unit\"\n# sensitive = \"power unit\"\n",
        );
    }
}

/// A line with its value, or marked to be filled in.
fn key(text: &mut String, name: &str, value: Option<&str>, wanted: &str, choice: &str) {
    let comment = if choice.is_empty() || value.is_none() {
        String::new()
    } else {
        format!("   # {choice}")
    };
    let value = value.map_or_else(|| quoted(&format!("{TO_FILL_IN}: {wanted}")), quoted);
    let _ = writeln!(text, "{name} = {value}{comment}");
}

/// As text in a TOML file.
fn quoted(text: &str) -> String {
    toml_edit::Value::from(text).to_string()
}

/// What the instruments of most jobs are used for.
pub(super) fn tester_uses() -> Vec<InstrumentUse> {
    vec![
        InstrumentUse::Continuity,
        InstrumentUse::Insulation,
        InstrumentUse::Loop,
        InstrumentUse::Rcd,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::installation::Job;

    #[test]
    fn a_template_asks_for_what_is_marked_and_for_nothing_else() {
        let draft = Draft::default();
        let text = draft.text();
        let marked = draft.to_fill_in();
        assert_eq!(marked, 11, "{text}");
        let why = Job::parse(&text, "job.toml").unwrap_err();
        assert_eq!(why.problems.len(), marked, "{why}");
        assert!(
            why.problems.iter().all(|p| p.text.contains("fill this in")),
            "{why}"
        );
        let filled = text
            .replace(&format!("\"{TO_FILL_IN}: TN-S, TN-C-S or TT\""), "\"TT\"")
            .replace(&format!("\"{TO_FILL_IN}: 1 or 3\""), "1")
            .replace(&format!("{TO_FILL_IN}: the last day, as in 31 March 2027"), "31/03/2027")
            .replace(
                &format!("\"{TO_FILL_IN}: initial-verification for new work, periodic-inspection for what is in use\""),
                "\"new work\"",
            )
            .replace(TO_FILL_IN, "Boathouse");
        let job = Job::parse(&filled, "job.toml").unwrap();
        assert_eq!(job.boards[0].circuits[0].points.len(), 3);
    }

    #[test]
    fn what_is_known_is_written_and_read_back_the_same() {
        let words = [
            "1, ring, B32 RCBO, 8 sockets, 2.5/1.5, 54 m",
            "2, lighting, B6, 6 lights, two way",
            "3, radial, BS 88-3 32 A, rcd 100 mA type A, 2 sockets, 3 heaters",
            "4, motor, C16, three phase",
        ];
        let circuits: Vec<Circuit> = (1..)
            .zip(words)
            .map(|(number, line)| {
                let mut words = super::super::CircuitWords::default();
                words.take(line).unwrap();
                words.circuit(number).unwrap()
            })
            .collect();
        let instrument = Instrument {
            name: "tester \"one\"".to_owned(),
            serial: "IT-1".to_owned(),
            calibration_due: Some(jiff::civil::date(2027, 3, 31)),
            used_for: [tester_uses(), vec![InstrumentUse::VoltageIndication]].concat(),
            insulation_range_megohms: Some("999".parse().unwrap()),
            loop_reference_ohms: None,
            rcd_reference_ms: None,
        };
        let draft = Draft {
            title: Some("Boathouse".to_owned()),
            kind: Some(JobKind::PeriodicInspection),
            tester: Some("A. Learner".to_owned()),
            supervisor: Some("B. Instructor".to_owned()),
            site: Some("Kingfisher Rowing Club".to_owned()),
            earthing: Some(Earthing::TnCS),
            phases: Some(Phases::Three),
            others: Vec::new(),
            bonds: Some(vec!["water".to_owned()]),
            instruments: vec![instrument.clone()],
            boards: vec![BoardDraft {
                number: 1,
                name: Some("workshop board".to_owned()),
                fed_from: None,
                circuits: circuits.clone(),
                ..BoardDraft::default()
            }],
        };
        assert_eq!(draft.to_fill_in(), 0);
        let job = Job::parse(&draft.text(), "job.toml").unwrap();
        assert_eq!(job.boards[0].circuits, circuits);
        assert_eq!(job.instruments, [instrument]);
        assert_eq!(job.supply.bonds, ["water"]);
        assert_eq!(job.kind, JobKind::PeriodicInspection);
    }
}
