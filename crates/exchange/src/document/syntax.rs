//! Faults of TOML syntax in our words.

use toml::de::Error;

use crate::sheet::Sheet;

/// What the parser says at the beginning of its message; what is the matter; what to write instead.
///
/// The first that fits is taken, so the longer beginnings stand first.
const WORDS: &[(&str, &str, &str)] = &[
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
    ("dotted key", "this key reaches into a table that stands elsewhere", "write it below the head of that table"),
];

/// Notes the faults of the syntax.
pub(crate) fn tell(sheet: &Sheet<'_>, errors: &[Error]) {
    for error in errors {
        let known = WORDS.iter().find(|(beginning, ..)| error.message().starts_with(beginning));
        let (_, what, hint) =
            known.unwrap_or(&("", "this cannot be read as TOML", "a line is KEY = VALUE, a [part], or a # comment"));
        let span = error.span().unwrap_or(0..0);
        sheet.fault(span, *what, *hint);
    }
}
