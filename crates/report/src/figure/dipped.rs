//! A dipped pulse with its restoration: the net absorbance as measured, the total that proves the dip, the pulse restored.
//!
//! The thick blue line is the net pulse as measured, the thin black line the total, the black dash-dots the restored pulse; the
//! stretch beyond the roll-over is bracketed above the panel.

use super::axis::{number, spoken};
use super::canvas::{Canvas, Pen};
use super::key::{Sample, key};
use super::palette::{BLACK, BLUE};
use super::time_panel::{ENDS, SIZE, TimePanel, highest, series};
use super::{Figure, Medium};

/// What a figure of a dipped pulse shows. The slices run together, moment by moment.
#[derive(Debug, Clone, Copy)]
pub struct Dipped<'a> {
    /// Tells this figure's ids from those of others on the same page, like `reading-204`.
    pub id: &'a str,
    /// What was read.
    pub title: &'a str,
    /// Moments since the start of the atomisation step, in seconds, ascending.
    pub time_s: &'a [f64],
    /// Total absorbance.
    pub total: &'a [f64],
    /// Net absorbance as measured.
    pub net: &'a [f64],
    /// The pulse restored, on the scale of the net absorbance below the roll-over.
    pub restored: &'a [f64],
    /// Highest net absorbance there is.
    pub roll_over: f64,
    /// From when to when the pulse was beyond the roll-over, in seconds.
    pub dip_s: Option<(f64, f64)>,
    /// The restored response with its uncertainty and unit, like `(2.74 ± 0.03) s`; empty where there is none.
    pub response: &'a str,
}

const TOTAL: Pen = Pen { colour: BLACK, width: 1.1, dashes: "" };
const NET: Pen = Pen { colour: BLUE, width: 2.8, dashes: "" };
const RESTORED: Pen = Pen { colour: BLACK, width: 2.2, dashes: "11 4 2 4" };
const LEVEL: Pen = Pen { colour: BLACK, width: 1.0, dashes: "7 3 1.5 3" };

/// Draws a dipped pulse and its restoration.
///
/// # Arguments
/// * `dipped`: the reading; numbers that are not finite leave a gap.
/// * `medium`: where the figure is shown.
///
/// # Example
/// ```
/// use darkline_report::figure::{Dipped, Medium, dipped};
/// let drawn = dipped(
///     &Dipped {
///         id: "reading-9",
///         title: "dust-02, reading 9",
///         time_s: &[0.0, 0.4, 0.8, 1.2, 1.6],
///         total: &[0.0, 1.9, 2.0, 1.9, 0.0],
///         net: &[0.0, 1.5, 1.1, 1.5, 0.0],
///         restored: &[0.0, 2.4, 4.0, 2.4, 0.0],
///         roll_over: 1.53,
///         dip_s: Some((0.4, 1.2)),
///         response: "(3.52 ± 0.06) s",
///     },
///     Medium::Page,
/// );
/// assert!(drawn.description.contains("restored, it peaks at 4"));
/// ```
pub fn dipped(dipped: &Dipped<'_>, medium: Medium) -> Figure {
    let of = |values: &[f64]| series(dipped.time_s, values);
    let (total, net, restored) = (of(dipped.total), of(dipped.net), of(dipped.restored));
    let moments: Vec<f64> = dipped.dip_s.into_iter().flat_map(|(from, to)| [from, to]).collect();
    let panel = TimePanel::over(&[&total, &net, &restored, &[(f64::NAN, dipped.roll_over)]], &moments);
    let mut canvas = Canvas::new(dipped.id);
    panel.axes(&mut canvas);
    panel.line(&mut canvas, "restored", &restored, &[RESTORED]);
    panel.line(&mut canvas, "net", &net, &[NET]);
    panel.line(&mut canvas, "total", &total, &[TOTAL]);
    panel.level(&mut canvas, dipped.roll_over, "roll-over");
    if let Some(dip) = dipped.dip_s {
        panel.bracket(&mut canvas, dip, &words(dipped, dip));
    }
    let entries = [
        (Sample::Line(TOTAL), "total"),
        (Sample::Line(NET), "net as measured"),
        (Sample::Line(RESTORED), "net restored"),
        (Sample::Line(LEVEL), "roll-over"),
    ];
    key(&mut canvas, ENDS, &entries);
    if highest(&net).is_none() {
        panel.nothing(&mut canvas);
    }
    let description = describe(dipped, highest(&net), highest(&restored));
    let svg = canvas.finish(medium, SIZE, dipped.title, &description);
    Figure { svg, title: dipped.title.to_owned(), description }
}

fn words(dipped: &Dipped<'_>, (from, to): (f64, f64)) -> String {
    let span = format!("beyond the roll-over from {} s to {} s", number(from, 2), number(to, 2));
    if dipped.response.is_empty() { span } else { format!("{span}; restored area {}", dipped.response) }
}

fn describe(dipped: &Dipped<'_>, net: Option<(f64, f64)>, restored: Option<(f64, f64)>) -> String {
    let (Some(net), Some(restored)) = (net, restored) else {
        return format!("{}: no readings to draw.", dipped.title);
    };
    let mut said = format!("The net absorbance as measured reaches {}", spoken(net.1));
    if dipped.dip_s.is_some() {
        said.push_str(" twice and dips between, while the total does not");
    }
    said.push_str(&format!("; restored, it peaks at {} at {} s.", spoken(restored.1), spoken(restored.0)));
    if let Some(dip) = dipped.dip_s {
        let words = words(dipped, dip);
        said.push_str(&format!(" B{}.", &words[1..]));
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_that_are_none_do_not_stop_the_figure_and_lines_differ_by_style() {
        let odd = Dipped {
            id: "x",
            title: "x",
            time_s: &[0.0, 1.0, f64::NAN, 3.0],
            total: &[0.1, f64::INFINITY],
            net: &[1e308, 0.2, 0.3, 0.4],
            restored: &[],
            roll_over: f64::NAN,
            dip_s: Some((3.0, 1.0)),
            response: "",
        };
        let drawn = dipped(&odd, Medium::Paper);
        assert!(!drawn.svg.contains("NaN") && !drawn.svg.contains("inf"), "{}", drawn.svg);
        assert!(drawn.description.contains("no readings to draw"));
        for style in ["stroke-dasharray=\"11 4 2 4\"", "net restored", "net as measured", "roll-over"] {
            assert!(drawn.svg.contains(style), "{style}");
        }
    }
}
