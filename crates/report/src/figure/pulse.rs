//! One reading over time: total absorbance, background, and the analyte pulse between its integration limits.
//!
//! The thin black line is the total, the outlined dashes are the background, the thick blue line is the analyte pulse; the
//! area that was integrated is tinted and its limits are bracketed above. A key stands above the panel, where no line runs.

use super::axis::{Axis, Reach, number, spoken, spoken_beside};
use super::canvas::{Anchor, Canvas, Pen};
use super::key::{Sample, key};
use super::label::{cut_to, text_width};
use super::palette::{BLACK, BLUE, ORANGE, PALE_BLUE};
use super::{Figure, Medium, Scale, drawable};

/// What a pulse figure shows. The four slices run together, moment by moment; what one has more than another is not drawn.
#[derive(Debug, Clone, Copy)]
pub struct Pulse<'a> {
    /// Tells this figure's ids from those of others on the same page, like `reading-204`.
    pub id: &'a str,
    /// What was read, like `well-04, reading 204`.
    pub title: &'a str,
    /// Moments since the start of the atomisation step, in seconds, ascending.
    pub time_s: &'a [f64],
    /// Total absorbance.
    pub total: &'a [f64],
    /// Background absorbance.
    pub background: &'a [f64],
    /// The analyte pulse as evaluated: total less background, restored where the method says so.
    pub analyte: &'a [f64],
    /// Baseline of the analyte pulse, where one was drawn.
    pub baseline: Option<Baseline>,
    /// Lower and upper integration limit, in seconds.
    pub limits_s: Option<(f64, f64)>,
    /// The integrated absorbance with its unit, like `0.1523 s`; empty where there is none.
    pub response: &'a str,
}

/// The straight line the analyte pulse is integrated above.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Baseline {
    /// Absorbance at the lower integration limit.
    pub at_lower_limit: f64,
    /// Absorbance at the upper integration limit.
    pub at_upper_limit: f64,
}

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 320.0;
const LEFT: f64 = 62.0;
const RIGHT: f64 = WIDTH - 14.0;
const TOP: f64 = 58.0;
const BOTTOM: f64 = HEIGHT - 46.0;

const TOTAL: Pen = Pen { colour: BLACK, width: 1.1, dashes: "" };
const ANALYTE: Pen = Pen { colour: BLUE, width: 2.8, dashes: "" };
/// The background is drawn twice: black dashes, then the fill inside them.
const BACKGROUND_OUTLINE: Pen = Pen { colour: BLACK, width: 3.8, dashes: "8 5" };
const BACKGROUND: Pen = Pen { colour: ORANGE, width: 2.0, dashes: "8 5" };
const BASELINE: Pen = Pen { colour: BLACK, width: 1.0, dashes: "7 3 1.5 3" };
const LIMIT: Pen = Pen { colour: BLACK, width: 0.9, dashes: "1.5 2.5" };
const BRACKET: Pen = Pen { colour: BLACK, width: 1.0, dashes: "" };

