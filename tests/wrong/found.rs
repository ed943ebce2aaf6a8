//! What an examiner found in November 2026, in words as they were typed. Each of these was otherwise before.

use super::limits::schedule;
use super::sequence::{at, from, has, outcome, say};
use crate::dialogues::plain::Site;
use bothhands::report::csv;
use bothhands::terms::Stage;

fn lacks(said: &str, parts: &[&str]) {
    for part in parts {
        let found = said.to_lowercase().contains(&part.to_lowercase());
        assert!(!found, "\"{part}\" in: {said}");
    }
}

/// One circuit or two of their own.
fn job(supply: &str, board: &str, circuits: &[(&str, &str)]) -> String {
    let mut text = format!(
        "title = \"One\"\nkind = \"initial-verification\"\ntester = \"A. Learner\"\n\
         [site]\nname = \"Rowing club boathouse\"\n[supply]\n{supply}\nphases = 1\n\
         [[board]]\nnumber = 1\nname = \"main board\"\n{board}"
    );
    for (n, (name, of)) in circuits.iter().enumerate() {
        text += &format!(
            "[[board.circuit]]\nnumber = {}\nname = \"{name}\"\nkind = \"single-point\"\n\
             cable = {{ line_mm2 = 2.5, cpc_mm2 = 1.5, metres = 9 }}\nequipment_possible = false\n{of}\n\
             [[board.circuit.point]]\nname = \"{name}\"\n",
            n + 1
        );
    }
    text
}

const B16: &str = "device = { kind = \"BS EN 60898 B\", amps = 16, breaking_ka = 6 }";
const B32: &str = "device = { kind = \"BS EN 60898 B\", amps = 32, breaking_ka = 6 }";
const TN: &str = "earthing = \"TN-C-S\"\nze_ohms = \"0.21\"";

fn two(step: &str) -> Site {
    from(&job(TN, "", &[("hob", B32), ("heater", B16)]), step)
}

#[test]
fn not_tested_does_not_take_the_place_of_a_fault_that_was_found() {
    let mut site = two("c1/polarity/dead");
    say(&mut site, &["polarity reversed"]);
    site.plainly_to("c2/polarity/dead").unwrap();
    say(&mut site, &["polarity correct", "circuit one"]);
    let told = say(&mut site, &["go to polarity", "not tested reason damaged"]);
    has(&told, &["What was found there stands"]);
    assert!(outcome(&site, "c1/polarity/dead").contains("PolarityReversed"));

    let mut site = two("c1/insulation-resistance/500/L-E");
    say(&mut site, &["0.00", "affirm", "circuit one"]);
    let told = say(
        &mut site,
        &["go to insulation", "not tested reason damaged"],
    );
    assert!(
        outcome(&site, "c1/insulation-resistance/500/L-E").contains("Read"),
        "{told}"
    );

    let mut site = two("supply-polarity/voltage/L-E");
    say(&mut site, &["0", "affirm"]);
    let told = say(&mut site, &["not tested reason instrument fault"]);
    assert!(outcome(&site, "voltage/L-E").contains("Read"), "{told}");
}

#[test]
fn of_three_phases_one_line_out_takes_no_electronics_out() {
    let mut site = at("three-phase", "c2/insulation-resistance/trial");
    say(&mut site, &["over 999", "over 999", "over 999", "over 999"]);
    let told = say(&mut site, &["line one out at charging outlet", "say again"]);
    lacks(&told, &["500 V"]);
    let told = say(&mut site, &["charging outlet out", "say again"]);
    has(&told, &["500 V"]);
}

#[test]
fn an_rcd_that_is_what_disconnects_makes_safe_where_it_does_not() {
    let device = "device = { kind = \"BS EN 61009 B\", amps = 16, breaking_ka = 6 }\n\
                  rcd = { milliamps = 100, waveform = \"A\", tests = [\"once\"] }";
    let tt = job("earthing = \"TT\"", "", &[("heater", device)]);
    let mut site = from(&tt, "rated/positive");
    let told = say(&mut site, &["did not trip", "affirm"]);
    has(&told, &["Circuit 1 is dangerous", "Isolate it now"]);
    // By its own limit, 50 V at 100 mA.
    let mut site = from(&tt, "c1/loop-impedance/furthest");
    let told = say(&mut site, &["900", "affirm"]);
    has(&told, &["Circuit 1 is dangerous"]);
    // On TN, where the loop is too high for the breaker.
    let tn = job(
        "earthing = \"TN-S\"\nze_ohms = \"0.4\"",
        "",
        &[("heater", device)],
    );
    let mut site = from(&tn, "c1/loop-impedance/furthest");
    let told = say(&mut site, &["62.5", "affirm"]);
    lacks(&told, &["is dangerous"]);
    site.plainly_to("rated/positive").unwrap();
    let told = say(&mut site, &["did not trip", "affirm"]);
    has(&told, &["Circuit 1 is dangerous"]);
}

