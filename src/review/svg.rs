//! Plots as SVG inside the page: text in them can be read, found and spoken like any other.

use crate::limits::ring::crossed;
use maud::{Markup, html};

const WIDTH: f64 = 400.0;
const ROW: f64 = 30.0;
/// Where an axis starts and ends.
const LEFT: f64 = 4.0;
const RIGHT: f64 = 392.0;

/// A reading as a bar.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Bar {
    pub name: String,
    /// Nothing when it is over range.
    pub value: Option<f64>,
    /// The true value lies above.
    pub open_above: bool,
    /// The true value lies below.
    pub open_below: bool,
    pub limit: Option<f64>,
    /// As written on a schedule, with its unit.
    pub shown: String,
    /// Sign and words of its verdict.
    pub sign: Option<(&'static str, &'static str)>,
    /// Outside its limit.
    pub outside: bool,
}

/// How lengths stand for values.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Scale {
    Linear,
    /// From 0.01 up, ten times at each tick.
    Log,
}

const LEAST: f64 = 0.01;

struct Axis {
    scale: Scale,
    most: f64,
}

impl Axis {
    fn of(bars: &[Bar], scale: Scale) -> Self {
        let largest = bars
            .iter()
            .flat_map(|bar| [bar.value, bar.limit])
            .flatten()
            .filter(|v| v.is_finite())
            .fold(0.0, f64::max);
        let most = match scale {
            Scale::Linear if largest > 0.0 => largest * 1.15,
            Scale::Linear => 1.0,
            Scale::Log => (largest * 3.0).max(2000.0),
        };
        Self { scale, most }
    }

    fn x(&self, value: f64) -> f64 {
        let part = match self.scale {
            Scale::Linear => value / self.most,
            Scale::Log => (value.max(LEAST) / LEAST).log10() / (self.most / LEAST).log10(),
        };
        LEFT + part.clamp(0.0, 1.0) * (RIGHT - LEFT)
    }

    fn ticks(&self) -> Vec<f64> {
        match self.scale {
            Scale::Log => (-2..=8)
                .map(|power| 10f64.powi(power))
                .filter(|tick| *tick <= self.most)
                .collect(),
            Scale::Linear => {
                let step = nice(self.most / 5.0);
                (0..=6)
                    .map(|n| f64::from(n) * step)
                    .filter(|tick| *tick <= self.most)
                    .collect()
            }
        }
    }
}

/// The next of 1, 2, 5 times a power of ten.
fn nice(step: f64) -> f64 {
    let power = 10f64.powf(step.max(1e-9).log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|n| n * power)
        .find(|n| *n >= step)
        .unwrap_or(step)
}

/// A number for a tick or a coordinate: few digits, no noughts at the end.
fn short(value: f64) -> String {
    let text = format!("{value:.2}");
    match text.trim_end_matches('0').trim_end_matches('.') {
        "" | "-0" => "0".to_owned(),
        text => text.to_owned(),
    }
}

fn view_box(height: f64) -> String {
    format!("0 0 {WIDTH} {}", short(height))
}

/// Bars below each other, each with its name, value, sign and limit.
pub(crate) fn bars(bars: &[Bar], unit: &str, scale: Scale) -> Markup {
    let axis = Axis::of(bars, scale);
    let height = bars.len() as f64 * ROW + 20.0;
    let label = format!("{} readings in {unit}", bars.len());
    html! {
        svg role="img" aria-label=(label) viewBox=(view_box(height)) {
            @for tick in axis.ticks() {
                line.grid x1=(short(axis.x(tick))) x2=(short(axis.x(tick))) y1="0" y2=(short(height - 16.0)) {}
                text.tick x=(short(axis.x(tick))) y=(short(height - 4.0)) text-anchor="middle" { (short(tick)) }
            }
            @for (n, bar) in bars.iter().enumerate() { (one_bar(bar, n as f64 * ROW, &axis)) }
        }
    }
}

fn one_bar(bar: &Bar, top: f64, axis: &Axis) -> Markup {
    let (y, height) = (top + 15.0, 10.0);
    let end = bar.value.map(|value| axis.x(value));
    let solid = match (end, bar.open_below) {
        (Some(end), false) => Some(end),
        _ => None,
    };
    let open = match (end, bar.open_above, bar.open_below) {
        (Some(end), true, _) => Some((end, RIGHT)),
        (None, true, _) => Some((LEFT, RIGHT)),
        (Some(end), _, true) => Some((LEFT, end)),
        _ => None,
    };
    let outside = bar.outside;
    html! {
        g {
            text.name x=(LEFT) y=(short(top + 11.0)) { (bar.name) }
            text.value x=(RIGHT) y=(short(top + 11.0)) text-anchor="end" {
                (bar.shown) @if let Some((sign, _)) = bar.sign { " " (sign) }
            }
            @if let Some(end) = solid {
                rect.bar.outside[outside] x=(LEFT) y=(short(y)) width=(short((end - LEFT).max(1.0))) height=(short(height)) {}
            }
            @if let Some((from, to)) = open {
                path.open d=(open_end(from, to, y, height, bar.open_above)) {}
            }
            @if let Some(limit) = bar.limit {
                line.limit x1=(short(axis.x(limit))) x2=(short(axis.x(limit))) y1=(short(y - 3.0)) y2=(short(y + height + 3.0)) {}
            }
            title { (bar.name) ": " (bar.shown) @if let Some((_, words)) = bar.sign { ", " (words) } }
        }
    }
}

