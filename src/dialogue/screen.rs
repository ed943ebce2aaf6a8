//! A screen for when eyes are free: where we are, what is asked, the last readings, what is out,
//! what was said, and how loud it is. Every sign is a word; colour is never used.

use super::Observer;
use crate::sequence::{Agenda, EventNo, Mode, OutEntry, ReadingStatus, Session, prompt, say};
use crate::speech::{Decision, Recognition};
use crate::terms::{Level, ProsodyChange, ProsodyNow};
use crate::voice::{Earcon, Saying, Voice, tame};
use ratatui::DefaultTerminal;
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Modifier, Style};
use ratatui::text::Line;
use ratatui::widgets::{Block, Borders, Paragraph};
use std::collections::VecDeque;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// Lines of the dialogue kept for the screen.
const KEPT: usize = 200;
/// The level shown changes at most so often.
const REFRESH: Duration = Duration::from_millis(100);

/// What the screen shows.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ScreenView {
    /// Where the session is, in words.
    pub place: String,
    /// What is asked now, in short.
    pub asked: String,
    /// The last reading by itself: of what, and the value.
    pub last: Option<(String, String)>,
    /// What a finger held on a screen may answer: see [`Session::touched`].
    pub affirms: Option<EventNo>,
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
    /// The line being typed, where there is a keyboard.
    pub typing: Option<String>,
    /// What a key came to, or how to end.
    pub hint: String,
}

impl ScreenView {
    /// Takes what it shows from a session.
    pub fn follow(&mut self, state: &Agenda) {
        // Who is asked, or examined, is not told where he is nor what is ordered next.
        let led = state.level() == Level::Led;
        self.place = if led {
            say::where_are_we(state)
        } else {
            state.job().title.clone()
        };
        self.asked = prompt(state).full;
        let mut readings: Vec<_> = state.readings().collect();
        readings.reverse();
        let shown: Vec<_> = readings
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
                (subject, format!("{}{doubt}", kept.reading))
            })
            .collect();
        self.last = shown.first().cloned();
        self.affirms = Session::takes_touch(state);
        self.readings = shown
            .into_iter()
            .map(|(subject, value)| format!("{subject}: {value}"))
            .collect();
        let out = |entry: &&OutEntry| led || entry.is_surely_out();
        self.out = state
            .open_entries()
            .filter(out)
            .map(OutEntry::what)
            .collect();
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

    /// Draws it, in whatever room there is. What has no room is told of, and a line that is cut ends in
    /// "…".
    pub fn draw(&self, frame: &mut Frame<'_>) {
        let area = frame.area();
        let width = usize::from(area.width);
        let typed = u16::from(self.typing.is_some());
        let [panes, status, input] = Layout::vertical([
            Constraint::Min(0),
            Constraint::Length(u16::from(area.height > 2)),
            Constraint::Length(typed),
        ])
        .areas(area);
        let bold = Style::new().add_modifier(Modifier::BOLD);
        let place = wrapped(&self.place, width);
        let asked: Vec<_> = [self.mode.as_str(), self.asked.as_str()]
            .into_iter()
            .filter(|text| !text.is_empty())
            .flat_map(|text| wrapped(text, width))
            .collect();
        let wanted = rows(place.len() + asked.len()) + 1;
        let top = wanted.min((panes.height / 2).max(3)).min(panes.height);
        let rest = panes.height - top;
        let wide = area.width >= WIDE;
        // The dialogue keeps four lines; what is out comes before the last readings.
        let out = lines_or(&self.out, "nothing is out");
        let readings = lines_or(&self.readings, "none yet");
        let spare = rest.saturating_sub(4);
        let (out_rows, read_rows) = if wide {
            let both = (rows(out.len().max(readings.len())) + 1).min(8);
            let both = if spare >= 2 { both.min(spare) } else { 0 };
            (both, both)
        } else {
            let out_rows = (rows(out.len()) + 1).min(5).min(spare);
            let out_rows = if out_rows >= 2 { out_rows } else { 0 };
            let read_rows = (rows(readings.len()) + 1).min(5).min(spare - out_rows);
            (out_rows, if read_rows >= 2 { read_rows } else { 0 })
        };
        let out_title = match (out_rows, self.out.len()) {
            (0, 0) => "asked now".to_owned(),
            (0, entries) => format!("asked now (out: {entries}, no room to show)"),
            _ => "asked now".to_owned(),
        };
        let middle = if wide { out_rows } else { out_rows + read_rows };
        let [asked_area, middle_area, said_area] = Layout::vertical([
            Constraint::Length(top),
            Constraint::Length(middle),
            Constraint::Min(0),
        ])
        .areas(panes);
        let mut lines: Vec<Line> = place.into_iter().map(Line::raw).collect();
        lines.extend(asked.into_iter().map(|text| Line::styled(text, bold)));
        pane(
            frame,
            asked_area,
            &out_title,
            first(lines, room(asked_area)),
        );
        let (out_area, read_area) = if wide {
            let [left, right] =
                Layout::horizontal([Constraint::Percentage(60), Constraint::Percentage(40)])
                    .areas(middle_area);
            (right, left)
        } else {
            let [above, below] =
                Layout::vertical([Constraint::Length(out_rows), Constraint::Length(read_rows)])
                    .areas(middle_area);
            (above, below)
        };
        for (area, title, texts) in [
            (read_area, "last readings", &readings),
            (out_area, "out", &out),
        ] {
            let cut = |text: &String| Line::raw(shortened(text, usize::from(area.width)));
            let lines: Vec<_> = texts.iter().map(cut).collect();
            pane(frame, area, title, first(lines, room(area)));
        }
        let said = self.dialogue.iter().flat_map(|line| wrapped(line, width));
        let said: Vec<_> = said.map(Line::raw).collect();
        let skip = said.len().saturating_sub(room(said_area));
        pane(
            frame,
            said_area,
            "said",
            said.into_iter().skip(skip).collect(),
        );
        let status_text = if self.hint.is_empty() {
            self.meter()
        } else {
            self.hint.clone()
        };
        frame.render_widget(Paragraph::new(shortened(&status_text, width)), status);
        if let Some(typing) = &self.typing {
            // The end of a long line is what is being typed.
            let before = "you: ";
            let room = width.saturating_sub(before.len() + 2);
            let letters = typing.chars().count();
            let shown: String = match letters > room {
                true => std::iter::once('…')
                    .chain(typing.chars().skip(letters - room.saturating_sub(1)))
                    .collect(),
                false => typing.clone(),
            };
            frame.render_widget(Paragraph::new(format!("{before}{shown}_")), input);
        }
    }
}

