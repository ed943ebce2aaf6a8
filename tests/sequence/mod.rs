//! The order of the job: its laws, walked at random, drawn, and a whole board.

mod drawn;
mod laws;
mod model_walk;
mod whole_board;
