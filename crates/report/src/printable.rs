//! Text as it can be set: characters the letters of the report do not have are written out by their number.
//!
//! A PDF/A file may not hold a missing glyph, so one name in an uncovered script would otherwise stop a report. Such a
//! character is shown as `[U+4E95]` and the report says so; the attached record keeps the text as given. Line breaks become
//! spaces.

use serde_json::Value;
use typst::text::FontBook;

/// The letters of running text; it has marks that stand above others.
const TEXT_LETTERS: &str = "libertinus serif";
/// The letters of digests, asked for what running text lacks.
const CODE_LETTERS: &str = "dejavu sans mono";

/// Turns every text of a document into text that can be set.
pub(crate) struct Printable<'a> {
    book: &'a FontBook,
    /// Whether a character had to be written out.
    pub(crate) written_out: bool,
}

impl<'a> Printable<'a> {
    pub(crate) fn new(book: &'a FontBook) -> Self {
        Self { book, written_out: false }
    }

    /// Goes through a document; drawings keep their line breaks.
    pub(crate) fn document(&mut self, value: &mut Value) {
        match value {
            Value::String(text) => *text = self.text(text),
            Value::Array(items) => items.iter_mut().for_each(|item| self.document(item)),
            Value::Object(members) => {
                for (name, member) in members.iter_mut() {
                    match (name.as_str(), member) {
                        ("svg", Value::String(svg)) => {
                            let lines: Vec<_> = svg.split('\n').map(|line| self.text(line)).collect();
                            *svg = lines.join("\n");
                        }
                        (_, member) => self.document(member),
                    }
                }
            }
            Value::Null | Value::Bool(_) | Value::Number(_) => {}
        }
    }

    fn text(&mut self, text: &str) -> String {
        let mut set = String::with_capacity(text.len());
        // A mark is set with the letter before it, and both must come from the same letters.
        let mut carries_marks = false;
        for character in text.chars() {
            if matches!(character, '\t' | '\n' | '\r' | '\u{2028}' | '\u{2029}') {
                set.push(' ');
                carries_marks = false;
                continue;
            }
            let in_text_letters = self.has(TEXT_LETTERS, character);
            let can_be_set = !hidden(character)
                && if mark(character) {
                    in_text_letters && carries_marks
                } else {
                    in_text_letters || (stands_alone(character) && self.has(CODE_LETTERS, character))
                };
            if can_be_set {
                set.push(character);
                carries_marks = in_text_letters;
            } else {
                set.push_str(&format!("[U+{:04X}]", u32::from(character)));
                self.written_out = true;
                carries_marks = false;
            }
        }
        set
    }

    /// Whether every style of a family has a character; the same text may be set upright, bold or slanted.
    fn has(&self, family: &str, character: char) -> bool {
        if character.is_ascii_graphic() || character == ' ' {
            return true;
        }
        let mut styles = self.book.select_family(family).filter_map(|index| self.book.info(index)).peekable();
        styles.peek().is_some() && styles.all(|style| style.coverage.contains(u32::from(character)))
    }
}

/// Controls, soft hyphen, joiners, direction marks, variation selectors, private use and noncharacters: invisible, or without a
/// meaning that a reader in fifty years could look up.
fn hidden(character: char) -> bool {
    let number = u32::from(character);
    character.is_control()
        || number & 0xFFFE == 0xFFFE
        || matches!(number, 0xAD | 0x34F | 0x61C | 0x180E | 0x200B..=0x200F | 0x202A..=0x202E | 0x2060..=0x206F
            | 0xE000..=0xF8FF | 0xFDD0..=0xFDEF | 0xFE00..=0xFE0F | 0xFEFF | 0xFFF0..=0xFFFF | 0xE0000..)
}

/// Marks that combine with the letter before them, by the blocks of Unicode that hold nothing else.
fn mark(character: char) -> bool {
    matches!(u32::from(character), 0x300..=0x36F | 0x483..=0x489 | 0x591..=0x5BD | 0x5BF | 0x5C1..=0x5C2 | 0x5C4..=0x5C5 | 0x5C7
        | 0x1AB0..=0x1AFF | 0x1DC0..=0x1DFF | 0x20D0..=0x20FF | 0x3099..=0x309A | 0xFE20..=0xFE2F)
}

/// Characters that never join or stack with their neighbours: alphabets from Latin to Armenian, Georgian, punctuation, signs.
fn stands_alone(character: char) -> bool {
    matches!(u32::from(character), 0xA0..=0x58F | 0x10A0..=0x10FF | 0x1E00..=0x1FFF | 0x2000..=0x2BFF)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn without_letters_only_ascii_is_left_and_the_rest_is_written_out() {
        let book = FontBook::new();
        let mut printable = Printable::new(&book);
        let mut document = json!({ "name": "a\nµ\u{7}", "svg": "<svg>\n</svg>" });
        printable.document(&mut document);
        assert_eq!(document, json!({ "name": "a [U+00B5][U+0007]", "svg": "<svg>\n</svg>" }));
        assert!(printable.written_out);
    }

    #[test]
    fn a_mark_without_a_letter_that_carries_it_is_written_out() {
        let fonts: Vec<_> =
            typst_assets::fonts().flat_map(|data| typst::text::FontInfo::iter(data).collect::<Vec<_>>()).collect();
        let book = FontBook::from_infos(fonts);
        let shown = |text: &str| Printable::new(&book).text(text);
        assert_eq!(shown("e\u{301}"), "e\u{301}");
        assert_eq!(shown("\u{301}"), "[U+0301]");
        assert_eq!(shown("\u{ae}\u{1ab0}"), "\u{ae}[U+1AB0]");
        assert_eq!(shown("\u{5e0}\u{645}\u{e81}"), "\u{5e0}[U+0645][U+0E81]");
    }
}
