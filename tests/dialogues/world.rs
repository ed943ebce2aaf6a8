//! A job of `tests/dialogues/jobs/` and what may be said in it: what random walks draw from.

use bothhands::grammar::{Grammar, Intent};
use bothhands::installation::Job;
use bothhands::sequence::place_of;
use bothhands::terms::Place;
use std::collections::HashMap;

pub struct World {
    pub name: &'static str,
    pub job: Job,
    /// The job file as it is written.
    #[allow(dead_code, reason = "handing in keeps it")]
    pub text: String,
    pub places: Vec<Place>,
    /// Sentences of each rule of the grammar, in words, with what they mean there.
    pub heard: HashMap<String, Vec<(String, Intent)>>,
    pub grammar: Grammar,
}

impl World {
    /// The job of this name, with so many sentences drawn from each rule.
    pub fn of(name: &'static str, sentences: usize) -> Self {
        let path = format!("tests/dialogues/jobs/{name}.toml");
        let text = std::fs::read_to_string(&path).unwrap();
        let job = Job::parse(&text, &path).unwrap();
        let places: Vec<Place> = job
            .boards
            .iter()
            .flat_map(|board| &board.circuits)
            .flat_map(|circuit| &circuit.points)
            .map(place_of)
            .collect();
        let mut names: Vec<String> = places.iter().map(|place| place.name.clone()).collect();
        names.sort();
        names.dedup();
        let grammar = Grammar::built_in().unwrap().with_places(&names).unwrap();
        let mut rng = fastrand::Rng::with_seed(7);
        let rules: Vec<String> = grammar.rules().map(str::to_owned).collect();
        let heard = rules
            .into_iter()
            .map(|rule| {
                let said = (0..sentences)
                    .filter_map(|_| grammar.random_sentence(&rule, &mut || rng.f64()).ok())
                    .collect();
                (rule, said)
            })
            .collect();
        Self {
            name,
            job,
            text,
            places,
            heard,
            grammar,
        }
    }
}
