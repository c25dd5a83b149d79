//! Rust text taken apart: code, comments and string literals, and which lines are tests.
//!
//! No parser: a reader of characters that knows where comments, strings and characters begin and end, which is all
//! the tidy checks need. Invariant: [`RustText::code`] has as many lines as the text, comments and literals blanked.

use std::ops::RangeInclusive;

/// One comment or literal with the line it begins on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece {
    /// Line, counted from 1.
    pub line: usize,
    /// A comment with its marks (`/// …`), a literal without its quotes, escapes as written.
    pub text: String,
}

/// The parts of one file.
#[derive(Debug, Default)]
pub struct RustText {
    /// The text with comments and literals blanked.
    pub code: String,
    /// Comments, documentation included, in order.
    pub comments: Vec<Piece>,
    /// String literals, in order.
    pub literals: Vec<Piece>,
    tests: Vec<RangeInclusive<usize>>,
}

impl RustText {
    /// Takes a file apart.
    ///
    /// # Example
    /// ```text
    /// let a = "b"; // c      code `let a =    ;     `, literal `b`, comment `// c`
    /// ```
    pub fn read(text: &str) -> Self {
        let mut reader = Reader { characters: text.chars().collect(), place: 0, line: 1, out: Self::default() };
        reader.run();
        let mut out = reader.out;
        out.tests = lines_of_tests(&out.code);
        out
    }

    /// Whether a line belongs to an item under `#[cfg(test)]`.
    pub fn is_test(&self, line: usize) -> bool {
        self.tests.iter().any(|lines| lines.contains(&line))
    }

    /// The lines of code outside tests, numbered from 1.
    pub fn code_lines(&self) -> impl Iterator<Item = (usize, &str)> {
        self.code.lines().enumerate().map(|(index, line)| (index + 1, line)).filter(|(line, _)| !self.is_test(*line))
    }

    /// String literals outside tests.
    pub fn spoken(&self) -> impl Iterator<Item = &Piece> {
        self.literals.iter().filter(|piece| !self.is_test(piece.line))
    }

    /// The documentation at the head of the file: its `//!` lines without their marks.
    pub fn head(&self) -> Vec<&str> {
        self.comments
            .iter()
            .map_while(|piece| piece.text.strip_prefix("//!"))
            .map(|line| line.strip_prefix(' ').unwrap_or(line).trim_end())
            .collect()
    }
}

struct Reader {
    characters: Vec<char>,
    place: usize,
    line: usize,
    out: RustText,
}

impl Reader {
    fn peek(&self, ahead: usize) -> Option<char> {
        self.characters.get(self.place + ahead).copied()
    }

    /// Steps over one character; in code it is kept, elsewhere blanked.
    fn step(&mut self, keep: bool) -> Option<char> {
        let character = self.peek(0)?;
        self.place += 1;
        if character == '\n' {
            self.line += 1;
        }
        self.out.code.push(if keep || character == '\n' { character } else { ' ' });
        Some(character)
    }

    fn run(&mut self) {
        while let Some(character) = self.peek(0) {
            match character {
                '/' if self.peek(1) == Some('/') => self.line_comment(),
                '/' if self.peek(1) == Some('*') => self.block_comment(),
                '"' => self.string(),
                '\'' => self.character_or_lifetime(),
                _ if character.is_alphabetic() || character == '_' => self.word(),
                _ if character.is_ascii_digit() => self.rest_of_word(),
                _ => {
                    self.step(true);
                }
            }
        }
    }

    fn line_comment(&mut self) {
        let line = self.line;
        let mut text = String::new();
        while self.peek(0).is_some_and(|character| character != '\n') {
            text.extend(self.step(false));
        }
        self.out.comments.push(Piece { line, text });
    }

    fn block_comment(&mut self) {
        let line = self.line;
        let mut text = String::new();
        let mut depth = 0;
        while let Some(character) = self.peek(0) {
            let pair = (character, self.peek(1));
            if pair == ('/', Some('*')) || pair == ('*', Some('/')) {
                depth += if character == '/' { 1 } else { -1 };
                text.extend(self.step(false));
            }
            text.extend(self.step(false));
            if depth == 0 {
                break;
            }
        }
        self.out.comments.push(Piece { line, text });
    }

    /// A literal whose opening quote is next.
    fn string(&mut self) {
        let line = self.line;
        let mut text = String::new();
        self.step(false);
        while let Some(character) = self.step(false) {
            match character {
                '"' => break,
                '\\' => {
                    text.push(character);
                    text.extend(self.step(false));
                }
                _ => text.push(character),
            }
        }
        self.out.literals.push(Piece { line, text });
    }

    /// A raw literal whose `#`s or opening quote are next.
    fn raw_string(&mut self, marks: usize) {
        let line = self.line;
        let mut text = String::new();
        for _ in 0..=marks {
            self.step(false);
        }
        while let Some(character) = self.step(false) {
            if character == '"' && (0..marks).all(|ahead| self.peek(ahead) == Some('#')) {
                for _ in 0..marks {
                    self.step(false);
                }
                break;
            }
            text.push(character);
        }
        self.out.literals.push(Piece { line, text });
    }

