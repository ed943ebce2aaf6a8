//! What each prompt asks a person to do: a table of its own, by the words that are heard.
//!
//! It knows nothing of the program but what a person hears. A prompt that is not in it fails the test,
//! and so does one of `prompts.toml` that it does not know.

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
    pub const ALL: [Self; 67] = [
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
            off: None,
            say: Vec::new(),
            text: text.to_owned(),
        }
    }
}

/// `<C>` stands for a circuit with or without its name, `<P>` for a pair, `<J>` for conductors joined.
const ROWS: &[(Act, &str)] = &[
    // Questions first: they name what other prompts name.
    (
        Act::IfOut,
        r"^Left without an answer\. Is it so now: (?P<list>.+)\? Affirm if any",
    ),
    (
        Act::AllBack,
        r"^All back: (?P<list>.+)\? Affirm, or negative\.$",
    ),
    (
        Act::NeverOut,
        r"^Was (?P<list>.+) never (?:out|joined)\? Affirm",
    ),
    (Act::IfLive, r"^Live\? Hands off\. Affirm"),
    (
        Act::IfFinish,
        r"^\d+ steps? (?:is|are) not done\. Affirm to finish|^One step is not done\. Affirm to finish",
    ),
    (Act::WhichUnit, r": [a-z]+, or volts\?$"),
    (Act::LoadOrShort, r"Load out, or ohms\?"),
    (Act::IfRead, r"\? .+\. Affirm, or correct\.$"),
    // Isolation.
    (
        Act::Identify,
        r"^Board (?P<b>\d+)(?:, [^.]+\. Have permission|: permission)",
    ),
    (Act::Prove, r"^Prove the (?:voltage )?indicator"),
    (Act::ProveDead, r"^Prove dead, (?P<pair><P>)\. Say"),
    (
        Act::MakeSafe,
        r"^(?:Circuit (?P<c>\d+) is dangerous\. Isolate it now|Isolate circuit (?P<c2>\d+) now)",
    ),
    (Act::Isolate, r"^Isolate(?: every source)?\."),
    (
        Act::OffLock,
        r"^(?:Lock circuit (?P<c>\d+) off and label|Circuit (?P<c2>\d+) locked off and labelled)",
    ),
    (Act::Lock, r"^Lock off"),
    // Instruments.
    (
        Act::LeadsOpen,
        r"(?:Insulation range|Continuity range|Continuity), leads apart\.",
    ),
    (
        Act::LeadsJoined,
        r"^(?:Insulation range, leads|Continuity, leads|Leads) joined",
    ),
    // Bonds.
    (
        Act::BondBack,
        r"^(?:Main bond|Bond) to the (?P<bond>.+?) back on",
    ),
    (
        Act::Bond,
        r"^(?:Main bond|Bond) to the (?P<bond>[^.,]+?)(?:, end to end, one end disconnected\. Say the reading)?\.$",
    ),
    (Act::SupplementaryBond, r"^Supplementary bond, "),
    // Continuity and rings.
    (
        Act::Link,
        r"^(?:<C> Link line and earth at the board|<C2> Line and earth linked at the board\?|line and earth linked at the board\.)",
    ),
    (
        Act::Point,
        r"^(?P<place>[^.,]+)(?:, line \w+)?\. R one plus R two",
    ),
    (Act::Point, r"^(?P<place>[^.,]+), line (?:one|two|three)\.$"),
    (
        Act::Unlink,
        r"^(?:Take the link off at the board|Link off|Discharge, take the link off), and say",
    ),
    (
        Act::RingEnds,
        r"^<C> Ring: line, neutral and earth, both ends of each out of their terminals\. (?P<what>Line|Neutral|Earth) end to end\.$",
    ),
    (
        Act::RingEnds,
        r"^(?P<what>Line|Neutral|Earth) end to end\.$",
    ),
    (
        Act::RingCrossed,
        r"^Cross-connect (?P<what>line and (?:neutral|earth)) at the board: the outgoing end of one to the returning end of the other\. (?P<place>[^.,]+)(?:, (?P<pair><P>))?\.$",
    ),
    (
        Act::Uncross,
        r"^(?:Take the crossing|Crossing) of (?P<what>line and (?:neutral|earth)) off",
    ),
    (Act::RingEndsBack, r"^All six ends"),
    // Insulation.
    (
        Act::TogetherTrial,
        r"^Board (?P<b>\d+), all (?:circuits )?together.* 250 volts(?: first)?, (?P<pair><P>)\.$",
    ),
    (
        Act::Together,
        r"^All (?:circuits )?together, (?P<pair><P>)(?: at (?P<v>\d+) V\. Wait[^.]+)?\.$",
    ),
    (
        Act::Trial,
        r"^<C> (?:Insulation, )?250 volts(?: first)?, (?P<pair><P>)(?::|\.)",
    ),
    (
        Act::TrialEarth,
        r"^(?:That tells little by itself\. )?(?P<pair><P>), (?:still at )?250 volts\.$",
    ),
    (Act::Trial, r"^250 volts again, (?P<pair><P>)\.$"),
    (
        Act::Clear,
        r"(?:In|Still in) circuit: (?P<list>.+?)\. Take it out, .*link (?P<what>[a-z ]+?)(?: and say [a-z]+)?\.$",
    ),
    (Act::Lamps, r"^<C> Lamps out"),
    (
        Act::NotTested,
        r"^<P>(?: of all together)?(?: stays untested with|, not tested\?)",
    ),
    (
        Act::Full,
        r"^<C> (?P<v>\d+) V now\. (?P<pair><P>)(?: at \d+ V\. Wait.*)?\.$",
    ),
    (
        Act::TwoWay,
        r"^(?:Change over the two-way switches\. (?P<pair><P>) again|Switches in the other position, (?P<pair2><P>))",
    ),
    (
        Act::Reconnected,
        r"^Circuit (?P<c>\d+), .*back(?: in it)?(?:\. Link (?P<what><J>) at the board;|:) <J> joined, to earth, at 250 volts\.",
    ),
    (
        Act::Joined,
        r"^(?P<what><J>) joined, to earth, at (?P<v>\d+) volts\.$",
    ),
    (Act::Full, r"^(?P<pair><P>) at (?P<v>\d+) V\. Wait"),
    (
        Act::LivePolarity,
        r"^(?:<C> (?P<place>[^.]+) was opened: polarity there|Circuit (?P<c2>\d+), (?P<place2>[^.:]+): polarity\.)",
    ),
    (Act::Polarity, r"^<C> Polarity(?: at every point|, |\.)"),
    // To energising.
    (
        Act::PutBack,
        r"^Put back(?: what is out)?: (?P<list>.+?)\.(?: Say each when it is back\.)?$",
    ),
    (
        Act::SupplyReversed,
        r": nothing is energised by such a supply",
    ),
    (
        Act::PutRight,
        r"^.+: no reason goes past that\. Put it right and test again",
    ),
    (Act::PutRightOrSay, r"^Outside the limit: "),
    (Act::PutRight, r"\. Put it right, or say "),
    (
        Act::Covers,
        r"^(?:Everything back, covers|Covers on, nobody)",
    ),
    (
        Act::Energise,
        r"^(?:Take the locks and notices off and energise|Locks off, energise)\.",
    ),
    (
        Act::OffTerminals,
        r"^Circuit (?P<c>\d+)(?:, a ring)?: .*ines? and (?:both )?neutrals? out",
    ),
    // Live.
    (
        Act::SupplyPolarity,
        r"^Main switch still off and locked, |^(?:Live work at the incoming terminals\. )?Polarity (?:and voltage )?of the supply",
    ),
    (
        Act::EarthingOff,
        r"^(?:Main switch off and locked\. Take the earthing conductor off|Main switch off, earthing conductor off|earthing conductor off, and say so)",
    ),
    (
        Act::ExternalLoop,
        r"(?:External loop|Earth electrode), line to earth at the incoming side",
    ),
    (Act::EarthingBack, r"^Earthing conductor back"),
    (
        Act::FaultCurrent,
        r"(?:Prospective fault current|^Fault current)",
    ),
    (
        Act::LiveLoop,
        r"^(?P<place>[^.]+) was opened: loop impedance|^(?P<place2>[^.,:]+)(?:, line (?:one|two|three))?: loop\.$",
    ),
    (
        Act::LiveLoop,
        r"^<C> Loop impedance, .+ to earth at (?P<place>[^.]+)\. Say|^Circuit (?P<c2>\d+), loop, .+ at (?P<place2>[^.]+)\.$",
    ),
    (
        Act::RcdHalf,
        r"^Circuit (?P<c>\d+), \d+ milliamp RCD(?:\. Half|, half)",
    ),
    (
        Act::RcdTime,
        r"(?:^|RCD\. )(?:Rated current|Rated|Five times the rated current|Five times), (?:positive|negative) half",
    ),
    (
        Act::RcdButton,
        r"^Circuit (?P<c>\d+)(?:\. Press the|,) test button",
    ),
    (Act::PhaseSequence, r"^Phase sequence"),
    (
        Act::Functional,
        r"^Functional checks|^Circuit (?P<c>\d+), arc fault",
    ),
    (Act::Handover, r"^(?:Hand over:|Handover\.)"),
    (Act::NothingLeft, r"^Nothing is left to do"),
    (Act::Resume, r"^Paused\. Say"),
    (Act::CarryOn, r"^Standing by\. Say"),
    (Act::EndOfNote, r"^Note\. Say"),
    (Act::Finished, r"^The session is finished"),
    // By themselves: as those before them.
    (
        Act::RingPoint,
        r"^(?P<place>[^.,]+), (?P<pair>line to (?:neutral|earth))\.$",
    ),
    (Act::BarePair, r"^(?P<pair><P>)\.$"),
    (Act::BarePlace, r"^(?P<place>[a-z][a-z ]*(?: \d+)?)\.$"),
];

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
        off: off(text),
        say: SAY
            .captures_iter(&text.to_lowercase())
            .map(|words| words[1].trim().to_owned())
            .collect(),
        text: text.to_owned(),
    })
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
