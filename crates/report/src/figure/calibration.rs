//! Calibration points, the fitted line, what was read back from it, and the residuals below.
//!
//! The caller gives the fitted line as points, so that a straight line, a bent one and a bracket are drawn alike. Discs count,
//! crosses were rejected, diamonds were read back. The lower panel shares the amounts of the upper one.

use super::axis::{Axis, Reach, spoken};
use super::canvas::{Anchor, Canvas, Pen};
use super::key::{Sample, key};
use super::label::{Occupied, cut_to};
use super::palette::{BLACK, BLUE, ORANGE, PALE_SKY, REDDISH_PURPLE};
use super::{Figure, Medium, Scale, drawable};

/// What a calibration figure shows.
#[derive(Debug, Clone, Copy)]
pub struct Calibration<'a> {
    /// Tells this figure's ids from those of others on the same page, like `run-17-cadmium`.
    pub id: &'a str,
    /// What was calibrated, like `cadmium at 228.8 nm, run 17`.
    pub title: &'a str,
    /// The level axis, like mass concentration in µg/L.
    pub amount: Scale<'a>,
    /// The upright axis, like integrated absorbance in s.
    pub response: Scale<'a>,
    /// The points as measured, rejected ones included.
    pub points: &'a [CalibrationPoint],
    /// The fitted line as (amount, response), ascending in amount.
    pub fitted: &'a [(f64, f64)],
    /// An interval about the line as (amount, lower, upper); empty for none.
    pub band: &'a [(f64, f64, f64)],
    /// What the band is, like `95 % prediction interval`.
    pub band_name: &'a str,
    /// What was read back from the line.
    pub read_back: &'a [ReadBack<'a>],
}

/// One calibration point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CalibrationPoint {
    /// Amount of the calibration standard.
    pub amount: f64,
    /// Its response.
    pub response: f64,
    /// Response less fitted response, where there is a line.
    pub residual: Option<f64>,
    /// Whether a person rejected it.
    pub rejected: bool,
}

/// An unknown read back from the line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReadBack<'a> {
    /// Its name, like `well-04`.
    pub name: &'a str,
    /// The amount found.
    pub amount: f64,
    /// The response it was found from.
    pub response: f64,
}

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 430.0;
const LEFT: f64 = 66.0;
const RIGHT: f64 = WIDTH - 16.0;
const MIDDLE: f64 = 274.0;
const RESIDUALS_TOP: f64 = 296.0;
const BOTTOM: f64 = HEIGHT - 46.0;

/// With more unknowns than this, the lines that lead from the axes to them would hide the panel.
const MOST_GUIDED: usize = 8;

const FITTED: Pen = Pen { colour: BLUE, width: 2.2, dashes: "" };
const BAND: Pen = Pen { colour: BLACK, width: 0.6, dashes: "3 2" };
const READ_BACK: Pen = Pen { colour: BLACK, width: 0.9, dashes: "1.5 2.5" };
const REJECTED: Pen = Pen { colour: REDDISH_PURPLE, width: 2.4, dashes: "" };
const STEM: Pen = Pen { colour: BLACK, width: 0.9, dashes: "" };

