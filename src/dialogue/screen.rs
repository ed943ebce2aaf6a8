//! A screen for when eyes are free: where we are, what is asked, the last readings, what is out,
//! what was said, and how loud it is. Every sign is a word; colour is never used.

use super::Observer;
use crate::sequence::{Agenda, Mode, OutEntry, ReadingStatus, prompt, say};
use crate::speech::{Decision, Recognition};
use crate::terms::ProsodyChange;
use crate::voice::{Earcon, Tone, Voice};
use ratatui::DefaultTerminal;
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout};
use ratatui::style::{Modifier, Style};
use ratatui::text::Line;
use ratatui::widgets::{Block, Borders, Paragraph, Wrap};
use std::collections::VecDeque;
use std::ops::Range;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// Lines of the dialogue kept for the screen.
const KEPT: usize = 200;
/// The level shown changes at most so often.
const REFRESH: Duration = Duration::from_millis(100);

/// What the screen shows.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct View {
    /// Where the session is, in words.
    pub place: String,
    /// What is asked now, in short.
    pub asked: String,
    /// The newest six, the newest first.
    pub readings: Vec<String>,
    /// What is out, an entry each.
    pub out: Vec<String>,
    /// What it waits for: "paused"; empty when it takes readings.
    pub mode: String,
    /// What was said by both, newest last.
    pub dialogue: VecDeque<String>,
    /// Mean level of the microphone in dB below full scale, when there is one.
    pub level: Option<f32>,
    /// Whether the microphone is listened to now.
    pub listening: bool,
}

impl View {
    /// Takes what it shows from a session.
    pub fn follow(&mut self, state: &Agenda) {
        self.place = say::where_are_we(state);
        self.asked = prompt(state).full;
        let mut readings: Vec<_> = state.readings().collect();
        readings.reverse();
        self.readings = readings
            .into_iter()
            .filter(|kept| {
                matches!(
                    kept.status,
                    ReadingStatus::Counts | ReadingStatus::Questioned
                )
            })
            .take(6)
            .map(|kept| {
                let subject = state.step(&kept.step).map(say::subject).unwrap_or_default();
                let doubt = if kept.status == ReadingStatus::Questioned {
                    " (asked: affirm?)"
                } else {
                    ""
                };
                format!("{subject}: {}{doubt}", kept.reading)
            })
            .collect();
        self.out = state.open_entries().map(OutEntry::what).collect();
        self.mode = match state.mode() {
            Mode::Running => String::new(),
            Mode::StandingBy => "standing by".to_owned(),
            Mode::Paused => "paused".to_owned(),
            Mode::Noting => "recording a note".to_owned(),
            Mode::Finished => "finished".to_owned(),
        };
    }

    /// Adds a line to the dialogue.
    pub fn say(&mut self, line: String) {
        if self.dialogue.len() == KEPT {
            self.dialogue.pop_front();
        }
        self.dialogue.push_back(line);
    }

    /// The level as a bar and a number.
    fn meter(&self) -> String {
        let Some(level) = self.level else {
            return String::new();
        };
        let listening = if self.listening {
            "listening"
        } else {
            "not listening"
        };
        format!("{listening}  {}", crate::audio::bar(level))
    }

    /// Draws it.
    pub fn draw(&self, frame: &mut Frame<'_>) {
        let [top, middle, dialogue, bottom] = Layout::vertical([
            Constraint::Length(6),
            Constraint::Length(8),
            Constraint::Min(4),
            Constraint::Length(1),
        ])
        .areas(frame.area());
        let bold = Style::new().add_modifier(Modifier::BOLD);
        let mut asked = vec![Line::raw(self.place.clone())];
        if !self.mode.is_empty() {
            asked.push(Line::styled(self.mode.clone(), bold));
        }
        asked.push(Line::styled(self.asked.clone(), bold));
        frame.render_widget(boxed("asked now", asked), top);
        let [left, right] =
            Layout::horizontal([Constraint::Percentage(60), Constraint::Percentage(40)])
                .areas(middle);
        let lines = |texts: &[String], none: &str| {
            if texts.is_empty() {
                vec![Line::raw(none.to_owned())]
            } else {
                texts.iter().cloned().map(Line::raw).collect()
            }
        };
        frame.render_widget(
            boxed("last readings", lines(&self.readings, "none yet")),
            left,
        );
        frame.render_widget(boxed("out", lines(&self.out, "nothing is out")), right);
        let room = usize::from(dialogue.height.saturating_sub(2));
        let skip = self.dialogue.len().saturating_sub(room);
        let last: Vec<_> = self
            .dialogue
            .iter()
            .skip(skip)
            .cloned()
            .map(Line::raw)
            .collect();
        frame.render_widget(boxed("said", last), dialogue);
        frame.render_widget(Paragraph::new(self.meter()), bottom);
    }
}

fn boxed<'a>(title: &'a str, lines: Vec<Line<'a>>) -> Paragraph<'a> {
    Paragraph::new(lines)
        .wrap(Wrap { trim: true })
        .block(Block::new().borders(Borders::TOP).title(title))
}

