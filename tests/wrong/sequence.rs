//! The order of the job, what is out, isolation and warnings. `line_NN` is a line of the list of what
//! was wrong; each test fails on the build that the list was made of.

use crate::dialogues::plain::Site;
use bothhands::installation::Job;
use bothhands::sequence::{Event, LineKind, ReadingStatus};
use jiff::SignedDuration;

const MORNING: &str = "2026-11-25T09:30:00Z";

/// A job of the dialogues where everything was answered plainly until this step is asked for.
pub(super) fn at(job: &str, step: &str) -> Site {
    let path = format!("tests/dialogues/jobs/{job}.toml");
    from(&std::fs::read_to_string(path).unwrap(), step)
}

pub(super) fn from(text: &str, step: &str) -> Site {
    let job = Job::parse(text, "the boathouse").unwrap();
    let (mut site, _) = Site::typed(job, MORNING.parse().unwrap());
    if !step.is_empty() {
        site.plainly_to(step).unwrap();
    }
    site
}

/// The plain job with something else in it.
fn plain_with(what: &str, instead: &str) -> String {
    let text = std::fs::read_to_string("tests/dialogues/jobs/plain.toml").unwrap();
    assert!(text.contains(what), "the plain job has no {what}");
    text.replacen(what, instead, 1)
}

fn with_bonds() -> String {
    plain_with(
        "ze_ohms = \"0.21\"",
        "ze_ohms = \"0.21\"\nbonds = [\"water\", \"gas\"]",
    )
}

/// What is said to these lines; the last one's.
pub(super) fn say(site: &mut Site, lines: &[&str]) -> String {
    let mut said = String::new();
    for words in lines {
        let lines = site.type_in(words).unwrap();
        let lines: Vec<_> = lines.iter().map(|line| line.text.as_str()).collect();
        said = lines.join(" ");
    }
    said
}

pub(super) fn has(said: &str, parts: &[&str]) {
    for part in parts {
        let found = said.to_lowercase().contains(&part.to_lowercase());
        assert!(found, "no \"{part}\" in: {said}");
    }
}

/// How a step stands.
pub(super) fn outcome(site: &Site, end: &str) -> String {
    let mut steps = site.state().plan().steps.iter();
    let step = steps
        .find(|step| step.id.to_string().ends_with(end))
        .unwrap();
    format!("{:?}", site.state().outcome(step))
}

/// What the program says to a typed line as a person would type it, understood or not.
fn typed(site: &mut Site, words: &str) -> String {
    match site.type_in(words) {
        Ok(lines) => lines
            .iter()
            .map(|l| l.text.as_str())
            .collect::<Vec<_>>()
            .join(" "),
        Err(_) => {
            assert!(
                bothhands::sequence::sounds_like_a_warning(words),
                "\"{words}\" is met with nothing"
            );
            let turn = site.session.maybe_live(words, site.now);
            let turn = turn.unwrap_or_else(|| panic!("\"{words}\" is not asked about"));
            turn.lines
                .iter()
                .map(|l| l.text.as_str())
                .collect::<Vec<_>>()
                .join(" ")
        }
    }
}

#[test]
fn line_01_ring_ends_and_crossings_are_on_the_list_until_they_are_back() {
    let mut site = at("ring", "end-to-end/r1");
    has(
        &say(&mut site, &["what is out"]),
        &["not answered yet", "both neutrals at board"],
    );
    has(
        &say(&mut site, &["0.40", "0.40", "0.67", "what is out"]),
        &[
            "Out: both lines at board",
            "both earths at board",
            "line and neutral crossed",
        ],
    );
    has(
        &say(&mut site, &["0.20", "0.20", "0.21"]),
        &["crossing of line and neutral off"],
    );
    has(
        &say(&mut site, &["crossing removed"]),
        &["Cross-connect line and earth"],
    );
    has(
        &say(&mut site, &["0.27", "0.27", "0.27"]),
        &["crossing of line and earth off"],
    );
    // Insulation line to earth would be read through the crossing.
    let refused = say(&mut site, &["go to insulation"]);
    has(&refused, &["Still out"]);
    let refused = say(&mut site, &["line to earth over 999"]);
    has(&refused, &["line and earth crossed", "would be read"]);
    has(&say(&mut site, &["crossing removed"]), &[]);
    has(
        &say(&mut site, &["go to energise"]),
        &["both neutrals at board"],
    );
    has(
        &say(&mut site, &["ring ends back", "what is out"]),
        &["Nothing is out"],
    );
}

#[test]
fn line_01_energising_is_barred_while_a_ring_end_is_out() {
    let mut site = at("ring", "ring-continuity/ends-back");
    let refused = say(&mut site, &["go to energise"]);
    has(&refused, &["Still out", "both lines at board"]);
}

