use super::view::View;
use crate::marking::Sheet;
use crate::report::{self, Leads, MarksPage};
use crate::sequence::EventNo;
use maud::{Markup, html};

/// The sheet of marks of a session, with its sounds, and a way to strike what was misheard.
pub(crate) fn marks(view: &View, sheet: &Sheet, kept: Option<u64>) -> Markup {
    // Its name and its stamp stand in the head of the page.
    let MarksPage { body, .. } = report::sheet_page(sheet, &InSession(view), view.schedule.times());
    html! {
        @if let Some(no) = kept {
            p.kept role="status" { "✓ Struck: it is kept as event " (no) ". What was said stays in the log." }
        }
        p.record { (report::MARKS_OF) }
        (body)
    }
}

/// The pages of one session.
struct InSession<'a>(&'a View);

impl Leads for InSession<'_> {
    fn sound(&self, hash: &str) -> Option<String> {
        let view = self.0;
        let there = |exchange: &report::Exchange| exchange.sound.as_deref() == Some(hash);
        let there = view.exchanges.iter().any(there);
        there.then(|| format!("sound/{hash}.flac"))
    }

    fn event(&self, no: EventNo) -> Option<String> {
        Some(super::timeline::link(self.0, no))
    }

    fn session(&self, _: usize) -> Option<String> {
        None
    }

    fn sheet(&self, _: usize) -> Option<String> {
        None
    }

    fn strike(&self, no: EventNo) -> Option<Markup> {
        Some(html! {
            details {
                summary { "Strike" span.hidden { " event " (no) } }
                form.right method="post" action="strike" {
                    input type="hidden" name="of" value=(no);
                    label { span { "Reason" } input type="text" name="reason" required maxlength=(super::LONGEST_REASON) autocomplete="off"; }
                    label { span { "By" } input type="text" name="by" required maxlength="80" autocomplete="name"; }
                    button type="submit" { "Strike it from the marks" }
                }
            }
        })
    }
}
