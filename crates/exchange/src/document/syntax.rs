//! Faults of TOML syntax in our words.

use std::borrow::Cow;

use toml::de::{DeTable, Error};

use crate::sheet::Sheet;

/// What the parser says at the beginning of its message; what is the matter; what to write instead.
///
/// The first that fits is taken, so the longer beginnings stand first.
const WORDS: &[(&str, &str, &str)] = &[
    ("invalid d", "this is neither a number nor a day", "write a text as \"…\", a time as 2026-03-14T09:30:00+01:00"),
    ("duplicate key", "this key stands here a second time", "keep one of them"),
    ("string values must be quoted", "a text stands here without quotation marks", "write it as \"…\""),
    (
        "invalid basic string",
        "this text is not closed, or holds a sign that it cannot hold",
        "close it with \" on the same line; write \\\" and \\\\ within it",
    ),
    ("invalid literal string", "this text is not closed", "close it with ' on the same line"),
    ("invalid multi-line", "this text of several lines is not closed", "close it with the three marks that opened it"),
    (
        "missing escaped value",
        "a backslash stands here without the letter that belongs to it",
        "write \\\\ for a backslash",
    ),
    ("invalid escape", "this backslash and the letter after it mean nothing", "write \\\\ for a backslash"),
    ("too few unicode value digits", "this \\u has too few digits", "write four hexadecimal digits behind \\u"),
    ("invalid value", "this is no value", "a text is written \"…\", a number 1.5"),
    ("missing value", "a value is missing here", "write a value behind the ="),
    ("key with no value", "this key has no value", "write KEY = VALUE"),
    ("missing assignment", "the = between key and value is missing", "write KEY = VALUE"),
    ("extra assignment", "there is one = too many", "write KEY = VALUE"),
    ("extra `=`", "there is one = too many", "write KEY = VALUE"),
    ("unexpected `=` in array", "a = stands in a list", "write the list as [1, 2], a table as { KEY = VALUE }"),
    ("invalid unquoted key", "a key cannot be written like this", "a key has letters, digits, - and _ only"),
    ("unquoted keys cannot be empty", "a key is missing here", "write KEY = VALUE"),
    ("keys cannot be", "a key cannot be written like this", "a key has letters, digits, - and _ only"),
    ("invalid key-value pair", "this line is neither KEY = VALUE nor a [part]", "write KEY = VALUE"),
    ("unexpected key or value", "something stands behind the value", "write each KEY = VALUE on a line of its own"),
    (
        "unexpected content",
        "something stands here that belongs to nothing",
        "write each KEY = VALUE on a line of its own",
    ),
    ("unclosed array table", "this head is not closed", "write [[…]]"),
    ("unclosed array", "this list is not closed", "close it with ]"),
    ("unclosed inline table", "this table is not closed", "close it with }"),
    ("unclosed table", "this head is not closed", "write […]"),
    ("missing table open", "this head is not opened", "write […]"),
    ("extra comma", "there is one comma too many", "take it away"),
    ("missing comma", "a comma is missing here", "write a comma between the values"),
    ("missing array opening", "this list is not opened", "write […]"),
    ("missing inline table opening", "this table is not opened", "write {…}"),
    ("missing key for inline table element", "a key is missing here", "write { KEY = VALUE }"),
    (
        "invalid inline table element",
        "this table has a part that is no KEY = VALUE",
        "write { KEY = VALUE, KEY = VALUE }",
    ),
    ("missing opening quote", "this text is not opened", "write it as \"…\""),
    ("cannot recurse further", "tables and lists are nested too deeply", "no document of Darkline is deeper than four"),
    ("recursion limit", "tables and lists are nested too deeply", "no document of Darkline is deeper than four"),
    (
        "carriage return must be followed by newline",
        "a line ends here with a carriage return alone",
        "save the file with line feeds",
    ),
    ("invalid comment character", "a sign stands in this comment that cannot be printed", "take it away"),
    ("floating-point number overflowed", "this number is beyond what can be computed with", "look at its exponent"),
    (
        "integer number overflowed",
        "this number is beyond what can be computed with",
        "write it as a text if it is a name",
    ),
    (
        "unexpected leading zero",
        "a number begins with a zero too many",
        "write it without, or as a text \"…\" if it is a name",
    ),
    ("redundant numeric sign", "a number has one sign too many", "write one"),
    ("unexpected sign", "a sign stands where a number cannot have one", "write the number without it"),
    ("`_` may only go between digits", "the _ in this number stands in a wrong place", "write the digits alone"),
    (
        "integers with a radix cannot be signed",
        "this number is written in a way that is not read here",
        "write decimal digits",
    ),
    ("radix must be lowercase", "this number is written in a way that is not read here", "write decimal digits"),
    (
        "redundant integer number prefix",
        "this number is written in a way that is not read here",
        "write decimal digits",
    ),
    ("cannot extend", "this key has a value already and cannot be a part too", "keep one of them"),
    ("invalid time", "this is no time of day", "write a text as \"…\", a time as 2026-03-14T09:30:00+01:00"),
    ("invalid fraction", "this number is not finished", "write digits on both sides of the point and behind an e"),
    ("invalid exponent", "this number is not finished", "write digits on both sides of the point and behind an e"),
    ("invalid mantissa", "this number is not finished", "write digits on both sides of the point and behind an e"),
    ("invalid integer", "this number cannot be read", "write decimal digits"),
    ("invalid float", "this number cannot be read", "write decimal digits, like 0.5 or 1e-3"),
    ("invalid hexadecimal", "this number is written in a way that is not read here", "write decimal digits"),
    ("invalid octal", "this number is written in a way that is not read here", "write decimal digits"),
    ("invalid binary", "this number is written in a way that is not read here", "write decimal digits"),
    ("invalid offset", "this is no offset of a time", "write a time as 2026-03-14T09:30:00+01:00"),
    ("invalid boolean", "a text stands here without quotation marks", "write it as \"…\""),
];