    fn character_or_lifetime(&mut self) {
        if self.peek(1) == Some('\\') {
            self.step(false);
            self.step(false);
            self.step(false);
            while self.step(false).is_some_and(|character| character != '\'') {}
        } else if self.peek(2) == Some('\'') {
            for _ in 0..3 {
                self.step(false);
            }
        } else {
            self.step(true);
        }
    }

    fn rest_of_word(&mut self) {
        while self.peek(0).is_some_and(|character| character.is_alphanumeric() || character == '_') {
            self.step(true);
        }
    }

    /// A name, or the letters before a string (`r"…"`, `br#"…"#`, `c"…"`).
    fn word(&mut self) {
        let start = self.place;
        self.rest_of_word();
        let word: String = self.characters[start..self.place].iter().collect();
        if matches!(word.as_str(), "r" | "br" | "cr") {
            let marks = (0..).take_while(|ahead| self.peek(*ahead) == Some('#')).count();
            if self.peek(marks) == Some('"') {
                self.raw_string(marks);
            }
        }
    }
}

/// The lines of each item under `#[cfg(test)]`, found by matching braces in blanked code.
fn lines_of_tests(code: &str) -> Vec<RangeInclusive<usize>> {
    let mut found = Vec::new();
    let mut from = 0;
    while let Some(offset) = code[from..].find("#[cfg(test)]") {
        let start = from + offset;
        let mut depth = 0usize;
        let mut end = code.len();
        for (index, character) in code[start..].char_indices() {
            match character {
                '{' => depth += 1,
                '}' => depth = depth.saturating_sub(1),
                _ => {}
            }
            if depth == 0 && matches!(character, '}' | ';') {
                end = start + index + 1;
                break;
            }
        }
        let line_at = |place: usize| code[..place].matches('\n').count() + 1;
        found.push(line_at(start)..=line_at(end.saturating_sub(1)));
        from = end;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn literals(text: &str) -> Vec<String> {
        RustText::read(text).literals.into_iter().map(|piece| piece.text).collect()
    }

    #[test]
    fn comments_and_literals_leave_the_code() {
        let read = RustText::read("let a = \"b // c\"; // d \"e\"\nlet f = 1;");
        assert_eq!(read.literals, [Piece { line: 1, text: "b // c".into() }]);
        assert_eq!(read.comments, [Piece { line: 1, text: "// d \"e\"".into() }]);
        assert_eq!(read.code.lines().nth(1), Some("let f = 1;"));
        assert!(!read.code.contains('b') && !read.code.contains('d'));
    }

    #[test]
    fn raw_and_byte_literals_end_at_their_own_quote() {
        assert_eq!(literals("r#\"a \" b\"# ; br\"c\"; b\"d\\\"\"; c\"e\""), ["a \" b", "c", "d\\\"", "e"]);
        assert_eq!(literals("let r#type = 1;"), Vec::<String>::new());
    }

    #[test]
    fn lifetimes_are_no_characters() {
        let read =
            RustText::read("fn a<'b>(c: &'b str) -> char { '\"' } const D: &str = \"e\"; let f = '\\''; '\\u{2c}'");
        assert_eq!(read.literals.len(), 1);
        assert_eq!(read.literals[0].text, "e");
    }

    #[test]
    fn nested_block_comments_end_together() {
        let read = RustText::read("/* a /* b */ c */ let d;");
        assert_eq!(read.comments[0].text, "/* a /* b */ c */");
        assert_eq!(read.code.trim(), "let d;");
    }

    #[test]
    fn the_test_module_is_known_by_its_braces() {
        let text = "fn a() {}\n#[cfg(test)]\nmod tests {\n    fn b() { let c = \"}\"; }\n}\nfn d() {}\n";
        let read = RustText::read(text);
        let tests: Vec<bool> = (1..=6).map(|line| read.is_test(line)).collect();
        assert_eq!(tests, [false, true, true, true, true, false]);
        assert_eq!(read.spoken().count(), 0);
    }

    #[test]
    fn a_test_module_in_a_file_of_its_own_is_one_line() {
        let read = RustText::read("#[cfg(test)]\nmod tests;\nfn a() {}\n");
        assert!(read.is_test(2));
        assert!(!read.is_test(3));
    }

    #[test]
    fn the_head_is_read_without_its_marks() {
        let read = RustText::read("//! carry-over\n//!\n//! What it sees: a.\n\n// no\n//! late\n");
        assert_eq!(read.head(), ["carry-over", "", "What it sees: a."]);
    }

    #[test]
    fn an_open_end_does_not_stop_the_reader() {
        for text in ["\"a", "r#\"a", "/* a", "'", "'\\", "//", "#[cfg(test)] mod a {"] {
            assert_eq!(RustText::read(text).code.chars().count(), text.chars().count());
        }
    }
}
