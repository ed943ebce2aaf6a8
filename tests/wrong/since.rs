//! What was found since, in words as they were typed. Each of these was otherwise before.

use super::sequence::{at, has, outcome, say};

fn lacks(said: &str, parts: &[&str]) {
    for part in parts {
        let found = said.to_lowercase().contains(&part.to_lowercase());
        assert!(!found, "\"{part}\" in: {said}");
    }
}

#[test]
fn surge_protection_goes_by_any_of_its_names() {
    for (out, back) in [
        ("surge protection out", "surge protector back"),
        ("surge protector out", "SPD back"),
        ("SPD out", "surge protection back"),
    ] {
        // What the step orders is what is said to be out, and no second thing.
        let mut site = at("together-surge", "surge/out");
        let before = site.state().open_entries().count();
        has(&say(&mut site, &[out]), &["250 volts first"]);
        assert_eq!(site.state().open_entries().count(), before, "{out}");
        say(&mut site, &[back]);
        let out_still = say(&mut site, &["what is out"]);
        has(
            &out_still,
            &["Out: socket 5. Asked for, and not answered yet"],
        );
    }
}

#[test]
fn over_a_number_that_the_limit_lies_above_settles_nothing() {
    // B16: at most 2.73 ohms.
    for under_it in ["over 1.0", "over 0.1"] {
        let mut site = at("lighting", "c2/loop-impedance/furthest");
        let asked = say(&mut site, &[under_it]);
        has(&asked, &["?", "The limit can't be settled by that"]);
        lacks(&asked, &["no continuity"]);
        lacks(&say(&mut site, &["affirm"]), &["no earth fault loop"]);
    }
    let mut site = at("lighting", "c2/loop-impedance/furthest");
    has(&say(&mut site, &["over 20"]), &["?", "Outside the limit"]);
    let mut site = at("plain", "external-loop/value");
    has(&say(&mut site, &["over 0.1"]), &["?", "can't be settled"]);
    let mut site = at("plain", "external-loop/value");
    has(&say(&mut site, &["over 1.0"]), &["?", "higher than"]);
    let mut site = at("plain", "external-loop/value");
    has(&say(&mut site, &["over range"]), &["?", "no continuity"]);
}

#[test]
fn a_correction_that_is_no_answer_to_the_last_question_is_for_the_one_before() {
    let mut site = at("plain", "polarity/dead");
    say(&mut site, &["polarity correct", "230 volts"]);
    let said = say(&mut site, &["correction polarity reversed"]);
    has(&said, &["Circuit 1, polarity reversed"]);
    has(&outcome(&site, "c1/polarity/dead"), &["PolarityReversed"]);
    // What was answered since stands.
    has(&outcome(&site, "voltage/L-N"), &["Read"]);

    // Where the step that is asked for has no such words.
    let mut site = at("minor-works", "polarity/dead");
    say(&mut site, &["polarity correct", "done"]);
    has(
        &say(&mut site, &["correction polarity reversed"]),
        &["Circuit 1, polarity reversed"],
    );
    has(&outcome(&site, "c1/polarity/dead"), &["PolarityReversed"]);

    // Of another place than the last answer, and of nothing before it: the last answer stands.
    let mut site = at("plain", "supply-polarity/incoming");
    say(&mut site, &["polarity correct"]);
    let said = say(&mut site, &["correction polarity reversed at socket one"]);
    has(&said, &["Not that now"]);
    has(
        &outcome(&site, "supply-polarity/incoming"),
        &["PolarityCorrect"],
    );
}