#[test]
fn line_02_a_bond_that_is_off_bars_everything_until_it_is_back() {
    let mut site = from(&with_bonds(), "bond/water");
    has(
        &say(&mut site, &["what is out"]),
        &["not answered yet: water bond off"],
    );
    has(
        &say(&mut site, &["0.03"]),
        &["Main bond to the water back on"],
    );
    let refused = say(&mut site, &["go to insulation"]);
    has(&refused, &["water bond off", "goes back first"]);
    has(&say(&mut site, &["what is out"]), &["Out: water bond"]);
    has(
        &say(&mut site, &["bond back on"]),
        &["Water bond back", "Nothing is out"],
    );
}

#[test]
fn whoever_leaves_a_step_that_orders_something_out_is_asked() {
    for leaving in [
        "circuit one",
        "not tested reason no access",
        "pause",
        "it is live",
    ] {
        let mut site = from(&with_bonds(), "bond/water");
        has(
            &say(&mut site, &[leaving]),
            &["Is it so now: water bond off?"],
        );
        has(&say(&mut site, &["what is out"]), &["water bond off"]);
        has(
            &say(&mut site, &["affirm"]),
            &["On the list until it is back: water bond"],
        );
        let mut site = from(&with_bonds(), "bond/water");
        say(&mut site, &[leaving, "negative"]);
        let out = say(&mut site, &["what is out"]);
        let asked_again = site.asked().ends_with("bond/water");
        assert!(asked_again || !out.contains("water"), "{leaving}: {out}");
    }
    let mut site = from(&with_bonds(), "bond/water");
    let lines = site.restart();
    assert!(
        lines.iter().any(|line| line.text.contains("Is it so now")),
        "after a crash: {lines:?}"
    );
    has(&say(&mut site, &["finish"]), &["negative"]);
}

/// Every dead step of these jobs, and every warning in words: Stop, hands off.
#[test]
fn line_03_voltage_found_is_heard_at_every_dead_step() {
    for job in ["ring", "radial", "lighting", "plain"] {
        let mut begun = at(job, "");
        let mut tried = 0;
        while !begun.asked().contains("energise/covers") && !begun.asked().contains("supply") {
            for words in [
                "it is live",
                "still live",
                "voltage present",
                "not dead",
                "stop",
                "230 volts",
                "two thirty volts",
                "it's still live",
            ] {
                let mut site = begun.fork();
                let said = say(&mut site, &[words]);
                has(&said, &["Stop. Voltage is present. Hands off."]);
                assert!(
                    site.asked().ends_with("isolation/identify"),
                    "{words}: {}",
                    site.asked()
                );
                tried += 1;
            }
            for near in ["live", "no it's live", "there's voltage on it", "emergency"] {
                let mut site = begun.fork();
                let said = typed(&mut site, near);
                assert!(
                    said.contains("Hands off"),
                    "{}: {near}: {said}",
                    begun.asked()
                );
            }
            assert!(begun.plainly().unwrap());
        }
        assert!(tried > 100, "{job}: only {tried}");
    }
}

#[test]
fn a_near_warning_is_answered_once_and_leaves_all_as_it_was() {
    let mut site = at("plain", "500/L-N");
    let asked = site.asked();
    let said = typed(&mut site, "is that live");
    has(&said, &["Live? Hands off."]);
    has(&say(&mut site, &["negative"]), &["Not live"]);
    assert_eq!(site.asked(), asked);
    typed(&mut site, "is that live");
    has(&say(&mut site, &["affirm"]), &["Stop. Voltage is present."]);
}

#[test]
fn line_04_the_supply_is_checked_before_energising() {
    let mut site = at("plain", "supply-polarity/incoming");
    let refused = say(&mut site, &["go to energise"]);
    has(&refused, &["No. First", "polarity"]);
    let order: Vec<String> = {
        let mut order = Vec::new();
        while site.plainly().unwrap() {
            order.push(site.asked());
        }
        order
    };
    let place = |end: &str| {
        order
            .iter()
            .position(|id| id.contains(end))
            .unwrap_or_else(|| panic!("{end} never asked: {order:?}"))
    };
    assert!(place("external-loop/earthing-off") < place("external-loop/earthing-back"));
    assert!(place("external-loop/earthing-back") < place("fault-current"));
    assert!(place("fault-current") < place("energise/covers"));
    assert!(place("energise/on") < place("loop-impedance"));
}

#[test]
fn a_reversed_supply_energises_nothing() {
    let mut site = at("plain", "supply-polarity/incoming");
    has(
        &say(&mut site, &["polarity reversed"]),
        &["Polarity of the supply is reversed"],
    );
    has(&say(&mut site, &["not tested no time"]), &["No."]);
    has(
        &say(&mut site, &["go to energise"]),
        &["no reason goes past that"],
    );
    has(&say(&mut site, &["polarity reversed"]), &["reversed"]);
    has(
        &say(&mut site, &["polarity correct"]),
        &["permission, circuits and every source"],
    );
}

