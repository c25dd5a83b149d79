//! A table for people: columns as wide as they must be, decimal points under one another.
//!
//! Where it would be too wide, the words of the last column are broken into lines.

use unicode_width::UnicodeWidthStr;

use crate::paragraph::{self, WIDTH};

/// The last column is not made narrower than this.
const NARROWEST: usize = 24;

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
        let mut widths: Vec<usize> = self
            .heads
            .iter()
            .zip(&columns)
            .map(|((_, head, unit), cells)| {
                cells.iter().map(|cell| cell.width()).chain([head.width(), unit.width()]).max().unwrap_or(0)
            })
            .collect();
        let others = widths.iter().rev().skip(1).map(|width| width + 2).sum::<usize>();
        if let (Some(last), Some((Column::Words, head, unit))) = (widths.last_mut(), self.heads.last()) {
            let room = WIDTH.saturating_sub(others).max(NARROWEST).max(head.width()).max(unit.width());
            *last = (*last).min(room);
        }
        let heads: Vec<&str> = self.heads.iter().map(|(_, head, _)| head.as_str()).collect();
        let mut text = self.line(&widths, &heads);
        if self.heads.iter().any(|(_, _, unit)| !unit.is_empty()) {
            let units: Vec<&str> = self.heads.iter().map(|(_, _, unit)| unit.as_str()).collect();
            text.push_str(&self.line(&widths, &units));
        }
        for row in 0..self.rows.len() {
            let cells: Vec<&str> = columns.iter().map(|cells| cells[row].as_str()).collect();
            text.push_str(&self.broken(&widths, &cells));
        }
        text
    }

    /// A row, its last cell on as many lines as it takes.
    fn broken(&self, widths: &[usize], cells: &[&str]) -> String {
        let (Some(room), Some(last)) = (widths.last(), cells.last()) else { return "\n".into() };
        if last.width() <= *room {
            return self.line(widths, cells);
        }
        let mut text = String::new();
        for (place, piece) in paragraph::lines(last, *room).iter().enumerate() {
            let mut cells: Vec<&str> = if place == 0 { cells.to_vec() } else { vec![""; cells.len()] };
            if let Some(last) = cells.last_mut() {
                *last = piece;
            }
            text.push_str(&self.line(widths, &cells));
        }
        text
    }

    fn line(&self, widths: &[usize], cells: &[&str]) -> String {
        let mut line = String::new();
        for (place, (width, cell)) in widths.iter().zip(cells).enumerate() {
            let padding = " ".repeat(width.saturating_sub(cell.width()));
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

/// Pads figures on both sides so that their points stand under one another; a minus is written as one.
fn aligned(cells: &[&str]) -> Vec<String> {
    let split = |cell: String| -> (String, String) {
        match cell.split_once('.') {
            Some((whole, decimals)) => (whole.into(), format!(".{decimals}")),
            None => (cell, String::new()),
        }
    };
    let minus = |cell: &str| cell.strip_prefix('-').map_or_else(|| cell.to_owned(), |figure| format!("−{figure}"));
    let parts: Vec<(String, String)> = cells.iter().map(|cell| split(minus(cell))).collect();
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
        table.row(vec!["blank".into(), "-0.02".into(), String::new()]);
        let wanted = "\
sample   mass fraction  conformity
                 mg/kg
well-04           0.41  complies
well-05           –
pond-01          15.3   inconclusive
blank            −0.02
";
        assert_eq!(table.text(), wanted);
    }

    #[test]
    fn a_long_last_cell_goes_on_below_itself() {
        let mut table = Table::new().figures("entry", "").words("act");
        let act = "flag replicate-outlier:reading:R1/38 justified: the droplet hung on the tip and fell beside the tube, seen by two";
        table.row(vec!["412".into(), act.into()]);
        table.row(vec!["413".into(), "order 2026-031 archived".into()]);
        let wanted = "\
entry  act
  412  flag replicate-outlier:reading:R1/38 justified: the droplet hung on the tip and fell beside
       the tube, seen by two
  413  order 2026-031 archived
";
        assert_eq!(table.text(), wanted);
    }
}
