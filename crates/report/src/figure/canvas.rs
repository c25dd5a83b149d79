//! The SVG writer: elements one after the other, text escaped, coordinates with two decimals.

use super::palette::{BLACK, GUIDE};
use super::{Medium, axis::Axis};
use std::fmt::Write as _;

/// Letters of a figure, in its own units; on paper about eight point.
pub(crate) const TEXT_SIZE: f64 = 12.0;

/// A drawing in the making.
#[derive(Debug)]
pub(crate) struct Canvas {
    body: String,
    prefix: String,
}

/// How a line is drawn.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Pen {
    pub(crate) colour: &'static str,
    pub(crate) width: f64,
    /// Lengths of strokes and gaps; empty for a line without gaps.
    pub(crate) dashes: &'static str,
}

/// Which end of a text stands at its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

impl Canvas {
    /// An empty drawing; `prefix` tells the ids of one figure on a page from those of another.
    pub(crate) fn new(prefix: &str) -> Self {
        let keep = |character: char| {
            if character.is_ascii_alphanumeric() || character == '_' { character } else { '-' }
        };
        Self { body: String::new(), prefix: format!("figure-{}", prefix.chars().map(keep).collect::<String>()) }
    }

    /// Opens a named group; [`Canvas::close`] ends it.
    pub(crate) fn open(&mut self, name: &str) {
        let _ = writeln!(self.body, "<g id=\"{}-{name}\">", self.prefix);
    }

    /// Ends the group opened last.
    pub(crate) fn close(&mut self) {
        self.body.push_str("</g>\n");
    }

    /// A straight line.
    pub(crate) fn line(&mut self, from: (f64, f64), to: (f64, f64), pen: Pen) {
        let _ = writeln!(
            self.body,
            "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\"{}/>",
            coordinate(from.0),
            coordinate(from.1),
            coordinate(to.0),
            coordinate(to.1),
            stroke(pen)
        );
    }

    /// A line through points; a point that cannot be drawn breaks it.
    pub(crate) fn polyline(&mut self, points: &[(f64, f64)], pen: Pen) {
        for part in points.split(|point| !(point.0.is_finite() && point.1.is_finite())) {
            if part.len() > 1 {
                let _ = writeln!(
                    self.body,
                    "<polyline points=\"{}\" fill=\"none\"{} stroke-linejoin=\"round\"/>",
                    list(part),
                    stroke(pen)
                );
            }
        }
    }

    /// A filled area without an outline of its own.
    pub(crate) fn area(&mut self, points: &[(f64, f64)], fill: &str) {
        let points: Vec<_> =
            points.iter().copied().filter(|point| point.0.is_finite() && point.1.is_finite()).collect();
        if points.len() > 2 {
            let _ = writeln!(self.body, "<polygon points=\"{}\" fill=\"{fill}\"/>", list(&points));
        }
    }

    /// A filled disc, the mark of what counts.
    pub(crate) fn disc(&mut self, at: (f64, f64), radius: f64) {
        let _ = writeln!(
            self.body,
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{BLACK}\"/>",
            coordinate(at.0),
            coordinate(at.1),
            coordinate(radius)
        );
    }

    /// A diamond with a black outline, the mark of what was read back.
    pub(crate) fn diamond(&mut self, at: (f64, f64), radius: f64, fill: &str) {
        let (x, y) = at;
        let corners = [(x, y - radius), (x + radius, y), (x, y + radius), (x - radius, y)];
        let _ = writeln!(
            self.body,
            "<polygon points=\"{}\" fill=\"{fill}\" stroke=\"{BLACK}\" stroke-width=\"1\"/>",
            list(&corners)
        );
    }

    /// A cross, the mark of what was rejected.
    pub(crate) fn cross(&mut self, at: (f64, f64), radius: f64, pen: Pen) {
        let (x, y) = at;
        self.line((x - radius, y - radius), (x + radius, y + radius), pen);
        self.line((x - radius, y + radius), (x + radius, y - radius), pen);
    }

    /// Text on its base line.
    pub(crate) fn text(&mut self, at: (f64, f64), anchor: Anchor, text: &str) {
        let _ = writeln!(
            self.body,
            "<text x=\"{}\" y=\"{}\"{}>{}</text>",
            coordinate(at.0),
            coordinate(at.1),
            anchored(anchor),
            escape(text)
        );
    }

    /// Text that runs upwards, centred on its place.
    pub(crate) fn text_upwards(&mut self, at: (f64, f64), text: &str) {
        let (x, y) = (coordinate(at.0), coordinate(at.1));
        let _ = writeln!(
            self.body,
            "<text x=\"{x}\" y=\"{y}\" text-anchor=\"middle\" transform=\"rotate(-90 {x} {y})\">{}</text>",
            escape(text)
        );
    }

