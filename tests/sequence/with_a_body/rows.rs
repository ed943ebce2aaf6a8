//! The rows of the table: by which words each prompt is known.

use super::table::Act;

/// `<C>` stands for a circuit with or without its name, `<P>` for a pair, `<J>` for conductors joined.
pub const ROWS: &[(Act, &str)] = &[
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
    (Act::IfRead, r"\? (?:.+\. )?Affirm, or correct\.$"),
    // A board that stays live, and circuits of it.
    (
        Act::FoundLive,
        r"^Board (?P<b>\d+)(?:, [^.]+, stays live: nothing dead is done| stays live\. Permission, probes)",
    ),
    (
        Act::IsolateCircuits,
        r"^(?:Switch off the device of|Isolate) (?P<list>circuit \d+, [^.]+)\.",
    ),
    (
        Act::LockCircuits,
        r"^(?:Lock that device off, keep the key, label it: (?P<list>circuit \d+, [^.]+) worked on|Lock off and label)\.",
    ),
    (
        Act::ProveDead,
        r"^Where circuit (?P<c>\d+) is worked on: prove dead, (?P<pair><P>)\.|^Circuit (?P<c2>\d+), (?P<pair2><P>)\.$",
    ),
    (
        Act::NeutralOut,
        r"^(?:Circuit (?P<c>\d+), [^.:]+: the board is live, and its neutral is one with earth|Circuit (?P<c2>\d+): neutral out of its terminal)",
    ),
    (
        Act::BackWhenDead,
        r"^Out on a live board: (?P<list>.+?)\. (?:Nothing is put back live: have|Dead first)",
    ),
    (
        Act::IsolateFirst,
        r"^Out on a live board: .+?\. Nothing is put back live: say",
    ),
    (
        Act::EnergiseCircuits,
        r"^Locks (?:and labels )?off, (?:and )?switch on (?P<list>circuit \d+, [^.]+)\.",
    ),
    (
        Act::NothingOn,
        r"^Every circuit .*stays off.*: nothing is switched on\.",
    ),
    // Inspection.
    (
        Act::Item,
        r"^(?:Inspection, item )?(?P<item>\d+(?:\.\d+)+): (?P<what>.+?)\.(?: Say .+)?$",
    ),
    (Act::Outcome, r"^The inspection as a whole: "),
    (
        Act::Observing,
        r"^An observation waits for its words: say what you saw, then end of note",
    ),
    (
        Act::Adequacy,
        r"^(?:Minor works: means of earthing and|Main protective bonding, present|Device, cable and RCD|Earthing,|Bonding,|Protection,).* adequate",
    ),
    // Isolation.
    (
        Act::Identify,
        r"^Board (?P<b>\d+)(?:, [^.]+\. Have permission|: permission| stays live\. Permission, the device)",
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
        Act::TesterCheck,
        r", on its reference: (?P<what>[a-z ]+)\.(?: Say what it reads\.)?$",
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
        Act::SurgeOut,
        r"^(?:Board (?P<b>\d+), before its insulation is tested: surge|Surge) protection out[:,]",
    ),
    (
        Act::TogetherTrial,
        r"^Board (?P<b>\d+), all (?:circuits )?together.* 250 volts(?: first)?, (?P<pair><P>)\.$",
    ),
    (
        Act::TogetherTrial,
        r"^All (?:circuits )?together, (?:still at )?250 volts, (?P<pair><P>)\.$",
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
    (Act::Trial, r"^(?P<pair><P>) too,(?: at)? 250 volts\.$"),
    (Act::Trial, r"^250 volts again, (?P<pair><P>)\.$"),
    (
        Act::Clear,
        r"(?:In|Still in) circuit: (?P<list>.+?)\. (?:Take it out, .*link (?P<what>[a-z ]+?)(?: and say [a-z]+)?|(?:All circuits are tested together: t|T)ake it out, then say what is out and where)\.$",
    ),
    (Act::Lamps, r"^<C> Lamps out"),
    (
        Act::NotTested,
        r"^<P>(?: of all together)?(?: stays untested with|, not tested\?)",
    ),
    (
        Act::Full,
        r"^<C> (?P<v>\d+) V now\. (?:RCBO functional earth\? Tell if out\. )?(?P<pair><P>)(?:(?: at \d+ V)?\. Wait.*)?\.$",
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
        r"^(?:Live behind the cover: guard against touching\. )?Circuit (?P<c>\d+)(?:, a ring)?(?:: | proved dead there: |\. Behind the cover ).*ines? and (?:both )?neutrals? out",
    ),
    // Live.
    (
        Act::SupplyVolts,
        r"^(?:Main switch still off and locked, other sources too\. )?(?:Live work at the incoming terminals(?::[^.]+)?\. )?Voltage(?: of the supply(?: there)?)?, (?P<pair><P>)\.",
    ),
    (
        Act::SupplyPolarity,
        r"^Main switch still off and locked, .*check its polarity|^(?:Live work at the incoming terminals\. )?Polarity (?:and voltage )?of the supply",
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
    // Of several circuits.
    (
        Act::RcdHalf,
        r"^RCD (?P<rcd>\d+), \d+ milliamps, of [^.]+?(?:\. Half|, half)",
    ),
    (
        Act::RcdTime,
        r"^RCD (?P<rcd>\d+), \d+ milliamps, of [^.]+\. (?:Rated|Five times)",
    ),
    (
        Act::RcdButton,
        r"^RCD (?P<rcd>\d+)(?:\. Press the|,) test button",
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
        Act::SurgeShows,
        r"^Surge protection (?:on board (?P<b>\d+): look at its|indicator)",
    ),
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
