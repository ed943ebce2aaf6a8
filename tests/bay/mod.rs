mod consequences;
mod faults;
mod groups;
mod random;
mod spice;
mod tester;
mod values;

use bothhands::bay::{Altered, Conditions};
use bothhands::installation::Job;
use bothhands::quantity::Conductors;
use bothhands::terms::{Between, Part, Place, Probe, Setting, Shown};

/// A job of the tests, by the name of its file.
pub fn job(name: &str) -> Job {
    read(&std::fs::read_to_string(format!("tests/{name}.toml")).unwrap())
}

pub fn read(text: &str) -> Job {
    Job::parse(text, "job.toml").unwrap_or_else(|error| panic!("{error}\n{text}"))
}

pub fn place(text: &str) -> Place {
    text.parse().unwrap()
}

/// A probe between two conductors of a circuit of board 1; an empty place is the board.
pub fn probe(setting: Setting, pair: &str, circuit: u16, at: &str) -> Probe {
    Probe {
        setting,
        between: Between::Pair(pair.parse().unwrap()),
        board: 1,
        circuit: Some(circuit),
        place: (!at.is_empty()).then(|| place(at)),
        rcd: None,
        held: 0,
    }
}

pub fn nulled() -> Conditions {
    Conditions {
        leads_nulled: true,
        ..Conditions::default()
    }
}

/// Board 1 isolated.
pub fn dead() -> Conditions {
    Conditions {
        main_switches_off: [1].into(),
        ..nulled()
    }
}

/// What is shown, in short: "0.34 Ω", "live 231 V", "no supply".
pub fn text(shown: &Shown) -> String {
    let bare = |reading: &bothhands::quantity::Reading| {
        let unit = reading.unit.map_or("", |unit| unit.symbol());
        match reading.number {
            Some(_) => format!("{} {unit}", reading.shown()),
            None => reading.shown(),
        }
    };
    match shown {
        Shown::Value(reading) => bare(reading),
        Shown::Live(reading) => format!("live {}", bare(reading)),
        Shown::Tripped(reading) => format!("tripped {}", bare(reading)),
        Shown::NoTrip => "no trip".to_owned(),
        Shown::Sequence { right: true } => "right".to_owned(),
        Shown::Sequence { right: false } => "wrong".to_owned(),
        Shown::NoSupply => "no supply".to_owned(),
        Shown::Label(printed) => format!("{printed:?}"),
    }
}

/// The ends of a ring free, nothing crossed.
pub fn ends_out(circuit: u16) -> Conditions {
    let mut conditions = dead();
    for conductor in [Conductors::L, Conductors::N, Conductors::E] {
        let part = Part::Conductors(conductor);
        let out = Altered::out(1, circuit, part, Some(Place::board()));
        conditions.altered.push(out.both());
    }
    conditions
}