#[test]
fn without_an_earth_nothing_is_energised() {
    let mut site = at("plain", "external-loop/value");
    say(&mut site, &["over range", "affirm"]);
    site.plainly_to("energise/covers").unwrap();
    has(
        &say(&mut site, &["say again"]),
        &["nothing is energised by such a supply"],
    );
    has(&say(&mut site, &["done"]), &["no reason goes past that"]);
}

#[test]
fn line_05_no_reason_energises_a_short_or_a_fault_to_earth() {
    let mut site = at("plain", "500/L-E");
    has(&say(&mut site, &["0.00"]), &["Affirm"]);
    say(&mut site, &["affirm"]);
    site.plainly_to("energise/covers").unwrap();
    for words in [
        "override client request",
        "override as instructed",
        "observation",
    ] {
        let said = say(&mut site, &[words]);
        assert!(!site.asked().ends_with("energise/on"), "{words}: {said}");
        assert!(!said.contains("Overridden"), "{words}: {said}");
    }
    has(&say(&mut site, &["done"]), &["no reason goes past that"]);
    has(
        &say(&mut site, &["circuit one stays off"]),
        &["Lock circuit 1 off"],
    );
    has(
        &say(&mut site, &["locked off"]),
        &["line and neutral out of their terminals"],
    );
    say(&mut site, &["done"]);
    has(
        &say(&mut site, &["what is out"]),
        &["line at board", "neutral at board"],
    );
    site.plainly_to("energise/on").unwrap();
    has(&say(&mut site, &["energised"]), &["Live from here on"]);
    // Before anyone works on it again it is proved dead anew.
    has(&say(&mut site, &["circuit one"]), &["energised"]);
}

#[test]
fn line_05_about_zero_between_lives_is_a_load_or_a_short() {
    let mut site = at("radial", "c4/insulation-resistance/trial");
    has(
        &say(&mut site, &["0.00"]),
        &["a load, or a short", "Load out, or ohms?"],
    );
    // Forty ohms are a heater, one is a short.
    let mut load = site.fork();
    has(&say(&mut load, &["forty ohms"]), &["Affirm"]);
    let mut out = site.fork();
    say(&mut out, &["load out"]);
    has(&say(&mut out, &["what is out"]), &["load"]);
    assert!(
        out.asked().ends_with("insulation-resistance/trial-again"),
        "{}",
        out.asked()
    );
}

#[test]
fn line_05_other_low_insulation_goes_by_what_was_seen() {
    let mut site = at("plain", "500/N-E");
    say(&mut site, &["0.40", "affirm"]);
    site.plainly_to("energise/covers").unwrap();
    has(&say(&mut site, &["override no access"]), &["observation"]);
    has(
        &say(&mut site, &["observation", "end of note"]),
        &["observation"],
    );
    let said = say(
        &mut site,
        &["observation", "damp in the shed", "end of note"],
    );
    has(&said, &["observation noted", "Covers on"]);
}

#[test]
fn line_05_reversed_polarity_in_use_is_told_of_as_a_danger() {
    let mut site = at("plain", "polarity/dead");
    say(&mut site, &["polarity reversed"]);
    site.plainly_to("energise/covers").unwrap();
    has(&say(&mut site, &["danger code one"]), &["Not that now"]);
    let used = plain_with("initial-verification", "periodic-inspection");
    let mut site = from(&used, "polarity/dead");
    say(&mut site, &["polarity reversed"]);
    site.plainly_to("energise/covers").unwrap();
    has(&say(&mut site, &["observation"]), &["danger code one"]);
    has(
        &say(&mut site, &["danger code one"]),
        &["Tell the person in charge now"],
    );
    has(
        &say(&mut site, &["person in charge says it stays on"]),
        &["the person in charge told"],
    );
}

#[test]
fn line_06_another_pair_is_no_correction_and_the_first_stays_unaffirmed() {
    let mut site = at("periodic", "c1/insulation-resistance/trial");
    has(&say(&mut site, &["0.30"]), &["Affirm"]);
    let said = say(&mut site, &["neutral to earth 150"]);
    has(&said, &["stays unaffirmed"]);
    assert!(!said.contains("Correction"), "{said}");
    let mut readings = site.state().readings();
    let low = readings
        .find(|record| record.step.to_string().ends_with("trial"))
        .unwrap();
    assert_eq!(low.status, ReadingStatus::Questioned);
}

