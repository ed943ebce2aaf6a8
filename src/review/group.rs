use super::frame::document;
use crate::marking::{Group, Sheet};
use crate::report::{self, Leads, MarksPage, Times};
use crate::sequence::EventNo;
use maud::{Markup, html};

/// The sheets of several logs, and where the pages of each begin.
pub(crate) struct Sheets {
    pub sheets: Vec<Sheet>,
    pub roots: Vec<String>,
}

/// What stands in a query for each attempt that is chosen: its number, from 1.
pub(crate) const CHOSEN: &str = "with";

impl Leads for Sheets {
    fn sound(&self, _: &str) -> Option<String> {
        None
    }

    fn event(&self, _: EventNo) -> Option<String> {
        None
    }

    fn session(&self, sheet: usize) -> Option<String> {
        Some(format!("{}/timeline", self.roots.get(sheet)?))
    }

    fn sheet(&self, sheet: usize) -> Option<String> {
        Some(format!("{}/marks", self.roots.get(sheet)?))
    }

    fn strike(&self, _: EventNo) -> Option<Markup> {
        None
    }
}

/// The first page of a group.
pub(crate) fn group(of: &Sheets, times: &Times) -> Markup {
    let page = report::group_page(&of.sheets, of, times);
    let lead = html! {
        p { "A name leads to what that learner said, with its sound; the result to the sheet of marks." }
        (choose(of, &[], times))
    };
    around(page, &lead, false)
}

/// Chosen attempts side by side.
pub(crate) fn beside(of: &Sheets, chosen: &[usize], times: &Times) -> Markup {
    let page = report::beside_page(&of.sheets, chosen, of, times);
    around(page, &choose(of, chosen, times), true)
}

/// The attempts, to be chosen from.
fn choose(of: &Sheets, chosen: &[usize], times: &Times) -> Markup {
    let group = Group::of(&of.sheets);
    html! {
        details.choose open[of.sheets.len() <= 12 && chosen.is_empty()] {
            summary { @if chosen.is_empty() { "Put attempts side by side" } @else { "Choose others" } }
            form method="get" action="beside" {
                fieldset {
                    legend { "Two or more attempts" }
                    @for attempt in &group.attempts {
                        label {
                            input type="checkbox" name=(CHOSEN) value=(attempt.sheet + 1)
                                checked[chosen.contains(&attempt.sheet)];
                            " " (report::attempt_named(&group, attempt)) ", " (times.date(attempt.begun))
                        }
                    }
                }
                button type="submit" { "Side by side" }
            }
        }
    }
}

fn around(page: MarksPage, lead: &Markup, leads_back: bool) -> Markup {
    let MarksPage { title, stamp, body } = page;
    let whole = html! {
        body.broad {
            a.skip href="#main" { "Go to the content" }
            header {
                p.kind { "Looking back at a group" }
                h1 { (title) }
                p.record { (stamp) " " (report::MARKS_OF) }
                @if leads_back { nav aria-label="Pages" { a href="group" { "The group" } } }
            }
            main #main { (lead) (body) }
            footer { p { (stamp) } }
        }
    };
    document(&title, &whole)
}
