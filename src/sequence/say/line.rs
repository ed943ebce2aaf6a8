use std::ops::Range;

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
    /// What the instrument of a practice shows: said in another voice.
    Shown,
}

/// One thing said to the person. Only `say` makes any.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// How it is meant.
    pub kind: LineKind,
    /// The words.
    pub text: String,
    doubtful: Vec<Range<usize>>,
    /// The words, where the same was said just before.
    again: Option<String>,
}

impl Line {
    fn of(kind: LineKind, text: impl Into<String>) -> Self {
        Self {
            kind,
            text: text.into(),
            doubtful: Vec::new(),
            again: None,
        }
    }

    /// Stretches of the words that were heard with doubt: said slowly, each by itself.
    pub fn doubtful(&self) -> &[Range<usize>] {
        &self.doubtful
    }

    /// With other words for where the same was said just before.
    pub(super) fn once(self, again: String) -> Self {
        Self {
            again: Some(again),
            ..self
        }
    }

    /// What is said of it where the same was said just before.
    pub(super) fn again(self) -> Self {
        Self {
            text: self.again.unwrap_or(self.text),
            again: None,
            ..self
        }
    }

    /// What the instrument of a practice shows.
    pub(super) fn shown(text: impl Into<String>) -> Self {
        Self::of(LineKind::Shown, text)
    }

    /// What to do next.
    pub(super) fn prompt(text: impl Into<String>) -> Self {
        Self::of(LineKind::Prompt, text)
    }

    /// A question whether it was the one or the other: where they differ is in doubt.
    pub(super) fn one_or_other(one: &str, other: &str) -> Self {
        let (first, second) = (differing(one, other), differing(other, one));
        let before = "Say again: ";
        let between = format!("{before}{one}, or ");
        let shifted = |range: Range<usize>, by: usize| range.start + by..range.end + by;
        Self {
            doubtful: [shifted(first, before.len()), shifted(second, between.len())]
                .into_iter()
                .filter(|range| !range.is_empty())
                .collect(),
            ..Self::question(format!("{between}{other}?"))
        }
    }

    /// What a tone stands for.
    pub(super) fn tone(text: impl Into<String>) -> Self {
        Self::of(LineKind::Tone, text)
    }

    /// What was heard, said back.
    pub(super) fn read_back(text: impl Into<String>) -> Self {
        Self::of(LineKind::ReadBack, text)
    }

    /// Needs "affirm" or "negative".
    pub(super) fn question(text: impl Into<String>) -> Self {
        Self::of(LineKind::Question, text)
    }

    /// Answers something asked.
    pub(super) fn answer(text: impl Into<String>) -> Self {
        Self::of(LineKind::Answer, text)
    }

    /// Something that must not be forgotten.
    pub(super) fn reminder(text: impl Into<String>) -> Self {
        Self::of(LineKind::Reminder, text)
    }

    /// Danger, or a refusal.
    pub(super) fn warning(text: impl Into<String>) -> Self {
        Self::of(LineKind::Warning, text)
    }
}

/// The stretch of `one` between the words that it begins and ends with as `other` does.
fn differing(one: &str, other: &str) -> Range<usize> {
    let (words, others) = (spans(one), spans(other));
    let same =
        |(a, b): &(&Range<usize>, &Range<usize>)| one.get((*a).clone()) == other.get((*b).clone());
    let start = words.iter().zip(&others).take_while(same).count();
    let left = words.len().min(others.len()) - start;
    let ends = words.iter().rev().zip(others.iter().rev());
    let end = words.len() - ends.take(left).take_while(same).count();
    match words.get(start..end) {
        Some([first, .., last]) => first.start..last.end,
        Some([only]) => only.clone(),
        _ => 0..0,
    }
}

/// Where each word of a text stands.
fn spans(text: &str) -> Vec<Range<usize>> {
    let mut at = 0;
    let words = text.split(' ').map(|word| {
        let span = at..at + word.len();
        at = span.end + 1;
        span
    });
    words.filter(|span| !span.is_empty()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn doubtful(one: &str, other: &str) -> Vec<String> {
        let line = Line::one_or_other(one, other);
        let words = line
            .doubtful
            .iter()
            .map(|range| line.text[range.clone()].to_owned());
        words.collect()
    }

    #[test]
    fn where_two_differ_is_in_doubt() {
        assert_eq!(
            doubtful("line to earth two nine nine", "line to earth two five nine"),
            ["nine", "five"]
        );
        assert_eq!(doubtful("two nine", "two nine nine"), ["nine"]);
        assert_eq!(doubtful("dead", "done"), ["dead", "done"]);
        assert_eq!(doubtful("over range", "over range"), Vec::<String>::new());
        assert_eq!(doubtful("", "é two"), ["é two"]);
    }
}
