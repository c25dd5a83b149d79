//! Controls in the order they were measured, with their limits: over a run, or over many runs.
//!
//! A disc is in order, a cross lies outside or broke a rule. Limits are dashed and named at the right; the centre is a thin
//! line.

use super::axis::{Axis, Reach, spoken};
use super::canvas::{Anchor, Canvas, Pen};
use super::label::cut_to;
use super::palette::{BLACK, BLUE, REDDISH_PURPLE};
use super::{Figure, Medium, Scale, drawable};

/// What a control chart shows.
#[derive(Debug, Clone, Copy)]
pub struct ControlChart<'a> {
    /// Tells this figure's ids from those of others on the same page.
    pub id: &'a str,
    /// What was controlled, like `check standard, run R1`.
    pub title: &'a str,
    /// The upright axis.
    pub found: Scale<'a>,
    /// What is counted along the level axis, like `row` or `run`.
    pub along: &'a str,
    /// The controls in order.
    pub points: &'a [ControlPoint<'a>],
    /// The centre, where there is one.
    pub centre: Option<f64>,
    /// Lower and upper limit, where they are known.
    pub lower: Option<f64>,
    /// The upper limit.
    pub upper: Option<f64>,
}

/// One control.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ControlPoint<'a> {
    /// Where it was measured, like a row.
    pub name: &'a str,
    /// What was found.
    pub found: f64,
    /// Whether it lies outside or broke a rule.
    pub out: bool,
}

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 250.0;
const LEFT: f64 = 66.0;
const RIGHT: f64 = WIDTH - 92.0;
const TOP: f64 = 16.0;
const BOTTOM: f64 = HEIGHT - 46.0;
/// With more controls than this, only some are named below the axis.
const MOST_NAMED: usize = 12;

const COURSE: Pen = Pen { colour: BLUE, width: 1.6, dashes: "" };
const LIMIT: Pen = Pen { colour: BLACK, width: 1.2, dashes: "7 4" };
const CENTRE: Pen = Pen { colour: BLACK, width: 0.8, dashes: "" };
const OUT: Pen = Pen { colour: REDDISH_PURPLE, width: 2.6, dashes: "" };

/// Draws controls over time.
///
/// # Example
/// ```
/// use darkline_report::figure::{ControlChart, ControlPoint, Medium, Scale, control_chart};
/// let drawn = control_chart(
///     &ControlChart {
///         id: "checks",
///         title: "check standard, run R1",
///         found: Scale { kind: "mass concentration", unit: "µg/L" },
///         along: "row",
///         points: &[ControlPoint { name: "7", found: 24.6, out: false }, ControlPoint { name: "19", found: 29.0, out: true }],
///         centre: Some(25.0),
///         lower: Some(22.5),
///         upper: Some(27.5),
///     },
///     Medium::Page,
/// );
/// assert!(drawn.description.starts_with("2 controls from 24.6 µg/L to 29 µg/L, 1 outside: 19."));
/// ```
pub fn control_chart(chart: &ControlChart<'_>, medium: Medium) -> Figure {
    let points: Vec<&ControlPoint<'_>> = chart.points.iter().filter(|point| drawable(point.found)).collect();
    let levels = [chart.centre, chart.lower, chart.upper];
    let levels = || levels.iter().flatten().copied().filter(|level| drawable(*level));
    let axis = Axis::over(points.iter().map(|point| point.found).chain(levels()), BOTTOM, TOP, 5, Reach::Beyond);
    let step = (RIGHT - LEFT) / points.len().max(1) as f64;
    let x = |place: usize| LEFT + step * (place as f64 + 0.5);
    let mut canvas = Canvas::new(chart.id);
    canvas.open("axes");
    canvas.upright_axis(&axis, LEFT, RIGHT);
    canvas.line((LEFT, BOTTOM), (RIGHT, BOTTOM), CENTRE);
    let every = points.len().div_ceil(MOST_NAMED).max(1);
    for (place, point) in points.iter().enumerate().filter(|(place, _)| place % every == 0) {
        canvas.text((x(place), BOTTOM + 17.0), Anchor::Middle, &cut_to(point.name, step * every as f64));
    }
    canvas.text(((LEFT + RIGHT) / 2.0, HEIGHT - 10.0), Anchor::Middle, chart.along);
    canvas.text_upwards((16.0, (TOP + BOTTOM) / 2.0), &chart.found.label(axis.power));
    canvas.close();
    canvas.open("limits");
    for (level, pen, name) in
        [(chart.upper, LIMIT, "upper limit"), (chart.centre, CENTRE, "centre"), (chart.lower, LIMIT, "lower limit")]
    {
        if let Some(level) = level.filter(|level| drawable(*level)) {
            canvas.line((LEFT, axis.place(level)), (RIGHT, axis.place(level)), pen);
            canvas.text((RIGHT + 6.0, axis.place(level) + 4.0), Anchor::Start, name);
        }
    }
    canvas.close();
    canvas.open("points");
    let course: Vec<(f64, f64)> =
        points.iter().enumerate().map(|(place, point)| (x(place), axis.place(point.found))).collect();
    canvas.polyline(&course, COURSE);
    for (at, point) in course.iter().zip(&points) {
        if point.out { canvas.cross(*at, 5.5, OUT) } else { canvas.disc(*at, 3.6) }
    }
    canvas.close();
    let description = describe(chart, &points);
    let svg = canvas.finish(medium, (WIDTH, HEIGHT), chart.title, &description);
    Figure { svg, title: chart.title.to_owned(), description }
}

