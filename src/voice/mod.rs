//! Prompts out: to the system's speech service, to the terminal, or to nothing.

/// How a line is to sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// A prompt or an answer.
    Plain,
    /// A reading read back.
    ReadBack,
    /// A question that needs "affirm" or "negative".
    Question,
    /// A reminder of something that is out.
    Reminder,
    /// A warning: preceded by a tone where there is sound.
    Warning,
}

/// Says lines aloud, or shows them.
pub trait Voice {
    /// Says `text`; returns when it has been said or handed over.
    ///
    /// # Errors
    /// When the line could not be said; the caller falls back to the terminal.
    fn say(&mut self, tone: Tone, text: &str) -> anyhow::Result<()>;

    /// Whether it is speaking at this moment, so that the microphone can be told to disregard it.
    fn speaking(&self) -> bool;
}
