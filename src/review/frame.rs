use super::view::View;
use maud::{DOCTYPE, Markup, html};

/// The pages there are, as they stand in the address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Tab {
    Timeline,
    Out,
    Graphs,
}

/// What stands around every page.
pub(crate) fn frame(view: &View, tab: Tab, body: &Markup) -> Markup {
    let schedule = &view.schedule;
    let link = |own: Tab, to: &str, name: &str| {
        html! { a href=(to) aria-current=[(own == tab).then_some("page")] { (name) } }
    };
    html! {
        (DOCTYPE)
        html lang="en-GB" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Looking back: " (schedule.title) }
                link rel="stylesheet" href="review.css";
            }
            body {
                a.skip href="#main" { "Go to the content" }
                header {
                    p.kind { "Looking back" }
                    h1 { (schedule.title) }
                    p.who {
                        (schedule.site) ". Tested by " (schedule.tester)
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
                            @for (n, (to, name)) in (1..).zip(&view.threads) {
                                a href=(to) aria-current=[(n == thread.number).then_some("true")] { (name) }
                            }
                        }
                    }
                    nav aria-label="Pages" {
                        (link(Tab::Timeline, "timeline", "Timeline"))
                        (link(Tab::Out, "out", "Taken out, and order"))
                        (link(Tab::Graphs, "graphs", "Graphs"))
                        a href="schedule.html" { "Schedule" }
                        a href="schedule.pdf" { "Schedule as PDF" }
                        a href="customer.html" { "For the customer" }
                    }
                }
                main #main { (body) }
                footer { p { (view.log.entries.len()) " events. " (schedule.record_of) } }
            }
        }
    }
}

/// A page that says what went wrong and how to go on.
pub(crate) fn trouble(title: &str, message: &str) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en-GB" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                link rel="stylesheet" href="review.css";
            }
            body {
                main #main {
                    h1 { (title) }
                    p.trouble role="alert" { (message) }
                    p { a href="timeline" { "Back to the timeline" } }
                }
            }
        }
    }
}
