use super::view::View;
use crate::installation::board_said;
use crate::limits::Verdict;
use crate::report::{Exchange, Only, words};
use crate::sequence::{EventNo, ReadingRecord, ReadingStatus, say::capital};
use maud::{Markup, html};
use serde::{Deserialize, Serialize};
use std::ops::Range;

/// How many exchanges stand on one page.
const PAGE: usize = 150;

/// Which exchanges are wanted, as it comes from the address.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(default)]
pub(crate) struct Filter {
    pub circuit: String,
    pub only: String,
    pub find: String,
    pub page: usize,
    /// Said after a correction was kept.
    pub kept: Option<u64>,
}

const KINDS: [(&str, &str); 10] = [
    ("", "everything"),
    ("readings", "readings"),
    ("questions", "questions and answers"),
    ("not-understood", "what was not understood"),
    ("notes", "notes"),
    (
        "outside",
        "exceptions: outside a limit, not settled, or not as it should be",
    ),
    ("corrections", "corrections"),
    ("refusals", "refusals"),
    ("out", "taken out and put back"),
    ("sound", "with sound"),
];

impl Filter {
    fn has(&self, view: &View, exchange: &Exchange) -> bool {
        self.place(exchange) && self.kind(view, exchange) && self.found(exchange)
    }

    /// A circuit comes as `3`, or as `2-3` with its board.
    fn place(&self, exchange: &Exchange) -> bool {
        let (board, circuit) = match self.circuit.split_once('-') {
            Some((board, circuit)) => (board.parse::<u16>().ok(), circuit),
            None => (None, self.circuit.as_str()),
        };
        let circuit = circuit.parse::<u16>().ok();
        circuit.is_none_or(|wanted| exchange.circuit == Some(wanted))
            && board.is_none_or(|wanted| exchange.board == Some(wanted))
    }

    fn kind(&self, view: &View, exchange: &Exchange) -> bool {
        let kind = |kind: &str| exchange.kinds.contains(&kind);
        match self.only.as_str() {
            "readings" => kind("reading") || kind("corrected-at-desk"),
            "questions" => exchange.is(Only::Questions),
            "not-understood" => exchange.is(Only::NotUnderstood),
            "notes" => exchange.is(Only::Notes),
            "outside" => {
                let mut exceptions = view.schedule.exceptions.iter();
                exceptions.any(|one| events(exchange).contains(&one.event.0))
                    || readings(view, exchange)
                        .any(|kept| kept.verdict.as_ref().is_some_and(Verdict::is_exception))
            }
            "corrections" => !exchange.corrects.is_empty(),
            "refusals" => exchange.refused,
            "out" => exchange.out.is_some(),
            "sound" => exchange.sound.is_some(),
            _ => true,
        }
    }

    fn found(&self, exchange: &Exchange) -> bool {
        let find = self.find.trim().to_lowercase();
        let has = |text: &str| text.to_lowercase().contains(&find);
        find.is_empty()
            || exchange.heard.as_ref().is_some_and(|h| has(&h.words))
            || exchange.understood.as_deref().is_some_and(has)
            || exchange.program.iter().any(|line| has(&line.text))
    }

    fn address(&self, page: usize) -> String {
        let wanted = Self {
            page,
            kept: None,
            ..self.clone()
        };
        // Text and numbers always make a query.
        let query = serde_urlencoded::to_string(wanted).unwrap_or_default();
        format!("timeline?{query}")
    }
}

/// Where an event stands in the timeline, as a link.
pub(crate) fn link(view: &View, no: EventNo) -> String {
    match position(view, no).and_then(|n| view.exchanges.get(n)) {
        Some(exchange) => format!(
            "timeline?page={}#event-{}",
            page_of(view, no),
            exchange.event
        ),
        None => "timeline".to_owned(),
    }
}

/// The page of the timeline that an event stands on.
pub(crate) fn page_of(view: &View, no: EventNo) -> usize {
    position(view, no).unwrap_or(0) / PAGE
}

/// Which exchange an event belongs to.
fn position(view: &View, no: EventNo) -> Option<usize> {
    view.exchanges
        .partition_point(|exchange| exchange.event <= no)
        .checked_sub(1)
}

