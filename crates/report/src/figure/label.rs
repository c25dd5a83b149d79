//! Where a label can stand without covering anything.
//!
//! [`Occupied`] remembers what has been drawn; [`Occupied::find`] tries places in order of preference. A label that fits
//! nowhere is left out: its figure stands in the table beside the drawing.

use super::canvas::{Anchor, TEXT_SIZE};

/// The places already taken, as upright rectangles.
#[derive(Debug, Default)]
pub(crate) struct Occupied {
    taken: Vec<Rectangle>,
}

#[derive(Debug, Clone, Copy)]
struct Rectangle {
    left: f64,
    top: f64,
    right: f64,
    bottom: f64,
}

impl Rectangle {
    fn meets(&self, other: &Self) -> bool {
        self.left < other.right && other.left < self.right && self.top < other.bottom && other.top < self.bottom
    }
}

impl Occupied {
    /// Takes the square around a mark.
    pub(crate) fn mark(&mut self, at: (f64, f64), radius: f64) {
        self.take(at.0 - radius, at.1 - radius, at.0 + radius, at.1 + radius);
    }

    /// Takes a line in short pieces, so that a slanted one leaves the room beside it free.
    pub(crate) fn line(&mut self, from: (f64, f64), to: (f64, f64)) {
        if ![from.0, from.1, to.0, to.1].iter().all(|number| number.is_finite()) {
            return;
        }
        let length = (to.0 - from.0).abs().max((to.1 - from.1).abs());
        let pieces = libm::ceil(length / 4.0).clamp(1.0, 400.0);
        for piece in 0..=(pieces as u32) {
            let along = f64::from(piece) / pieces;
            self.mark((from.0 + (to.0 - from.0) * along, from.1 + (to.1 - from.1) * along), 2.5);
        }
    }

    fn take(&mut self, left: f64, top: f64, right: f64, bottom: f64) {
        self.taken.push(Rectangle { left, top, right, bottom });
    }

    /// The first free place for `text` beside a mark, inside `ends` (left, right) and `heights` (top, bottom); taken when found.
    pub(crate) fn find(
        &mut self,
        text: &str,
        mark: (f64, f64),
        ends: (f64, f64),
        heights: (f64, f64),
    ) -> Option<((f64, f64), Anchor)> {
        let width = text_width(text);
        let beside = [
            (9.0, 14.0, Anchor::Start),
            (9.0, 4.0, Anchor::Start),
            (-9.0, -6.0, Anchor::End),
            (-9.0, 4.0, Anchor::End),
            (0.0, -10.0, Anchor::Middle),
            (0.0, 19.0, Anchor::Middle),
            (0.0, -18.0, Anchor::Middle),
            (22.0, 24.0, Anchor::Start),
            (-22.0, -18.0, Anchor::End),
        ];
        for (right_by, down_by, anchor) in beside {
            let at = (mark.0 + right_by, mark.1 + down_by);
            let left = match anchor {
                Anchor::Start => at.0,
                Anchor::Middle => at.0 - width / 2.0,
                Anchor::End => at.0 - width,
            };
            let place = Rectangle {
                left: left - 2.0,
                top: at.1 - TEXT_SIZE * 0.8,
                right: left + width + 2.0,
                bottom: at.1 + TEXT_SIZE * 0.3,
            };
            let inside =
                place.left >= ends.0 && place.right <= ends.1 && place.top >= heights.0 && place.bottom <= heights.1;
            if inside && !self.taken.iter().any(|taken| taken.meets(&place)) {
                self.taken.push(place);
                return Some((at, anchor));
            }
        }
        None
    }
}

/// Width of a text in the figure's units, estimated a little wide: the letters of a page are not known here.
pub(crate) fn text_width(text: &str) -> f64 {
    let share = |character: char| match character {
        '.' | ',' | ':' | ';' | '\'' | 'i' | 'j' | 'l' | '|' | '!' => 0.3,
        'm' | 'w' | 'M' | 'W' | '×' => 0.85,
        'A'..='Z' => 0.7,
        ' ' => 0.28,
        'a'..='z' | '0'..='9' | '-' | '−' | '/' => 0.53,
        _ => 0.75,
    };
    text.chars().map(share).sum::<f64>() * TEXT_SIZE
}

/// A text cut to a width, with an ellipsis where something is left out.
pub(crate) fn cut_to(text: &str, width: f64) -> String {
    if text_width(text) <= width {
        return text.to_owned();
    }
    let mut kept = String::new();
    for character in text.chars() {
        kept.push(character);
        if text_width(&kept) + TEXT_SIZE > width {
            kept.pop();
            break;
        }
    }
    format!("{}…", kept.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_labels_at_one_mark_do_not_meet_and_a_full_corner_gets_none() {
        let mut occupied = Occupied::default();
        let find = |occupied: &mut Occupied| occupied.find("well-04", (100.0, 100.0), (0.0, 200.0), (0.0, 200.0));
        let mut found = Vec::new();
        while let Some((at, _)) = find(&mut occupied) {
            assert!(!found.contains(&at), "the place {at:?} was given twice");
            found.push(at);
        }
        assert!((2..=9).contains(&found.len()), "found {found:?}");
    }

    #[test]
    fn a_label_stays_inside_the_panel() {
        let mut occupied = Occupied::default();
        let (at, anchor) = occupied.find("well-04", (195.0, 100.0), (0.0, 200.0), (0.0, 200.0)).unwrap();
        assert!(anchor == Anchor::End && at.0 < 195.0);
        assert_eq!(occupied.find("wider than the whole panel is", (5.0, 5.0), (0.0, 50.0), (0.0, 50.0)), None);
    }

    #[test]
    fn a_long_text_is_cut_and_says_so() {
        assert_eq!(cut_to("well-04", 100.0), "well-04");
        let cut = cut_to(&"n".repeat(10_000), 100.0);
        assert!(cut.ends_with('…') && text_width(&cut) < 110.0);
    }
}