/// From this width on the last readings stand beside what is out, and not under it.
const WIDE: u16 = 60;

fn rows(lines: usize) -> u16 {
    u16::try_from(lines).unwrap_or(u16::MAX - 1)
}

/// Lines that a pane holds under its title.
fn room(area: Rect) -> usize {
    usize::from(area.height.saturating_sub(1))
}

fn lines_or(texts: &[String], none: &str) -> Vec<String> {
    if texts.is_empty() {
        vec![none.to_owned()]
    } else {
        texts.to_vec()
    }
}

/// A text in lines of this width, cut between words.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    textwrap::wrap(&tame(text), width.max(1))
        .into_iter()
        .map(|line| line.into_owned())
        .collect()
}

/// A text on one line; "…" at its end where there is more.
fn shortened(text: &str, width: usize) -> String {
    let mut lines = wrapped(text, width);
    if lines.len() < 2 {
        return lines.pop().unwrap_or_default();
    }
    let mut lines = wrapped(text, width.saturating_sub(2));
    format!("{} …", lines.swap_remove(0))
}

/// The first lines; a last one that tells how many have no room.
fn first(mut lines: Vec<Line<'_>>, room: usize) -> Vec<Line<'_>> {
    if lines.len() > room && room > 0 {
        let more = lines.len() - (room - 1);
        lines.truncate(room - 1);
        lines.push(Line::raw(format!("… {more} more")));
    }
    lines
}

fn pane(frame: &mut Frame<'_>, area: Rect, title: &str, lines: Vec<Line<'_>>) {
    if area.height > 0 {
        let block = Block::new().borders(Borders::TOP).title(title.to_owned());
        frame.render_widget(Paragraph::new(lines).block(block), area);
    }
}

/// The screen: shown beside the voice, which speaks through it.
#[derive(Clone)]
pub struct Screen {
    shared: Arc<Mutex<Shared>>,
    closed: Arc<AtomicBool>,
}

struct Shared {
    view: ScreenView,
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
                view: ScreenView::default(),
                terminal,
                drawn: Instant::now(),
            })),
            closed: Arc::default(),
        })
    }

    /// Gives the terminal back.
    pub fn close(&self) {
        // Whoever draws has finished, and nobody draws from here on.
        let _shared = self.shared();
        if !self.closed.swap(true, Ordering::SeqCst) {
            ratatui::restore();
        }
    }

    /// Whether the terminal was given back.
    pub fn is_closed(&self) -> bool {
        self.closed.load(Ordering::SeqCst)
    }

    /// Shows the line being typed.
    pub fn typing(&self, line: &str) {
        self.change(|view| {
            view.typing = Some(line.to_owned());
            view.hint.clear();
        });
    }

    /// Shows what a key came to, until something is typed.
    pub fn hint(&self, text: &str) {
        self.change(|view| text.clone_into(&mut view.hint));
    }

    /// Draws all of it, whatever stands on the terminal: after a change of its size.
    pub fn draw_anew(&self) {
        // A terminal that can't be wiped is drawn over.
        let _ = self.shared().terminal.clear();
        self.change(|_| {});
    }

    fn shared(&self) -> MutexGuard<'_, Shared> {
        self.shared.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn change(&self, change: impl FnOnce(&mut ScreenView)) {
        let mut shared = self.shared();
        let Shared {
            view,
            terminal,
            drawn,
        } = &mut *shared;
        if self.closed.load(Ordering::SeqCst) {
            return;
        }
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
    fn put(&mut self, line: Saying<'_>) -> anyhow::Result<()> {
        let shown = format!("{}{}", line.tone.sign(), line.text);
        self.screen.change(|view| view.say(shown));
        self.voice.put(line)
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

    fn cut_off(&mut self) -> Vec<String> {
        self.voice.cut_off()
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

    fn adjust(&mut self, manner: ProsodyChange) -> Option<ProsodyNow> {
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

    fn shown(view: &ScreenView, width: u16, height: u16) -> String {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
        terminal.draw(|frame| view.draw(frame)).unwrap();
        terminal.backend().to_string()
    }

    #[test]
    fn everything_asked_for_is_on_the_screen_in_words() {
        let view = ScreenView {
            place: "Board 1, circuit 4, boat-store sockets: insulation resistance.".to_owned(),
            asked: "Line to earth at 500 V.".to_owned(),
            readings: vec!["circuit 4, line to neutral: L-N >999 MΩ at 500 V".to_owned()],
            out: vec!["neutral at door entry unit".to_owned()],
            dialogue: ["you: over nine nine nine".to_owned()].into(),
            level: Some(-30.0),
            listening: true,
            ..ScreenView::default()
        };
        let shown = shown(&view, 100, 30);
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

    #[test]
    fn narrow_and_short_terminals_show_what_is_asked_and_tell_what_has_no_room() {
        let many = |what: &str, n: u32| (1..=n).map(|n| format!("{what} {n}")).collect::<Vec<_>>();
        let view = ScreenView {
            place:
                "Board 1, circuit 4, boat-store sockets: insulation resistance. 12 steps are open."
                    .to_owned(),
            asked: "Line to earth at 500 V. Wait for it to settle; discharge after.".to_owned(),
            readings: many(
                "circuit 4, line to neutral: L-N >999 MΩ at 500 V, and more, number",
                6,
            ),
            out: many("neutral at door entry unit", 9),
            dialogue: many(
                "program: something that was said in a long line that goes on",
                30,
            )
            .into(),
            typing: Some("line to earth over nine".to_owned()),
            ..ScreenView::default()
        };
        for (width, height) in [
            (100, 30),
            (60, 24),
            (40, 24),
            (40, 12),
            (80, 8),
            (20, 10),
            (10, 4),
            (1, 1),
        ] {
            let shown = shown(&view, width, height);
            if width >= 40 {
                assert!(
                    shown.contains("you: line to earth over nine_"),
                    "{width}x{height}\n{shown}"
                );
            }
            if width >= 40 && height >= 8 {
                assert!(shown.contains("Board 1"), "{width}x{height}\n{shown}");
                assert!(
                    shown.contains('…'),
                    "{width}x{height}: nothing tells what is cut\n{shown}"
                );
                assert!(shown.contains("out"), "{width}x{height}\n{shown}");
            }
        }
        assert!(
            shown(&view, 40, 10).contains("(out: 9"),
            "{}",
            shown(&view, 40, 10)
        );
    }
}
