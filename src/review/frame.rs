use super::view::View;
use maud::{DOCTYPE, Markup, html};

/// The pages there are, as they stand in the address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Tab {
    Timeline,
    Out,
    Graphs,
    Marks,
}

/// A page with its head.
pub(crate) fn document(title: &str, body: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en-GB" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                link rel="stylesheet" href="review.css";
            }
            (body)
        }
    }
}

/// What stands around every page of a session.
pub(crate) fn frame(view: &View, tab: Tab, body: &Markup) -> Markup {
    let schedule = &view.schedule;
    let link = |own: Tab, to: &str, name: &str| {
        html! { a href=(to) aria-current=[(own == tab).then_some("page")] { (name) } }
    };
    let practice = view.state.practice();
    let learner =
        practice.map(|practice| format!("{}, {}", practice.learner, practice.level.shown()));
    let body = html! {
        body {
            a.skip href="#main" { "Go to the content" }
            header {
                p.kind { "Looking back" }
                h1 { (schedule.title) }
                p.who {
                    (schedule.site) ". "
                    @match &learner {
                        Some(learner) if schedule.practised => { "Practised by " (learner) }
                        Some(learner) => { "Tested by " (schedule.tester) ", learned by " (learner) }
                        None => { "Tested by " (schedule.tester) }
                    }
                    @if let Some(supervisor) = &schedule.supervisor { ", supervised by " (supervisor) }
                    ". " (schedule.times().date(schedule.begun))
                    ", times in " (schedule.time_zone) "."
                }
                p.record { (schedule.record_of) " " (schedule.cautions.first().copied().unwrap_or_default()) }
                @if let Some(thread) = &view.log.thread {
                    p.record {
                        (thread) ". What is out here was not put back by another session of this merged log."
                    }
                    nav aria-label="Threads" {
                        @for (n, (to, name)) in (1..).zip(&view.around.threads) {
                            a href=(to) aria-current=[(n == thread.number).then_some("true")] { (name) }
                        }
                    }
                }
                nav aria-label="Pages" {
                    @if let Some(group) = &view.around.group { a href=(group) { "The group" } }
                    (link(Tab::Timeline, "timeline", "Timeline"))
                    (link(Tab::Out, "out", "Taken out, and order"))
                    (link(Tab::Graphs, "graphs", "Graphs"))
                    @if view.is_marked() { (link(Tab::Marks, "marks", "Marks")) }
                    a href="schedule.html" { "Schedule" }
                    a href="schedule.pdf" { "Schedule as PDF" }
                    a href="customer.html" { "For the customer" }
                }
            }
            main #main { (body) }
            footer { p { (view.log.entries.len()) " events. " (schedule.record_of) } }
        }
    };
    document(&format!("Looking back: {}", schedule.title), &body)
}

/// A page that says what went wrong and where to go on: an address and what lies there.
pub(crate) fn trouble(title: &str, message: &str, back: (&str, &str)) -> Markup {
    let body = html! {
        body {
            main #main {
                h1 { (title) }
                p.trouble role="alert" { (message) }
                p { a href=(back.0) { "Back to " (back.1) } }
            }
        }
    };
    document(title, &body)
}
