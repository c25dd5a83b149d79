//! A figure as it stands in a message: six significant digits, no trailing zeros.
//!
//! Source: none needed, this prints.

use std::fmt;

/// A figure to be shown in a message.
pub(crate) struct Shown(pub f64);

impl fmt::Display for Shown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let value = self.0;
        if value == 0.0 || !value.is_finite() {
            return write!(f, "{value}");
        }
        let scientific = format!("{value:.5e}");
        let (mantissa, exponent) = scientific.split_once('e').unwrap_or((&scientific, "0"));
        let exponent: i32 = exponent.parse().unwrap_or(0);
        if !(-5..6).contains(&exponent) {
            return write!(f, "{}e{exponent}", without_trailing_zeros(mantissa));
        }
        let decimals = usize::try_from(5 - exponent).unwrap_or(0);
        f.write_str(without_trailing_zeros(&format!("{value:.decimals$}")))
    }
}

fn without_trailing_zeros(text: &str) -> &str {
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_in_messages_have_six_digits_at_most() {
        let shown = |value: f64| Shown(value).to_string();
        assert_eq!(shown(-0.100_013_571_428_571_44), "-0.100014");
        assert_eq!(shown(20.0), "20");
        assert_eq!(shown(123_456.7), "123457");
        assert_eq!(shown(1_234_567.0), "1.23457e6");
        assert_eq!(shown(0.05), "0.05");
        assert_eq!(shown(3.0e-9), "3e-9");
        assert_eq!(shown(0.0), "0");
        assert_eq!(shown(f64::NAN), "NaN");
    }
}