#[test]
fn line_09_only_what_surely_came_from_the_person_renews_an_isolation() {
    let mut site = at("plain", "500/L-N");
    site.now += SignedDuration::from_hours(10);
    let lines = site.unclear("four", Some("for"));
    assert!(lines[0].text.contains("without a word"), "{lines:?}");
    site.now += SignedDuration::from_mins(1);
    assert!(
        site.asked().ends_with("isolation/identify"),
        "{}",
        site.asked()
    );
    assert!(site.type_in("over 299").is_err());
    // A noisy workshop every 14 minutes, and questions that anybody asks.
    let mut site = at("plain", "500/L-N");
    let mut came_back = false;
    for _ in 0..4 {
        site.now += SignedDuration::from_mins(14);
        let lines = site.unclear("four", None);
        came_back |= lines[0].text.contains("without a word");
    }
    assert!(
        came_back && site.asked().contains("/isolation/"),
        "{}",
        site.asked()
    );
}

#[test]
fn line_10_a_clock_that_is_put_back_voids_an_isolation() {
    let mut site = at("plain", "500/L-N");
    site.now -= SignedDuration::from_hours(2);
    has(&say(&mut site, &["over 299"]), &["clock was put back"]);
    assert!(
        site.asked().ends_with("isolation/identify"),
        "{}",
        site.asked()
    );
    let mut site = at("plain", "500/L-N");
    site.now -= SignedDuration::from_hours(72);
    site.restart();
    assert!(site.type_in("over 299").is_err());
    assert!(
        site.asked().ends_with("isolation/identify"),
        "{}",
        site.asked()
    );
}

#[test]
fn line_10_another_boot_voids_an_isolation() {
    let mut site = at("plain", "500/L-N");
    site.boot = Some("one");
    site.restart();
    site.plainly_to("500/L-N").unwrap();
    site.boot = Some("two");
    site.restart();
    assert!(
        site.asked().ends_with("isolation/identify"),
        "{}",
        site.asked()
    );
}

#[test]
fn line_11_with_the_lock_off_no_dead_test_is_taken() {
    let mut site = at("plain", "energise/on");
    has(&say(&mut site, &["lock removed"]), &["Lock off"]);
    let mut energised = site.fork();
    has(&say(&mut energised, &["energised"]), &["Live from here on"]);
    has(&say(&mut site, &["go to insulation"]), &["permission"]);
    has(&say(&mut site, &["line to neutral 299"]), &["Not that now"]);
}

#[test]
fn line_13_neutral_back_asks_whether_both_are() {
    let mut site = at("ring", "c1/insulation-resistance/trial");
    say(&mut site, &["both neutrals out at socket six"]);
    has(
        &say(&mut site, &["neutral back at socket six"]),
        &["both neutrals at socket 6?"],
    );
    has(
        &say(&mut site, &["negative"]),
        &["Out: both neutrals at socket 6"],
    );
    has(
        &say(&mut site, &["both neutrals back at socket six"]),
        &["Nothing is out"],
    );
}

#[test]
fn line_13_an_accessory_that_is_back_takes_no_link_off() {
    let mut site = at("plain", "500/L-N");
    say(&mut site, &["line and neutral linked at socket two"]);
    say(&mut site, &["socket two back"]);
    has(
        &say(&mut site, &["what is out"]),
        &["line and neutral linked at socket 2"],
    );
}

#[test]
fn line_13_lamps_are_counted() {
    let mut site = at("plain", "500/L-N");
    say(&mut site, &["lamp out", "lamp out", "lamp out"]);
    has(&say(&mut site, &["what is out"]), &["lamp; lamp; lamp"]);
    has(&say(&mut site, &["lamp back"]), &["Still out: lamp; lamp."]);
}

/// One word tells of one lamp and of all: the last one of the count is asked about.
#[test]
fn line_13_lamps_told_of_at_once_are_not_all_back_with_one() {
    let mut site = at("plain", "500/L-N");
    say(&mut site, &["lamps out"]);
    has(&say(&mut site, &["lamp back"]), &["All back: lamps?"]);
    has(&say(&mut site, &["negative"]), &["Out: lamp"]);
    has(
        &say(&mut site, &["lamp back", "affirm"]),
        &["Nothing is out"],
    );
}

#[test]
fn line_15_negative_to_a_stray_number_leaves_the_result_before_it() {
    let mut site = at("radial", "residual-current-device/button");
    let before = outcome(&site, "residual-current-device/half");
    let said = say(&mut site, &["26 ms"]);
    has(&said, &["Taken for", "RCD", "Affirm"]);
    say(&mut site, &["negative"]);
    assert_eq!(outcome(&site, "residual-current-device/half"), before);
    has(&say(&mut site, &["over range"]), &["Affirm"]);
    say(&mut site, &["negative"]);
    assert_eq!(outcome(&site, "residual-current-device/half"), before);
}