/// Draws a calibration with its residuals.
///
/// # Arguments
/// * `calibration`: points, line and unknowns; numbers that are not finite are left out.
/// * `medium`: where the figure is shown.
///
/// # Example
/// ```
/// use darkline_report::figure::{Calibration, CalibrationPoint, Medium, Scale, calibration};
/// let point = |amount, response, residual| CalibrationPoint { amount, response, residual: Some(residual), rejected: false };
/// let drawn = calibration(
///     &Calibration {
///         id: "run-17",
///         title: "cadmium at 228.8 nm, run 17",
///         amount: Scale { kind: "mass concentration", unit: "µg/L" },
///         response: Scale { kind: "integrated absorbance", unit: "s" },
///         points: &[point(0.0, 0.001, 0.0), point(2.0, 0.203, 0.001), point(4.0, 0.403, -0.001)],
///         fitted: &[(0.0, 0.001), (4.0, 0.404)],
///         band: &[],
///         band_name: "",
///         read_back: &[],
///     },
///     Medium::Paper,
/// );
/// assert!(drawn.description.starts_with("3 points from 0 µg/L to 4 µg/L."));
/// ```
pub fn calibration(calibration: &Calibration<'_>, medium: Medium) -> Figure {
    let points: Vec<CalibrationPoint> =
        calibration.points.iter().copied().filter(|point| drawable(point.amount) && drawable(point.response)).collect();
    let fitted: Vec<(f64, f64)> =
        calibration.fitted.iter().copied().filter(|point| drawable(point.0) && drawable(point.1)).collect();
    let band: Vec<(f64, f64, f64)> = calibration
        .band
        .iter()
        .copied()
        .filter(|point| drawable(point.0) && drawable(point.1) && drawable(point.2))
        .collect();
    let read_back: Vec<ReadBack<'_>> = calibration
        .read_back
        .iter()
        .copied()
        .filter(|found| drawable(found.amount) && drawable(found.response))
        .collect();

    let mut canvas = Canvas::new(calibration.id);
    let mut entries = vec![(Sample::Disc, "point")];
    if points.iter().any(|point| point.rejected) {
        entries.push((Sample::Cross(REJECTED), "rejected"));
    }
    entries.push((Sample::Line(FITTED), "fitted line"));
    if band.len() > 1 {
        entries.push((Sample::Band(PALE_SKY, BAND), calibration.band_name));
    }
    if !read_back.is_empty() {
        entries.push((Sample::Diamond(ORANGE), "read back"));
    }
    let top = key(&mut canvas, (LEFT, RIGHT), &entries) + 12.0;

    let amounts = points.iter().map(|point| point.amount).chain(fitted.iter().map(|point| point.0));
    let amounts = amounts.chain(band.iter().map(|point| point.0)).chain(read_back.iter().map(|found| found.amount));
    let responses = points.iter().map(|point| point.response).chain(fitted.iter().map(|point| point.1));
    let responses = responses.chain(band.iter().flat_map(|point| [point.1, point.2]));
    let responses = responses.chain(read_back.iter().map(|found| found.response));
    let level = Axis::over(amounts.chain([0.0]), LEFT, RIGHT, 8, Reach::Beyond);
    let upright = Axis::over(responses.chain([0.0]), MIDDLE, top, 5, Reach::Beyond);
    let residuals: Vec<(f64, f64, bool)> = points
        .iter()
        .filter_map(|point| {
            Some((point.amount, point.residual.filter(|&residual| drawable(residual))?, point.rejected))
        })
        .collect();
    // Zero in the middle, so that a residual's side is seen at once.
    let spread = 1.1 * residuals.iter().map(|residual| residual.1.abs()).fold(0.0, f64::max);
    let below = Axis::over([-spread, spread].into_iter(), BOTTOM, RESIDUALS_TOP, 3, Reach::Beyond);
    let place = |amount: f64, response: f64| (level.place(amount), upright.place(response));

    canvas.open("axes");
    canvas.upright_axis(&upright, LEFT, RIGHT);
    canvas.level_axis(&level, (LEFT, RIGHT), MIDDLE, false);
    canvas.upright_axis(&below, LEFT, RIGHT);
    canvas.line((LEFT, below.place(0.0)), (RIGHT, below.place(0.0)), STEM);
    canvas.level_axis(&level, (LEFT, RIGHT), BOTTOM, true);
    canvas.text(((LEFT + RIGHT) / 2.0, HEIGHT - 8.0), Anchor::Middle, &calibration.amount.label(level.power));
    let name = cut_to(&calibration.response.label(upright.power), MIDDLE - top + 30.0);
    canvas.text_upwards((14.0, (top + MIDDLE) / 2.0), &name);
    let residual = Scale { kind: "residual", unit: calibration.response.unit };
    canvas.text_upwards((14.0, (RESIDUALS_TOP + BOTTOM) / 2.0), &cut_to(&residual.label(below.power), 120.0));
    canvas.close();

    if band.len() > 1 {
        let upper: Vec<_> = band.iter().map(|point| place(point.0, point.2)).collect();
        let lower: Vec<_> = band.iter().map(|point| place(point.0, point.1)).collect();
        let around: Vec<_> = upper.iter().copied().chain(lower.iter().rev().copied()).collect();
        canvas.open("band");
        canvas.area(&around, PALE_SKY);
        canvas.polyline(&upper, BAND);
        canvas.polyline(&lower, BAND);
        canvas.close();
    }
    let mut occupied = Occupied::default();
    let line: Vec<_> = fitted.iter().map(|point| place(point.0, point.1)).collect();
    canvas.open("fitted");
    canvas.polyline(&line, FITTED);
    canvas.close();
    for pair in line.windows(2) {
        occupied.line(pair[0], pair[1]);
    }
    canvas.open("read-back");
    for found in &read_back {
        let (x, y) = place(found.amount, found.response);
        occupied.mark((x, y), 7.0);
        if read_back.len() <= MOST_GUIDED {
            canvas.line((LEFT, y), (x, y), READ_BACK);
            canvas.line((x, y), (x, MIDDLE), READ_BACK);
            occupied.line((x, y), (x, MIDDLE));
            occupied.line((LEFT, y), (x, y));
        }
    }
    canvas.close();
    canvas.open("points");
    for point in &points {
        let at = place(point.amount, point.response);
        occupied.mark(at, 7.0);
        mark(&mut canvas, at, point.rejected);
    }
    for &(amount, residual, rejected) in &residuals {
        let at = (level.place(amount), below.place(residual));
        if !rejected {
            canvas.line((at.0, below.place(0.0)), at, STEM);
        }
        mark(&mut canvas, at, rejected);
    }
    canvas.close();
    canvas.open("names");
    for found in &read_back {
        let at = place(found.amount, found.response);
        canvas.diamond(at, 6.0, ORANGE);
    }
    for found in &read_back {
        let name = cut_to(found.name, 150.0);
        let at = place(found.amount, found.response);
        if let Some((at, anchor)) = occupied.find(&name, at, (LEFT + 3.0, RIGHT), (top, MIDDLE - 2.0)) {
            canvas.text(at, anchor, &name);
        }
    }
    canvas.close();
    let description = describe(calibration, &points, &residuals, &fitted, &read_back);
    let svg = canvas.finish(medium, (WIDTH, HEIGHT), calibration.title, &description);
    Figure { svg, title: calibration.title.to_owned(), description }
}

