//! The panel that figures of absorbance over time stand on: axes, lines, limits above it.

use super::axis::{Axis, Reach};
use super::canvas::{Anchor, Canvas, Pen};
use super::label::{cut_to, text_width};
use super::palette::BLACK;
use super::{Scale, drawable};

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 320.0;
const LEFT: f64 = 62.0;
const RIGHT: f64 = WIDTH - 14.0;
const TOP: f64 = 76.0;
const BOTTOM: f64 = HEIGHT - 46.0;
const LIMIT: Pen = Pen { colour: BLACK, width: 0.9, dashes: "1.5 2.5" };
const LEVEL: Pen = Pen { colour: BLACK, width: 1.0, dashes: "7 3 1.5 3" };
const BRACKET: Pen = Pen { colour: BLACK, width: 1.0, dashes: "" };

/// Stands for a moment that cannot be drawn.
const GAP: (f64, f64) = (f64::NAN, f64::NAN);

/// Width and height of the whole figure.
pub(super) const SIZE: (f64, f64) = (WIDTH, HEIGHT);
/// Left and right end of the panel.
pub(super) const ENDS: (f64, f64) = (LEFT, RIGHT);

/// Pairs of moment and value; what cannot be drawn leaves a gap.
pub(super) fn series(time_s: &[f64], values: &[f64]) -> Vec<(f64, f64)> {
    let pairs = time_s.iter().copied().zip(values.iter().copied());
    pairs.map(|(time, value)| if drawable(time) && drawable(value) { (time, value) } else { GAP }).collect()
}

/// The highest point that can be drawn.
pub(super) fn highest(points: &[(f64, f64)]) -> Option<(f64, f64)> {
    points.iter().copied().filter(|point| point.1.is_finite()).max_by(|a, b| a.1.total_cmp(&b.1))
}

/// Axes of time and absorbance.
pub(super) struct TimePanel {
    level: Axis,
    upright: Axis,
}

impl TimePanel {
    /// Axes that hold some lines, and moments besides.
    pub(super) fn over(lines: &[&[(f64, f64)]], moments: &[f64]) -> Self {
        let points = || lines.iter().flat_map(|line| line.iter());
        let level =
            Axis::over(points().map(|point| point.0).chain(moments.iter().copied()), LEFT, RIGHT, 6, Reach::Exact);
        let upright = Axis::over(points().map(|point| point.1).chain([0.0]), BOTTOM, TOP, 5, Reach::BeyondButZero);
        Self { level, upright }
    }

    /// Draws the axes with their labels, and the zero line where values lie below it.
    pub(super) fn axes(&self, canvas: &mut Canvas) {
        canvas.open("axes");
        canvas.upright_axis(&self.upright, LEFT, RIGHT);
        canvas.level_axis(&self.level, (LEFT, RIGHT), BOTTOM, true);
        let time = Scale { kind: "time", unit: "s" };
        canvas.text(((LEFT + RIGHT) / 2.0, HEIGHT - 8.0), Anchor::Middle, &time.label(self.level.power));
        let absorbance = Scale { kind: "absorbance", unit: "" };
        canvas.text_upwards((16.0, (TOP + BOTTOM) / 2.0), &absorbance.label(self.upright.power));
        if self.upright.low() < 0.0 {
            let zero = self.upright.place(0.0);
            canvas.line((LEFT, zero), (RIGHT, zero), Pen { colour: BLACK, width: 0.6, dashes: "" });
        }
        canvas.close();
    }

    /// Draws a line.
    pub(super) fn line(&self, canvas: &mut Canvas, name: &str, points: &[(f64, f64)], pens: &[Pen]) {
        let placed: Vec<(f64, f64)> =
            points.iter().map(|&(time, value)| (self.level.place(time), self.upright.place(value))).collect();
        canvas.open(name);
        for pen in pens {
            canvas.polyline(&placed, *pen);
        }
        canvas.close();
    }

    /// Draws a level across the panel with its name at the right end.
    pub(super) fn level(&self, canvas: &mut Canvas, value: f64, name: &str) {
        let y = self.upright.place(value);
        if !drawable(value) || !(TOP..=BOTTOM).contains(&y) {
            return;
        }
        canvas.open("level");
        canvas.line((LEFT, y), (RIGHT, y), LEVEL);
        canvas.text((RIGHT - 4.0, y - 4.0), Anchor::End, name);
        canvas.close();
    }

    /// Draws two moments as dotted lines and brackets them above the panel with some words.
    pub(super) fn bracket(&self, canvas: &mut Canvas, (from, to): (f64, f64), words: &str) {
        if !(drawable(from) && drawable(to)) || from >= to {
            return;
        }
        let (left, right, height) = (self.level.place(from), self.level.place(to), TOP - 10.0);
        canvas.open("limits");
        for end in [left, right] {
            canvas.line((end, TOP - 6.0), (end, BOTTOM), LIMIT);
            canvas.line((end, height - 4.0), (end, height + 4.0), BRACKET);
        }
        canvas.line((left, height), (right, height), BRACKET);
        let words = cut_to(words, RIGHT - LEFT);
        let half = text_width(&words) / 2.0;
        let middle = ((left + right) / 2.0).clamp(LEFT + half, (RIGHT - half).max(LEFT + half));
        canvas.text((middle, height - 7.0), Anchor::Middle, &words);
        canvas.close();
    }

    /// Says in the panel that there is nothing to draw.
    pub(super) fn nothing(&self, canvas: &mut Canvas) {
        canvas.text(((LEFT + RIGHT) / 2.0, (TOP + BOTTOM) / 2.0), Anchor::Middle, "no readings to draw");
    }
}