/// The session as a timeline.
pub(crate) fn timeline(view: &View, filter: &Filter) -> Markup {
    let found: Vec<&Exchange> = view
        .exchanges
        .iter()
        .filter(|exchange| filter.has(view, exchange))
        .collect();
    let pages = found.len().div_ceil(PAGE).max(1);
    let page = filter.page.min(pages - 1);
    let shown = found.iter().skip(page * PAGE).take(PAGE);
    html! {
        @if let Some(no) = filter.kept {
            p.kept role="status" { "✓ The correction is kept as event " (no) ". What was said before stays in the log." }
        }
        (form(view, filter))
        p.found role="status" {
            (found.len()) " of " (view.exchanges.len()) " exchanges"
            @if pages > 1 { ", page " (page + 1) " of " (pages) }
        }
        (pager(filter, page, pages))
        ol.timeline { @for exchange in shown { (item(view, exchange)) } }
        (pager(filter, page, pages))
    }
}

fn form(view: &View, filter: &Filter) -> Markup {
    let circuits = view
        .state
        .job()
        .boards
        .iter()
        .flat_map(|board| board.circuits.iter().map(move |c| (board, c)));
    html! {
        form.filter method="get" action="timeline" role="search" aria-label="Filter" {
            label { span { "Circuit" }
                select name="circuit" {
                    option value="" { "all" }
                    @for (board, circuit) in circuits {
                        @let value = format!("{}-{}", board_said(board.number), circuit.number);
                        option value=(value) selected[filter.circuit == value] {
                            @if view.state.job().how_many_boards() > 1 { "board " (board_said(board.number)) ", " }
                            (circuit.number) " " (circuit.name)
                        }
                    }
                }
            }
            label { span { "Show" }
                select name="only" {
                    @for (value, name) in KINDS {
                        option value=(value) selected[filter.only == value] { (name) }
                    }
                }
            }
            label { span { "Words" } input type="search" name="find" value=(filter.find); }
            button type="submit" { "Show" }
            @if !filter.circuit.is_empty() || !filter.only.is_empty() || !filter.find.is_empty() {
                a href="timeline" { "Show all" }
            }
        }
    }
}

fn pager(filter: &Filter, page: usize, pages: usize) -> Markup {
    html! {
        @if pages > 1 {
            nav.pager aria-label="Pages of the timeline" {
                @if page > 0 { a rel="prev" href=(filter.address(page - 1)) { "← Earlier" } }
                @if page + 1 < pages { a rel="next" href=(filter.address(page + 1)) { "Later →" } }
            }
        }
    }
}

fn item(view: &View, exchange: &Exchange) -> Markup {
    let times = view.schedule.times();
    let class = match (exchange.refused, exchange.question, exchange.at_desk()) {
        (true, _, _) => "refused",
        (_, _, true) => "desk",
        (_, true, _) => "question",
        _ => "",
    };
    html! {
        li id={ "event-" (exchange.event) } class=[(!class.is_empty()).then_some(class)] {
            p.when {
                time datetime=(exchange.at) { (times.clock(exchange.at)) }
                span.event { "event " (exchange.event) }
                @if let Some(circuit) = exchange.circuit { span.event { "circuit " (circuit) } }
            }
            div.what {
                (you(exchange))
                @for line in &exchange.program {
                    p class={ "program " (line.kind) } {
                        span.tag { (tag(line.kind, exchange.refused)) } " " (line.text)
                    }
                }
                @for kept in readings(view, exchange) { (reading(view, kept)) }
                @if let Some(out) = &exchange.out {
                    p.out { span.tag { "out now" } " "
                        @if out.is_empty() { "nothing" } @else { strong { (out.join("; ")) } }
                    }
                }
            }
        }
    }
}

fn tag(kind: &str, refused: bool) -> &'static str {
    match kind {
        "question" => "asks",
        "warning" if refused => "refuses",
        "warning" => "warns",
        "prompt" => "prompts",
        "reminder" => "reminds",
        _ => "says",
    }
}

fn you(exchange: &Exchange) -> Markup {
    let heard = exchange.heard.as_ref();
    let words = exchange.words_heard();
    let other = exchange
        .runner_up
        .as_deref()
        .or(heard.and_then(|h| h.runner_up.as_deref()))
        .filter(|_| !exchange.is(Only::Notes));
    html! {
        @match (words, &exchange.understood) {
            (Some(words), understood) => {
                p.you { span.tag { "heard" } " “" (words) "”" }
                @if let Some(understood) = understood { p.understood { span.tag { "taken as" } " " (understood) } }
            }
            (None, Some(understood)) => {
                p.you { span.tag { @if exchange.at_desk() { "desk" } @else { "you" } } " " (understood) }
            }
            (None, None) => {}
        }
        @if let Some(other) = other {
            p.other { span.tag { "or else" } " “" (other) "”" }
        }
        @if let Some(heard) = heard {
            p.scores {
                @if let Some(fit) = heard.fit { "fit " (format!("{fit:.2}")) }
                @if let Some(margin) = heard.margin { ", margin " (format!("{margin:.2}")) }
                @if let Some(sound) = &exchange.sound {
                    " "
                    audio controls preload="none" src={ "sound/" (sound) ".flac" }
                        aria-label={ "Sound of event " (exchange.event) ", " (format!("{:.1}", heard.seconds)) " seconds" } {}
                }
                @if heard.without_sound { " (its sound is not in the log)" }
            }
        }
    }
}

