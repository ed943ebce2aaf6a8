//! A live board whose circuits are isolated one after another. The job names it once; the work goes through it
//! in parts: each of those circuits by itself, with its own isolation, then the rest of the board, which
//! stays live and is tested so. Parts have numbers of their own, which nobody hears or reads.

use super::{Board, IsolatedBy, Job, JobKind};

/// Parts are numbered from here: ten thousand, a hundred times the board's number, the circuit's number.
const FIRST_PART: u16 = 10_000;
/// The largest number that a board, or a circuit of it, may have to be worked on so.
pub(super) const LARGEST_IN_PARTS: u16 = 99;

/// The number by which people know a board: a part is called as the board that it is of.
pub fn board_said(number: u16) -> u16 {
    number
        .checked_sub(FIRST_PART)
        .map_or(number, |part| part / (LARGEST_IN_PARTS + 1))
}

/// The numbers by which people know a board and its circuit: a part is its circuit.
pub fn place_said(board: u16, circuit: Option<u16>) -> (u16, Option<u16>) {
    let part = board.checked_sub(FIRST_PART);
    let of_part = part.map(|part| part % (LARGEST_IN_PARTS + 1));
    (board_said(board), circuit.or(of_part))
}

/// A board or a part of one in words: "board 1", "board 1, circuit 6".
pub fn part_said(number: u16) -> String {
    match place_said(number, None) {
        (board, Some(circuit)) => format!("board {board}, circuit {circuit}"),
        (board, None) => format!("board {board}"),
    }
}

/// The part of a board that is one circuit.
fn part_of(board: u16, circuit: u16) -> u16 {
    (LARGEST_IN_PARTS + 1)
        .saturating_mul(board)
        .saturating_add(circuit)
        .saturating_add(FIRST_PART)
}

impl Board {
    /// Whether it is one circuit of a live board.
    pub fn is_part(&self) -> bool {
        self.number >= FIRST_PART
    }

    /// Whether it is what is left of a board whose circuits are isolated one after another: live all the while.
    pub fn stays_live(&self) -> bool {
        !self.one_after_another.is_empty()
    }
}

impl Job {
    /// Whether nothing of a board is isolated at this visit: all of it is tested live.
    pub fn tests_live(&self, board: &Board) -> bool {
        self.kind == JobKind::LiveRetest || board.stays_live()
    }

    /// Whether a board stays live while it is worked on, but for circuits that are isolated by themselves.
    pub fn keeps_live(&self, board: &Board) -> bool {
        self.tests_live(board) || board.isolates_circuits()
    }

    /// The job as it is worked on: boards in parts where their circuits are isolated one after another.
    #[must_use]
    pub(super) fn in_parts(mut self) -> Self {
        let written = std::mem::take(&mut self.boards);
        for mut board in written {
            for number in board.one_after_another.clone() {
                let at = board.circuits.iter().position(|c| c.number == number);
                let Some(at) = at.filter(|_| !board.is_part()) else {
                    continue;
                };
                self.boards.push(Board {
                    number: part_of(board.number, number),
                    isolate: IsolatedBy::Circuits,
                    one_after_another: Vec::new(),
                    surge: None,
                    circuits: vec![board.circuits.remove(at)],
                    ..board.clone()
                });
            }
            self.boards.push(board);
        }
        self
    }

    /// The job as a person writes it: each board once, with its circuits by their numbers where they were
    /// worked on one after another.
    #[must_use]
    pub fn as_written(&self) -> Self {
        let (parts, mut boards): (Vec<Board>, Vec<Board>) =
            self.boards.iter().cloned().partition(Board::is_part);
        for part in parts {
            let of = board_said(part.number);
            if let Some(board) = boards.iter_mut().find(|board| board.number == of) {
                board.circuits.extend(part.circuits);
                board.circuits.sort_by_key(|circuit| circuit.number);
            }
        }
        Self {
            boards,
            ..self.clone()
        }
    }

    /// The boards that people know by one number: a board, or all parts of it.
    pub fn boards_said(&self, number: u16) -> impl Iterator<Item = &Board> {
        let boards = self.boards.iter();
        boards.filter(move |board| board_said(board.number) == board_said(number))
    }

    /// How many boards people know.
    pub fn how_many_boards(&self) -> usize {
        self.boards.iter().filter(|board| !board.is_part()).count()
    }
}
