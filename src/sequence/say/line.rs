/// How a line is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineKind {
    /// What to do next.
    Prompt,
    /// What went as expected and holds no value, in the brief manner: a tone stands for the words.
    Tone,
    /// What was heard, said back.
    ReadBack,
    /// Needs "affirm" or "negative".
    Question,
    /// Answers something asked.
    Answer,
    /// Something that must not be forgotten.
    Reminder,
    /// Danger, or a refusal.
    Warning,
}

/// One thing said to the person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// How it is meant.
    pub kind: LineKind,
    /// The words.
    pub text: String,
}

impl Line {
    fn of(kind: LineKind, text: impl Into<String>) -> Self {
        Self {
            kind,
            text: text.into(),
        }
    }

    /// What to do next.
    pub fn prompt(text: impl Into<String>) -> Self {
        Self::of(LineKind::Prompt, text)
    }

    /// What a tone stands for.
    pub fn tone(text: impl Into<String>) -> Self {
        Self::of(LineKind::Tone, text)
    }

    /// What was heard, said back.
    pub fn read_back(text: impl Into<String>) -> Self {
        Self::of(LineKind::ReadBack, text)
    }

    /// Needs "affirm" or "negative".
    pub fn question(text: impl Into<String>) -> Self {
        Self::of(LineKind::Question, text)
    }

    /// Answers something asked.
    pub fn answer(text: impl Into<String>) -> Self {
        Self::of(LineKind::Answer, text)
    }

    /// Something that must not be forgotten.
    pub fn reminder(text: impl Into<String>) -> Self {
        Self::of(LineKind::Reminder, text)
    }

    /// Danger, or a refusal.
    pub fn warning(text: impl Into<String>) -> Self {
        Self::of(LineKind::Warning, text)
    }
}
