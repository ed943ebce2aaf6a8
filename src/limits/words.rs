//! The words of verdicts, all in one place, and how they are kept: which sentence it is and the
//! figures in it. A log of before keeps its sentences as they were written, and they are shown as they
//! stand.

use super::kinds::DeviceKind;
use crate::quantity::{Bounded, Dimension, Pair, Reading, TestVoltage, WrongUnit, tidy};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;
use std::ops::Deref;

/// What a verdict says: a sentence with its figures, or a figure alone, or the words of an older log.
/// It reads as text.
#[derive(Clone, PartialEq, Eq)]
pub struct Said {
    text: String,
    phrase: Option<Phrase>,
}

/// Which sentence, and what stands in it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Phrase {
    is: Words,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    with: Vec<Said>,
}

impl Said {
    /// A sentence with its figures, in their order.
    pub(crate) fn of(is: Words, with: Vec<Self>) -> Self {
        Self {
            text: is.filled(&with),
            phrase: Some(Phrase { is, with }),
        }
    }

    /// Several, one after the other; one alone as it is.
    pub(crate) fn several(how: Words, mut all: Vec<Self>) -> Self {
        all.retain(|one| !one.text.is_empty());
        match all.len() {
            1 => all.remove(0),
            _ => Self::of(how, all),
        }
    }

    /// Another one after it; several that are joined in the same way stay one row.
    pub(crate) fn and(self, how: Words, more: Self) -> Self {
        let mut all = match self.phrase {
            Some(phrase) if phrase.is == how => phrase.with,
            _ => vec![self],
        };
        all.push(more);
        Self::several(how, all)
    }

    /// What stands in it without words of this program: figures, names, and the words of old logs.
    pub fn figures(&self) -> Vec<&str> {
        match &self.phrase {
            Some(phrase) => phrase.with.iter().flat_map(Self::figures).collect(),
            None => vec![&self.text],
        }
    }
}

impl Deref for Said {
    type Target = str;

    fn deref(&self) -> &str {
        &self.text
    }
}

impl fmt::Display for Said {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl fmt::Debug for Said {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", self.text)
    }
}

impl From<&str> for Said {
    fn from(text: &str) -> Self {
        text.to_owned().into()
    }
}

impl From<String> for Said {
    fn from(text: String) -> Self {
        Self { text, phrase: None }
    }
}

impl From<Said> for String {
    fn from(said: Said) -> Self {
        said.text
    }
}

impl PartialEq<&str> for Said {
    fn eq(&self, other: &&str) -> bool {
        self.text == *other
    }
}

impl Serialize for Said {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match &self.phrase {
            Some(phrase) => phrase.serialize(serializer),
            None => serializer.serialize_str(&self.text),
        }
    }
}

impl<'de> Deserialize<'de> for Said {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        #[serde(untagged)]
        enum Kept {
            Text(String),
            Phrase(Phrase),
        }
        Ok(match Kept::deserialize(deserializer)? {
            Kept::Text(text) => text.into(),
            Kept::Phrase(Phrase { is, with }) => Self::of(is, with),
        })
    }
}

/// A sentence with what stands in it: `said!(Within, value, limit)`.
macro_rules! said {
    ($is:ident $(, $with:expr)* $(,)?) => {
        $crate::limits::words::Said::of(
            $crate::limits::words::Words::$is,
            vec![$($crate::limits::words::ToSaid::to_said(&$with)),*],
        )
    };
}
pub(crate) use said;

/// What can stand in a sentence: a figure, a name, or another sentence.
pub(crate) trait ToSaid {
    /// As it is kept.
    fn to_said(&self) -> Said;
}

impl ToSaid for Said {
    fn to_said(&self) -> Said {
        self.clone()
    }
}

impl ToSaid for f64 {
    fn to_said(&self) -> Said {
        tidy(*self).into()
    }
}

