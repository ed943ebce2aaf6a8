//! What each prompt asks a person to do: a table of its own, by the words that are heard.
//!
//! It knows nothing of the program but what a person hears. A prompt that is not in it fails the test,
//! and so does one of `prompts.toml` that it does not know.

use super::rows::ROWS;
use regex::{Captures, Regex};
use std::sync::LazyLock;

/// What a prompt asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Act {
    Identify,
    Prove,
    Isolate,
    Lock,
    ProveDead,
    /// A pair by itself: to be proved dead, or tested for insulation, as those before it.
    BarePair,
    /// A place by itself: read as the one before it.
    BarePlace,
    LeadsOpen,
    LeadsJoined,
    Bond,
    BondBack,
    SupplementaryBond,
    Link,
    Point,
    Unlink,
    RingEnds,
    RingCrossed,
    RingPoint,
    Uncross,
    RingEndsBack,
    TogetherTrial,
    Together,
    Trial,
    TrialEarth,
    Clear,
    Lamps,
    NotTested,
    Full,
    TwoWay,
    Joined,
    Reconnected,
    Polarity,
    PutBack,
    SupplyReversed,
    PutRight,
    PutRightOrSay,
    Covers,
    Energise,
    OffLock,
    OffTerminals,
    MakeSafe,
    LivePolarity,
    LiveLoop,
    SupplyVolts,
    SupplyPolarity,
    EarthingOff,
    ExternalLoop,
    EarthingBack,
    FaultCurrent,
    RcdHalf,
    RcdTime,
    RcdButton,
    PhaseSequence,
    Functional,
    Handover,
    NothingLeft,
    Resume,
    CarryOn,
    EndOfNote,
    Finished,
    FoundLive,
    IsolateCircuits,
    LockCircuits,
    NeutralOut,
    BackWhenDead,
    IsolateFirst,
    NothingOn,
    EnergiseCircuits,
    Item,
    Outcome,
    Observing,
    Adequacy,
    SurgeOut,
    SurgeShows,
    TesterCheck,
    // Questions.
    AllBack,
    NeverOut,
    IfOut,
    IfLive,
    IfFinish,
    WhichUnit,
    LoadOrShort,
    IfRead,
}

impl Act {
    pub const ALL: [Self; 83] = [
        Self::Identify,
        Self::Prove,
        Self::Isolate,
        Self::Lock,
        Self::ProveDead,
        Self::BarePair,
        Self::BarePlace,
        Self::LeadsOpen,
        Self::LeadsJoined,
        Self::Bond,
        Self::BondBack,
        Self::SupplementaryBond,
        Self::Link,
        Self::Point,
        Self::Unlink,
        Self::RingEnds,
        Self::RingCrossed,
        Self::RingPoint,
        Self::Uncross,
        Self::RingEndsBack,
        Self::TogetherTrial,
        Self::Together,
        Self::Trial,
        Self::TrialEarth,
        Self::Clear,
        Self::Lamps,
        Self::NotTested,
        Self::Full,
        Self::TwoWay,
        Self::Joined,
        Self::Reconnected,
        Self::Polarity,
        Self::PutBack,
        Self::SupplyReversed,
        Self::PutRight,
        Self::PutRightOrSay,
        Self::Covers,
        Self::Energise,
        Self::OffLock,
        Self::OffTerminals,
        Self::MakeSafe,
        Self::LivePolarity,
        Self::LiveLoop,
        Self::SupplyVolts,
        Self::SupplyPolarity,
        Self::EarthingOff,
        Self::ExternalLoop,
        Self::EarthingBack,
        Self::FaultCurrent,
        Self::RcdHalf,
        Self::RcdTime,
        Self::RcdButton,
        Self::PhaseSequence,
        Self::Functional,
        Self::Handover,
        Self::NothingLeft,
        Self::Resume,
        Self::CarryOn,
        Self::EndOfNote,
        Self::Finished,
        Self::FoundLive,
        Self::IsolateCircuits,
        Self::LockCircuits,
        Self::NeutralOut,
        Self::BackWhenDead,
        Self::IsolateFirst,
        Self::NothingOn,
        Self::EnergiseCircuits,
        Self::Item,
        Self::Outcome,
        Self::Observing,
        Self::Adequacy,
        Self::SurgeOut,
        Self::SurgeShows,
        Self::TesterCheck,
        Self::AllBack,
        Self::NeverOut,
        Self::IfOut,
        Self::IfLive,
        Self::IfFinish,
        Self::WhichUnit,
        Self::LoadOrShort,
        Self::IfRead,
    ];

    /// Whether it waits for "affirm" or "negative", or a word in their place.
    pub fn is_question(self) -> bool {
        self >= Self::AllBack
    }

    /// Answered by words that are told once, when it is first asked for in full.
    pub fn of_inspection(self) -> bool {
        matches!(
            self,
            Self::Item | Self::Outcome | Self::Adequacy | Self::SurgeShows
        )
    }

    /// Dead work: done on what must not be live.
    pub fn is_dead_test(self) -> bool {
        matches!(
            self,
            Self::Bond
                | Self::SupplementaryBond
                | Self::Point
                | Self::RingEnds
                | Self::RingCrossed
                | Self::RingPoint
                | Self::Polarity
        ) || self.is_insulation()
    }

    pub fn is_insulation(self) -> bool {
        matches!(
            self,
            Self::TogetherTrial
                | Self::Together
                | Self::Trial
                | Self::TrialEarth
                | Self::Full
                | Self::TwoWay
                | Self::Joined
                | Self::Reconnected
        )
    }
}

