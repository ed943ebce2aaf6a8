//! A job of `tests/dialogues/jobs/` and what may be said in it: what random walks draw from.

use crate::dialogues::plain::grammar_of;
use bothhands::grammar::{Grammar, Intent};
use bothhands::installation::Job;
use bothhands::sequence::place_of;
use bothhands::terms::Place;
use std::collections::HashMap;
use std::sync::Arc;

pub struct World {
    pub name: String,
    pub job: Job,
    /// The job file as it is written.
    #[allow(dead_code, reason = "handing in keeps it")]
    pub text: String,
    pub places: Vec<Place>,
    /// Sentences of each rule of the grammar, in words, with what they mean there.
    pub heard: HashMap<String, Vec<(String, Intent)>>,
    pub grammar: Arc<Grammar>,
}

impl World {
    /// The job of this name, with so many sentences drawn from each rule.
    pub fn of(name: &str, sentences: usize) -> Self {
        let path = format!("tests/dialogues/jobs/{name}.toml");
        let text = std::fs::read_to_string(&path).unwrap();
        let job = Job::parse(&text, &path).unwrap();
        Self::around(name, job, text, sentences)
    }

    /// The same for a job that stands elsewhere.
    pub fn around(name: &str, job: Job, text: String, sentences: usize) -> Self {
        let places: Vec<Place> = job
            .boards
            .iter()
            .flat_map(|board| &board.circuits)
            .flat_map(|circuit| &circuit.points)
            .map(place_of)
            .collect();
        let grammar = grammar_of(&job);
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
            name: name.to_owned(),
            job,
            text,
            places,
            heard,
            grammar,
        }
    }
}
