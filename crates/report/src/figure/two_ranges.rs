//! Two ranges of one firing over time: the sensitive net pulse and the reduced one, with the roll-over of the sensitive range.
//!
//! The thick blue line is the sensitive range, the black dashes are the reduced one; a key above the panel names them.

use super::axis::{number, spoken};
use super::canvas::{Canvas, Pen};
use super::key::{Sample, key};
use super::palette::{BLACK, BLUE};
use super::time_panel::{ENDS, SIZE, TimePanel, highest, series};
use super::{Figure, Medium};

/// What a figure of two ranges shows. The slices run together, moment by moment.
#[derive(Debug, Clone, Copy)]
pub struct TwoRanges<'a> {
    /// Tells this figure's ids from those of others on the same page, like `reading-204`.
    pub id: &'a str,
    /// What was read.
    pub title: &'a str,
    /// Moments since the start of the atomisation step, in seconds, ascending.
    pub time_s: &'a [f64],
    /// Net absorbance of the sensitive range.
    pub sensitive: &'a [f64],
    /// Net absorbance of the reduced range.
    pub reduced: &'a [f64],
    /// Highest net absorbance the sensitive range can show.
    pub roll_over: Option<f64>,
    /// Lower and upper integration limit, in seconds.
    pub limits_s: Option<(f64, f64)>,
    /// The joined response with its unit, like `0.842 s`; empty where there is none.
    pub response: &'a str,
    /// Part that the sensitive range has in it, from 0 to 1.
    pub weight_sensitive: Option<f64>,
}

const SENSITIVE: Pen = Pen { colour: BLUE, width: 2.8, dashes: "" };
const REDUCED: Pen = Pen { colour: BLACK, width: 1.8, dashes: "9 4" };
const LEVEL: Pen = Pen { colour: BLACK, width: 1.0, dashes: "7 3 1.5 3" };

/// Draws both ranges of one firing.
///
/// # Arguments
/// * `ranges`: the firing; numbers that are not finite leave a gap.
/// * `medium`: where the figure is shown.
///
/// # Example
/// ```
/// use darkline_report::figure::{Medium, TwoRanges, two_ranges};
/// let drawn = two_ranges(
///     &TwoRanges {
///         id: "reading-9",
///         title: "dust-02, reading 9",
///         time_s: &[0.0, 0.5, 1.0],
///         sensitive: &[0.0, 0.9, 0.1],
///         reduced: &[0.0, 0.3, 0.03],
///         roll_over: Some(1.4),
///         limits_s: Some((0.0, 1.0)),
///         response: "0.51 s",
///         weight_sensitive: Some(1.0),
///     },
///     Medium::Page,
/// );
/// assert!(drawn.description.contains("the sensitive range peaks at 0.9"));
/// ```
pub fn two_ranges(ranges: &TwoRanges<'_>, medium: Medium) -> Figure {
    let (sensitive, reduced) = (series(ranges.time_s, ranges.sensitive), series(ranges.time_s, ranges.reduced));
    let roll_over = ranges.roll_over.filter(|level| super::drawable(*level));
    let level = roll_over.map_or_else(Vec::new, |level| vec![(f64::NAN, level)]);
    let moments: Vec<f64> = ranges.limits_s.into_iter().flat_map(|(from, to)| [from, to]).collect();
    let panel = TimePanel::over(&[&sensitive, &reduced, &level], &moments);
    let mut canvas = Canvas::new(ranges.id);
    panel.axes(&mut canvas);
    panel.line(&mut canvas, "sensitive", &sensitive, &[SENSITIVE]);
    panel.line(&mut canvas, "reduced", &reduced, &[REDUCED]);
    if let Some(level) = roll_over {
        panel.level(&mut canvas, level, "roll-over");
    }
    if let Some(limits) = ranges.limits_s {
        panel.bracket(&mut canvas, limits, &joined_words(ranges, limits));
    }
    let mut entries = vec![(Sample::Line(SENSITIVE), "sensitive range"), (Sample::Line(REDUCED), "reduced range")];
    if roll_over.is_some() {
        entries.push((Sample::Line(LEVEL), "roll-over of the sensitive range"));
    }
    key(&mut canvas, ENDS, &entries);
    let description = describe(ranges, highest(&sensitive), highest(&reduced), roll_over);
    if highest(&sensitive).is_none() && highest(&reduced).is_none() {
        panel.nothing(&mut canvas);
    }
    let svg = canvas.finish(medium, SIZE, ranges.title, &description);
    Figure { svg, title: ranges.title.to_owned(), description }
}

fn joined_words(ranges: &TwoRanges<'_>, (from, to): (f64, f64)) -> String {
    let mut words = format!("integrated from {} s to {} s", number(from, 2), number(to, 2));
    if !ranges.response.is_empty() {
        words.push_str(&format!(": {}", ranges.response));
    }
    if let Some(weight) = ranges.weight_sensitive.filter(|weight| (0.0..=1.0).contains(weight)) {
        words.push_str(&format!(", {} % of it from the sensitive range", number(100.0 * weight, 0)));
    }
    words
}

fn describe(
    ranges: &TwoRanges<'_>,
    sensitive: Option<(f64, f64)>,
    reduced: Option<(f64, f64)>,
    roll_over: Option<f64>,
) -> String {
    let (Some(sensitive), Some(reduced)) = (sensitive, reduced) else {
        return format!("{}: no readings to draw.", ranges.title);
    };
    let mut said = format!(
        "Of one firing, the sensitive range peaks at {} at {} s and the reduced range at {} at {} s",
        spoken(sensitive.1),
        spoken(sensitive.0),
        spoken(reduced.1),
        spoken(reduced.0)
    );
    if let Some(level) = roll_over {
        said.push_str(&format!("; the sensitive range can show {} at most", spoken(level)));
    }
    said.push('.');
    if let Some(limits) = ranges.limits_s {
        let words = joined_words(ranges, limits);
        said.push_str(&format!(" I{}.", &words[1..]));
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;

    const EMPTY: TwoRanges<'_> = TwoRanges {
        id: "x",
        title: "x",
        time_s: &[],
        sensitive: &[],
        reduced: &[],
        roll_over: None,
        limits_s: None,
        response: "",
        weight_sensitive: None,
    };

    #[test]
    fn nothing_to_draw_is_said() {
        let drawn = two_ranges(&EMPTY, Medium::Paper);
        assert!(drawn.svg.contains("no readings to draw") && drawn.description.contains("no readings to draw"));
    }

    #[test]
    fn numbers_that_are_none_do_not_stop_the_figure_and_lines_differ_by_style() {
        let odd = TwoRanges {
            time_s: &[0.0, 1.0, f64::NAN, 3.0],
            sensitive: &[0.1, f64::INFINITY, 0.2, 0.4],
            reduced: &[1e308],
            roll_over: Some(f64::NAN),
            limits_s: Some((2.0, f64::INFINITY)),
            weight_sensitive: Some(7.0),
            ..EMPTY
        };
        let svg = two_ranges(&odd, Medium::Paper).svg;
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        assert!(svg.contains("stroke-dasharray=\"9 4\"") && svg.contains("reduced range"));
        assert_eq!(two_ranges(&odd, Medium::Page), two_ranges(&odd, Medium::Page));
    }
}
