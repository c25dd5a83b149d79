//! Tables in the decimal sign of the place: with a comma in figures, cells are parted by semicolons, as spreadsheets there expect.

use crate::separated::push_line_with;

/// The decimal sign of a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DecimalSign {
    /// 0.25, cells parted by commas.
    Point,
    /// 0,25, cells parted by semicolons.
    Comma,
}

/// A table of cells in the decimal sign of the place.
///
/// # Example
/// ```
/// use darkline_exchange::decimal_sign::{DecimalSign, write};
/// let line = ["well-04", "0.41", "2026-03-14T09:30:00.5+01:00"].map(str::to_owned).to_vec();
/// let head = ["sample", "value", "at"].map(str::to_owned).to_vec();
/// let table = write(&head, &[line], DecimalSign::Comma);
/// assert_eq!(table, "sample;value;at\nwell-04;0,41;2026-03-14T09:30:00.5+01:00\n");
/// ```
pub fn write(head: &[String], lines: &[Vec<String>], sign: DecimalSign) -> String {
    let separator = match sign {
        DecimalSign::Point => ',',
        DecimalSign::Comma => ';',
    };
    let mut table = String::new();
    push_line_with(&mut table, head, separator);
    for line in lines {
        let cells: Vec<String> = line.iter().map(|cell| in_place(cell, sign)).collect();
        push_line_with(&mut table, &cells, separator);
    }
    table
}

/// A figure with the decimal sign; anything else as it is.
fn in_place(cell: &str, sign: DecimalSign) -> String {
    let digits = cell.strip_prefix('-').unwrap_or(cell);
    let is_figure = digits.starts_with(|c: char| c.is_ascii_digit()) && digits.parse::<f64>().is_ok();
    if sign == DecimalSign::Comma && is_figure { cell.replace('.', ",") } else { cell.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_change_their_sign_and_nothing_else() {
        for (cell, wanted) in
            [("0.25", "0,25"), ("-1.5e-3", "-1,5e-3"), ("1.2.3", "1.2.3"), ("S.1", "S.1"), ("inf", "inf"), ("12", "12")]
        {
            assert_eq!(in_place(cell, DecimalSign::Comma), wanted);
            assert_eq!(in_place(cell, DecimalSign::Point), cell);
        }
    }
}