/// The part of a bar where the true value may lie: two edges, no end, an arrow.
fn open_end(from: f64, to: f64, y: f64, height: f64, above: bool) -> String {
    let (bottom, middle) = (y + height, y + height / 2.0);
    let tip = if above { to } else { from };
    let back = if above { tip - 6.0 } else { tip + 6.0 };
    format!(
        "M{} {}H{}M{} {}H{}M{} {}L{} {}L{} {}",
        short(from),
        short(y),
        short(to),
        short(from),
        short(bottom),
        short(to),
        short(back),
        short(y - 1.0),
        short(tip),
        short(middle),
        short(back),
        short(bottom + 1.0)
    )
}

/// A point of a ring with its reading.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Point {
    pub name: String,
    /// Part of the way round the ring, 0 to 1.
    pub x: f64,
    pub ohms: f64,
    pub shown: String,
    pub spur: bool,
}

/// One stage of a ring test: the readings at the points, and what they should lie on.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Ring {
    pub title: String,
    /// End-to-end resistance of the line conductor, Ω.
    pub ra: f64,
    /// Of the other conductor, Ω.
    pub rb: f64,
    /// Symbol of the other.
    pub symbol: String,
    pub points: Vec<Point>,
}

/// Readings along the ring, the curve that they should lie on, and (ra+rb)/4.
pub(crate) fn ring(ring: &Ring) -> Markup {
    const HEIGHT: f64 = 240.0;
    let (left, right, top, bottom) = (38.0, 390.0, 14.0, HEIGHT - 40.0);
    let quarter = (ring.ra + ring.rb) / 4.0;
    let highest = ring.points.iter().map(|p| p.ohms).fold(quarter, f64::max);
    let most = (highest * 1.3).max(0.05);
    let x = |part: f64| left + part * (right - left);
    let y = |ohms: f64| bottom - ohms / most * (bottom - top);
    let step = nice(most / 5.0);
    let ticks = (0..=6).map(|n| f64::from(n) * step).filter(|t| *t <= most);
    let curve: Vec<String> = (0..=60)
        .map(|n| f64::from(n) / 60.0)
        .map(|part| {
            format!(
                "{},{}",
                short(x(part)),
                short(y(crossed(ring.ra, ring.rb, part)))
            )
        })
        .collect();
    let told: Vec<String> = ring
        .points
        .iter()
        .map(|p| format!("{} {}", p.name, p.shown))
        .collect();
    let label = format!(
        "{}: {}. A quarter of the sum is {quarter:.3} Ω.",
        ring.title,
        told.join(", ")
    );
    html! {
        svg.ring role="img" aria-label=(label) viewBox=(view_box(HEIGHT)) {
            @for tick in ticks {
                line.grid x1=(short(left)) x2=(short(right)) y1=(short(y(tick))) y2=(short(y(tick))) {}
                text.tick x=(short(left - 4.0)) y=(short(y(tick) + 3.0)) text-anchor="end" { (short(tick)) }
            }
            text.tick x="2" y="9" { "Ω" }
            line.axis x1=(short(left)) x2=(short(right)) y1=(short(bottom)) y2=(short(bottom)) {}
            text.tick x=(short(left)) y=(short(HEIGHT - 4.0)) { "board" }
            text.tick x=(short(x(0.5))) y=(short(HEIGHT - 4.0)) text-anchor="middle" { "half way round" }
            text.tick x=(short(right)) y=(short(HEIGHT - 4.0)) text-anchor="end" { "board" }
            line.quarter x1=(short(left)) x2=(short(right)) y1=(short(y(quarter))) y2=(short(y(quarter))) {}
            text.value x=(short(right)) y=(short(y(quarter) - 5.0)) text-anchor="end" { "(r₁+" (ring.symbol) ")/4 = " (format!("{quarter:.3}")) }
            polyline.curve points=(curve.join(" ")) {}
            @for (n, point) in ring.points.iter().enumerate() {
                g {
                    @if point.spur {
                        rect.point x=(short(x(point.x) - 4.0)) y=(short(y(point.ohms) - 4.0)) width="8" height="8" {}
                    } @else {
                        circle.point cx=(short(x(point.x))) cy=(short(y(point.ohms))) r="4.2" {}
                    }
                    text.name x=(short(x(point.x))) y=(short(bottom + 12.0 + (n % 2) as f64 * 10.0)) text-anchor="middle" { (brief(&point.name)) }
                    title { (point.name) ": " (point.shown) @if point.spur { ", on a spur" } }
                }
            }
        }
    }
}

/// A place's name short enough to stand under its point.
fn brief(name: &str) -> String {
    if name.chars().count() <= 9 {
        name.to_owned()
    } else {
        name.chars().take(8).chain(['…']).collect()
    }
}

