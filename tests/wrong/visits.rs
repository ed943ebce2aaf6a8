//! What the walk with a body found when it went through inspections, minor works, live tests alone and
//! circuits that are isolated on a board which stays live. Each of these was otherwise before.

use super::sequence::{at, from, has, outcome, say};
use crate::dialogues::plain::Site;
use bothhands::sequence::say::of_step;

fn lacks(said: &str, parts: &[&str]) {
    for part in parts {
        let found = said.to_lowercase().contains(&part.to_lowercase());
        assert!(!found, "\"{part}\" in: {said}");
    }
}

/// Three circuits of a board that stays live: a ring, lights, a winch.
fn sail_loft(step: &str) -> Site {
    let text = std::fs::read_to_string("tests/jobs/sail-loft.toml").unwrap();
    from(&text, step)
}

#[test]
fn whoever_leaves_the_neutral_in_on_a_live_board_leaves_the_insulation_untested() {
    let mut site = at("minor-works", "insulation-resistance/neutral-out");
    say(&mut site, &["not tested reason no access"]);
    assert!(outcome(&site, "insulation-resistance/trial").contains("NotTested"));
    assert!(outcome(&site, "500/N-E").contains("NotTested"));
    let asked = say(&mut site, &["negative", "say again"]);
    lacks(&asked, &["insulation", "volts"]);
}

#[test]
fn insulation_that_is_tested_again_on_a_live_board_has_its_neutral_out_again() {
    let mut site = at("minor-works", "energise/covers");
    let asked = say(&mut site, &["go to insulation"]);
    has(&asked, &["neutral out of its terminal"]);
    lacks(&asked, &["250 volts"]);
}

#[test]
fn proving_dead_says_which_of_several_circuits_is_meant() {
    let mut site = sail_loft("isolation/dead/circuit-2/L-E");
    has(
        &say(&mut site, &["say again"]),
        &["Where circuit 2 is worked on: prove dead, line to earth"],
    );
}

#[test]
fn a_circuit_that_stays_off_is_not_named_among_those_that_are_switched_on() {
    let mut site = sail_loft("instrument-check/continuity/open");
    say(
        &mut site,
        &["circuit three stays off", "locked off", "double pole"],
    );
    let mut steps = site.state().plan().steps.iter();
    let on = steps.find(|step| step.id.to_string().ends_with("energise/on"));
    let asked = of_step(site.state(), on.unwrap()).full;
    has(
        &asked,
        &["switch on circuit 1, loft sockets, and circuit 2, loft lights"],
    );
    lacks(&asked, &["winch"]);
}

#[test]
fn where_every_isolated_circuit_stays_off_nothing_is_switched_on() {
    let mut site = at("minor-works", "instrument-check/continuity/open");
    say(
        &mut site,
        &["circuit one stays off", "locked off", "double pole"],
    );
    site.plainly_to("energise/on").unwrap();
    let asked = say(&mut site, &["say again"]);
    has(&asked, &["stays off", "nothing is switched on"]);
    has(&say(&mut site, &["energised"]), &["fault current"]);
}

#[test]
fn an_earthing_conductor_is_not_taken_off_where_the_rest_of_the_board_is_live() {
    let mut site = at("minor-works", "instrument-check/continuity/open");
    let said = say(&mut site, &["earthing conductor off"]);
    has(
        &said,
        &[
            "Stop. The rest of the board is live",
            "Nothing is put back live",
            "switched off, locked off and proved dead",
        ],
    );
    let said = say(&mut site, &["go to polarity"]);
    has(
        &said,
        &[
            "That goes back first",
            "switched off, locked off and proved dead first",
        ],
    );
    has(
        &say(&mut site, &["earthing conductor back on"]),
        &["leads apart"],
    );
}

#[test]
fn what_is_seen_behind_covers_is_asked_before_energising_and_never_of_what_is_live() {
    let mut site = at("inspected", "inspection/4.20");
    say(&mut site, &["skip reason in use"]);
    site.plainly_to("inspection/4.20").unwrap();
    assert!(!site.state().energised(1), "asked of what is live");
    say(&mut site, &["satisfactory"]);
    site.plainly_to("energise/covers").unwrap();
}

#[test]
fn nothing_is_put_back_on_a_board_that_is_energised() {
    let mut site = at("plain", "handover/explained");
    let asked = say(&mut site, &["neutral out at socket one"]);
    has(
        &asked,
        &[
            "Out on a live board: neutral at socket 1",
            "say go to safe isolation",
        ],
    );
    lacks(&asked, &["Put back what is out"]);
    let said = say(&mut site, &["go to handover"]);
    has(&said, &["Nothing is put back live", "go to safe isolation"]);
    lacks(&said, &["Put it back and say so"]);
    say(&mut site, &["go to safe isolation"]);
    site.plainly_to("handover/explained").unwrap();
    has(&say(&mut site, &["what is out"]), &["Nothing is out"]);
}

#[test]
fn nothing_is_asked_to_be_put_back_before_it_is_proved_dead() {
    let mut site = at("plain", "isolation/isolate");
    say(&mut site, &["socket one out"]);
    let asked = say(&mut site, &["circuit one"]);
    lacks(&asked, &["Put back"]);
    let asked = say(&mut site, &["say again"]);
    has(&asked, &["Isolate every source"]);
}

