//! The keyboard under the screen: a line that is typed, and the keys that end a session. A terminal
//! whose every key is read at once shows nothing and ends nothing by itself.

use super::screen::Screen;
use super::source::{Input, InputSource};
use crate::voice::Voice;
use ratatui::crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, TryRecvError, channel};
use std::time::Duration;

/// How often it is seen whether the screen was closed.
const LOOK_UP: Duration = Duration::from_millis(100);
/// Longer than any line that is said.
const LONGEST: usize = 2000;

/// What comes of a key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Keyed {
    /// The line became another one.
    Typing,
    /// Enter: this line was typed.
    Line(String),
    /// Ctrl-C: stop.
    Stop,
    /// Ctrl-D on an empty line: nothing more is typed.
    End,
    /// The person seems to look for the way out.
    WayOut,
    /// Draw all of it again.
    Redraw,
    /// Nothing.
    Nothing,
}

/// A line being typed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LineEditor {
    line: String,
}

impl LineEditor {
    /// What was typed so far.
    pub fn line(&self) -> &str {
        &self.line
    }

    /// Takes a key. A terminal may send Enter as a carriage return or a line feed (Ctrl-J), and
    /// Backspace as either of two.
    pub fn key(&mut self, key: KeyEvent) -> Keyed {
        if key.kind == KeyEventKind::Release {
            return Keyed::Nothing;
        }
        let control = key.modifiers.contains(KeyModifiers::CONTROL);
        match key.code {
            KeyCode::Enter => self.enter(),
            KeyCode::Char('j' | 'm') if control => self.enter(),
            KeyCode::Char('c') if control => Keyed::Stop,
            KeyCode::Char('d') if control && self.line.is_empty() => Keyed::End,
            KeyCode::Char('l') if control => Keyed::Redraw,
            KeyCode::Char('u') if control => self.clear(),
            KeyCode::Char('w') if control => self.without_last_word(),
            KeyCode::Backspace => self.backspace(),
            KeyCode::Char('h') if control => self.backspace(),
            KeyCode::Esc if self.line.is_empty() => Keyed::WayOut,
            KeyCode::Esc => self.clear(),
            KeyCode::Char(letter) if !control && self.line.len() < LONGEST => {
                self.line.push(letter);
                Keyed::Typing
            }
            _ => Keyed::Nothing,
        }
    }

    fn enter(&mut self) -> Keyed {
        let line = std::mem::take(&mut self.line);
        match line.trim() {
            "" => Keyed::Typing,
            "q" | "quit" | "exit" => Keyed::WayOut,
            line => Keyed::Line(line.to_owned()),
        }
    }

    fn clear(&mut self) -> Keyed {
        self.line.clear();
        Keyed::Typing
    }

    fn backspace(&mut self) -> Keyed {
        self.line.pop();
        Keyed::Typing
    }

    fn without_last_word(&mut self) -> Keyed {
        let left = self.line.trim_end();
        let end = left.rfind(' ').map_or(0, |at| at + 1);
        self.line.truncate(end);
        Keyed::Typing
    }
}

/// A session's source with the keyboard of the screen beside it; or the keyboard alone.
pub struct WithKeys {
    lines: Receiver<String>,
    ended: bool,
    beside: Option<Box<dyn InputSource>>,
}

impl WithKeys {
    /// Reads keys from here on, shows what is typed on `screen`, and calls `stop` on Ctrl-C.
    pub fn read(
        screen: Screen,
        stop: impl Fn() + Send + 'static,
        beside: Option<Box<dyn InputSource>>,
    ) -> Self {
        let (give, lines) = channel();
        std::thread::spawn(move || read_keys(&screen, &stop, &give));
        Self {
            lines,
            ended: false,
            beside,
        }
    }
}

