use super::{Earcon, Saying, Tone, Voice, tame};
use anstyle::{AnsiColor, Style};
use std::io::{self, Write};

/// Shows lines instead of saying them, each with a word that tells what it is, so that colour is
/// never the only sign.
pub struct Terminal {
    out: Box<dyn Write + Send>,
    /// Whether it is standard output: its width is followed, and colours are added where it is a
    /// terminal that shows them.
    is_stdout: bool,
}

impl Terminal {
    /// Lines on standard output.
    pub fn stdout() -> Self {
        Self {
            out: Box::new(anstream::AutoStream::auto(io::stdout())),
            is_stdout: true,
        }
    }

    /// Lines on anything that can be written to.
    pub fn to(out: impl Write + Send + 'static) -> Self {
        Self {
            out: Box::new(out),
            is_stdout: false,
        }
    }

    /// Writes a line, cut between words where it is longer than the terminal is wide.
    fn line(&mut self, style: Style, text: &str) -> io::Result<()> {
        let text = tame(text);
        let width = terminal_size::terminal_size_of(io::stdout()).filter(|_| self.is_stdout);
        let text = match width {
            Some((width, _)) => textwrap::fill(
                &text,
                textwrap::Options::new(width.0.max(20).into()).subsequent_indent("    "),
            ),
            None => text.into_owned(),
        };
        if self.is_stdout && style != Style::new() {
            writeln!(self.out, "{style}{text}{style:#}")?;
        } else {
            writeln!(self.out, "{text}")?;
        }
        self.out.flush()
    }
}

impl Voice for Terminal {
    fn put(&mut self, line: Saying<'_>) -> anyhow::Result<()> {
        let style = match line.tone {
            Tone::Plain | Tone::ReadBack => Style::new(),
            Tone::Reminder | Tone::Instrument => Style::new().bold(),
            Tone::Question => Style::new().bold().fg_color(Some(AnsiColor::Cyan.into())),
            Tone::Warning => Style::new().bold().fg_color(Some(AnsiColor::Red.into())),
        };
        let shown = format!("{}{}", line.tone.sign(), line.text);
        Ok(self.line(style, &shown)?)
    }

    fn speaking(&self) -> bool {
        false
    }

    fn mark(&mut self, mark: Earcon) {
        let line = match mark {
            Earcon::Listening => "(listening)",
            Earcon::Taken => "(taken)",
            Earcon::NotListening => "(not listening)",
        };
        // A mark that cannot be shown is no reason to stop; the next line will tell.
        let _ = writeln!(self.out, "{line}").and_then(|()| self.out.flush());
    }

    fn mark_for(&mut self, _mark: Earcon, words: &str) {
        let _ = self.line(Style::new(), &format!("tone: {words}"));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::{Arc, Mutex};

    #[derive(Clone, Default)]
    struct Page(Arc<Mutex<Vec<u8>>>);

    impl Write for Page {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.lock().unwrap().extend_from_slice(bytes);
            Ok(bytes.len())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn every_line_tells_what_it_is_without_colour() -> anyhow::Result<()> {
        let page = Page::default();
        let mut terminal = Terminal::to(page.clone());
        terminal.say(Tone::Plain, "Line to neutral, insulation at 500 volts")?;
        terminal.say(Tone::ReadBack, "over 999 megohms")?;
        terminal.say(Tone::Question, "0.05 megohms: is that right?")?;
        terminal.say(Tone::Reminder, "Neutral out at socket 3")?;
        terminal.say(Tone::Warning, "Something is still out")?;
        let shown = String::from_utf8(page.0.lock().unwrap().clone())?;
        assert_eq!(
            shown,
            "Line to neutral, insulation at 500 volts\n\
             read back: over 999 megohms\n\
             question: 0.05 megohms: is that right?\n\
             reminder: Neutral out at socket 3\n\
             WARNING: Something is still out\n"
        );
        assert!(!terminal.speaking());
        Ok(())
    }
}
