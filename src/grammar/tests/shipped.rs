use super::*;
use crate::quantity::Number;
use proptest::prelude::*;
use std::collections::HashSet;

/// Small enough for the recogniser to search many times faster than speech.
const MOST_ARCS: usize = 32_000;

#[test]
fn the_steps_are_the_rules_the_sequence_names() {
    let rules = step_rules();
    for rule in [
        "confirm",
        "isolation",
        "instrument",
        "insulation",
        "continuity",
        "ring",
        "loop",
        "current",
        "rcd",
        "polarity",
        "functional",
        "reason",
        "anything",
    ] {
        assert!(rules.iter().any(|known| known == rule), "{rule}");
    }
}

#[test]
fn every_word_of_every_rule_has_a_pronunciation() {
    let lexicon = Lexicon::built_in().unwrap();
    for rule in step_rules() {
        for word in &GRAMMAR.graph(&rule).unwrap().words {
            assert!(lexicon.knows(word), "{rule}: {word}");
        }
    }
}

/// What the trade says in other words, at every step.
#[test]
fn what_is_heard_a_second_time_is_no_value_and_no_permission() {
    let lexicon = Lexicon::built_in().unwrap();
    for step in step_rules() {
        let rule = GRAMMAR.talk_rule(&step).unwrap();
        for word in &GRAMMAR.graph(&rule).unwrap().words {
            assert!(lexicon.knows(word), "{rule}: {word}");
        }
        for (words, meant) in sampled(&rule, 1, 600) {
            // "Pause" is filled up as where it is typed; the whole stands beside it.
            let meant = meant.or_else(|| GRAMMAR.understand(&rule, &words));
            let meant = meant.unwrap_or_else(|| panic!("{rule}: `{words}` has no meaning"));
            let value =
                matches!(&meant, Intent::Reading { reading, .. } if reading.number.is_some());
            assert!(!meant.is_a_permission() && !value, "{rule}: `{words}`");
            assert!(!meant.is_a_warning(), "{rule}: `{words}`");
            assert_eq!(
                GRAMMAR.understand(&rule, &words),
                Some(meant),
                "{rule}: `{words}`"
            );
        }
    }
}

/// Place, voltage and half-cycle may stand before or behind a value; in both, they must agree.
fn says_a_part_twice(rule: &str, words: &str) -> bool {
    let net = GRAMMAR.net(rule).unwrap();
    let path = net.path(&words.split(' ').collect::<Vec<_>>()).unwrap();
    let count = |is: fn(&Tag) -> bool| {
        path.iter()
            .filter(|event| matches!(event, net::Event::Open(tag) if is(tag)))
            .count()
    };
    count(|tag| matches!(tag, Tag::Place)) > 1
        || count(|tag| matches!(tag, Tag::At(_))) > 1
        || count(|tag| matches!(tag, Tag::Half(_))) > 1
}

#[test]
fn what_can_be_heard_can_be_understood() {
    for rule in step_rules() {
        for (words, meant) in sampled(&rule, 1, 1500) {
            assert!(
                meant.is_some() || says_a_part_twice(&rule, &words),
                "{rule}: `{words}` has no meaning"
            );
            assert_eq!(
                GRAMMAR.understand(&rule, &words),
                meant,
                "{rule}: `{words}`"
            );
        }
    }
}

#[test]
fn every_number_of_the_grammar_is_a_number() {
    for rule in [
        "numbers.number",
        "numbers.below_hundred",
        "numbers.below_twenty",
    ] {
        let mut rng = fastrand::Rng::with_seed(2);
        for _ in 0..20_000 {
            let words = GRAMMAR.sample(rule, &mut || rng.f64()).unwrap();
            assert!(number::from_words(&words).is_some(), "{rule}: {words}");
        }
    }
}

/// Whether the graph accepts the words.
fn accepts(graph: &WordGraph, words: &str) -> bool {
    let mut state = 0;
    for said in words.split(' ') {
        let Some(arc) = graph
            .arcs
            .iter()
            .find(|arc| arc.from == state && graph.words[arc.word as usize] == said)
        else {
            return false;
        };
        state = arc.to;
    }
    graph.finals.iter().any(|(last, _)| *last == state)
}

#[test]
fn every_usual_way_of_saying_a_value_can_be_heard() {
    let graph = GRAMMAR.graph("numbers.number").unwrap();
    let values = (0..1000)
        .map(|digits| Number::new(digits, 2))
        .chain((100..1000).map(|digits| Number::new(digits, 1)))
        .chain((0..=2000).map(|digits| Number::new(digits, 0)))
        .chain((0..10_000).step_by(37).map(|digits| Number::new(digits, 3)));
    for number in values.flatten() {
        for way in number::ways_to_say(number).chain([number::read_back(number)]) {
            assert!(accepts(&graph, &way), "{number}: {way}");
        }
    }
}

