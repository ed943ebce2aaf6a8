//! What is out of scope, and why: said as soon as a job, a table or an answer speaks of it.

use super::{Circuit, Job, Source};

/// First faults that trip nothing.
pub(super) const IT: &str = "IT systems are out of scope: a first fault trips nothing there and is watched by a monitor, with limits of \
     its own (BS 7671 411.6)";
/// Group 1 and 2 locations.
pub(super) const MEDICAL: &str = "medical locations are out of scope: BS 7671 710 asks for systems, bonding and tests of their own";
/// What is live whenever there is light.
pub(super) const PHOTOVOLTAIC: &str = "the d.c. side of photovoltaics is out of scope: it is live whenever there is light, and is tested by BS EN \
     62446-1; write \"single-point\" for the a.c. circuit of the inverter";
/// What no switch makes dead.
pub(super) const BATTERY: &str = "batteries are out of scope: no main switch makes them dead; write \"single-point\" for the a.c. circuit of the \
     inverter";
/// What the maker's own test set does.
pub(super) const CHARGING: &str = "a charging point for a vehicle has functional tests of its own (detection of smooth d.c., of a lost \
     protective conductor): they are out of scope here, do them as its maker tells";

/// Words by which it is known, whole words each, and why it is out of scope.
const KNOWN_BY: [(&[&str], &str); 5] = [
    (
        &["it system", "it systems", "it earthing", "earthing it"],
        IT,
    ),
    (
        &[
            "medical",
            "operating theatre",
            "dental surgery",
            "dentist",
            "hospital",
            "clinic",
            "patient",
            "patients",
        ],
        MEDICAL,
    ),
    (
        &["pv", "p v", "photovoltaic", "photovoltaics", "solar"],
        PHOTOVOLTAIC,
    ),
    (&["battery", "batteries"], BATTERY),
    (
        &[
            "ev",
            "charge point",
            "charge points",
            "charging point",
            "charging points",
            "electric vehicle",
            "car charger",
            "evse",
            "wall box",
            "wallbox",
        ],
        CHARGING,
    ),
];

/// Why what somebody writes or says is out of scope; nothing where it is not.
pub fn out_of_scope(text: &str) -> Option<&'static str> {
    let small = text.to_lowercase();
    let words: Vec<&str> = small
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .collect();
    // What charges batteries of tools is a load like any other.
    let plain = format!(" {} ", words.join(" ")).replace(" battery charger", " ");
    let known = KNOWN_BY.iter().find(|(names, _)| {
        names
            .iter()
            .any(|name| plain.contains(&format!(" {name} ")))
    });
    known.map(|(_, why)| *why)
}

impl Source {
    /// Why what stands behind this source is out of scope; nothing where it is not.
    pub fn out_of_scope(self) -> Option<&'static str> {
        match self {
            Self::Solar => Some(PHOTOVOLTAIC),
            Self::Battery => Some(BATTERY),
            Self::Mains | Self::Generator | Self::Ups => None,
        }
    }
}

impl Circuit {
    /// Whether it feeds a charging point for a vehicle.
    pub(super) fn charges_vehicles(&self) -> bool {
        self.names()
            .any(|name| out_of_scope(name) == Some(CHARGING))
    }

    fn names(&self) -> impl Iterator<Item = &str> {
        let points = self.points.iter();
        let points = points.flat_map(|point| [Some(&point.name), point.sensitive.as_ref()]);
        std::iter::once(self.name.as_str()).chain(points.flatten().map(String::as_str))
    }

    /// Why something of it is out of scope; nothing where it is not.
    pub fn out_of_scope(&self) -> Option<&'static str> {
        self.names().find_map(out_of_scope)
    }
}

impl Job {
    /// What of the job as a whole is out of scope, each with its reason: by its title, its site, its boards and its
    /// sources.
    pub(super) fn whole_out_of_scope(&self) -> Vec<String> {
        let boards = self
            .boards
            .iter()
            .flat_map(|board| [Some(&board.name), board.location.as_ref()]);
        let names = [Some(&self.title), Some(&self.site.name)]
            .into_iter()
            .chain(boards);
        let named = names
            .flatten()
            .filter_map(|name| Some((name.as_str(), out_of_scope(name)?)));
        let sources = self.supply.sources.iter();
        let sources = sources.filter_map(|source| Some((source.shown(), source.out_of_scope()?)));
        let mut told: Vec<&'static str> = Vec::new();
        let mut all = Vec::new();
        for (name, why) in named.chain(sources) {
            if !told.contains(&why) {
                told.push(why);
                all.push(format!("{name}: {why}"));
            }
        }
        all
    }

    /// Everything of the job that is out of scope, each with its reason, to be told before the work begins.
    pub fn out_of_scope(&self) -> Vec<String> {
        let circuits = self.boards.iter().flat_map(|board| &board.circuits);
        let of_circuits = circuits.filter_map(|circuit| {
            let why = circuit.out_of_scope()?;
            Some(format!(
                "circuit {}, {}: {why}",
                circuit.number, circuit.name
            ))
        });
        self.whole_out_of_scope()
            .into_iter()
            .chain(of_circuits)
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_known_by_whole_words_as_people_write_them() {
        for (text, why) in [
            ("Battery", BATTERY),
            ("home battery, 10 kWh", BATTERY),
            ("PV string 1", PHOTOVOLTAIC),
            ("P.V. array d.c.", PHOTOVOLTAIC),
            ("solar inverter", PHOTOVOLTAIC),
            ("medical location", MEDICAL),
            ("Sick bay, patients' room", MEDICAL),
            ("EV charger", CHARGING),
            ("Wallbox, drive", CHARGING),
            ("Cottage hospital, ward 2", MEDICAL),
            ("charge-point", CHARGING),
            ("IT system", IT),
        ] {
            assert_eq!(out_of_scope(text), Some(why), "{text}");
        }
        for text in [
            "sockets",
            "it",
            "eve of the roof",
            "solarium heater",
            "battery charger for the launch",
            "charging",
            "",
        ] {
            assert_eq!(out_of_scope(text), None, "{text}");
        }
    }
}
