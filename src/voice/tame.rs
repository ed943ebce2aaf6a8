//! Text for a terminal.

use std::borrow::Cow;

/// Text that a terminal shows and does not obey: whatever could move its cursor, change its colours
/// or turn the direction of its writing becomes a sign that is seen. Line ends and tabs stay.
///
/// ```
/// use bothhands::voice::tame;
/// assert_eq!(tame("Socket 3\u{1b}[2J"), "Socket 3\u{241b}[2J");
/// assert_eq!(tame("50 \u{b5}s\n"), "50 \u{b5}s\n");
/// ```
pub fn tame(text: &str) -> Cow<'_, str> {
    if text.chars().any(is_wild) {
        text.chars().map(tamed).collect::<String>().into()
    } else {
        text.into()
    }
}

/// Whether a terminal would obey it.
pub fn is_wild(letter: char) -> bool {
    let turns = matches!(letter,
        '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    turns || (letter.is_control() && !matches!(letter, '\n' | '\t'))
}

fn tamed(letter: char) -> char {
    match letter {
        letter if !is_wild(letter) => letter,
        // The pictures of control characters stand in their order.
        '\0'..='\u{1f}' => char::from_u32(0x2400 + u32::from(letter)).unwrap_or('\u{fffd}'),
        '\u{7f}' => '\u{2421}',
        _ => '\u{fffd}',
    }
}

#[cfg(test)]
mod tests {
    use super::tame;

    #[test]
    fn nothing_that_a_terminal_obeys_is_left() {
        let wild = "a\u{7}\u{8}\r\u{1b}]0;x\u{7}\u{7f}\u{9b}31m\u{202e}\u{2067}z";
        let shown = tame(wild);
        assert!(!shown.chars().any(char::is_control), "{shown:?}");
        assert!(!shown.contains(['\u{202e}', '\u{2067}']), "{shown:?}");
        assert_eq!(shown.chars().count(), wild.chars().count());
        assert_eq!(tame("R1+R2\t0.34 \u{3a9}\n"), "R1+R2\t0.34 \u{3a9}\n");
    }
}