#[test]
fn at_live_tests_alone_a_refusal_does_not_send_hands_to_what_is_live() {
    let mut site = at("live-retest", "functional-checks/switchgear");
    say(&mut site, &["neutral out at socket one"]);
    let said = say(&mut site, &["go to loop impedance"]);
    has(
        &said,
        &[
            "Still out: neutral at socket 1",
            "switched off, locked off and proved dead first",
        ],
    );
    lacks(&said, &["Put it back and say so"]);
}

#[test]
fn where_all_circuits_are_tested_together_no_link_is_offered_on_one() {
    let mut site = at("together-surge", "insulation-resistance/clear");
    let asked = say(&mut site, &["say again"]);
    has(
        &asked,
        &["All circuits are tested together", "what is out and where"],
    );
    lacks(&asked, &["link line"]);
}

#[test]
fn a_link_bars_all_circuits_together_and_surge_protection_stays_out() {
    let mut site = at("together-surge", "insulation-resistance/clear");
    let asked = say(
        &mut site,
        &["line and neutral linked at board", "socket five out"],
    );
    has(
        &asked,
        &["Put back what is out: line and neutral linked at board"],
    );
    lacks(&asked, &["surge protector."]);
    has(
        &say(&mut site, &["line and neutral link removed"]),
        &["250 volts"],
    );
}

#[test]
fn surge_protection_comes_out_again_where_circuits_are_tested_one_by_one() {
    let mut site = at("together-surge", "together/trial");
    say(&mut site, &["0.30", "affirm"]);
    let asked = say(&mut site, &["surge protector back"]);
    has(&asked, &["Surge protection out"]);
}

#[test]
fn a_load_that_is_back_is_tried_at_250_volts_with_all_circuits_before_500() {
    let mut site = at("together-surge", "together/trial");
    say(&mut site, &["load out", "over 999"]);
    has(&say(&mut site, &["say again"]), &["at 500 V"]);
    has(
        &say(&mut site, &["load back"]),
        &["all together, 250 volts"],
    );
    let asked = say(&mut site, &["over 999", "affirm", "say again"]);
    has(&asked, &["All circuits together", "at 500 V"]);
}

#[test]
fn some_of_what_was_asked_for_does_not_make_a_circuit_safe() {
    let mut site = at("plain", "instrument-check/continuity/open");
    say(
        &mut site,
        &["circuit one stays off", "locked off", "line out at board"],
    );
    let asked = say(&mut site, &["pause", "resume"]);
    has(&asked, &["Is it so now: neutral at board out"]);
    // Alone it is what is affirmed; of several it is not said which.
    let mut site = at("plain", "instrument-check/continuity/open");
    say(
        &mut site,
        &["circuit one stays off", "locked off", "pause", "resume"],
    );
    let asked = say(&mut site, &["affirm"]);
    has(&asked, &["line and neutral out", "double pole"]);
}

#[test]
fn a_neutral_that_is_out_for_insulation_goes_back_after_it_wherever_the_person_came_from() {
    let mut site = sail_loft("instrument-check/continuity/open");
    say(
        &mut site,
        &["circuit three stays off", "locked off", "double pole"],
    );
    site.plainly_to("neutral-out").unwrap();
    has(&say(&mut site, &["done"]), &["Insulation, 250 volts first"]);
}

#[test]
fn what_is_out_for_a_test_goes_back_after_it_though_the_outcome_of_the_inspection_was_left() {
    let mut site = sail_loft("instrument-check/continuity/open");
    say(&mut site, &["go to inspection", "skip reason in use"]);
    site.plainly_to("c1/insulation-resistance/neutral-out")
        .unwrap();
    let asked = say(&mut site, &["done"]);
    has(&asked, &["Insulation, 250 volts first"]);
    lacks(&asked, &["put back"]);
}

#[test]
fn of_two_neutrals_one_that_is_back_comes_out_again_before_insulation_is_read() {
    let mut site = sail_loft("c1/insulation-resistance/neutral-out");
    let asked = say(&mut site, &["done", "neutral back at board", "negative"]);
    has(&asked, &["neutral out of its terminal"]);
    lacks(&asked, &["250 volts"]);
    has(&say(&mut site, &["done"]), &["250 volts"]);
}

#[test]
fn earthing_and_bonds_are_out_at_the_origin_whichever_board_is_tested() {
    let mut site = at("boards", "b2/c1/loop-impedance/furthest");
    say(&mut site, &["earthing conductor off"]);
    let on: Vec<u16> = site.state().sure_entries().map(|e| e.board).collect();
    assert_eq!(on, [1]);
    let asked = say(&mut site, &["go to safe isolation"]);
    has(&asked, &["Board 1"]);
    lacks(&asked, &["Board 2"]);
}

#[test]
fn who_asks_for_a_later_test_is_told_first_what_is_still_linked() {
    let mut site = at("minor-works", "continuity/unlink");
    let told = say(&mut site, &["go to five hundred volts"]);
    has(&told, &["First:", "link"]);
    lacks(&told, &["neutral out"]);
}
