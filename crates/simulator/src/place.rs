//! Where a key of a document stands in its text: line and column, from 1.

use toml::de::{DeTable, DeValue};

/// One step from the top of a document to a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Step {
    /// The value of a key.
    Key(&'static str),
    /// The table at this place of a list.
    Nth(usize),
}

/// Line and column of a byte.
pub(crate) fn of_byte(text: &str, byte: usize) -> (usize, usize) {
    let before = &text[..text.floor_char_boundary(byte)];
    let column = before.rsplit('\n').next().map_or(0, |line| line.chars().count()) + 1;
    (before.matches('\n').count() + 1, column)
}

/// Line and column of the value a path leads to; where the text lacks its last steps, of what they would stand in.
pub(crate) fn of(text: &str, path: &[Step]) -> (usize, usize) {
    // The text was read before; what cannot be read again has its place at the top.
    DeTable::parse(text).map_or((1, 1), |top| of_byte(text, byte_of(top.get_ref(), path).unwrap_or(0)))
}

fn byte_of(table: &DeTable<'_>, path: &[Step]) -> Option<usize> {
    let (&first, rest) = path.split_first()?;
    let Step::Key(key) = first else { return None };
    let found = table.iter().find(|(name, _)| name.get_ref() == key)?.1;
    let mut value = found;
    let mut rest = rest;
    if let (Some((Step::Nth(place), after)), DeValue::Array(list)) = (rest.split_first(), value.get_ref()) {
        value = list.get(*place)?;
        rest = after;
    }
    let own = value.span().start;
    match value.get_ref() {
        DeValue::Table(inner) => Some(byte_of(inner, rest).unwrap_or(own)),
        _ => Some(own),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_leads_to_its_value_or_to_where_that_would_stand() {
        let text = "a = 1\n[bench]\nmass = \"µ\"\n[[fault]]\nrow = 1\n[[fault]]\nkind = \"x\"\nrow = 2\n";
        let key = Step::Key;
        assert_eq!(of(text, &[key("a")]), (1, 5));
        assert_eq!(of(text, &[key("bench"), key("mass")]), (3, 8));
        assert_eq!(of(text, &[key("bench"), key("none")]), (2, 1));
        assert_eq!(of(text, &[key("fault"), Step::Nth(1), key("row")]), (8, 7));
        assert_eq!(of(text, &[key("fault"), Step::Nth(1), key("size")]), (6, 1));
        assert_eq!(of(text, &[key("none")]), (1, 1));
    }
}