/// A text in which the lines of bare keys are blanks, and what was told about those lines.
pub(crate) struct Blanked<'t> {
    pub(crate) text: Cow<'t, str>,
    pub(crate) errors: Vec<Error>,
}

/// Blanks the lines that hold a key and no value: the parser stops at them and would not see what lies behind. Every byte
/// keeps its place.
pub(crate) fn without_bare_keys(text: &str) -> Blanked<'_> {
    let mut blanked = Blanked { text: Cow::Borrowed(text), errors: Vec::new() };
    // Each turn reads the whole text again, so their number is bounded; nobody mends more of them at once, and no text that
    // somebody wrote is longer.
    let turns = if text.len() > LONGEST_WRITTEN { 0 } else { MOST_BARE_KEYS };
    for _ in 0..turns {
        let (_, errors) = DeTable::parse_recoverable(&blanked.text);
        let Some(error) = errors.into_iter().find(|error| error.message().starts_with(BARE_KEY)) else { break };
        let place = error.span().map_or(0, |span| span.start).min(text.len());
        let bytes = text.as_bytes();
        let start = bytes[..place].iter().rposition(|&byte| byte == b'\n').map_or(0, |end| end + 1);
        let end = bytes[place..].iter().position(|&byte| byte == b'\n').map_or(text.len(), |length| place + length);
        let Some(line) = blanked.text.get(start..end) else { break };
        if line.trim().is_empty() {
            break;
        }
        let blanks = " ".repeat(end - start);
        blanked.text.to_mut().replace_range(start..end, &blanks);
        blanked.errors.push(error);
    }
    blanked
}

/// For what the parser may learn to say.
const OTHER: (&str, &str) = ("this cannot be read as TOML", "a line is KEY = VALUE, a [part], or a # comment");
const BARE_KEY: &str = "key with no value";
const MOST_BARE_KEYS: usize = 20;
const LONGEST_WRITTEN: usize = 256 << 10;

/// Notes the faults of the syntax.
pub(crate) fn tell(sheet: &Sheet<'_>, errors: &[Error]) {
    for error in errors {
        let known = WORDS.iter().find(|(beginning, ..)| error.message().starts_with(beginning));
        let (what, hint) = known.map_or(OTHER, |(_, what, hint)| (what, hint));
        let span = error.span().unwrap_or(0..0);
        sheet.fault(span, what, hint);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::ShowsLines;

    /// The first thing told about a text, without its place.
    fn told(text: &str) -> Vec<String> {
        let sheet = Sheet::reopen("a.toml", text, ShowsLines::No);
        let blanked = without_bare_keys(text);
        let (_, mut errors) = DeTable::parse_recoverable(&blanked.text);
        errors.extend(blanked.errors);
        tell(&sheet, &errors);
        let faults = sheet.faults();
        faults.iter().flat_map(|faults| faults.listed()).map(|fault| fault.what.clone()).collect()
    }

    #[test]
    fn every_fault_of_the_syntax_has_words_of_its_own() {
        let broken = [
            "a = 2026-052",
            "a = 2026-13-01",
            "a = 10:70:00",
            "a = 2026-03-10T25:00:00Z",
            "a = 1e",
            "a = \"x",
            "a = \"\\q\"",
            "a = \"\\u12\"",
            "a = 1 2",
            "a = 0.25 g",
            "a = .5",
            "a = 5.",
            "a = 1,5",
            "a = tru",
            "[a\nb = 1",
            "[[a]\nb = 1",
            "a.b = 1\na = 2",
            "a = 1\n[a.b]\nc = 1",
            "[[a]]\n[a]",
            "[a]\n[a]",
            "a = [1,",
            "a = [1 2]",
            "a = {b = 1",
            "a = {b = 1,,}",
            "a = {b}",
            "a = {b = 1 c = 2}",
            "= 1",
            "a = = 1",
            "a =",
            "a",
            "µ = 1",
            "a = \u{1}",
            "# \u{1}",
            "a = 'x",
            "a = \"\"\"x",
            "a = '''x",
            "\"a\" \"b\" = 1",
            "a = 01",
            "a = ++1",
            "a = 1__0",
            "a = +0x1",
            "a = 0X1",
            "a = 0xg",
            "a = 0o9",
            "a = 0b2",
            "a = 1_",
            "a = _1",
            "a = 1e5.3",
            "a = 2026-03-10T10:00:00+99:00",
            "a = 2026-03-10T10:00:00.",
            "[]\na = 1",
            "]",
            "a = 99999999999999999999999999999999999999999",
            "a = b\"c\"",
            "a = [b = 1]",
        ];
        let mut without = Vec::new();
        for text in broken {
            let told = told(&format!("{text}\n"));
            if told.is_empty() || told.iter().any(|what| what == OTHER.0) {
                without.push(text);
            }
        }
        // A number too large is a number to TOML; whoever wants one tells it.
        assert_eq!(without, ["a = 99999999999999999999999999999999999999999"]);
    }

    #[test]
    fn what_lies_behind_a_bare_key_is_told_too() {
        let found = told("a\nb = \"x\nc\n[d\n");
        assert_eq!(found.len(), 4, "{found:?}");
    }
}