#[test]
fn negative_after_a_refusal_drops_nothing() {
    let mut site = at("radial", "residual-current-device/button");
    let before = site.events.len();
    has(&say(&mut site, &["done"]), &["Not that now"]);
    has(&say(&mut site, &["negative"]), &["nothing to answer"]);
    let dropped = site.events[before..]
        .iter()
        .any(|(event, _)| matches!(event, Event::Withdrawn { .. }));
    assert!(!dropped);
}

#[test]
fn line_20_zero_volts_is_no_voltage_found() {
    for words in ["zero volts", "nought volts", "zero"] {
        let mut site = at("plain", "isolation/dead/L-E");
        has(&say(&mut site, &[words]), &["say dead"]);
        assert!(
            site.asked().ends_with("isolation/dead/L-E"),
            "{}",
            site.asked()
        );
    }
    for words in ["two thirty", "230", "not dead", "no it's live"] {
        let mut site = at("plain", "isolation/dead/L-E");
        has(&typed(&mut site, words), &["Hands off"]);
    }
}

#[test]
fn a_number_like_the_supply_at_a_dead_step_is_asked() {
    let mut site = at("plain", "500/L-N");
    has(&say(&mut site, &["two thirty"]), &["megohms, or volts?"]);
    let mut megohms = site.fork();
    has(&say(&mut megohms, &["megohms"]), &["Taken"]);
    has(&say(&mut site, &["volts"]), &["Stop. Voltage is present."]);
    // The voltages of the test are no alarm.
    for words in ["five hundred volts", "250 volts", "one thousand volts"] {
        let mut site = at("plain", "500/L-N");
        let said = say(&mut site, &[words]);
        assert!(!said.contains("Stop"), "{words}: {said}");
    }
    let mut three = at("three-phase", "insulation-resistance/500/L1-L2");
    has(&say(&mut three, &["four hundred"]), &["megohms, or volts?"]);
}

#[test]
fn line_21_what_is_taken_out_while_energised_is_stopped_and_listed() {
    for words in [
        "neutral out at socket two",
        "line and earth linked at board",
        "cover off",
    ] {
        let mut site = at("plain", "loop-impedance/furthest");
        let said = say(&mut site, &[words]);
        has(&said, &["Stop. You said it is energised", "On the list"]);
    }
}

#[test]
fn audit_a24_surge_protection_and_functional_earths_are_asked_after_and_can_be_out() {
    let mut site = at("together", "together/trial");
    has(
        &say(&mut site, &["say again"]),
        &["Surge protection or functional earths there?"],
    );
    for (out, listed, back) in [
        (
            "surge protector out at board",
            "surge protector",
            "surge protector back at board",
        ),
        (
            "surge protection out",
            "surge protection",
            "surge protection back",
        ),
        (
            "functional earth out at board",
            "functional earth at board",
            "functional earth back",
        ),
    ] {
        say(&mut site, &[out]);
        has(&say(&mut site, &["what is out"]), &[listed]);
        has(&say(&mut site, &["go to energise"]), &["No."]);
        say(&mut site, &[back]);
        assert!(!say(&mut site, &["what is out"]).contains(listed), "{back}");
    }
}

#[test]
fn line_22_put_back_then_250_volts_then_polarity_at_the_outlet_and_live_there_first() {
    let mut site = at("radial", "c4/insulation-resistance/trial");
    say(&mut site, &["over 999", "door entry unit out"]);
    site.plainly_to("put-back/circuit").unwrap();
    has(
        &say(&mut site, &["door entry unit back"]),
        &["at 250 volts"],
    );
    has(&say(&mut site, &["over 999"]), &["link off"]);
    has(
        &say(&mut site, &["link removed"]),
        &["Polarity", "door entry unit"],
    );
    say(&mut site, &["polarity correct"]);
    site.plainly_to("energise/on").unwrap();
    has(
        &say(&mut site, &["energised"]),
        &["Door entry unit was opened: polarity there first"],
    );
    has(&say(&mut site, &["polarity correct"]), &["loop impedance"]);
}

#[test]
fn line_23_no_insulation_reading_through_a_link_and_no_500_volts_untried() {
    let mut site = at("plain", "500/L-N");
    say(&mut site, &["line and neutral linked at board"]);
    let said = say(&mut site, &["line to neutral over 999 at 500 volts"]);
    has(&said, &["line and neutral linked", "would be read"]);
    // Whether electronics are listed, or only not ruled out.
    let not_ruled_out = plain_with("equipment_possible = false\n", "");
    for words in [
        "500 volts line to neutral 999",
        "go to five hundred volts",
        "skip in use",
        "not tested in use",
    ] {
        for begun in [
            at("radial", "c4/insulation-resistance/trial"),
            from(&not_ruled_out, "c1/insulation-resistance/trial"),
        ] {
            let mut site = begun;
            say(&mut site, &[words]);
            let said = say(&mut site, &["line to neutral 999 at 500 volts"]);
            has(&said, &["No."]);
        }
    }
}