/// A prompt as a person hears it.
#[derive(Debug, Clone)]
pub struct Heard {
    pub act: Act,
    pub board: Option<u16>,
    pub circuit: Option<u16>,
    pub place: Option<String>,
    pub pair: Option<String>,
    pub volts: Option<u16>,
    /// What is named: to be put back, in circuit, asked about.
    pub list: Vec<String>,
    /// A conductor, or the two to be linked or crossed.
    pub conductors: Option<String>,
    /// The circuits that it names, where they are switched together.
    pub circuits: Vec<u16>,
    /// The item of the inspection.
    pub item: Option<String>,
    /// The RCD of several circuits.
    pub rcd: Option<u16>,
    /// The circuit that it offers to leave off.
    pub off: Option<u16>,
    /// Words that it tells a person to say.
    pub say: Vec<String>,
    pub text: String,
}

impl Heard {
    /// What a refusal asks for instead.
    pub fn refusing(act: Act, list: &str, text: &str) -> Self {
        Self {
            act,
            board: None,
            circuit: None,
            place: None,
            pair: None,
            volts: None,
            list: items(list),
            conductors: None,
            circuits: Vec::new(),
            item: None,
            rcd: None,
            off: None,
            say: Vec::new(),
            text: text.to_owned(),
        }
    }
}

static TABLE: LazyLock<Vec<(Act, Regex)>> = LazyLock::new(|| {
    let joined = "(?:all lines and neutral|line and neutral|all lines)";
    let one = "(?:line(?: one| two| three)?|neutral|earth|all lines)";
    let pair = format!("(?:{joined}|{one}) to (?:line(?: one| two| three)?|neutral|earth)");
    let circuit = |group: &str| format!(r"Circuit (?P<{group}>\d+)(?:, [^.]+)?\.");
    ROWS.iter()
        .map(|(act, row)| {
            let row = row
                .replace("<C>", &circuit("c"))
                .replace("<C2>", &circuit("c2"))
                .replace("<P>", &pair)
                .replace("<J>", joined);
            (*act, Regex::new(&format!("(?i){row}")).unwrap())
        })
        .collect()
});

static SAY: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"\bsay ([a-z ]+?)(?:[.,;:]|, or| if | and the reason|$)").unwrap()
});

/// What a text that a person hears asks for; nothing when the table does not have it.
pub fn heard(text: &str) -> Option<Heard> {
    // Of what stays in use each test is live, and is told so.
    if let Some(told) = text.strip_prefix("Live work. ") {
        let text = text.to_owned();
        return heard(told).map(|it| Heard { text, ..it });
    }
    row_of(text).or_else(|| {
        // With the circuit or board before it that it is about.
        let found = ABOUT.captures(text)?;
        let number = |n: usize| found.get(n).and_then(|n| n.as_str().parse().ok());
        let it = heard(&found[3])?;
        Some(Heard {
            circuit: number(1).or(it.circuit),
            board: number(2).or(it.board),
            text: text.to_owned(),
            ..it
        })
    })
}

static ABOUT: LazyLock<Regex> =
    LazyLock::new(|| Regex::new(r"^(?:Circuit (\d+)|Board (\d+))\. (.+)$").unwrap());

fn row_of(text: &str) -> Option<Heard> {
    let (act, found) = TABLE
        .iter()
        .find_map(|(act, row)| row.captures(text).map(|found| (*act, found)))?;
    let one_of = |names: &[&str]| first(&found, names);
    let number = |names: &[&str]| one_of(names).and_then(|n| n.parse().ok());
    Some(Heard {
        act,
        board: number(&["b"]),
        circuit: number(&["c", "c2"]),
        place: one_of(&["place", "place2"]).map(|place| place.to_lowercase()),
        pair: one_of(&["pair", "pair2"]).map(|pair| pair.to_lowercase()),
        volts: number(&["v"]),
        list: one_of(&["list"])
            .map(|list| items(&list))
            .unwrap_or_default(),
        conductors: one_of(&["what", "bond"]).map(|what| what.to_lowercase()),
        circuits: numbered(&one_of(&["list"]).unwrap_or_default()),
        item: one_of(&["item"]),
        rcd: number(&["rcd"]),
        off: off(text),
        say: SAY
            .captures_iter(&text.to_lowercase())
            .map(|words| words[1].trim().to_owned())
            .collect(),
        text: text.to_owned(),
    })
}

/// The circuits that a text names: "circuit 1, sockets; and circuit 2, lights".
fn numbered(text: &str) -> Vec<u16> {
    let parts = text.split("circuit ").skip(1);
    let number = |part: &str| part.split(',').next()?.parse().ok();
    parts.filter_map(number).collect()
}

fn first(found: &Captures<'_>, names: &[&str]) -> Option<String> {
    let mut all = names.iter().filter_map(|name| found.name(name));
    all.next().map(|group| group.as_str().to_owned())
}

/// Things named one after the other.
pub fn items(list: &str) -> Vec<String> {
    list.split("; ")
        .map(|item| item.trim().to_lowercase())
        .collect()
}

/// The circuit that may be left off, by its number in words.
fn off(text: &str) -> Option<u16> {
    let (before, _) = text.split_once(" stays off")?;
    let at = before.rfind("circuit ")?;
    super::words::number_of(&before[at + 8..])
}