    /// Guide lines, ticks and numbers of an upright axis at the left of a panel.
    pub(crate) fn upright_axis(&mut self, axis: &Axis, left: f64, right: f64) {
        for tick in &axis.ticks {
            self.line((left, tick.at), (right, tick.at), Pen { colour: GUIDE, width: 0.75, dashes: "" });
            self.line((left - 4.0, tick.at), (left, tick.at), Pen { colour: BLACK, width: 1.0, dashes: "" });
            self.text((left - 8.0, tick.at + TEXT_SIZE * 0.33), Anchor::End, &tick.text);
        }
    }

    /// The level axis below a panel: line, ticks and, if `numbered`, numbers.
    pub(crate) fn level_axis(&mut self, axis: &Axis, ends: (f64, f64), bottom: f64, numbered: bool) {
        self.line((ends.0, bottom), (ends.1, bottom), Pen { colour: BLACK, width: 1.0, dashes: "" });
        for tick in &axis.ticks {
            self.line((tick.at, bottom), (tick.at, bottom + 4.0), Pen { colour: BLACK, width: 1.0, dashes: "" });
            if numbered {
                self.text((tick.at, bottom + 8.0 + TEXT_SIZE * 0.75), Anchor::Middle, &tick.text);
            }
        }
    }

    /// The finished document.
    pub(crate) fn finish(self, medium: Medium, size: (f64, f64), title: &str, description: &str) -> String {
        let (width, height) = (coordinate(size.0), coordinate(size.1));
        let letters = match medium {
            Medium::Page => String::new(),
            Medium::Paper => " font-family=\"Libertinus Serif\"".to_owned(),
        };
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {width} {height}\" \
             role=\"img\" aria-labelledby=\"{prefix}-title {prefix}-desc\"{letters} font-size=\"{size}\" fill=\"{BLACK}\">\n\
             <title id=\"{prefix}-title\">{title}</title>\n<desc id=\"{prefix}-desc\">{description}</desc>\n{body}</svg>\n",
            prefix = self.prefix,
            size = coordinate(TEXT_SIZE),
            title = escape(title),
            description = escape(description),
            body = self.body,
        )
    }
}

/// Two decimals, and never a negative zero.
fn coordinate(value: f64) -> String {
    let text = format!("{value:.2}");
    if text == "-0.00" { "0.00".to_owned() } else { text }
}

/// Points as the attribute writes them; neighbours that fall on the same hundredth are written once.
fn list(points: &[(f64, f64)]) -> String {
    let mut written = String::new();
    let mut last = String::new();
    for point in points {
        let here = format!("{},{}", coordinate(point.0), coordinate(point.1));
        if here != last {
            if !written.is_empty() {
                written.push(' ');
            }
            written.push_str(&here);
            last = here;
        }
    }
    written
}

fn stroke(pen: Pen) -> String {
    let dashes = if pen.dashes.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{}\"", pen.dashes) };
    format!(" stroke=\"{}\" stroke-width=\"{}\"{dashes}", pen.colour, coordinate(pen.width))
}

fn anchored(anchor: Anchor) -> &'static str {
    match anchor {
        Anchor::Start => "",
        Anchor::Middle => " text-anchor=\"middle\"",
        Anchor::End => " text-anchor=\"end\"",
    }
}

/// Text as XML writes it; characters that XML 1.0 (2.2) does not have become U+FFFD.
fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\t' | '\n' | '\r' => escaped.push(' '),
            '\u{0}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}' => escaped.push('\u{fffd}'),
            other => escaped.push(other),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_escaped_and_ids_keep_to_letters() {
        let mut canvas = Canvas::new("run/17 \"x\"");
        canvas.open("part");
        canvas.text((1.0, -0.001), Anchor::Start, "<script>&\"\u{7}");
        canvas.close();
        let svg = canvas.finish(Medium::Page, (10.0, 10.0), "a < b", "");
        assert!(svg.contains("id=\"figure-run-17--x--part\""));
        assert!(svg.contains("y=\"0.00\">&lt;script&gt;&amp;&quot;\u{fffd}</text>"));
        assert!(svg.contains(">a &lt; b</title>") && !svg.contains("<script"));
    }

    #[test]
    fn a_line_breaks_where_a_point_cannot_be_drawn() {
        let mut canvas = Canvas::new("x");
        let pen = Pen { colour: BLACK, width: 1.0, dashes: "" };
        canvas.polyline(&[(0.0, 0.0), (1.0, 1.0), (f64::NAN, 0.0), (3.0, 3.0), (4.0, 4.0)], pen);
        assert_eq!(canvas.body.matches("<polyline").count(), 2);
    }

    #[test]
    fn only_paper_names_its_letters() {
        let page = Canvas::new("x").finish(Medium::Page, (1.0, 1.0), "", "");
        let paper = Canvas::new("x").finish(Medium::Paper, (1.0, 1.0), "", "");
        assert!(!page.contains("font-family") && paper.contains("font-family=\"Libertinus Serif\""));
    }
}
