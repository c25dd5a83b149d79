//! A budget: one bar a source, its length the share of the variance.
//!
//! The share stands beside its bar as a number, the contribution behind it with its unit, so that nothing has to be measured
//! off the drawing.

use super::canvas::{Anchor, Canvas, Pen};
use super::label::cut_to;
use super::palette::{BLACK, BLUE};
use super::{Figure, Medium, drawable};

/// What a budget figure shows.
#[derive(Debug, Clone, Copy)]
pub struct Budget<'a> {
    /// Tells this figure's ids from those of others on the same page, like `S03-Pb`.
    pub id: &'a str,
    /// What the result is, like `Pb in S03`.
    pub title: &'a str,
    /// The unit of the contributions.
    pub unit: &'a str,
    /// The sources, largest share first.
    pub shares: &'a [Share<'a>],
}

/// One source of a budget.
#[derive(Debug, Clone, PartialEq)]
pub struct Share<'a> {
    /// What it is.
    pub source: &'a str,
    /// Its share of the variance, from 0 to 1; a negative one, from a correlation, has no bar.
    pub share: f64,
    /// Its contribution to u, printed.
    pub u: String,
}

const WIDTH: f64 = 640.0;
const LEFT: f64 = 190.0;
const RIGHT: f64 = 470.0;
const ROW: f64 = 26.0;
const BAR: f64 = 14.0;
const AXIS: Pen = Pen { colour: BLACK, width: 1.0, dashes: "" };

/// Draws a budget.
///
/// # Example
/// ```
/// use darkline_report::figure::{Budget, Medium, Share, budget};
/// let share = |source, share| Share { source, share, u: "0.012".into() };
/// let drawn = budget(
///     &Budget { id: "x", title: "Pb in S03", unit: "mg/kg", shares: &[share("recovery", 0.8), share("readings", 0.2)] },
///     Medium::Page,
/// );
/// assert!(drawn.description.starts_with("recovery makes 80 % of the variance, readings 20 %."));
/// ```
pub fn budget(budget: &Budget<'_>, medium: Medium) -> Figure {
    let shares: Vec<&Share<'_>> = budget.shares.iter().filter(|share| drawable(share.share)).collect();
    let height = ROW * shares.len().max(1) as f64 + 12.0;
    let mut canvas = Canvas::new(budget.id);
    canvas.open("bars");
    for (place, share) in shares.iter().enumerate() {
        let middle = 6.0 + ROW * (place as f64 + 0.5);
        let end = LEFT + (RIGHT - LEFT) * share.share.clamp(0.0, 1.0);
        let (above, below) = (middle - BAR / 2.0, middle + BAR / 2.0);
        canvas.area(&[(LEFT, above), (end, above), (end, below), (LEFT, below)], BLUE);
        canvas.text((LEFT - 8.0, middle + 4.0), Anchor::End, &cut_to(share.source, LEFT - 16.0));
        canvas.text((end + 6.0, middle + 4.0), Anchor::Start, &format!("{:.0} %", 100.0 * share.share));
        canvas.text((WIDTH - 8.0, middle + 4.0), Anchor::End, &format!("u = {} {}", share.u, budget.unit));
    }
    canvas.line((LEFT, 4.0), (LEFT, height - 4.0), AXIS);
    canvas.close();
    let said: Vec<String> = shares
        .iter()
        .enumerate()
        .map(|(place, share)| {
            let makes = if place == 0 { " makes" } else { "" };
            let of = if place == 0 { " of the variance" } else { "" };
            format!("{}{makes} {:.0} %{of}", share.source, 100.0 * share.share)
        })
        .collect();
    let description = if said.is_empty() { "No source is known.".to_owned() } else { format!("{}.", said.join(", ")) };
    let title = format!("budget of {}", budget.title);
    let svg = canvas.finish(medium, (WIDTH, height), &title, &description);
    Figure { svg, title, description }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_source_and_odd_shares_are_drawn() {
        for shares in [&[][..], &[0.0][..], &[-0.1, 1.1, f64::NAN]] {
            let shares: Vec<Share<'_>> =
                shares.iter().map(|&share| Share { source: "a < b", share, u: "1".into() }).collect();
            let svg = budget(&Budget { id: "x", title: "x", unit: "s", shares: &shares }, Medium::Page).svg;
            assert!(!svg.contains("NaN") && !svg.contains("inf") && !svg.contains("a < b"), "{svg}");
        }
    }
}
