//! Results as a table for programs: CSV, one line a result, figures to the last digit they are computed with.

use crate::decimal_sign::{self, DecimalSign};
use crate::separated::push_line;

/// Writes a table with its head, in the decimal sign of the place.
///
/// # Arguments
/// * `head`: names of the columns.
/// * `lines`: cells in the order of the head.
pub fn write_in(head: &[&str], lines: &[Vec<String>], sign: DecimalSign) -> String {
    decimal_sign::write(&head.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>(), lines, sign)
}

/// Writes a table with its head.
///
/// # Arguments
/// * `head`: names of the columns.
/// * `lines`: cells in the order of the head.
pub fn write(head: &[&str], lines: &[Vec<String>]) -> String {
    let mut table = String::new();
    push_line(&mut table, &head.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>());
    for line in lines {
        push_line(&mut table, line);
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_with_a_comma_is_quoted() {
        let text = write(&["sample", "state"], &[vec!["S01".into(), "withheld, see flag".into()]]);
        assert_eq!(
            text,
            "sample,state\r\nS01,\"withheld, see flag\"\r\n"
                .replace("\r\n", if text.contains('\r') { "\r\n" } else { "\n" })
        );
    }
}
