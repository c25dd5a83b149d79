//! A table for people: columns as wide as they must be, decimal points under one another.

use unicode_width::UnicodeWidthStr;

/// How a column is set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Column {
    /// Words, to the left.
    Words,
    /// Figures, the points under one another; a dash stands where the units are.
    Figures,
}

/// A table.
#[derive(Clone, Debug)]
pub struct Table {
    heads: Vec<(Column, String, String)>,
    rows: Vec<Vec<String>>,
}

impl Table {
    /// An empty table.
    pub fn new() -> Self {
        Self { heads: Vec::new(), rows: Vec::new() }
    }
    /// Adds a column of words.
    pub fn words(mut self, head: &str) -> Self {
        self.heads.push((Column::Words, head.into(), String::new()));
        self
    }
    /// Adds a column of figures with their unit below the head.
    pub fn figures(mut self, head: &str, unit: &str) -> Self {
        self.heads.push((Column::Figures, head.into(), unit.into()));
        self
    }
    /// Adds a row; an empty cell is left empty.
    pub fn row(&mut self, cells: Vec<String>) {
        self.rows.push(cells);
    }

    /// The table as text, each line with its end.
    pub fn text(&self) -> String {
        let columns: Vec<Vec<String>> = self
            .heads
            .iter()
            .enumerate()
            .map(|(place, (column, ..))| {
                let cells: Vec<&str> = self.rows.iter().map(|row| row.get(place).map_or("", String::as_str)).collect();
                match column {
                    Column::Words => cells.iter().map(|cell| (*cell).to_owned()).collect(),
                    Column::Figures => aligned(&cells),
                }
            })
            .collect();
        let widths: Vec<usize> = self
            .heads
            .iter()
            .zip(&columns)
            .map(|((_, head, unit), cells)| {
                cells.iter().map(|cell| cell.width()).chain([head.width(), unit.width()]).max().unwrap_or(0)
            })
            .collect();
        let mut text = String::new();
        text.push_str(&self.line(&widths, |place| &self.heads[place].1));
        if self.heads.iter().any(|(_, _, unit)| !unit.is_empty()) {
            text.push_str(&self.line(&widths, |place| &self.heads[place].2));
        }
        for row in 0..self.rows.len() {
            text.push_str(&self.line(&widths, |place| &columns[place][row]));
        }
        text
    }

    fn line<'a>(&self, widths: &[usize], cell: impl Fn(usize) -> &'a String) -> String {
        let mut line = String::new();
        for (place, width) in widths.iter().enumerate() {
            let cell = cell(place);
            let padding = " ".repeat(width - cell.width());
            if place > 0 {
                line.push_str("  ");
            }
            match self.heads[place].0 {
                Column::Words => line.push_str(&format!("{cell}{padding}")),
                Column::Figures => line.push_str(&format!("{padding}{cell}")),
            }
        }
        format!("{}\n", line.trim_end())
    }
}

/// Pads figures on both sides so that their points stand under one another.
fn aligned(cells: &[&str]) -> Vec<String> {
    let split = |cell: &str| -> (String, String) {
        match cell.split_once('.') {
            Some((whole, decimals)) => (whole.into(), format!(".{decimals}")),
            None => (cell.into(), String::new()),
        }
    };
    let parts: Vec<(String, String)> = cells.iter().map(|cell| split(cell)).collect();
    let whole = parts.iter().map(|(whole, _)| whole.width()).max().unwrap_or(0);
    let decimals = parts.iter().map(|(_, decimals)| decimals.width()).max().unwrap_or(0);
    parts
        .iter()
        .map(|(left, right)| {
            if left.is_empty() && right.is_empty() {
                return String::new();
            }
            format!("{}{left}{right}{}", " ".repeat(whole - left.width()), " ".repeat(decimals - right.width()))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimal_points_stand_under_one_another() {
        let mut table = Table::new().words("sample").figures("mass fraction", "mg/kg").words("conformity");
        table.row(vec!["well-04".into(), "0.41".into(), "complies".into()]);
        table.row(vec!["well-05".into(), "–".into(), String::new()]);
        table.row(vec!["pond-01".into(), "15.3".into(), "inconclusive".into()]);
        let wanted = "\
sample   mass fraction  conformity
                 mg/kg
well-04           0.41  complies
well-05           –
pond-01          15.3   inconclusive
";
        assert_eq!(table.text(), wanted);
    }
}