/// Draws one reading over time.
///
/// # Arguments
/// * `pulse`: the reading; numbers that are not finite leave a gap.
/// * `medium`: where the figure is shown.
///
/// # Example
/// ```
/// use darkline_report::figure::{Medium, Pulse, pulse};
/// let drawn = pulse(
///     &Pulse {
///         id: "reading-204",
///         title: "well-04, reading 204",
///         time_s: &[0.0, 0.5, 1.0],
///         total: &[0.02, 0.31, 0.04],
///         background: &[0.02, 0.03, 0.02],
///         analyte: &[0.0, 0.28, 0.02],
///         baseline: None,
///         limits_s: Some((0.1, 0.9)),
///         response: "0.142 s",
///     },
///     Medium::Page,
/// );
/// assert!(drawn.description.contains("peaks at 0.28 at 0.5 s"));
/// ```
pub fn pulse(pulse: &Pulse<'_>, medium: Medium) -> Figure {
    let series = |values: &[f64]| -> Vec<(f64, f64)> {
        let pairs = pulse.time_s.iter().copied().zip(values.iter().copied());
        pairs.map(|(time, value)| if drawable(time) && drawable(value) { (time, value) } else { GAP }).collect()
    };
    let (total, background, analyte) = (series(pulse.total), series(pulse.background), series(pulse.analyte));
    let limits = pulse.limits_s.filter(|limits| drawable(limits.0) && drawable(limits.1) && limits.0 < limits.1);
    let baseline = pulse.baseline.filter(|line| drawable(line.at_lower_limit) && drawable(line.at_upper_limit));
    let baseline = limits.zip(baseline).map(|((lower, upper), line)| {
        let rise = (line.at_upper_limit - line.at_lower_limit) / (upper - lower);
        move |time: f64| line.at_lower_limit + (time - lower) * rise
    });

    let times = || total.iter().chain(&background).chain(&analyte).map(|point| point.0);
    let heights = || total.iter().chain(&background).chain(&analyte).map(|point| point.1);
    let level = Axis::over(
        times().chain(limits.into_iter().flat_map(|(lower, upper)| [lower, upper])),
        LEFT,
        RIGHT,
        6,
        Reach::Exact,
    );
    let upright = Axis::over(heights().chain([0.0]), BOTTOM, TOP, 5, Reach::BeyondButZero);
    let placed = |points: &[(f64, f64)]| -> Vec<(f64, f64)> {
        points.iter().map(|&(time, value)| (level.place(time), upright.place(value))).collect()
    };

    let mut canvas = Canvas::new(pulse.id);
    canvas.open("axes");
    canvas.upright_axis(&upright, LEFT, RIGHT);
    canvas.level_axis(&level, (LEFT, RIGHT), BOTTOM, true);
    let time = Scale { kind: "time", unit: "s" };
    canvas.text(((LEFT + RIGHT) / 2.0, HEIGHT - 8.0), Anchor::Middle, &time.label(level.power));
    let absorbance = Scale { kind: "absorbance", unit: "" };
    canvas.text_upwards((16.0, (TOP + BOTTOM) / 2.0), &absorbance.label(upright.power));
    canvas.close();

    if let Some((lower, upper)) = limits {
        let inside = between(&analyte, lower, upper);
        let floor = |time: f64| baseline.as_ref().map_or(0.0, |line| line(time));
        canvas.open("integrated");
        if let (Some(first), Some(last)) = (inside.first(), inside.last()) {
            let mut outline = inside.clone();
            outline.push((last.0, floor(last.0)));
            outline.push((first.0, floor(first.0)));
            canvas.area(&placed(&outline), PALE_BLUE);
        }
        for limit in [lower, upper] {
            canvas.line((level.place(limit), TOP - 6.0), (level.place(limit), BOTTOM), LIMIT);
        }
        canvas.close();
    }
    canvas.open("background");
    canvas.polyline(&placed(&background), BACKGROUND_OUTLINE);
    canvas.polyline(&placed(&background), BACKGROUND);
    canvas.close();
    canvas.open("analyte");
    canvas.polyline(&placed(&analyte), ANALYTE);
    canvas.close();
    canvas.open("total");
    canvas.polyline(&placed(&total), TOTAL);
    canvas.close();
    let upright_zero = upright.place(0.0);
    if upright.low() < 0.0 {
        canvas.line((LEFT, upright_zero), (RIGHT, upright_zero), Pen { colour: BLACK, width: 0.6, dashes: "" });
    }
    if let (Some((lower, upper)), Some(line)) = (limits, baseline.as_ref()) {
        canvas.open("baseline");
        canvas.line(
            (level.place(lower), upright.place(line(lower))),
            (level.place(upper), upright.place(line(upper))),
            BASELINE,
        );
        canvas.close();
    }
    if let Some(limits) = limits {
        bracket(&mut canvas, &level, limits, pulse.response);
    }
    let mut entries = vec![
        (Sample::Line(TOTAL), "total"),
        (Sample::Outlined(BACKGROUND_OUTLINE, BACKGROUND), "background"),
        (Sample::Line(ANALYTE), "analyte pulse"),
    ];
    if baseline.is_some() {
        entries.push((Sample::Line(BASELINE), "baseline"));
    }
    key(&mut canvas, (LEFT, RIGHT), &entries);
    if heights().all(|value| !drawable(value)) {
        canvas.text(((LEFT + RIGHT) / 2.0, (TOP + BOTTOM) / 2.0), Anchor::Middle, "no readings to draw");
    }

    let description = describe(pulse, &total, &background, &analyte, limits);
    let svg = canvas.finish(medium, (WIDTH, HEIGHT), pulse.title, &description);
    Figure { svg, title: pulse.title.to_owned(), description }
}

/// Stands for a moment that cannot be drawn.
const GAP: (f64, f64) = (f64::NAN, f64::NAN);

/// The integration limits above the panel, with what was integrated.
fn bracket(canvas: &mut Canvas, level: &Axis, (lower, upper): (f64, f64), response: &str) {
    let (from, to, height) = (level.place(lower), level.place(upper), TOP - 10.0);
    canvas.open("limits");
    canvas.line((from, height), (to, height), BRACKET);
    for end in [from, to] {
        canvas.line((end, height - 4.0), (end, height + 4.0), BRACKET);
    }
    let span = format!("integrated from {} s to {} s", number(lower, 2), number(upper, 2));
    let text = if response.is_empty() { span } else { format!("{span}: {response}") };
    let text = cut_to(&text, RIGHT - LEFT);
    let half = text_width(&text) / 2.0;
    let middle = ((from + to) / 2.0).clamp(LEFT + half, (RIGHT - half).max(LEFT + half));
    canvas.text((middle, height - 7.0), Anchor::Middle, &text);
    canvas.close();
}

