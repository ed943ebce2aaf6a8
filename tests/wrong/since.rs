//! What was found since, in words as they were typed. Each of these was otherwise before.

use super::limits::log_of;
use super::sequence::{at, from, has, outcome, say};
use crate::dialogues::plain::Site;
use bothhands::installation::Job;
use bothhands::report;
use bothhands::terms::Place;

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
        let listed = |site: &Site| {
            let surge = |place: &Place| place.is_surge_protection();
            let open = site.state().open_entries();
            open.filter(|entry| entry.place.as_ref().is_some_and(surge))
                .count()
        };
        has(&say(&mut site, &[out]), &["Link line and earth"]);
        assert_eq!(listed(&site), 1, "{out}");
        say(&mut site, &[back]);
        let out_still = say(&mut site, &["what is out"]);
        lacks(&out_still, &["surge", "s p d"]);
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

/// What is wrong with the job of a bar whose circuits are isolated one after another, with this instead of that.
fn in_turn_with(this: &str, that: &str) -> String {
    let text = std::fs::read_to_string("tests/dialogues/jobs/in-turn.toml").unwrap();
    assert!(text.contains(that), "{that}");
    let job = Job::parse(&text.replacen(that, this, 1), "job.toml");
    job.unwrap_err().to_string()
}

#[test]
fn one_after_another_without_a_circuit_is_refused_with_what_to_write() {
    let why = in_turn_with("one_after_another = []", "one_after_another = [6, 5]");
    has(
        &why,
        &[
            "job.toml:31: one_after_another names no circuit",
            "`one_after_another = [1, 3]`, or leave the line out",
        ],
    );
}

#[test]
fn a_board_or_circuit_with_too_large_a_number_is_refused_with_what_to_do() {
    let board = "number = 1\nname = \"bar board\"";
    let why = in_turn_with(&board.replace("= 1\n", "= 10000\n"), board);
    has(
        &why,
        &["numbered up to 9999", "give the board a smaller number"],
    );
    let why = in_turn_with(&board.replace("= 1\n", "= 100\n"), board);
    has(
        &why,
        &["numbered up to 99", "give the board a smaller number"],
    );
}

#[test]
fn what_people_read_calls_a_part_by_its_board_and_circuit() {
    let site = at("in-turn", "c4/loop-impedance/furthest");
    let log = log_of(&site);
    let exchanges = report::dialogue(&log).unwrap();
    for exchange in &exchanges {
        assert!(matches!(exchange.board, None | Some(1)), "{exchange:?}");
    }
    // Isolating a circuit by itself is of that circuit.
    let proved_dead = exchanges
        .iter()
        .filter(|one| one.understood.as_deref() == Some("locked off"))
        .map(|one| one.circuit);
    assert_eq!(proved_dead.collect::<Vec<_>>(), [Some(6), Some(5)]);
    let here = site.state().plan().steps.first().unwrap();
    assert_eq!(
        here.id.said(),
        "board 1, circuit 6, isolation identify",
        "{}",
        here.id
    );
}

/// Job and step; what is said; where the session is then.
fn goes_on(mut site: Site, words: &[&str]) -> String {
    say(&mut site, words);
    site.asked()
}

#[test]
fn after_a_circuit_is_left_off_the_work_goes_on_where_it_was() {
    let off = |circuit: &str| format!("circuit {circuit} stays off");
    for (circuit, from, to) in [
        // One that is isolated later, and one that stays live, in the middle of another.
        (
            "five",
            "c6/insulation-resistance/500/L-N",
            "c6/insulation-resistance/500/L-N",
        ),
        (
            "four",
            "c6/insulation-resistance/500/L-N",
            "c6/insulation-resistance/500/L-N",
        ),
        (
            "five",
            "b10106/isolation/identify",
            "b10106/isolation/identify",
        ),
        // Nothing of its own part is passed over: the instruments are checked for the next one too.
        (
            "six",
            "b10106/isolation/identify",
            "b10106/isolation/identify",
        ),
        (
            "six",
            "c6/loop-impedance/furthest",
            "b10105/isolation/identify",
        ),
    ] {
        let said = [&off(circuit), "locked off", "double pole"];
        let now = goes_on(at("in-turn", from), &said);
        assert!(now.ends_with(to), "circuit {circuit} off at {from}: {now}");
    }
    // On a board that is isolated as a whole, or by some of its circuits, no circuit is passed over.
    let said = ["circuit two stays off", "locked off", "double pole"];
    let loft = std::fs::read_to_string("tests/jobs/sail-loft.toml").unwrap();
    let mut site = from(&loft, "isolation/lock");
    say(&mut site, &said);
    site.plainly_to("isolation/prove-after").unwrap();
    let now = goes_on(site, &["proved"]);
    assert!(now.contains("instrument-check"), "{now}");
}

#[test]
fn the_devices_of_a_circuit_that_is_left_off_are_not_tried_and_the_visit_comes_to_its_end() {
    let mut site = at("in-turn", "c6/continuity/link");
    say(
        &mut site,
        &[
            "circuit five stays off",
            "affirm",
            "locked off",
            "double pole",
        ],
    );
    let mut asked = Vec::new();
    while site.plainly().unwrap() {
        asked.push(site.asked());
    }
    assert!(
        !asked.iter().any(|step| step.contains("arc-fault")),
        "{asked:?}"
    );
    // Circuit six was tested to its end before circuit five was come to.
    let at = |what: &str| asked.iter().position(|step| step.contains(what)).unwrap();
    assert!(at("c6/loop-impedance/furthest") < at("b10105/isolation/identify"));
    has(&say(&mut site, &["finish"]), &["Finished"]);
}
