//! The order of the job: its laws, walked at random, drawn, a whole board, prompts and what is said.

mod begun;
mod drawn;
mod guards_broken;
mod laws;
mod model_walk;
mod one_more;
pub mod prompts;
mod said;
mod talk;
mod tries;
mod whole_board;
mod with_a_body;
mod witness;