#[test]
fn graphs_are_small_and_deterministic() {
    for rule in step_rules() {
        let graph = GRAMMAR.graph(&rule).unwrap();
        assert!(
            graph.arcs.len() < MOST_ARCS,
            "{rule}: {} arcs",
            graph.arcs.len()
        );
        let mut seen = HashSet::new();
        for arc in &graph.arcs {
            assert!(
                seen.insert((arc.from, arc.word)),
                "{rule}: two arcs for one word"
            );
            assert!(arc.from < graph.states && arc.to < graph.states);
            assert!(arc.weight <= 1e-3, "{rule}: {arc:?}");
        }
    }
}

#[test]
fn the_graph_allows_just_the_sentences_of_its_rule() {
    for rule in step_rules() {
        let graph = GRAMMAR.graph(&rule).unwrap();
        for (words, _) in sampled(&rule, 3, 300) {
            assert!(accepts(&graph, &words), "{rule}: {words}");
        }
        // And the other way: a random walk through the graph is understood.
        let mut rng = fastrand::Rng::with_seed(4);
        for _ in 0..300 {
            let mut state = 0;
            let mut words = Vec::new();
            loop {
                let arcs: Vec<_> = graph.arcs.iter().filter(|a| a.from == state).collect();
                let last = graph.finals.iter().any(|(s, _)| *s == state);
                if arcs.is_empty() || (last && rng.bool()) {
                    break;
                }
                let arc = arcs[rng.usize(..arcs.len())];
                words.push(graph.words[arc.word as usize].as_str());
                state = arc.to;
            }
            let words = words.join(" ");
            assert!(
                GRAMMAR.understand(&rule, &words).is_some() || says_a_part_twice(&rule, &words),
                "{rule}: {words}"
            );
        }
    }
}

#[test]
fn meaning_said_in_its_plainest_words_stays_the_same() {
    for rule in step_rules() {
        for (words, meant) in sampled(&rule, 5, 1000) {
            let Some(meant) = meant else { continue };
            let plain = meant.words();
            assert_eq!(
                GRAMMAR.understand(&rule, &plain),
                Some(meant),
                "{rule}: `{words}` as `{plain}`"
            );
        }
    }
}

#[test]
fn what_any_step_takes_is_taken_by_the_rule_for_anything() {
    // What is said of a circuit means something only while one is being added.
    let of_steps = step_rules().into_iter().filter(|rule| rule != "circuit");
    for rule in of_steps {
        for (words, meant) in sampled(&rule, 10, 1000) {
            // By itself it is a reason where one was asked for, and an answer to an item.
            if rule == "inspection" && words.ends_with("not applicable") {
                continue;
            }
            assert_eq!(
                GRAMMAR.understand("anything", &words),
                meant,
                "{rule}: `{words}`"
            );
        }
    }
}

#[test]
fn what_may_be_said_at_any_time_may_be_said_in_every_step() {
    for rule in ["commands.command", "alterations.alteration"] {
        for (words, meant) in sampled(rule, 11, 500) {
            for step in step_rules() {
                assert_eq!(
                    GRAMMAR.understand(&step, &words),
                    meant,
                    "{step}: `{words}`"
                );
            }
        }
    }
}

#[test]
fn a_meaning_survives_the_log() {
    for (_, meant) in sampled("anything", 6, 500) {
        let text = serde_json::to_string(&meant).unwrap();
        assert_eq!(
            serde_json::from_str::<Option<Intent>>(&text).unwrap(),
            meant
        );
    }
}

#[test]
fn the_jobs_own_places_are_heard() {
    let grammar = Grammar::built_in().unwrap();
    let words = "neutral out at boat store heater";
    assert_eq!(grammar.understand("insulation", words), None);
    let grammar = grammar.with_places(&["Boat-store heater"]).unwrap();
    let Some(Intent::Altered(alteration)) = grammar.understand("insulation", words) else {
        panic!("not understood")
    };
    assert_eq!(alteration.place.unwrap().name, "boat store heater");
}

#[test]
fn a_place_whose_sound_is_unknown_is_named_with_the_way_out() {
    let error = Grammar::built_in()
        .unwrap()
        .with_places(&["qwxyz heater"])
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("`qwxyz`") && error.contains("models/lexicon.txt"),
        "{error}"
    );
    for (name, message) in [(" ", "use words of letters"), ("pump 2", "`number = ...`")] {
        let error = Grammar::built_in()
            .unwrap()
            .with_places(&[name])
            .unwrap_err()
            .to_string();
        assert!(error.contains(message), "{error}");
    }
}

#[test]
fn an_unknown_rule_is_answered_with_the_known_ones() {
    let error = GRAMMAR.graph("tea").unwrap_err().to_string();
    assert!(
        error.contains("`tea`") && error.contains("insulation"),
        "{error}"
    );
}

#[test]
fn a_grammar_folder_is_read_like_the_built_in_one() {
    let grammar = Grammar::from_dir(std::path::Path::new("grammars")).unwrap();
    assert_eq!(grammar.public().count(), GRAMMAR.public().count());
    let missing = Grammar::from_dir(std::path::Path::new("no such folder")).unwrap_err();
    assert!(missing.to_string().contains("no such folder"));
}