#[test]
fn voltage_on_a_circuit_that_is_made_safe_has_it_locked_off_anew() {
    let mut site = two("c1/loop-impedance/furthest");
    say(&mut site, &["5.0", "affirm", "isolated", "locked off"]);
    let told = say(&mut site, &["it is live"]);
    has(&told, &["Stop. Voltage is present"]);
    lacks(&told, &["each made safe"]);
    let told = say(&mut site, &["negative", "done", "say again"]);
    has(&told, &["Lock circuit 1 off"]);
}

#[test]
fn covers_are_asked_for_again_after_more_dead_work() {
    let mut site = two("energise/on");
    say(
        &mut site,
        &[
            "go to insulation resistance",
            "circuit one",
            "negative",
            "go to insulation resistance",
            "line to neutral over 888",
            "affirm",
        ],
    );
    let on = |site: &Site| site.asked().ends_with("energise/on");
    assert!(!on(&site), "{}", site.asked());
    site.plainly_to("energise/covers").unwrap();
    say(&mut site, &["done"]);
    assert!(on(&site), "{}", site.asked());
    has(&say(&mut site, &["energised"]), &["Live from here on"]);
}

#[test]
fn the_voltage_of_the_supply_is_asked_about_where_no_value_is() {
    for step in [
        "isolation/lock",
        "c1/continuity/link",
        "energise/covers",
        "energise/on",
        "external-loop/earthing-off",
    ] {
        for words in [
            "230",
            "two thirty",
            "still powered",
            "line to earth two thirty",
        ] {
            let mut site = two("");
            site.plainly_to(step).unwrap();
            let told = match site.type_in(words) {
                Ok(lines) => lines.iter().map(|l| l.text.clone()).collect::<String>(),
                Err(why) => {
                    assert!(
                        bothhands::sequence::sounds_like_a_warning(words),
                        "{step}, {words}: {why}"
                    );
                    continue;
                }
            };
            has(&told, &["Live?"]);
        }
    }
}

/// A column has one unit.
#[test]
fn what_was_read_in_another_unit_stands_in_that_of_its_column() {
    let mut site = two("c1/continuity/hob/L-E");
    say(&mut site, &["140 milliohms"]);
    site.plainly_to("c1/insulation-resistance/500/L-N").unwrap();
    say(&mut site, &["2 gigohms", "affirm"]);
    site.plainly_to("c1/insulation-resistance/500/L-E").unwrap();
    say(&mut site, &["500 kilohms", "affirm"]);
    let text = csv(&schedule(&site));
    for shown in [",0.14,", ",2000,0.5,"] {
        assert!(text.contains(shown), "{shown}: {text}");
    }
}