impl<T: ToSaid + ?Sized> ToSaid for &T {
    fn to_said(&self) -> Said {
        (**self).to_said()
    }
}

impl<M: Dimension> ToSaid for Bounded<M> {
    fn to_said(&self) -> Said {
        self.to_string().into()
    }
}

macro_rules! figures {
    ($($kind:ty),*) => {$(
        impl ToSaid for $kind {
            fn to_said(&self) -> Said {
                self.to_string().into()
            }
        }
    )*};
}

figures!(str, String, u16, Pair, Reading, TestVoltage, DeviceKind);

impl ToSaid for WrongUnit {
    fn to_said(&self) -> Said {
        said!(OtherUnit, self.reading, self.wanted)
    }
}

macro_rules! words {
    ($($name:ident = $text:literal;)*) => {
        /// Every sentence of a verdict; `{}` stands for a figure or another sentence. `{Pair}` is a
        /// pair of conductors said aloud at the beginning of a sentence, `{pair}` the same within one.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
        #[serde(rename_all = "kebab-case")]
        #[expect(missing_docs, reason = "each is its own text, below")]
        pub enum Words {
            $($name,)*
        }

        impl Words {
            /// All of them.
            pub const ALL: &[Self] = &[$(Self::$name),*];

            /// As it reads, with places for the figures.
            pub fn template(self) -> &'static str {
                match self {
                    $(Self::$name => $text,)*
                }
            }
        }
    };
}