/// The readings that came of an exchange.
fn readings<'v>(
    view: &'v View,
    exchange: &'v Exchange,
) -> impl Iterator<Item = &'v ReadingRecord> + use<'v> {
    events(exchange).filter_map(|no| view.state.reading(EventNo(no)))
}

/// The numbers of its events.
fn events(exchange: &Exchange) -> Range<u64> {
    let first = exchange.event.0;
    first..first + exchange.kinds.len() as u64
}

fn reading(view: &View, kept: &ReadingRecord) -> Markup {
    let what = view
        .state
        .step(&kept.step)
        .map(|step| words::step(&view.state, step))
        .unwrap_or_default();
    let standing = match kept.status {
        ReadingStatus::Counts => "counts",
        ReadingStatus::Questioned => "waits to be affirmed",
        ReadingStatus::Withdrawn => "taken back",
        ReadingStatus::Replaced(_) => "no longer counts",
    };
    let chain = view.chain(kept.no);
    html! {
        div.reading {
            p {
                span.result { (capital(&what)) ": " strong { (words::value(&kept.reading)) } }
                " " span.standing { (standing) }
            }
            @if let Some(verdict) = &kept.verdict { (judged(verdict)) }
            @if chain.len() > 1 { (links(view, &chain, kept.no)) }
            @if matches!(kept.status, ReadingStatus::Counts | ReadingStatus::Questioned) { (put_right(kept)) }
        }
    }
}

fn judged(verdict: &Verdict) -> Markup {
    let (sign, said) = words::outcome(verdict.outcome);
    let class = match sign {
        "✓" => "within",
        "✗" => "outside",
        _ => "unsettled",
    };
    html! {
        p.verdict {
            span class={ "sign " (class) } { span aria-hidden="true" { (sign) } " " (said) }
            ": " (verdict.limit) " " span.aside { "(" (verdict.clause) ", " (verdict.edition) ")" }
        }
        p.sum { (verdict.arithmetic) }
        @if let Some(remark) = &verdict.remark { p.remark { (remark) } }
    }
}

fn links(view: &View, chain: &[EventNo], own: EventNo) -> Markup {
    html! {
        p.chain {
            span.tag { "corrected" } " "
            @for (n, no) in chain.iter().enumerate() {
                @if n > 0 { " → " }
                @let value = view.state.reading(*no).map(|k| words::value(&k.reading)).unwrap_or_default();
                @if *no == own { strong { (value) } } @else { a href=(link(view, *no)) { (value) } }
            }
        }
    }
}

fn put_right(kept: &ReadingRecord) -> Markup {
    let unit = kept
        .reading
        .unit
        .map(|unit| unit.symbol())
        .unwrap_or_default();
    let no = kept.no;
    html! {
        details {
            summary { "Put right" span.hidden { " event " (no) } }
            form.right method="post" action="put-right" {
                input type="hidden" name="of" value=(no);
                label { span { "Value" @if !unit.is_empty() { " in " (unit) } }
                    input type="text" name="value" required value=(kept.reading.shown()) autocomplete="off";
                }
                label { span { "Reason" } input type="text" name="reason" required maxlength=(super::LONGEST_REASON) autocomplete="off"; }
                button type="submit" { "Keep the correction" }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Filter;

    #[test]
    fn what_was_looked_for_is_in_the_address_of_the_next_page() {
        let filter = Filter {
            find: "R1 + R2 & 50 %".to_owned(),
            kept: Some(7),
            ..Filter::default()
        };
        let address = filter.address(3);
        let query = address.strip_prefix("timeline?").unwrap();
        let back: Filter = serde_urlencoded::from_str(query).unwrap();
        assert_eq!((back.find, back.page), (filter.find, 3));
        assert_eq!(back.kept, None);
    }
}
