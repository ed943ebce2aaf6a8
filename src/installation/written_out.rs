//! A job file's text with its usual words and short forms written out, each in its own line, so that
//! whatever is wrong is still told with its line.

use super::usual::{self, DeviceWords, Words, in_one_line};
use super::{Cable, Rcd};
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

type Node<'a, 'i> = &'a Spanned<DeValue<'i>>;

/// The text with words and short forms written out. Text that is no TOML stays as it is.
pub(super) fn written_out(text: &str) -> String {
    let Ok(root) = DeTable::parse(text) else {
        return text.to_owned();
    };
    let mut edits = Edits::default();
    edits.job(root.get_ref());
    let mut edits = edits.0;
    edits.sort_by_key(|(span, _)| std::cmp::Reverse(span.start));
    let mut text = text.to_owned();
    for (span, new) in edits {
        text.replace_range(span, &new);
    }
    text
}

#[derive(Default)]
struct Edits(Vec<(Range<usize>, String)>);

impl Edits {
    fn replace(&mut self, node: Node<'_, '_>, new: Option<String>) {
        if let Some(new) = new {
            self.0.push((node.span(), new));
        }
    }

    /// A word that is written otherwise than the job file has it.
    fn word(&mut self, table: &DeTable<'_>, key: &str, words: &Words) {
        if let Some(node) = table.get(key) {
            self.word_at(node, words);
        }
    }

    fn word_at(&mut self, node: Node<'_, '_>, words: &Words) {
        if let Some(text) = node.get_ref().as_str()
            && let Some(meant) = words.meant(text)
            && meant != text
        {
            self.replace(node, in_one_line(&meant));
        }
    }

    fn words(&mut self, table: &DeTable<'_>, key: &str, words: &Words) {
        let Some(node) = table.get(key) else { return };
        match node.get_ref() {
            DeValue::Array(all) => {
                for node in all {
                    self.word_at(node, words);
                }
            }
            // One of a list may stand by itself.
            DeValue::String(text) => {
                let one = words.meant(text).map(|meant| vec![meant]);
                self.replace(node, one.as_ref().and_then(in_one_line));
            }
            _ => {}
        }
    }

    /// A number in quotes, with its unit or without.
    fn number(&mut self, table: &DeTable<'_>, key: &str, unit: &str) {
        if let Some(node) = table.get(key)
            && let Some(text) = node.get_ref().as_str()
        {
            let text = text.trim();
            let number = text.strip_suffix(unit).unwrap_or(text).trim();
            let plain = number.chars().all(|c| c.is_ascii_digit() || c == '.');
            let is_one = plain && number.parse::<f64>().is_ok();
            self.replace(node, is_one.then(|| number.to_owned()));
        }
    }

    fn phases(&mut self, table: &DeTable<'_>) {
        let Some(node) = table.get("phases") else {
            return;
        };
        let text = node.get_ref().as_str().unwrap_or_default();
        let new = match text.to_lowercase().replace(['-', ' '], "").as_str() {
            "1" | "single" | "singlephase" | "one" => "1",
            "3" | "three" | "threephase" => "3",
            _ => return,
        };
        self.replace(node, Some(new.to_owned()));
    }

    fn job(&mut self, job: &DeTable<'_>) {
        self.word(job, "kind", &usual::JOB_KINDS);
        self.words(job, "tests", &usual::STAGES);
        if let Some(supply) = table(job.get("supply")) {
            self.word(supply, "earthing", &usual::EARTHINGS);
            self.words(supply, "sources", &usual::SOURCES);
            self.number(supply, "volts", "V");
            self.number(supply, "hertz", "Hz");
            self.number(supply, "max_demand_amps", "A");
            self.number(supply, "earthing_conductor_mm2", "mm2");
            self.number(supply, "bonding_mm2", "mm2");
            self.word(supply, "ze_by", &usual::GIVEN_BY);
            self.word(supply, "fault_current_by", &usual::GIVEN_BY);
            self.device(supply, "fuse");
            self.phases(supply);
        }
        for instrument in tables(job.get("instrument")) {
            self.instrument(instrument);
        }
        for board in tables(job.get("board")) {
            self.phases(board);
            self.number(board, "number", "");
            if let Some(node) = board.get("surge")
                && let Some(text) = node.get_ref().as_str()
            {
                let kind = text.to_lowercase().replace("type", "");
                let kind = kind.trim().trim_start_matches('t').trim().to_owned();
                let known = ["1", "2", "3", "1+2", "2+3", "1+2+3"].contains(&kind.as_str());
                self.replace(node, known.then(|| format!("{{ type = \"{kind}\" }}")));
            }
            for rcd in tables(board.get("rcd")) {
                self.rcd(rcd);
            }
            for circuit in tables(board.get("circuit")) {
                self.circuit(circuit);
            }
        }
    }

