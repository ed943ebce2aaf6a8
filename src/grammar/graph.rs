/// A small graph of words: every path from the start to a final state is something the grammar
/// allows. Without empty arcs, and with at most one arc for a word from each state; what the
/// recogniser searches.
///
/// Many arcs bring the same word to the same state: about four times fewer pairs of word and `to`
/// than arcs, so a search that keeps the phones of a word once for each pair is that much smaller.
#[derive(Debug, Clone, PartialEq)]
pub struct WordGraph {
    /// The words that arcs name by index.
    pub words: Vec<String>,
    /// All words between states.
    pub arcs: Vec<Arc>,
    /// Number of states; the start state is 0.
    pub states: u32,
    /// Final states with the natural log of the weight of ending there.
    pub finals: Vec<(u32, f32)>,
}

/// One word between two states.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arc {
    /// The state it leaves.
    pub from: u32,
    /// The state it comes to.
    pub to: u32,
    /// Index into [`WordGraph::words`].
    pub word: u32,
    /// Natural log of the arc's weight.
    pub weight: f32,
}