#[test]
fn neutral_to_earth_at_500_volts_waits_for_surge_protection_circuit_by_circuit() {
    let text = job(TN, "surge = \"type 2\"\n", &[("hob", B32), ("heater", B16)]);
    let n_e = "c1/insulation-resistance/500/N-E";
    // It is ordered out before anything is tested, and listed.
    let site = from(&text, "surge/out");
    assert!(site.asked().ends_with("surge/out"), "{}", site.asked());

    // Whoever goes past it is asked whether it is out, and not let onto it.
    let mut site = from(&text, "surge/out");
    let told = say(&mut site, &["circuit one"]);
    has(&told, &["Is it so now: surge protector out?"]);
    let dead = ["linked", "0.12", "link removed", "over 888", "over 888"];
    say(&mut site, &["negative"]);
    say(&mut site, &dead);
    let told = say(&mut site, &["neutral to earth over 888"]);
    has(&told, &["surge protection out"]);
    assert!(!outcome(&site, n_e).contains("Read"), "{told}");
    let told = say(
        &mut site,
        &["surge protector out", "neutral to earth over 888"],
    );
    assert!(outcome(&site, n_e).contains("Read"), "{told}");

    // Answered in its own words, the question is answered.
    let mut site = from(&text, "surge/out");
    let told = say(&mut site, &["circuit one", "surge protector out"]);
    lacks(&told, &["Is it so now"]);
    has(
        &say(&mut site, &["what is out"]),
        &["Out: surge protector."],
    );

    // Put back before the last circuit is tested, it comes out again.
    let mut site = from(&text, "c2/insulation-resistance/500/L-N");
    say(&mut site, &["surge protector back"]);
    let told = say(&mut site, &["neutral to earth over 888"]);
    has(&told, &["surge protection out"]);
    let heater = "c2/insulation-resistance/500/N-E";
    assert!(!outcome(&site, heater).contains("Read"), "{told}");

    // Where it can't come out, a circuit's neutral does, or the reading stays out.
    let mut site = from(&text, "surge/out");
    say(&mut site, &["not tested reason damaged", "negative"]);
    site.plainly_to(n_e).unwrap();
    has(
        &say(&mut site, &["say again"]),
        &["with surge protector in circuit"],
    );
    let told = say(&mut site, &["over 888"]);
    has(&told, &["neutral of circuit 1 out of its bar"]);
    let told = say(
        &mut site,
        &["neutral out at board", "neutral to earth over 888"],
    );
    assert!(outcome(&site, n_e).contains("Read"), "{told}");
}

#[test]
fn a_load_between_lines_alone_is_found_at_250_volts() {
    let mut site = at("three-phase", "c2/insulation-resistance/trial");
    let told = say(&mut site, &["over 999"]);
    has(&told, &["Line one to line two too"]);
    let told = say(&mut site, &["0.40"]);
    lacks(&told, &["500 V"]);
    site.plainly_to("c2/insulation-resistance/clear").unwrap();
    let told = say(&mut site, &["charging outlet out"]);
    has(&told, &["250 volts again, line one to line two"]);
    let told = say(&mut site, &["over 999"]);
    has(&told, &["500 V now"]);
}

#[test]
fn every_line_of_three_phases_comes_out_where_the_circuit_stays_off() {
    let mut site = at("three-phase", "c1/insulation-resistance/500/L1-L2");
    let told = say(
        &mut site,
        &["circuit one stays off", "affirm", "locked off"],
    );
    has(&told, &["all lines and neutral"]);
    let told = say(
        &mut site,
        &["line one out at board", "neutral out at board", "say again"],
    );
    has(&told, &["all lines and neutral"]);
    let told = say(
        &mut site,
        &[
            "line two out at board",
            "line three out at board",
            "say again",
        ],
    );
    lacks(&told, &["all lines and neutral"]);

    let mut site = at("three-phase", "c1/insulation-resistance/500/L1-L2");
    say(
        &mut site,
        &["circuit one stays off", "affirm", "locked off", "done"],
    );
    let told = say(&mut site, &["what is out"]);
    has(&told, &["all lines", "neutral"]);
}

#[test]
fn an_outlet_that_was_opened_with_the_locks_off_is_not_tested_live_before_energising() {
    let mut site = at("lighting", "energise/on");
    say(&mut site, &["lock removed", "line out at light one"]);
    let told = say(&mut site, &["line back at light one"]);
    lacks(&told, &["polarity there first"]);
    has(&told, &["permission, circuits and every source"]);
    site.plainly_to_the_end().unwrap();
}

#[test]
fn of_what_is_not_all_back_nothing_surely_takes_electronics_out() {
    let mut site = at("ring", "c1/insulation-resistance/500/N-E");
    let told = say(
        &mut site,
        &["earth out at socket six", "socket six back", "negative"],
    );
    has(&told, &["Not all back", "Still in circuit: socket 6"]);
    // Once that is said to be out it is.
    let told = say(&mut site, &["socket six out"]);
    has(&told, &["Socket 6 out", "Neutral to earth"]);
    lacks(&told, &["Still in circuit"]);
}

#[test]
fn what_is_taken_out_with_the_locks_off_is_warned_of_at_once() {
    for words in ["line out at light one", "neutral out at light one"] {
        let mut site = at("lighting", "energise/on");
        say(&mut site, &["lock removed"]);
        let told = say(&mut site, &[words]);
        has(&told, &["Stop. The locks are off"]);
        // It is isolated and proved dead anew before anything is energised.
        let stage = site.state().current().map(|step| step.stage);
        assert_eq!(stage, Some(Stage::Isolation), "{words}");
    }
}