#[test]
fn line_25_a_feeder_is_energised_after_the_board_it_feeds_is_tested() {
    let site = at("boards", "supply-polarity/incoming");
    let open: Vec<_> = site
        .state()
        .open_steps()
        .filter(|step| step.is_dead_test())
        .map(|step| step.id.to_string())
        .collect();
    assert!(open.is_empty(), "{open:?}");
    // Or it stays off: then the board that it feeds is none of this day's.
    let mut site = at("boards", "b1/c2/polarity/dead");
    say(&mut site, &["polarity correct"]);
    has(
        &say(&mut site, &["go to supply polarity"]),
        &["dead tests are open"],
    );
    say(&mut site, &["board one"]);
    say(&mut site, &["circuit one stays off"]);
    if site.state().question().is_some() {
        say(&mut site, &["negative"]);
    }
    assert!(site.asked().ends_with("off/locked"), "{}", site.asked());
    say(&mut site, &["locked off", "double pole"]);
    has(
        &say(&mut site, &["go to supply polarity"]),
        &["supply polarity"],
    );
}

#[test]
fn line_26_a_dangerous_circuit_is_made_safe_at_once() {
    let mut site = at("plain", "loop-impedance/furthest");
    say(&mut site, &["over range", "affirm"]);
    has(
        &say(&mut site, &["say again"]),
        &["Circuit 1 is dangerous. Isolate it now."],
    );
    let mut on = site.fork();
    has(
        &say(&mut on, &["person in charge says it stays on"]),
        &["stands as an exception"],
    );
    has(
        &say(&mut site, &["isolated"]),
        &["Circuit 1 stays off", "Lock circuit 1 off"],
    );
    let mut site = at("radial", "residual-current-device/rated/positive");
    say(&mut site, &["340", "affirm"]);
    has(&say(&mut site, &["say again"]), &["Circuit 4 is dangerous"]);
    // A test button is told of, and no more.
    let mut site = at("radial", "residual-current-device/button");
    has(
        &say(&mut site, &["no trip"]),
        &["Tell the person in charge"],
    );
    assert!(!site.asked().contains("make-safe"));
}

#[test]
fn line_28_the_place_of_a_reversed_polarity_is_kept() {
    let mut site = at("plain", "polarity/dead");
    has(
        &say(&mut site, &["polarity reversed at socket one"]),
        &["at socket 1"],
    );
    let kept = site.events.iter().any(|(event, _)| {
        matches!(event, Event::Stated { place: Some(place), .. } if place.to_string() == "socket 1")
    });
    assert!(kept);
}

#[test]
fn line_19_what_prompts_order_is_understood() {
    let mut site = at("plain", "continuity/link");
    has(&say(&mut site, &["linked"]), &["linked at board"]);
    site.plainly_to("continuity/unlink").unwrap();
    has(&say(&mut site, &["unlinked"]), &["Link off"]);
    let mut site = at("plain", "functional-checks/switchgear");
    has(&say(&mut site, &["pass"]), &["pass"]);
}

#[test]
fn warnings_are_spoken_as_warnings() {
    let mut site = at("plain", "500/L-N");
    let lines = site.type_in("it is live").unwrap();
    assert_eq!(lines[0].kind, LineKind::Warning);
}

/// It may have been meant for a question that is gone by then, or for somebody else.
#[test]
fn affirm_answers_a_question_and_nothing_else() {
    for (step, words) in [
        ("500/L-N", "it is live"),
        ("500/N-E", "not dead"),
        ("polarity/dead", "stop"),
    ] {
        let mut site = at("plain", step);
        say(&mut site, &[words]);
        for affirm in ["affirm", "yes"] {
            has(&say(&mut site, &[affirm]), &["nothing to answer"]);
            assert!(
                site.asked().ends_with("isolation/identify"),
                "{affirm}: {}",
                site.asked()
            );
        }
    }
    // Asked whether it is live: that, once, and no more.
    let mut site = at("plain", "500/L-N");
    typed(&mut site, "is that live");
    has(&say(&mut site, &["affirm"]), &["Stop. Voltage is present."]);
    has(&say(&mut site, &["affirm"]), &["nothing to answer"]);
    // Nor are covers on because a reading was affirmed twice.
    let mut site = at("plain", "energise/covers");
    has(&say(&mut site, &["affirm"]), &["nothing to answer"]);
    assert!(site.asked().ends_with("energise/covers"));
}