#[test]
fn a_repeating_rule_has_a_finite_graph() {
    let grammar =
        Grammar::from_texts([("loop.jsgf", "#JSGF V1.0; grammar l; public <l> = {x} | y;")]);
    assert!(grammar.is_err());
    let grammar = Grammar::from_texts([(
        "loop.jsgf",
        "#JSGF V1.0; grammar l; public <l> = (tap | knock knock)+ done*; public <v> = <VOID>;",
    )])
    .unwrap();
    let graph = grammar.graph("l.l").unwrap();
    assert!(graph.states < 10);
    assert!(accepts(&graph, "tap knock knock tap done done"));
    assert!(!accepts(&graph, "knock done"));
    assert!(
        grammar
            .graph("l.v")
            .unwrap_err()
            .to_string()
            .contains("no sentence")
    );
}

#[test]
fn a_rule_that_grows_without_end_is_refused() {
    let mut text = "#JSGF V1.0; grammar g; <r0> = a;".to_owned();
    for n in 1..60 {
        text += &format!(" public <r{n}> = <r{}> <r{}>;", n - 1, n - 1);
    }
    let grammar = Grammar::from_texts([("g.jsgf", text)]).unwrap();
    let error = grammar.graph("g.r59").unwrap_err().to_string();
    assert!(error.contains("grows past"), "{error}");
}

#[test]
fn a_rule_of_the_deepest_groups_in_the_longest_chain_is_refused() {
    let deep = |inner: &str| {
        format!(
            "{}{inner}{}",
            "(".repeat(60),
            ") {reading} {reading}".repeat(60)
        )
    };
    let mut text = format!("#JSGF V1.0; grammar g; <r0> = {};", deep("a"));
    for n in 1..60 {
        text += &format!(" public <r{n}> = {};", deep(&format!("<r{}>", n - 1)));
    }
    let grammar = Grammar::from_texts([("g.jsgf", text)]).unwrap();
    let error = grammar.graph("g.r59").unwrap_err().to_string();
    assert!(error.contains("grows past 1000 levels"), "{error}");
}

#[test]
fn weights_are_log_probabilities_of_whole_sentences() {
    let grammar = Grammar::from_texts([(
        "w.jsgf",
        "#JSGF V1.0; grammar w; public <w> = /3/ a b | /1/ a c;",
    )])
    .unwrap();
    let graph = grammar.graph("w.w").unwrap();
    let total = |last: &str| -> f32 {
        let arc = |word: &str| {
            graph
                .arcs
                .iter()
                .find(|arc| graph.words[arc.word as usize] == word)
                .unwrap()
                .weight
        };
        arc("a") + arc(last)
    };
    assert!((total("b") - 0.75f32.ln()).abs() < 1e-3);
    assert!((total("c") - 0.25f32.ln()).abs() < 1e-3);
}

proptest! {
    /// Any file is refused with a message, or gives rules that can be searched.
    #[test]
    fn a_random_grammar_is_refused_or_works(
        parts in proptest::collection::vec(
            proptest::sample::select(vec![
                "<a>", "<b>", "<NULL>", "<VOID>", "x", "y", "|", "(", ")", "[", "]", "*", "+",
                "{reading}", "{number}", "{place}", "{pair:L-N}", "/1/", "/0/", ";\npublic <b> =",
            ]),
            0..24,
        ),
        said in proptest::collection::vec(proptest::sample::select(vec!["x", "y", "one"]), 0..6),
    ) {
        let text = format!("#JSGF V1.0;\ngrammar g;\npublic <a> = {};", parts.join(" "));
        if let Ok(grammar) = Grammar::from_texts([("g.jsgf", text)]) {
            let said = said.join(" ");
            for rule in ["g.a", "g.b"] {
                let understood = grammar.understand(rule, &said);
                let _ = grammar.sample(rule, &mut || 0.5);
                if let (Ok(graph), Some(_)) = (grammar.graph(rule), understood) {
                    prop_assert!(accepts(&graph, &said) || said.is_empty());
                }
            }
        }
    }
}

/// `cargo test --lib grammar::tests::shipped::sizes -- --ignored --nocapture`
#[test]
#[ignore = "prints the sizes of the graphs"]
fn sizes() {
    for rule in GRAMMAR.public().filter(|rule| *rule != "places.named") {
        let start = std::time::Instant::now();
        let graph = GRAMMAR.graph(rule).unwrap();
        let made = start.elapsed();
        let net = GRAMMAR.net(rule).unwrap();
        let edges: usize = net.edges.iter().map(Vec::len).sum();
        println!(
            "{rule:22} net {:6} states {edges:6} edges -> graph {:5} states {:6} arcs {:3} words {made:?}",
            net.edges.len(),
            graph.states,
            graph.arcs.len(),
            graph.words.len(),
        );
    }
    let sentences = sampled("anything", 9, 2000);
    let start = std::time::Instant::now();
    for (words, _) in &sentences {
        GRAMMAR.understand("anything", words);
    }
    println!(
        "understand: {:?} each",
        start.elapsed() / sentences.len() as u32
    );
}