fn read_keys(screen: &Screen, stop: &impl Fn(), give: &Sender<String>) {
    let mut editor = LineEditor::default();
    while !screen.is_closed() {
        match event::poll(LOOK_UP) {
            Ok(true) => {}
            Ok(false) => continue,
            Err(why) => return without_keyboard(screen, &why),
        }
        let keyed = match event::read() {
            Ok(Event::Key(key)) => editor.key(key),
            Ok(Event::Resize(..)) => Keyed::Redraw,
            Ok(_) => Keyed::Nothing,
            Err(why) => return without_keyboard(screen, &why),
        };
        match keyed {
            Keyed::Nothing => {}
            Keyed::Redraw => screen.draw_anew(),
            Keyed::Typing => screen.typing(editor.line()),
            Keyed::WayOut => screen.hint(WAY_OUT),
            Keyed::Line(line) => {
                screen.typing("");
                if give.send(line).is_err() {
                    return;
                }
            }
            Keyed::End => {
                screen.hint("Ctrl-D: nothing more is typed. Ending.");
                return;
            }
            Keyed::Stop => {
                screen
                    .hint("Ctrl-C: stopping. What was read back is kept. Once more ends at once.");
                stop();
            }
        }
    }
}

/// The session goes on; it is ended from outside or by voice.
fn without_keyboard(screen: &Screen, why: &std::io::Error) {
    screen.hint(&format!("The keyboard can't be read: {why}."));
    while !screen.is_closed() {
        std::thread::sleep(LOOK_UP);
    }
}

/// How to end, for whoever looks for it.
pub const WAY_OUT: &str =
    "To end: Ctrl-C. What was read back is kept, and the same command takes it up.";

impl InputSource for WithKeys {
    fn next(&mut self, voice: &mut dyn Voice) -> anyhow::Result<Option<Input>> {
        let Some(beside) = &mut self.beside else {
            return Ok(match self.lines.recv_timeout(LOOK_UP) {
                Ok(line) => Some(Input::Words(line)),
                Err(RecvTimeoutError::Timeout) => Some(Input::Waiting),
                Err(RecvTimeoutError::Disconnected) => None,
            });
        };
        match self.lines.try_recv() {
            Ok(line) => return Ok(Some(Input::Words(line))),
            Err(TryRecvError::Empty) => {}
            Err(TryRecvError::Disconnected) => self.ended = true,
        }
        if self.ended {
            return Ok(None);
        }
        beside.next(voice)
    }

    fn set_end_pause(&mut self, pause: Duration) {
        if let Some(beside) = &mut self.beside {
            beside.set_end_pause(pause);
        }
    }

    fn account(&self) -> Option<String> {
        self.beside.as_ref()?.account()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn press(editor: &mut LineEditor, code: KeyCode, modifiers: KeyModifiers) -> Keyed {
        editor.key(KeyEvent::new(code, modifiers))
    }

    fn write(editor: &mut LineEditor, text: &str) {
        for letter in text.chars() {
            press(editor, KeyCode::Char(letter), KeyModifiers::NONE);
        }
    }

    #[test]
    fn a_line_is_typed_put_right_and_given_by_any_enter() {
        let control = KeyModifiers::CONTROL;
        for (code, modifiers) in [
            (KeyCode::Enter, KeyModifiers::NONE),
            (KeyCode::Char('j'), control),
            (KeyCode::Char('m'), control),
        ] {
            let mut editor = LineEditor::default();
            write(&mut editor, "what is ouu");
            press(&mut editor, KeyCode::Backspace, KeyModifiers::NONE);
            write(&mut editor, "t now");
            press(&mut editor, KeyCode::Char('w'), control);
            assert_eq!(editor.line(), "what is out ");
            assert_eq!(
                press(&mut editor, code, modifiers),
                Keyed::Line("what is out".to_owned())
            );
            assert_eq!(editor.line(), "");
            assert_eq!(press(&mut editor, code, modifiers), Keyed::Typing);
        }
    }

    #[test]
    fn the_ways_out_end_or_are_told() {
        let control = KeyModifiers::CONTROL;
        let mut editor = LineEditor::default();
        assert_eq!(press(&mut editor, KeyCode::Char('c'), control), Keyed::Stop);
        assert_eq!(press(&mut editor, KeyCode::Char('d'), control), Keyed::End);
        assert_eq!(
            press(&mut editor, KeyCode::Esc, KeyModifiers::NONE),
            Keyed::WayOut
        );
        write(&mut editor, "q");
        assert_eq!(
            press(&mut editor, KeyCode::Enter, KeyModifiers::NONE),
            Keyed::WayOut
        );
        write(&mut editor, "dead");
        assert_eq!(
            press(&mut editor, KeyCode::Char('d'), control),
            Keyed::Nothing,
            "something is typed"
        );
        press(&mut editor, KeyCode::Esc, KeyModifiers::NONE);
        assert_eq!(editor.line(), "");
    }
}