fn mark(canvas: &mut Canvas, at: (f64, f64), rejected: bool) {
    if rejected {
        canvas.cross(at, 4.5, REJECTED);
    } else {
        canvas.disc(at, 3.4);
    }
}

/// What is to be seen, from the numbers that are drawn.
fn describe(
    calibration: &Calibration<'_>,
    points: &[CalibrationPoint],
    residuals: &[(f64, f64, bool)],
    fitted: &[(f64, f64)],
    read_back: &[ReadBack<'_>],
) -> String {
    let amount = |value: f64| calibration.amount.with_unit(&spoken(value));
    let response = |value: f64| calibration.response.with_unit(&spoken(value));
    let lowest = points.iter().map(|point| point.amount).fold(f64::INFINITY, f64::min);
    let highest = points.iter().map(|point| point.amount).fold(f64::NEG_INFINITY, f64::max);
    if points.is_empty() {
        return format!("{}: no points to draw.", calibration.title);
    }
    let counted = if points.len() == 1 { "1 point".to_owned() } else { format!("{} points", points.len()) };
    let rejected = points.iter().filter(|point| point.rejected).count();
    let mut said = format!("{counted} from {} to {}", amount(lowest), amount(highest));
    if rejected > 0 {
        said.push_str(&format!(", {rejected} of them rejected"));
    }
    said.push('.');
    if let (Some(first), Some(last)) = (fitted.first(), fitted.last()) {
        let verb = if last.1 >= first.1 { "rises" } else { "falls" };
        said.push_str(&format!(" The fitted line {verb} from {} to {}.", response(first.1), response(last.1)));
    }
    let kept = residuals.iter().filter(|residual| !residual.2);
    if let Some(largest) = kept.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())) {
        said.push_str(&format!(" The largest residual is {} at {}.", response(largest.1), amount(largest.0)));
    }
    if !read_back.is_empty() {
        let found: Vec<_> =
            read_back.iter().map(|found| format!("{} at {}", found.name, amount(found.amount))).collect();
        said.push_str(&format!(" Read back: {}.", found.join(", ")));
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    const BARE: Calibration<'_> = Calibration {
        id: "x",
        title: "x",
        amount: Scale { kind: "mass concentration", unit: "µg/L" },
        response: Scale { kind: "integrated absorbance", unit: "s" },
        points: &[],
        fitted: &[],
        band: &[],
        band_name: "",
        read_back: &[],
    };

    fn point(amount: f64, response: f64) -> CalibrationPoint {
        CalibrationPoint { amount, response, residual: Some(0.0), rejected: false }
    }

    #[test]
    fn no_points_one_point_and_equal_points_are_drawn() {
        for points in [&[][..], &[point(1.0, 0.1)], &[point(0.0, 0.0), point(0.0, 0.0)], &[point(f64::NAN, 1.0)]] {
            let svg = calibration(&Calibration { points, ..BARE }, Medium::Page).svg;
            assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        }
    }

    #[test]
    fn a_rejected_point_is_a_cross_in_both_panels_and_is_counted() {
        let points = [point(0.0, 0.0), CalibrationPoint { rejected: true, ..point(1.0, 0.3) }, point(2.0, 0.2)];
        let drawn = calibration(&Calibration { points: &points, ..BARE }, Medium::Page);
        // Two strokes a cross: one in each panel and one in the key.
        assert_eq!(drawn.svg.matches(REDDISH_PURPLE).count(), 6);
        assert!(drawn.description.contains("3 points from 0 µg/L to 2 µg/L, 1 of them rejected."));
    }

    #[test]
    fn forty_unknowns_at_one_place_get_no_labels_over_each_other() {
        let read_back = [ReadBack { name: "well-04", amount: 1.0, response: 0.1 }; 40];
        let drawn =
            calibration(&Calibration { read_back: &read_back, points: &[point(2.0, 0.2)], ..BARE }, Medium::Page);
        let labels = drawn.svg.matches(">well-04</text>").count();
        assert!((1..=9).contains(&labels), "{labels} labels");
    }

    #[test]
    fn the_description_names_line_residual_and_what_was_read_back() {
        let points = [CalibrationPoint { residual: Some(-0.004), ..point(2.0, 0.2) }];
        let found = [ReadBack { name: "well-04", amount: 0.41, response: 0.043 }];
        let drawn = calibration(
            &Calibration { points: &points, fitted: &[(0.0, 0.001), (5.0, 0.507)], read_back: &found, ..BARE },
            Medium::Page,
        );
        assert_eq!(
            drawn.description,
            "1 point from 2 µg/L to 2 µg/L. The fitted line rises from 0.001 s to 0.507 s. \
             The largest residual is −0.004 s at 2 µg/L. Read back: well-04 at 0.41 µg/L."
        );
    }

    #[test]
    fn the_intercept_of_standard_additions_keeps_its_name() {
        let found = [ReadBack { name: "S-07", amount: -2.0, response: 0.0 }];
        let additions =
            Calibration { points: &[point(3.0, 0.5)], fitted: &[(-2.0, 0.0), (3.0, 0.5)], read_back: &found, ..BARE };
        assert!(calibration(&additions, Medium::Page).svg.contains(">S-07</text>"));
    }
}
