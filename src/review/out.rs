use super::svg;
use super::timeline::link;
use super::view::View;
use crate::report::OutRow;
use crate::sequence::say::capital;
use maud::{Markup, html};

/// The out-list with how long each thing was out, and whether the order was kept.
pub(crate) fn out(view: &View) -> Markup {
    let schedule = &view.schedule;
    let times = schedule.times();
    html! {
        section aria-labelledby="out" {
            h2 #out { "What was taken out, and for how long" }
            @if schedule.out_list.is_empty() { p.none { "Nothing was taken out, linked or switched over." } }
            @else {
                figure {
                    (svg::spans(&spans(view)))
                    figcaption { "Each bar runs from out to back. A dashed bar is still out." }
                }
                ul.outs { @for row in &schedule.out_list { li {
                    a href=(link(view, row.event)) { (capital(&row.what)) }
                    @if let Some(circuit) = row.circuit { ", circuit " (circuit) }
                    @if let Some(parked) = row.parked { ", " (parked) }
                    ": out " (times.clock(row.out_at)) ", "
                    @match row.back_at {
                        Some(at) => { "✓ back " (times.clock(at)) ", out for " (row.length()) }
                        None if row.withdrawn => { "said by mistake and taken back" }
                        None => { strong { "✗ still out" } ", for " (row.length()) " so far" }
                    }
                    @if row.overridden { ". " em { "The person went on with it out, and gave a reason." } }
                } } }
            }
        }
        section aria-labelledby="order" {
            h2 #order { "Order" }
            @if schedule.departures.is_empty() { p { "✓ The order was kept." } }
            @else { ul { @for one in &schedule.departures { li {
                "✗ " (capital(&one.what)) ", "
                a href=(link(view, one.event)) { "event " (one.event) } ", " (times.clock(one.at))
            } } } }
            @if !schedule.overrides.is_empty() {
                h3 { "Overrides" }
                ul { @for one in &schedule.overrides { li {
                    "Went on with " strong { (one.out.join("; ")) } " still out. Reason: " (one.reason) ", "
                    a href=(link(view, one.event)) { "event " (one.event) }
                } } }
            }
        }
        section aria-labelledby="exceptions" {
            h2 #exceptions { "Exceptions" }
            @if !schedule.observations.is_empty() { ul.observations { @for one in &schedule.observations { li {
                strong { (one.code) } " " (one.means) ": " (one.text()) " " span.aside { (one.place()) ", " }
                a href=(link(view, one.event)) { "event " (one.event) }
            } } } }
            @if schedule.exceptions.is_empty() { p.none { (schedule.no_exception()) } }
            @else { ul { @for one in &schedule.exceptions { li {
                (capital(&one.what)) " " span.aside { (one.outcome) ", " }
                a href=(link(view, one.event)) { "event " (one.event) }
                @if let Some(later) = &one.later { " ✓ " (later) }
            } } } }
        }
        section aria-labelledby="open" {
            h2 #open { "Open items" }
            @if schedule.open_items.is_empty() { p { "✓ Nothing is open." } }
            @else { ul { @for one in &schedule.open_items { li { (capital(&one.what)) } } } }
        }
    }
}

fn spans(view: &View) -> Vec<svg::Span> {
    let begun = view.schedule.begun;
    let seconds = |at: jiff::Timestamp| at.duration_since(begun).as_secs_f64().max(0.0);
    let last = seconds(view.schedule.last_event);
    view.schedule
        .out_list
        .iter()
        .filter(|row| !row.withdrawn)
        .map(|row: &OutRow| svg::Span {
            name: row.what.clone(),
            from: seconds(row.out_at),
            to: row.back_at.map_or(last, seconds),
            open: row.is_open(),
            length: row.length(),
            whole: last,
        })
        .collect()
}
