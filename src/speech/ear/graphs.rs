//! Search graphs, each spelt out once however many listen: building one takes longer than hearing.

use super::PhoneGraph;
use crate::grammar::Grammar;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// What is spelt out, or will be by who came first.
type Slot = Arc<Mutex<Option<Arc<PhoneGraph>>>>;

/// The graphs of one lexicon and one list of strangers.
#[derive(Default)]
pub(super) struct Graphs(Mutex<Vec<OfGrammar>>);

/// Those of a grammar, by the rule and the bits of the strangers' weight.
struct OfGrammar {
    grammar: Arc<Grammar>,
    slots: HashMap<(String, u32), Slot>,
}

impl Graphs {
    /// The graph of a rule; who asks while another spells it out waits for that one.
    ///
    /// # Errors
    /// Those of `spelt`; the next who asks tries again.
    pub(super) fn of(
        &self,
        grammar: &Arc<Grammar>,
        rule: &str,
        strangers: f32,
        spelt: impl FnOnce() -> anyhow::Result<PhoneGraph>,
    ) -> anyhow::Result<Arc<PhoneGraph>> {
        let slot = self.slot(grammar, (rule.to_owned(), strangers.to_bits()));
        let mut slot = lock(&slot);
        if let Some(graph) = &*slot {
            return Ok(Arc::clone(graph));
        }
        let graph = Arc::new(spelt()?);
        *slot = Some(Arc::clone(&graph));
        Ok(graph)
    }

    fn slot(&self, grammar: &Arc<Grammar>, key: (String, u32)) -> Slot {
        let mut all = lock(&self.0);
        let at = all
            .iter()
            .position(|of| Arc::ptr_eq(&of.grammar, grammar))
            .unwrap_or_else(|| {
                all.push(OfGrammar {
                    grammar: Arc::clone(grammar),
                    slots: HashMap::new(),
                });
                all.len() - 1
            });
        Arc::clone(all[at].slots.entry(key).or_default())
    }
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
