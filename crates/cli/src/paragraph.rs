//! Text broken into lines that fit, for what people read.

use unicode_width::UnicodeWidthStr;

/// The width that tables and texts keep to.
pub const WIDTH: usize = 100;

/// The words of a text in lines of at most `width` columns; a word that is wider has a line of its own.
pub fn lines(text: &str, width: usize) -> Vec<String> {
    let (mut lines, mut line) = (Vec::new(), String::new());
    for word in text.split(' ') {
        if !line.is_empty() && line.width() + 1 + word.width() > width {
            lines.push(std::mem::take(&mut line));
        } else if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    lines.push(line);
    lines
}

/// A text below its head, each line indented, each with its end.
pub fn indented(text: &str, indent: usize) -> String {
    let margin = " ".repeat(indent);
    lines(text, WIDTH - indent).iter().map(|line| format!("{margin}{line}\n")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_kept_whole_and_in_order() {
        assert_eq!(lines("one two three", 7), ["one two", "three"]);
        assert_eq!(lines("one", 2), ["one"]);
        assert_eq!(lines("", 5), [""]);
        assert_eq!(indented("0.0189 s where the median is 0.0627 s", 4), "    0.0189 s where the median is 0.0627 s\n");
    }
}