fn describe(chart: &ControlChart<'_>, points: &[&ControlPoint<'_>]) -> String {
    let value = |value: f64| chart.found.with_unit(&spoken(value));
    let lowest = points.iter().map(|point| point.found).fold(f64::INFINITY, f64::min);
    let highest = points.iter().map(|point| point.found).fold(f64::NEG_INFINITY, f64::max);
    let mut said = match points.len() {
        0 => return format!("{}: no controls yet.", chart.title),
        1 => format!("1 control at {}", value(lowest)),
        n => format!("{n} controls from {} to {}", value(lowest), value(highest)),
    };
    let out: Vec<&str> = points.iter().filter(|point| point.out).map(|point| point.name).collect();
    said.push_str(&match out.len() {
        0 => ", none outside.".to_owned(),
        n => format!(", {n} outside: {}.", out.join(", ")),
    });
    match (chart.lower, chart.upper) {
        (Some(lower), Some(upper)) => said.push_str(&format!(" Limits {} and {}.", value(lower), value(upper))),
        (None, Some(upper)) => said.push_str(&format!(" At most {}.", value(upper))),
        _ => {}
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    const BARE: ControlChart<'_> = ControlChart {
        id: "x",
        title: "x",
        found: Scale { kind: "mass concentration", unit: "µg/L" },
        along: "row",
        points: &[],
        centre: None,
        lower: None,
        upper: None,
    };

    #[test]
    fn no_control_one_control_and_controls_that_are_no_number_are_drawn() {
        let point = |found| ControlPoint { name: "7", found, out: false };
        for points in [&[][..], &[point(1.0)], &[point(f64::NAN), point(2.0)], &[point(0.0), point(0.0)]] {
            let svg = control_chart(&ControlChart { points, ..BARE }, Medium::Page).svg;
            assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        }
    }

    #[test]
    fn what_lies_outside_is_a_cross_and_is_named() {
        let points =
            [ControlPoint { name: "7", found: 1.0, out: false }, ControlPoint { name: "19", found: 9.0, out: true }];
        let drawn = control_chart(&ControlChart { points: &points, upper: Some(2.0), ..BARE }, Medium::Page);
        assert_eq!(drawn.svg.matches(REDDISH_PURPLE).count(), 2);
        assert!(drawn.description.contains("1 outside: 19. At most 2 µg/L."), "{}", drawn.description);
    }
}