/// The screen: shown beside the voice, which speaks through it.
#[derive(Clone)]
pub struct Screen {
    shared: Arc<Mutex<Shared>>,
}

struct Shared {
    view: View,
    terminal: DefaultTerminal,
    drawn: Instant,
}

impl Screen {
    /// Takes over the terminal; [`Screen::close`] gives it back.
    ///
    /// # Errors
    /// When the terminal can't be used so.
    pub fn open() -> anyhow::Result<Self> {
        let terminal = ratatui::try_init()?;
        Ok(Self {
            shared: Arc::new(Mutex::new(Shared {
                view: View::default(),
                terminal,
                drawn: Instant::now(),
            })),
        })
    }

    /// Gives the terminal back.
    pub fn close(&self) {
        ratatui::restore();
    }

    fn shared(&self) -> MutexGuard<'_, Shared> {
        self.shared.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn change(&self, change: impl FnOnce(&mut View)) {
        let mut shared = self.shared();
        let Shared {
            view,
            terminal,
            drawn,
        } = &mut *shared;
        change(view);
        *drawn = Instant::now();
        // A screen that can't be drawn is no reason to stop: everything is spoken and kept.
        let _ = terminal.draw(|frame| view.draw(frame));
    }
}

impl Observer for Screen {
    fn heard(&mut self, words: &str, heard: Option<&Recognition>) {
        self.change(|view| {
            view.say(match heard.map(|h| h.outcome) {
                Some(Decision::Reject) => "     (ignored: not for us)".to_owned(),
                Some(Decision::Confirm) => format!("you: {words} (?)"),
                Some(Decision::Accept) | None => format!("you: {words}"),
            });
        });
    }

    fn went_on(&mut self, state: &Agenda) {
        self.change(|view| view.follow(state));
    }

    fn unsaid(&mut self, line: &str) {
        self.change(|view| view.say(format!("(not spoken) {line}")));
    }
}

/// A voice whose lines are on the screen too.
pub struct OnScreen {
    /// Where its lines are shown.
    pub screen: Screen,
    /// The voice that speaks them.
    pub voice: Box<dyn Voice>,
}

impl Voice for OnScreen {
    fn say(&mut self, tone: Tone, text: &str) -> anyhow::Result<()> {
        self.say_doubtful(tone, text, &[])
    }

    fn say_doubtful(
        &mut self,
        tone: Tone,
        text: &str,
        doubtful: &[Range<usize>],
    ) -> anyhow::Result<()> {
        let sign = match tone {
            Tone::Plain => "",
            Tone::ReadBack => "read back: ",
            Tone::Question => "question: ",
            Tone::Reminder => "reminder: ",
            Tone::Warning => "WARNING: ",
        };
        self.screen.change(|view| view.say(format!("{sign}{text}")));
        self.voice.say_doubtful(tone, text, doubtful)
    }

    fn speaking(&self) -> bool {
        self.voice.speaking()
    }

    fn stop(&mut self) {
        self.voice.stop();
    }

    fn cut_short(&mut self) {
        self.voice.cut_short();
    }

    fn mark(&mut self, mark: Earcon) {
        self.screen
            .change(|view| view.listening = mark != Earcon::NotListening);
        self.voice.mark(mark);
    }

    fn mark_for(&mut self, mark: Earcon, words: &str) {
        self.screen
            .change(|view| view.say(format!("tone: {words}")));
        self.voice.mark(mark);
    }

    fn adjust(&mut self, manner: ProsodyChange) -> Option<String> {
        self.voice.adjust(manner)
    }

    fn notices(&mut self) -> Vec<String> {
        self.voice.notices()
    }

    fn level(&mut self, decibels: f32) {
        let due = self.screen.shared().drawn.elapsed() >= REFRESH;
        if due {
            self.screen.change(|view| view.level = Some(decibels));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    #[test]
    fn everything_asked_for_is_on_the_screen_in_words() {
        let view = View {
            place: "Board 1, circuit 4, boat-store sockets: insulation resistance.".to_owned(),
            asked: "Line to earth at 500 V.".to_owned(),
            readings: vec!["circuit 4, line to neutral: L-N >999 MΩ at 500 V".to_owned()],
            out: vec!["neutral at door entry unit".to_owned()],
            dialogue: ["you: over nine nine nine".to_owned()].into(),
            level: Some(-30.0),
            listening: true,
            ..View::default()
        };
        let mut terminal = Terminal::new(TestBackend::new(100, 30)).unwrap();
        terminal.draw(|frame| view.draw(frame)).unwrap();
        let shown = terminal.backend().to_string();
        for part in [
            "boat-store sockets",
            "Line to earth at 500 V.",
            ">999 MΩ",
            "neutral at door entry unit",
            "over nine nine nine",
            "listening  [##########          ] -30 dB",
        ] {
            assert!(shown.contains(part), "{part} is missing:\n{shown}");
        }
    }
}