/// Something that lasted for a while.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Span {
    pub name: String,
    /// Seconds from the beginning of the session.
    pub from: f64,
    pub to: f64,
    /// It has not ended.
    pub open: bool,
    pub length: String,
    /// Length of the whole session, s.
    pub whole: f64,
}

/// Spans below each other on one line of time.
pub(crate) fn spans(spans: &[Span]) -> Markup {
    let height = spans.len() as f64 * ROW + 20.0;
    let whole = spans.first().map_or(1.0, |s| s.whole).max(1.0);
    let x = |seconds: f64| LEFT + seconds / whole * (RIGHT - LEFT);
    let step = nice_minutes(whole / 60.0 / 5.0);
    let ticks = (0..=12)
        .map(|n| f64::from(n) * step)
        .filter(|m| m * 60.0 <= whole);
    let label = format!("{} things that were out, over time", spans.len());
    html! {
        svg role="img" aria-label=(label) viewBox=(view_box(height)) {
            @for minute in ticks {
                line.grid x1=(short(x(minute * 60.0))) x2=(short(x(minute * 60.0))) y1="0" y2=(short(height - 16.0)) {}
                text.tick x=(short(x(minute * 60.0))) y=(short(height - 4.0)) { (short(minute)) " min" }
            }
            @for (n, span) in spans.iter().enumerate() {
                @let top = n as f64 * ROW;
                g {
                    text.name x=(LEFT) y=(short(top + 11.0)) { (span.name) }
                    text.value x=(RIGHT) y=(short(top + 11.0)) text-anchor="end" { (span.length) @if span.open { " ✗" } }
                    @if span.open {
                        path.open d=(open_end(x(span.from), x(span.to).max(x(span.from) + 8.0), top + 15.0, 10.0, true)) {}
                    } @else {
                        rect.bar x=(short(x(span.from))) y=(short(top + 15.0)) width=(short((x(span.to) - x(span.from)).max(1.5))) height="10" {}
                    }
                    title { (span.name) ": " (span.length) }
                }
            }
        }
    }
}

fn nice_minutes(step: f64) -> f64 {
    [1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 240.0]
        .into_iter()
        .find(|n| *n >= step)
        .unwrap_or(480.0)
}

/// Times spent, as bars: name, seconds, length in words.
pub(crate) fn times(spent: &[(String, f64, String)]) -> Markup {
    let height = spent.len() as f64 * ROW;
    let most = spent.iter().map(|(_, s, _)| *s).fold(1.0, f64::max);
    html! {
        svg role="img" aria-label="Time spent at each stage" viewBox=(view_box(height)) {
            @for (n, (name, seconds, length)) in spent.iter().enumerate() {
                @let top = n as f64 * ROW;
                g {
                    text.name x=(LEFT) y=(short(top + 11.0)) { (name) }
                    text.value x=(RIGHT) y=(short(top + 11.0)) text-anchor="end" { (length) }
                    rect.bar x=(LEFT) y=(short(top + 15.0)) width=(short((seconds / most * (RIGHT - LEFT)).max(1.0))) height="10" {}
                    title { (name) ": " (length) }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn bar(value: Option<f64>) -> Bar {
        Bar {
            name: "1: L-E".to_owned(),
            value,
            open_above: value.is_none(),
            open_below: false,
            limit: Some(1.0),
            shown: String::new(),
            sign: None,
            outside: false,
        }
    }

    proptest! {
        /// Nothing is drawn outside the picture, whatever the values.
        #[test]
        fn values_stay_inside(value in 0.0f64..1e9, limit in 0.0f64..1e4, log in any::<bool>()) {
            let scale = if log { Scale::Log } else { Scale::Linear };
            let one = Bar { limit: Some(limit), ..bar(Some(value)) };
            let axis = Axis::of(std::slice::from_ref(&one), scale);
            for at in [value, limit] {
                let x = axis.x(at);
                prop_assert!((LEFT..=RIGHT).contains(&x));
            }
            prop_assert!(axis.ticks().len() <= 12);
        }

        /// More is further to the right.
        #[test]
        fn larger_is_longer(a in 0.02f64..900.0, more in 0.01f64..900.0) {
            let bars = [bar(Some(a)), bar(Some(a + more))];
            let axis = Axis::of(&bars, Scale::Log);
            prop_assert!(axis.x(a) < axis.x(a + more));
        }
    }

    #[test]
    fn ticks_of_a_log_scale_are_powers_of_ten() {
        let axis = Axis::of(&[bar(Some(999.0))], Scale::Log);
        assert_eq!(axis.ticks(), [0.01, 0.1, 1.0, 10.0, 100.0, 1000.0]);
    }

    #[test]
    fn a_bound_has_an_open_end_and_a_value_has_none() {
        let bound = Bar {
            open_above: true,
            ..bar(Some(999.0))
        };
        assert!(
            bars(&[bound], "MΩ", Scale::Log)
                .0
                .contains("class=\"open\"")
        );
        assert!(
            !bars(&[bar(Some(3.0))], "MΩ", Scale::Log)
                .0
                .contains("class=\"open\"")
        );
    }
}
