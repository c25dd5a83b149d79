//! Text to cells: separated by a sign, or in columns of fixed width; quotation marks taken as they come.
//!
//! Unlike our own tables, instruments' files are read leniently: rows may be of any length, a quotation mark that is never
//! closed is a letter, and nothing here is a fault.

/// What stands between the cells.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Separator {
    /// A comma, semicolon, tab or another sign.
    Sign(char),
    /// Nothing: each cell begins at the column of a head, counted in characters from 0.
    Widths(Vec<usize>),
}

impl Separator {
    /// The words in mappings; columns are written as a list of numbers instead.
    pub fn words(sign: char) -> &'static str {
        match sign {
            ',' => "comma",
            ';' => "semicolon",
            '\t' => "tab",
            _ => "bar",
        }
    }
    /// The sign with these words.
    pub fn from_words(words: &str) -> Option<char> {
        [',', ';', '\t', '|'].into_iter().find(|&sign| Separator::words(sign) == words)
    }
}

/// A line of cells with its place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record {
    /// The line it begins on, from 1.
    pub line: usize,
    /// Its cells, trimmed.
    pub cells: Vec<String>,
}

impl Record {
    /// Whether nothing stands in it.
    pub fn is_empty(&self) -> bool {
        self.cells.iter().all(String::is_empty)
    }
    /// The cells as they are shown to a person.
    pub fn shown(&self) -> String {
        let text = self.cells.join(" | ");
        if text.chars().count() > 100 { text.chars().take(97).chain("…".chars()).collect() } else { text }
    }
}

/// Parts a text into records; empty ones are left out.
pub fn records(text: &str, separator: &Separator) -> Vec<Record> {
    let records = match separator {
        Separator::Sign(sign) => by_sign(text, *sign),
        Separator::Widths(starts) => by_width(text, starts),
    };
    records.into_iter().filter(|record| !record.is_empty()).collect()
}

/// The lines of a text, however they end.
pub fn lines(text: &str) -> impl Iterator<Item = &str> {
    // A carriage return alone ends a line too, as old writers have it.
    text.split('\n').flat_map(|line| line.strip_suffix('\r').unwrap_or(line).split('\r'))
}

fn by_width(text: &str, starts: &[usize]) -> Vec<Record> {
    let record = |(place, line): (usize, &str)| {
        let letters: Vec<char> = line.chars().collect();
        let cell = |n: usize| {
            let from = starts[n].min(letters.len());
            let to = starts.get(n + 1).copied().unwrap_or(letters.len()).clamp(from, letters.len());
            letters[from..to].iter().collect::<String>().trim().to_owned()
        };
        Record { line: place + 1, cells: (0..starts.len()).map(cell).collect() }
    };
    lines(text).enumerate().map(record).collect()
}

fn by_sign(text: &str, sign: char) -> Vec<Record> {
    let letters: Vec<char> = text.chars().collect();
    let (mut records, mut cells, mut cell) = (Vec::new(), Vec::new(), String::new());
    let (mut at, mut line, mut begins) = (0, 1, 1);
    let mut is_quoted_cell = false;
    while at < letters.len() {
        let c = letters[at];
        if c == '"'
            && cell.trim().is_empty()
            && !is_quoted_cell
            && let Some((inside, next)) = quoted(&letters, at)
        {
            line += inside.iter().filter(|&&c| c == '\n').count();
            cell = inside.into_iter().collect();
            is_quoted_cell = true;
            at = next;
            continue;
        }
        let ends_line = c == '\n' || (c == '\r' && letters.get(at + 1) != Some(&'\n'));
        if c == sign {
            cells.push(std::mem::take(&mut cell).trim().to_owned());
            is_quoted_cell = false;
        } else if ends_line {
            cells.push(std::mem::take(&mut cell).trim().to_owned());
            is_quoted_cell = false;
            records.push(Record { line: begins, cells: std::mem::take(&mut cells) });
            line += 1;
            begins = line;
        } else if c != '\r' {
            cell.push(c);
        }
        at += 1;
    }
    cells.push(cell.trim().to_owned());
    records.push(Record { line: begins, cells });
    records
}