/// A log may have been begun with such a job file before these were refused.
#[test]
fn boards_that_feed_each_other_or_hang_on_none_can_be_tested_to_the_end() {
    let text = std::fs::read_to_string("tests/dialogues/jobs/boards.toml").unwrap();
    let right = Job::parse(&text, "the boathouse").unwrap();
    for (first, second) in [
        (Some("board 2, circuit 1"), "board 1, circuit 1"),
        (None, "board 2, circuit 1"),
        (None, "board 7, circuit 1"),
    ] {
        let mut job = right.clone();
        job.boards[0].fed_from = first.map(str::to_owned);
        job.boards[1].fed_from = Some(second.to_owned());
        let (mut site, _) = Site::typed(job, MORNING.parse().unwrap());
        let done = site.plainly_to_the_end();
        assert_eq!(done, Ok(()), "{first:?} {second:?}: {}", site.asked());
    }
}

// What the walk with a body ran into: preparation and put-back that alternated without an end, and
// words that were not taken where the session had gone on.

#[test]
fn what_was_passed_over_is_tested_while_it_is_prepared() {
    let mut site = at("plain", "continuity/link");
    say(&mut site, &["go to insulation", "negative"]);
    say(&mut site, &["over 999", "over 999", "over 999"]);
    let asked = say(&mut site, &["polarity correct"]);
    has(&asked, &["Line and earth linked at the board?"]);
    // The link is not to come off before it was used.
    has(&say(&mut site, &["linked"]), &["R one plus R two"]);
    let asked = say(&mut site, &["0.20", "0.39"]);
    has(&asked, &["line and earth"]);
    has(&say(&mut site, &["link removed"]), &["Nothing is out"]);
}

#[test]
fn a_link_told_of_where_no_circuit_was_tested_is_asked_for_once_it_bars_one() {
    let mut site = at("periodic-three-phase", "instrument-check/continuity/open");
    let told = say(&mut site, &["line and earth linked at board"]);
    has(&told, &["On the list until it is back"]);
    say(&mut site, &["over range", "0.00", "over range", "0.00"]);
    say(
        &mut site,
        &["linked", "0.28", "0.28", "0.28", "link removed"],
    );
    // The trial of all lines to neutral is not read through it; between lines it would be.
    let asked = say(&mut site, &["0.42", "affirm"]);
    has(&asked, &["Put back what is out: line and earth linked"]);
    let asked = say(&mut site, &["pump out"]);
    has(&asked, &["Put back: line and earth linked at board."]);
    let asked = say(&mut site, &["link removed"]);
    has(&asked, &["Line one to line two too, 250 volts"]);
}

#[test]
fn who_names_the_circuit_is_told_from_which_a_link_came_off() {
    let mut site = at("together", "instrument-check/continuity/open");
    say(
        &mut site,
        &["circuit one", "line and earth linked at board"],
    );
    say(
        &mut site,
        &["circuit two", "line and earth linked at board"],
    );
    say(&mut site, &["board one"]);
    let which = say(&mut site, &["line and earth link removed"]);
    has(&which, &["Which one", "circuit 1", "circuit 2"]);
    say(&mut site, &["circuit two"]);
    let back = say(&mut site, &["line and earth link removed"]);
    has(&back, &["Link off"]);
    let out = say(&mut site, &["what is out"]);
    has(&out, &["Out: line and earth linked at board, circuit 1."]);
}

#[test]
fn what_goes_by_one_name_is_back_once_it_is_said_to_be() {
    let one = plain_with(
        "ze_ohms = \"0.21\"",
        "ze_ohms = \"0.21\"\nbonds = [\"water\"]",
    );
    let mut site = from(&one, "bond/water");
    // Ordered out once more, and out as it was before: twice on the list.
    say(&mut site, &["bond back on", "disregard", "0.03"]);
    let back = say(&mut site, &["bond back on"]);
    has(&back, &["Water bond back"]);
    assert_eq!(back.matches("Water bond back").count(), 1, "{back}");
}

#[test]
fn linked_is_taken_of_what_asked_for_it_when_the_session_has_gone_on() {
    let mut site = at("periodic", "insulation-resistance/trial");
    say(&mut site, &["0.42", "affirm", "over 999", "over 999"]);
    site.now += SignedDuration::from_mins(60);
    let said = say(&mut site, &["linked"]);
    has(
        &said,
        &["without a word", "Line and neutral linked at board"],
    );
    has(&say(&mut site, &["negative"]), &["Prove the indicator"]);
    has(
        &say(&mut site, &["what is out"]),
        &["line and neutral linked"],
    );
}

#[test]
fn another_thing_out_is_not_the_load_that_was_found_and_put_back() {
    let mut site = at("periodic-three-phase", "insulation-resistance/trial");
    say(&mut site, &["0.00", "load out"]);
    say(&mut site, &["over 999", "over 999", "over 999", "over 999"]);
    // Back in circuit, it is tried again before any more; the pump alone is not the load.
    let asked = say(&mut site, &["load back", "negative"]);
    has(&asked, &["250 volts again"]);
    let asked = say(&mut site, &["pump out"]);
    has(&asked, &["250 volts again"]);
    say(&mut site, &["0.42", "affirm", "over 999", "over 999"]);
    has(
        &say(&mut site, &["say again"]),
        &["In circuit: something across"],
    );
    say(&mut site, &["load out", "over 999", "affirm"]);
    let asked = say(&mut site, &["say again"]);
    has(&asked, &["Line one to line two at 500 V"]);
}

