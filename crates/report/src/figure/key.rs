//! The key above a figure: each line or mark as it is drawn, then its name.
//!
//! Entries stand in rows; one that does not fit starts the next row, so that no name is cut unless it is wider than the panel.

use super::canvas::{Anchor, Canvas, Pen, TEXT_SIZE};
use super::label::{cut_to, text_width};

/// A sample of what is drawn.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Sample {
    /// Lines over each other.
    Line(Pen),
    /// Dashes with an outline.
    Outlined(Pen, Pen),
    /// A filled area between two lines.
    Band(&'static str, Pen),
    /// A disc.
    Disc,
    /// A cross.
    Cross(Pen),
    /// A diamond.
    Diamond(&'static str),
}

const ROW: f64 = 18.0;
const GAP: f64 = 16.0;

impl Sample {
    fn width(self) -> f64 {
        match self {
            Self::Line(_) | Self::Outlined(..) | Self::Band(..) => 29.0,
            Self::Disc | Self::Cross(_) | Self::Diamond(_) => 12.0,
        }
    }

    fn draw(self, canvas: &mut Canvas, x: f64, y: f64) {
        let (end, middle) = (x + self.width(), (x + self.width() / 2.0, y));
        match self {
            Self::Line(pen) => canvas.line((x, y), (end, y), pen),
            Self::Outlined(outline, inside) => {
                canvas.line((x, y), (end, y), outline);
                canvas.line((x, y), (end, y), inside);
            }
            Self::Band(fill, pen) => {
                canvas.area(&[(x, y - 5.0), (end, y - 5.0), (end, y + 5.0), (x, y + 5.0)], fill);
                canvas.line((x, y - 5.0), (end, y - 5.0), pen);
                canvas.line((x, y + 5.0), (end, y + 5.0), pen);
            }
            Self::Disc => canvas.disc(middle, 3.4),
            Self::Cross(pen) => canvas.cross(middle, 4.5, pen),
            Self::Diamond(fill) => canvas.diamond(middle, 6.0, fill),
        }
    }
}

/// Draws the entries between `left` and `right` and gives the height they take.
pub(crate) fn key(canvas: &mut Canvas, (left, right): (f64, f64), entries: &[(Sample, &str)]) -> f64 {
    let (mut x, mut row) = (left, 0.0);
    canvas.open("key");
    for &(sample, name) in entries {
        let name = cut_to(name, right - left - sample.width() - 6.0);
        let width = sample.width() + 6.0 + text_width(&name);
        if x > left && x + width > right {
            x = left;
            row += 1.0;
        }
        let y = 12.0 + row * ROW;
        sample.draw(canvas, x, y);
        canvas.text((x + sample.width() + 6.0, y + TEXT_SIZE * 0.33), Anchor::Start, &name);
        x += width + GAP;
    }
    canvas.close();
    (row + 1.0) * ROW
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_entry_that_does_not_fit_starts_a_row() {
        let height = |names: &[&str]| {
            let entries: Vec<_> = names.iter().map(|&name| (Sample::Disc, name)).collect();
            key(&mut Canvas::new("x"), (0.0, 200.0), &entries)
        };
        assert_eq!(height(&["one", "two"]), ROW);
        assert_eq!(height(&["a name of some length", "another of some length"]), 2.0 * ROW);
        assert_eq!(height(&["n".repeat(500).as_str()]), ROW);
    }
}