/// What stands between the quotation mark at a place and the one that closes it, and the place behind; `None` where it is a
/// letter: nothing closes it, or what closes it does not end the cell.
fn quoted(letters: &[char], at: usize) -> Option<(Vec<char>, usize)> {
    let (mut inside, mut place) = (Vec::new(), at + 1);
    loop {
        match (letters.get(place)?, letters.get(place + 1)) {
            ('"', Some('"')) => {
                inside.push('"');
                place += 2;
            }
            ('"', _) => return Some((inside, place + 1)),
            // A cell of many thousand letters is a mark that was never closed.
            _ if inside.len() > 2000 => return None,
            (c, _) => {
                inside.push(*c);
                place += 1;
            }
        }
    }
}

/// Where the columns of a text of fixed width begin: a column begins where, in most lines, a letter follows at least two
/// spaces, or the line begins.
pub fn likely_widths(text: &str) -> Vec<usize> {
    let mut votes = std::collections::BTreeMap::<usize, usize>::new();
    let mut n_lines = 0;
    for line in lines(text).filter(|line| line.contains("  ")) {
        n_lines += 1;
        let letters: Vec<char> = line.chars().collect();
        for place in 0..letters.len() {
            let begins = letters[place] != ' '
                && (place == 0 || (place > 1 && letters[place - 1] == ' ' && letters[place - 2] == ' '));
            if begins {
                *votes.entry(place).or_default() += 1;
            }
        }
    }
    votes.into_iter().filter(|(_, n)| *n * 2 > n_lines).map(|(place, _)| place).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn cells(text: &str, sign: char) -> Vec<Vec<String>> {
        records(text, &Separator::Sign(sign)).into_iter().map(|record| record.cells).collect()
    }

    #[test]
    fn quoted_cells_may_hold_separators_marks_and_line_breaks() {
        let text = "\"Well 4, north\";0,25\r\n\"two\nlines \"\"2\"\"\";1\r\n";
        let found = records(text, &Separator::Sign(';'));
        assert_eq!(found[0].cells, ["Well 4, north", "0,25"]);
        assert_eq!((found[1].line, found[1].cells.as_slice()), (2, &["two\nlines \"2\"".to_owned(), "1".into()][..]));
    }

    #[test]
    fn a_mark_that_is_never_closed_is_a_letter() {
        assert_eq!(cells("5\" pipe,1\n\"open,2\n", ','), [["5\" pipe", "1"], ["\"open", "2"]]);
    }

    #[test]
    fn columns_of_fixed_width_are_found() {
        let text = "Sample      Pos   Abs\nWell 4        1   0.0123\nWell 12      12   0.1\n";
        let widths = likely_widths(text);
        assert_eq!(widths[0], 0);
        let found = records(text, &Separator::Widths(vec![0, 12, 18]));
        assert_eq!(found[2].cells, ["Well 12", "12", "0.1"]);
    }

    proptest! {
        #[test]
        fn any_text_is_parted(text in "[a\"\n\r,;\tµ 0-9]{0,60}") {
            for separator in [Separator::Sign(','), Separator::Sign(';'), Separator::Widths(vec![0, 3, 7])] {
                for record in records(&text, &separator) {
                    prop_assert!(record.line >= 1 && record.line <= text.len() + 1);
                }
            }
            let _ = likely_widths(&text);
        }

        // A second opinion, on tables that are sound.
        #[test]
        fn sound_tables_have_the_cells_that_another_reader_finds(
            rows in proptest::collection::vec(proptest::collection::vec("[a-z]{1,3}[,\"\n]?[a-z]?", 2..4), 1..5)
        ) {
            let mut writer = csv::Writer::from_writer(Vec::new());
            let width = rows[0].len();
            let rows: Vec<Vec<String>> = rows.into_iter().map(|mut row| { row.resize(width, "x".into()); row }).collect();
            rows.iter().for_each(|row| writer.write_record(row).unwrap());
            let text = String::from_utf8(writer.into_inner().unwrap()).unwrap();
            let trimmed: Vec<Vec<String>> =
                rows.iter().map(|row| row.iter().map(|cell| cell.trim().to_owned()).collect()).collect();
            prop_assert_eq!(cells(&text, ','), trimmed);
        }
    }
}