impl Words {
    fn filled(self, with: &[Said]) -> String {
        let joined = |between: &str| {
            let all: Vec<&str> = with.iter().map(Deref::deref).collect();
            all.join(between)
        };
        match self {
            Self::Sentences => return joined(" "),
            Self::Sums => return joined("; "),
            Self::List => return joined(", "),
            Self::Added => return joined(" + "),
            Self::Over => return joined(" over "),
            Self::Both => return joined(" and "),
            _ => {}
        }
        let mut text = String::new();
        let mut with = with.iter();
        let mut rest = self.template();
        while let Some((before, after)) = rest.split_once('{') {
            let (how, after) = after.split_once('}').unwrap_or((after, ""));
            text.push_str(before);
            let one = with.next().map_or("", Deref::deref);
            let pair = || {
                one.parse::<Pair>()
                    .map_or(one.to_owned(), |pair| pair.spoken())
            };
            match how {
                "Pair" => text.push_str(&capital(&pair())),
                "pair" => text.push_str(&pair().replace(" to ", " and ")),
                _ => text.push_str(one),
            }
            rest = after;
        }
        text.push_str(rest);
        text
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map(|first| first.to_uppercase().chain(chars).collect())
        .unwrap_or_default()
}

words! {
    // Joined.
    Sentences = "";
    Sums = "";
    List = "";
    Added = "";
    Over = "";
    Both = "";
    // A value beside its limit.
    NotMoreThan = "{} is not more than {}";
    MoreThan = "{} is more than {}";
    NotLessThan = "{} is not less than {}";
    LessThan = "{} is less than {}";
    Against = "{} against {}";
    Within = "within";
    Outside = "over";
    CannotSay = "cannot say";
    Read = "{} read";
    NothingRead = "nothing read";
    AtMost = "at most {}";
    AtMostOhms = "at most {} Ω";
    AtMostIn = "at most {} Ω in {} s ({})";
    FromMemory = "The limit was written from memory: confirm it in your own copy of the table.";
    OtherUnit = "{} is not in {}: say the reading again with its unit";
    // Continuity.
    R1R2Continuous = "R1+R2 continuous";
    R2Continuous = "R2 continuous";
    R1R2AtMost = "R1+R2 at most {}";
    NoContinuity = "No continuity: check leads, links and switches on the way, then look for the break.";
    R1R2Sum = "Zs {}; ({} - Ze {}) ÷ {} = {}";
    Expected = "expected {}, tolerated {}";
    ByLength = "{} × {} mΩ/m{}{} = {}";
    Bracketed = "({})";
    ForWarmth = " × {} for {}";
    Shared = " ÷ {}";
    LengthOf = "{} of {}";
    TenTimes = "About ten times what {} should read, {}: has a decimal point slipped, or is a joint loose?";
    ATenth = "About a tenth of what {} should read, {}: has a decimal point slipped, or are the probes on the same conductor?";
    HigherThanShould = "Higher than {} should read, {}: a loose joint, a longer route, a smaller conductor, or leads not nulled?";
    LowerThanShould = "Lower than {} should read, {}: a shorter route, a larger conductor, a parallel path, or not at the furthest point?";
    ShortBond = "about {} or less for a short bond";
    LongBond = "More than a short bond reads: is it long, are the leads nulled, is the clamp clean and tight? 10 mm² copper reads 0.05 Ω at 27 m.";
    TouchVoltsOverIa = "at most {} V ÷ Ia";
    NotEveryDevice = "The job file does not say of every circuit which device protects it: take Ia from the one that serves the place.";
    WhichServes = "Within the limit of some circuits and over that of others: which of them serve the place?";
    NoConductor = "Far more than a bonding conductor reads, although 50 V ÷ Ia allows it: is it a conductor, and are its clamps tight?";
    ByResidual = "{} V ÷ {} = {}, IΔn of a {} RCD";
    ByOvercurrent = "{} V ÷ {} = {}, which operates {} {} in {} s";
    WithLeads = "{} read, with leads of {}";
    BelowLeads = "Less than the leads alone read: were they nulled since, or is it another range? Join the leads again and say what they read, or that they are nulled.";
    // Rings.
    LegLine = "line";
    LegNeutral = "neutral";
    LegCpc = "protective conductor";
    LineAndNeutral = "line and neutral";
    LineAndCpc = "line and protective conductor";
    EndToEnd = "{} continuous end to end";
    RnWithin = "rn within {} of r1";
    RnBeside = "rn {} beside r1 {}";
    R2Near = "r2 near r1 × {} ÷ {}";
    R2Beside = "r2 {} beside r1 {}; by the ratio {}, tolerated {}";
    PointWithin = "{} within {}";
    PointSum = "(r1 {} + {} {}) ÷ 4 = {}; {} read";
    OpenAtPoint = "Open at this point: polarity reversed there, a conductor not connected, or the ends not joined at the board.";
    LowerThanCrossed = "Lower than this ring can read with its ends crossed: are they joined leg to leg?";
    OfAbout = ", of about {} metres";
    AsOnASpur = "As on a spur{}, as the job file says.";
    ReadsAsOnASpur = "Reads as on a spur{}, or a loose joint; the job file says neither.";
    SoundRing = "a ring without breaks, bridges or reversed points";
    LegReads = "{} = {} end to end";
    RatioReads = "r2 should be near r1 × {} ÷ {} = {}";
    CrossedReads = "{}, crossed: (r1 + {}) ÷ 4 = ({} + {}) ÷ 4 = {}; round the ring {}";
    HighestIs = "highest line to cpc {} = R1+R2";
    NotEveryPoint = "Not every point has been read in both stages yet.";
    OneLegOpen = "No continuity end to end in {}: look for a broken or loose conductor at a point, or the wrong leg.";
    TwoLegsOpen = "No continuity end to end in {}: open in both, or the two are interchanged somewhere round the ring: measure one end of the one to the other end of the other.";
    AllLegsOpen = "No continuity end to end in {}: look for a cut cable, or legs of two different circuits.";
    NoLoop = "The {} reads about nothing end to end: are both probes on the same end, or do the ends still touch?";
    UnequalLegs = "Line and neutral differ end to end; the {} reads more: look for a loose joint in it, or a different route.";
    CpcHigh = "The protective conductor reads more than its size gives: look for a loose joint in it, or a smaller conductor.";
    CpcLow = "The protective conductor reads less than its size gives: a parallel path through metalwork, or a larger conductor.";
    EndsNotJoined = "Every point is open: {} do not seem to be cross-connected at the board.";
    EndsNotCrossed = "The readings grow from the board toward the middle: the ends of {} look joined leg to leg, not crossed. Change over one pair at the board and read again.";
    Interconnection = "{} read high, as inside a ring that is bridged across: look for an interconnection there, or for spurs side by side.";
    DeclaredSpur = "{} reads as on a spur{}, as the job file says.";
    UndeclaredSpur = "{} reads as on a spur{}, which the job file does not say; a loose joint there, or a ring bridged around it, would read alike.";
    HighJoint = "{} reads high in one stage only: look for a loose {} there.";
    LineNeutralReversed = "{} is open line to earth and sound line to neutral: line and neutral look reversed there, or the protective conductor is not connected. Measure neutral to earth: about the same value as its neighbours means reversed.";
    LineCpcReversed = "{} is open line to neutral and sound line to earth: line and protective conductor look reversed there, or the neutral is not connected.";
    NeutralCpcReversed = "{} is open both ways: neutral and protective conductor look reversed there, or the line is not connected.";
    TooLow = "{} reads less between {} than any point of this ring can: read it again, and look for something connected across.";
    // Insulation.
    AtLeastAt = "at least {} at {} V d.c.";
    RangeNotKnown = "Over range, but past what? Say the reading as \"greater than\" the instrument's largest value, or write insulation_range_megohms for it in the job file.";
    WorthALook = "Within the limit, but below {} MΩ it is worth finding out why; new wiring usually reads in the hundreds.";
    TakenLower = "Taken at {}; the table asks for {}, less only where equipment may be connected (643.3.3).";
    TakenHigher = "Taken at {}, more than the {} of the table: was the equipment fit for it?";
    EveryPair = "every pair at least {}";
    PairReads = "{} {}";
    Sound = "Every pair is at or above the limit.";
    LoadAcross = "{Pair} is low while the readings to earth are high: something is probably still connected between {pair}, a lamp, an appliance or permanently connected electronics. Find it before any test at a higher voltage.";
    DeadShort = "{Pair} is about nothing while the readings to earth are high: a short circuit, or a load of few ohms such as a lamp, a heater or a transformer. Measure it on the low-ohm range, and do not energise until it is found.";
    NeutralEarthFault = "Neutral to earth is low while line to earth is high: it looks like a neutral to earth fault, or a neutral still connected at the board. Check that the neutral is out of its bar, then divide the circuit to find it.";
    LineEarthFault = "{Pair} is low while the other readings are high: it looks like a fault to earth. Divide the circuit to find it, and do not energise.";
    AllLow = "Every pair is low: damp, the wrong circuit, a borrowed neutral or equipment connected on both sides are all possible. Check that this is the circuit you isolated, then divide it.";
    Incomplete = "The readings so far do not settle it: read every pair, and say over range as greater than the largest value the instrument shows.";
    Unclear = "Some readings are below the limit, in no pattern that I know. Divide the circuit and read again.";
    WholeBoard = "at least {}, the whole board joined";
    OneOver = "1/{}";
    InParallel = "1/({}) = {}";
    // Earth fault loop.
    Zs = "Zs";
    ElectrodeIs = "RA";
    LowerThanZe = "Lower than Ze, {}: only parallel paths could do that. Is it the same supply, and the decimal point right?";
    LowerThanZeGives = "Ze {} gives {}: one of the two is misread, or something is amiss at the terminals. Read both again.";
    HigherThanZeGives = "Ze {} gives {}: only parallel paths could let so much more flow. Has the decimal point slipped?";
    UsuallyAtMost = "usually at most {} on {}";
    Declared = "declared {}";
    HigherThanDeclared = "Higher than the {} that was declared: every sum that rests on the declared value rests on less than there is. Check the connection, and ask the distributor.";
    HigherThanUsual = "Higher than distributors usually declare for this earthing: check the connection and the arrangement, and ask the distributor.";
    NoLoopMeasured = "Over range: no earth fault loop was measured. Check the protective conductor and its connections before anything else.";
    AtMostWithRcd = "at most {} with {}";
    TouchVoltsOver = "{} ÷ {} = {}";
    UnstableElectrode = "Above {} an earth electrode may not be stable: it can dry out.";
    NoLimit = "no limit in the tables for this device";
    TakeTheLimit = "Take the limit from the maker or from the standard, and write the device into the job file or its value into a copy of the tables.";
    BreakerSum = "{} V ÷ ({} × {} A) = {} Ω";
    BreakerSumCmin = "{} × {} V ÷ ({} × {} A) = {} Ω";
    SettingSum = "{} × {} V ÷ ({} × {} A) = {} Ω";
    OwnCurrentSum = "{} × {} V ÷ {} A = {} Ω";
    OwnLimit = "{} Ω by its own source";
    FuseTable = "table, {} {} in {} s: {}";
    FuseByCurrent = "{} V ÷ {} A";
    Times = "{} × {}";
    FuseByOlder = "older value {} Ω";
    FuseByOlderCmin = "older value {} × {} Ω";
    FuseOhms = "{} Ω";
    FuseSum = "{} = {} Ω";
    FuseRounded = "{} = {} Ω, in the table {} Ω";
    FuseScaled = "{}; {} × {} V ÷ {} V = {} Ω";
    ColdAndHot = "{}; cold, {} × {} = {}: {} {}; corrected to {} °C, {}: {}";
    CorrectedSum = "{} + ({} - {}) × {} = {}";
    CorrectedAll = "{} × {} = {}";
    NotKnownUpTo = "external part not known, up to {}";
    BetweenCorrected = "Ze at most {}, from {}, to {}";
    OnlyCorrected = "By the rule of thumb it may read {} cold; corrected to {} °C it is {}, and the limit is {} Ω.";
    StricterTable = "The limit is for {} s, stricter than this circuit needs; take the right one from the standard.";
    RestsOnRcd = "The overcurrent device alone does not disconnect in time; the {} RCD would ({} V ÷ {} = {}, 411.4.5 and Table 41.5). Whether fault protection may rest on it is for the designer.";
    ZeSum = "Ze {} + (R1+R2) {} = {}";
    ZeBoundSum = "Ze at most {} + (R1+R2) {} = {}";
    TenTimesSum = "About ten times out beside Ze plus R1 plus R2, {}: has a decimal point slipped?";
    LowerThanSum = "Lower than Ze plus R1 plus R2, {}: parallel paths through bonding or metalwork are usual once everything is connected. Is it the same circuit?";
    HigherThanSum = "Higher than Ze plus R1 plus R2, {}: a loose joint, another circuit, or an RCD in the loop of a low-current test?";
    // Fault current.
    SmallestCapacity = "at most {}, the smallest breaking capacity here";
    RatedCapacity = "at most the rated breaking capacity";
    ThreePhase = "three-phase {} × {} = {}";
    Largest = "{}; largest {}";
    NoCapacity = "Not every device here has a breaking capacity in the job file: read it off the devices and write breaking_ka.";
    AboveCapacity = "Above the devices' own breaking capacity: only a device upstream that limits the energy, by its maker's tables, could change that (434.5.1, 536).";
    // Voltage of the supply.
    VoltsBetween = "{} to {}";
    VoltsSum = "{} +{} % -{} %; {}";
    VoltsOutside = "Outside what a distributor may supply: read it again at the terminals, with the load as it is, and tell the distributor.";
    VoltsToEarth = "at most {} between neutral and earth";
    VoltsAtNeutral = "{} read";
    NeutralIsLive = "Neutral reads as a line would to earth: line and neutral reversed, or neutral or earth of the supply lost? Touch nothing, and tell the distributor.";
    // Heat and voltage drop.
    CpcNoSmaller = "cpc of {} no smaller than the heat asks";
    Current = "I = {} ÷ {} = {}";
    ByMakersEnergy = "by the maker's I²t, no more than {} stands";
    ClearedUnder = "{}, cleared in under {} s; k²S² = {}² × {}² = {} A²s";
    MakersEnergy = "Under a tenth of a second the maker's let-through energy decides: compare it with k²S².";
    ClearingNotSaid = "No row of the tables says how soon the device clears that current: see Zs first, then the maker's time-current curve.";
    HeatSum = "{}; √({}² × {} s) ÷ {} = {} beside {}";
    LongestTime = "By the longest time that the tables give for this current; the device may be quicker. Compare k²S² with the maker's let-through energy.";
    PercentIs = "at most {} % = {}";
    DropSum = "{} × {} × {} = {}";
    DropSumBalanced = "{} × {} (line only, balanced) × {} = {}";
    AllAtTheEnd = "With all of the load at the far end, from the origin of this circuit; drop upstream adds to it.";
    // Instruments.
    OnReference = "{} on its reference, within {} %";
    BesideReference = "{} read beside {}, from {} to {}";
    TesterOut = "The instrument does not read what it should on its reference: check leads and battery, read it again, and do not rely on it until that is settled.";
    // Residual current devices.
    NoTripAt = "no trip at {}";
    BetweenMs = "{} to {} ms at {}, a.c.";
    AtMostMs = "at most {} ms at {}, a.c.";
    TestCurrent = "{} × {} = {}";
    ItTripped = "{}; it tripped, {}";
    DidNotTrip = "{}; no trip within the test";
    TimeWithin = "{}; {} is within {}";
    TimeMore = "{}; {} is more than {} ms";
    TimeLess = "{}; {} is less than {} ms";
    TimeAgainst = "{}; {} against {}";
    ToMs = "0 to {} ms";
    TrippedAtHalf = "It tripped at half its rated current: look for standing leakage, test it with the load conductors out, or change the device.";
    NotTripped = "It did not trip: check that the instrument is set to this device's rating and that the loop is sound, then test again before replacing the device.";
    TooQuick = "Too quick for a time-delayed device: it would not wait for the one downstream. Is it marked S?";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sentence_is_kept_as_which_it_is_and_its_figures_and_reads_back_the_same() {
        let said = said!(NotMoreThan, said!(Read, 0.45), "0.9 Ω").and(Words::Sums, said!(Sound));
        assert_eq!(
            said,
            "0.45 read is not more than 0.9 Ω; Every pair is at or above the limit."
        );
        let kept = serde_json::to_string(&said).unwrap();
        assert_eq!(
            kept,
            r#"{"is":"sums","with":[{"is":"not-more-than","with":[{"is":"read","with":["0.45"]},"0.9 Ω"]},{"is":"sound"}]}"#
        );
        assert_eq!(serde_json::from_str::<Said>(&kept).unwrap(), said);
    }

    #[test]
    fn the_words_of_an_older_log_stay_as_they_were_written() {
        let old: Said = serde_json::from_str("\"at most 9 {} Ω\"").unwrap();
        assert_eq!(old, "at most 9 {} Ω");
        assert_eq!(serde_json::to_string(&old).unwrap(), "\"at most 9 {} Ω\"");
    }

    #[test]
    fn a_pair_is_said_aloud() {
        let said = said!(LoadAcross, Pair::LN, Pair::LN);
        assert!(said.starts_with("Line to neutral is low"), "{said}");
        assert!(
            said.contains("connected between line and neutral, a lamp"),
            "{said}"
        );
    }

    #[test]
    fn figures_in_a_sentence_are_never_taken_for_its_places() {
        let said = said!(HighJoint, "socket {}", said!(LegLine));
        assert!(said.starts_with("socket {} reads high"), "{said}");
    }
}