/// The part of a line between two moments, with its ends interpolated.
fn between(points: &[(f64, f64)], lower: f64, upper: f64) -> Vec<(f64, f64)> {
    let mut inside = Vec::new();
    let mut last: Option<(f64, f64)> = None;
    for &point in points.iter().filter(|point| point.0.is_finite()) {
        if let Some(before) = last {
            for edge in [lower, upper] {
                if before.0 < edge && edge < point.0 {
                    inside.push((edge, before.1 + (point.1 - before.1) * (edge - before.0) / (point.0 - before.0)));
                }
            }
        }
        if (lower..=upper).contains(&point.0) {
            inside.push(point);
        }
        last = Some(point);
    }
    inside
}

/// What is to be seen, from the numbers that are drawn.
fn describe(
    pulse: &Pulse<'_>,
    total: &[(f64, f64)],
    background: &[(f64, f64)],
    analyte: &[(f64, f64)],
    limits: Option<(f64, f64)>,
) -> String {
    let Some(peak) = highest(analyte) else {
        return format!("{}: no readings to draw.", pulse.title);
    };
    let mut said = format!("The analyte pulse peaks at {} at {} s", spoken(peak.1), spoken(peak.0));
    if let Some(lowest) =
        analyte.iter().filter(|point| point.1 < -0.02 * peak.1.abs()).min_by(|a, b| a.1.total_cmp(&b.1))
    {
        said.push_str(&format!(" and dips to {} at {} s", spoken(lowest.1), spoken(lowest.0)));
    }
    if let Some(total) = highest(total) {
        said.push_str(&format!("; total absorbance reaches {}", spoken(total.1)));
    }
    if let Some(background) = highest(background) {
        said.push_str(&format!(", background {} at {} s", spoken(background.1), spoken(background.0)));
    }
    said.push('.');
    if let Some((lower, upper)) = limits {
        said.push_str(&format!(" Integrated from {} s to {} s", number(lower, 2), number(upper, 2)));
        if !pulse.response.is_empty() {
            said.push_str(&format!(" to {}", pulse.response));
        }
        if let Some(end) = between(analyte, lower, upper).last() {
            said.push_str(&format!("; at the upper limit the pulse is at {}", spoken_beside(end.1, peak.1)));
        }
        said.push('.');
    }
    said
}

fn highest(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    points.iter().copied().filter(|point| point.1.is_finite()).max_by(|a, b| a.1.total_cmp(&b.1))
}

#[cfg(test)]
mod tests {
    use super::*;

    const EMPTY: Pulse<'_> = Pulse {
        id: "x",
        title: "x",
        time_s: &[],
        total: &[],
        background: &[],
        analyte: &[],
        baseline: None,
        limits_s: None,
        response: "",
    };

    #[test]
    fn a_reading_without_moments_says_so() {
        let drawn = pulse(&EMPTY, Medium::Page);
        assert!(drawn.svg.contains("no readings to draw") && drawn.description.contains("no readings to draw"));
    }

    #[test]
    fn slices_of_unequal_length_and_numbers_that_are_none_do_not_stop_the_figure() {
        let odd = Pulse {
            time_s: &[0.0, 1.0, f64::NAN, 3.0],
            total: &[0.1, f64::INFINITY, 0.2],
            background: &[1e308],
            analyte: &[0.1, 0.2, 0.3, 0.1, 9.0],
            baseline: Some(Baseline { at_lower_limit: f64::NAN, at_upper_limit: 0.0 }),
            limits_s: Some((2.0, 1.0)),
            ..EMPTY
        };
        let svg = pulse(&odd, Medium::Paper).svg;
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
    }

    #[test]
    fn the_integrated_area_ends_at_the_limits_between_two_moments() {
        let part = between(&[(0.0, 0.0), (1.0, 1.0), (2.0, 0.0)], 0.5, 1.75);
        assert_eq!(part, [(0.5, 0.5), (1.0, 1.0), (1.75, 0.25)]);
        assert_eq!(between(&[(0.0, 2.0), (1.0, 4.0)], 0.25, 0.5), [(0.25, 2.5), (0.5, 3.0)]);
    }

    #[test]
    fn the_same_reading_gives_the_same_bytes_and_its_own_ids() {
        let one = Pulse { id: "one", time_s: &[0.0, 1.0], total: &[0.0, 0.1], analyte: &[0.0, 0.1], ..EMPTY };
        assert_eq!(pulse(&one, Medium::Page), pulse(&one, Medium::Page));
        let ids = |figure: &Figure| -> Vec<String> {
            figure.svg.split(" id=\"").skip(1).map(|rest| rest.split('"').next().unwrap_or("").to_owned()).collect()
        };
        let (first, second) = (pulse(&one, Medium::Page), pulse(&Pulse { id: "two", ..one }, Medium::Page));
        assert!(!ids(&first).is_empty() && ids(&first).iter().all(|id| !ids(&second).contains(id)));
    }
}