#[test]
fn the_loop_at_an_outlet_that_was_opened_is_read_on_every_line() {
    let mut site = at("periodic-three-phase", "insulation-resistance/trial");
    say(&mut site, &["0.42", "affirm", "over 999", "over 999"]);
    say(&mut site, &["pump out", "over 999"]);
    site.plainly_to("reopened/pump/polarity").unwrap();
    let asked = say(&mut site, &["polarity correct"]);
    has(&asked, &["Pump was opened", "line one to earth"]);
    has(&say(&mut site, &["0.49"]), &["line two"]);
    has(&say(&mut site, &["0.49"]), &["line three"]);
    let asked = say(&mut site, &["0.49"]);
    // Nor are they read there once more.
    assert!(!asked.contains("Loop impedance"), "{asked}");
}

#[test]
fn stop_at_the_incoming_terminals_asks_whether_more_is_live() {
    let mut site = at("plain", "supply-polarity/incoming");
    has(&say(&mut site, &["stop"]), &["Live? Hands off"]);
    has(&say(&mut site, &["affirm"]), &["Voltage is present"]);
}

#[test]
fn two_links_told_of_where_no_circuit_was_tested_are_two() {
    let mut site = at("together", "instrument-check/continuity/open");
    let linked = "line and earth linked at board";
    say(&mut site, &[linked, linked]);
    let back = say(&mut site, &["link removed"]);
    has(&back, &["Still out: line and earth linked at board."]);
    has(&say(&mut site, &["link removed"]), &["Nothing is out"]);
}

#[test]
fn disregard_after_the_lock_is_off_drops_no_result() {
    let mut site = at("plain", "energise/on");
    say(&mut site, &["lock removed"]);
    has(&say(&mut site, &["disregard"]), &["nothing to answer"]);
    assert!(outcome(&site, "polarity/dead").contains("PolarityCorrect"));
    // What is open again by then begins with isolation.
    say(&mut site, &["socket two out"]);
    let asked = say(&mut site, &["socket two back"]);
    has(&asked, &["permission, circuits and every source"]);
}

#[test]
fn the_earthing_conductor_stays_off_until_the_loop_is_read_wherever_the_person_came_from() {
    let mut site = at("plain", "external-loop/earthing-off");
    say(&mut site, &["go to prospective fault current", "negative"]);
    let asked = say(&mut site, &["1.1", "1.1"]);
    has(&asked, &["earthing conductor off"]);
    let asked = say(&mut site, &["earthing conductor off"]);
    has(&asked, &["External loop, line to earth"]);
}

#[test]
fn what_keeps_another_circuit_off_is_not_put_back_by_its_name_alone() {
    let mut site = at("together", "instrument-check/continuity/open");
    say(&mut site, &["circuit two stays off", "locked off", "done"]);
    let asked = say(&mut site, &["neutral back at board"]);
    has(&asked, &["All back: neutral at board, circuit 2?"]);
}

#[test]
fn ends_that_are_out_for_a_test_are_not_made_safe_yet() {
    let mut site = at("ring", "end-to-end/rn");
    let asked = say(&mut site, &["circuit one stays off", "locked off"]);
    has(&asked, &["a ring", "neutrals out of their terminals"]);
}

#[test]
fn a_number_like_the_supply_is_asked_about_whatever_else_is_asked() {
    let mut site = at("plain", "continuity/link");
    let asked = say(&mut site, &["go to insulation"]);
    has(&asked, &["Is it so now"]);
    has(&say(&mut site, &["two thirty"]), &["Live? Hands off"]);
    // What was asked is asked again after it.
    has(&say(&mut site, &["negative"]), &["Is it so now"]);
}

#[test]
fn a_warning_of_what_may_be_live_is_told_in_full_however_often_it_is_refused() {
    let mut site = at("plain", "");
    for _ in 0..3 {
        has(
            &say(&mut site, &["neutral out"]),
            &["Stop. Nobody has said that it is switched off", "Where?"],
        );
    }
}

#[test]
fn a_refusal_is_told_in_brief_the_second_time() {
    let mut site = at("plain", "");
    let refused = "No. The board is not proved dead.";
    let first = say(&mut site, &["go to insulation"]);
    has(&first, &[refused, "Isolation comes first"]);
    assert_eq!(say(&mut site, &["go to insulation"]), refused);
    // What comes between lets it be told in full again.
    has(
        &say(&mut site, &["where are we", "go to insulation"]),
        &["Isolation comes first"],
    );
}