    fn instrument(&mut self, instrument: &DeTable<'_>) {
        self.words(instrument, "used_for", &usual::USES);
    }

    fn circuit(&mut self, circuit: &DeTable<'_>) {
        self.word(circuit, "kind", &usual::CIRCUIT_KINDS);
        self.word(circuit, "system", &usual::SYSTEMS);
        self.phases(circuit);
        for key in ["number", "sockets", "lights"] {
            self.number(circuit, key, "");
        }
        self.device(circuit, "device");
        if let Some(node) = circuit.get("rcd") {
            self.replace(
                node,
                short_rcd(node.get_ref()).as_ref().and_then(in_one_line),
            );
        }
        if let Some(rcd) = table(circuit.get("rcd")) {
            self.rcd(rcd);
        }
        if let Some(node) = circuit.get("cable") {
            let cable = node
                .get_ref()
                .as_str()
                .and_then(|text| text.parse::<Cable>().ok());
            self.replace(node, cable.as_ref().and_then(in_one_line));
        }
        if let Some(cable) = table(circuit.get("cable")) {
            self.number(cable, "line_mm2", "mm2");
            self.number(cable, "cpc_mm2", "mm2");
            self.number(cable, "metres", "m");
            self.word(cable, "metal", &usual::METALS);
            self.word(cable, "insulation", &usual::CABLE_INSULATIONS);
            self.word(cable, "cpc_is", &usual::CPCS);
        }
    }

    fn rcd(&mut self, rcd: &DeTable<'_>) {
        self.number(rcd, "milliamps", "mA");
        self.number(rcd, "amps", "A");
        self.word(rcd, "delay", &usual::DELAYS);
        self.word(rcd, "waveform", &usual::WAVEFORMS);
        self.words(rcd, "tests", &usual::RCD_TESTS);
    }

    fn device(&mut self, circuit: &DeTable<'_>, key: &str) {
        let Some(node) = circuit.get(key) else {
            return;
        };
        if let Some(device) = table(Some(node)) {
            self.word(device, "kind", &usual::DEVICE_KINDS);
            self.number(device, "amps", "A");
            self.number(device, "breaking_ka", "kA");
            self.number(device, "instantaneous_amps", "A");
            self.number(device, "short_time_amps", "A");
            self.number(device, "short_time_seconds", "s");
            self.number(device, "ia_amps", "A");
        }
        let Some(text) = node.get_ref().as_str() else {
            return;
        };
        let mut words = DeviceWords::default();
        if words.take(text)
            && let Ok(Some(device)) = words.device()
        {
            let beside = circuit.get("rcd").is_some();
            let named = words
                .milliamps
                .is_some()
                .then(|| words.residual(0.0))
                .flatten();
            // Its own key, whatever the line is in.
            let new = match named.filter(|_| !beside).as_ref().and_then(in_one_line) {
                Some(rcd) => in_one_line(&device).map(|device| {
                    let device = device.trim_end_matches([' ', '}']);
                    format!("{device}, rcd = {rcd} }}")
                }),
                None => in_one_line(&device),
            };
            self.replace(node, new);
        }
    }
}

fn short_rcd(value: &DeValue<'_>) -> Option<Rcd> {
    let text = match value {
        DeValue::String(text) => text.to_string(),
        DeValue::Integer(number) => number.as_str().to_owned(),
        DeValue::Float(number) => number.as_str().to_owned(),
        _ => return None,
    };
    let mut words = DeviceWords::default();
    let named = format!("{text} rcd");
    (words.take(&named) && words.milliamps.is_some())
        .then(|| words.residual(0.0))
        .flatten()
}

fn table<'a, 'i>(node: Option<Node<'a, 'i>>) -> Option<&'a DeTable<'i>> {
    node.and_then(|node| node.get_ref().as_table())
}

fn tables<'a, 'i>(node: Option<Node<'a, 'i>>) -> impl Iterator<Item = &'a DeTable<'i>> {
    let all = node.and_then(|node| node.get_ref().as_array());
    all.into_iter()
        .flatten()
        .filter_map(|node| node.get_ref().as_table())
}
