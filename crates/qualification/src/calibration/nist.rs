//! The digits in which the program agrees with the certified values of NIST.

use crate::qualification::Outcome;
use crate::shipped;

/// A reference dataset of NIST and how well its certified values come out.
#[derive(Clone, Debug, PartialEq)]
pub struct CertifiedDigits {
    /// The dataset with its chapter, as the source calls it.
    pub dataset: String,
    /// What is fitted, in the words of the cases.
    pub kind: String,
    /// How many certified values are compared.
    pub n_values: usize,
    /// The value that agrees least.
    pub least_key: String,
    /// In how many decimal digits it does; 15 at most.
    pub least_digits: f64,
    /// In how many the values agree that are estimates: means, coefficients; the least of them.
    pub least_of_estimates: f64,
}

/// The Statistical Reference Datasets of NIST that ship with the program, in the order of their names.
///
/// # Source
/// NIST Statistical Reference Datasets; digits in agreement after B. D. McCullough, Am. Stat. 52 (1998) 358-366 (from
/// memory).
#[must_use]
pub fn certified_digits() -> Vec<CertifiedDigits> {
    let found = shipped::run("calibration/nist-", &|_, _| {});
    let datasets = found.cases.into_iter().filter_map(|case| {
        let Outcome::Compared(comparisons) = case.outcome else { return None };
        let dataset = case.source.rsplit_once("dataset ").map_or(case.case.as_str(), |(_, name)| name).to_owned();
        // The place reads "Nonlinear regression, dataset Misra1a".
        let before = case.source.rsplit_once(", dataset ").map_or("", |(before, _)| before);
        let chapter = before.rsplit_once(", ").map_or(before, |(_, chapter)| chapter).to_owned();
        let digits = |key: &str, digits: Option<f64>| (key.to_owned(), digits.unwrap_or(0.0));
        let all: Vec<(String, f64)> =
            comparisons.iter().map(|comparison| digits(&comparison.key, comparison.digits)).collect();
        let is_estimate = |key: &str| key == "mean" || key == "F" || (key.starts_with('b') && key.len() <= 3);
        let least = |of: &mut dyn Iterator<Item = &(String, f64)>| of.min_by(|a, b| a.1.total_cmp(&b.1)).cloned();
        let (least_key, least_digits) = least(&mut all.iter())?;
        let (_, least_of_estimates) = least(&mut all.iter().filter(|(key, _)| is_estimate(key)))?;
        Some(CertifiedDigits {
            dataset,
            kind: chapter,
            n_values: all.len(),
            least_key,
            least_digits,
            least_of_estimates,
        })
    });
    datasets.collect()
}

/// The same as a table in Markdown, as the page on accuracy has it.
#[must_use]
pub fn certified_table() -> String {
    let mut text = String::from(
        "Decimal digits in which the certified values of the Statistical Reference Datasets of NIST come out, 15 at most: \
         −lg of the\nrelative error. *estimates*: means, coefficients, F; *all*: also standard deviations and sums of squares, \
         with the value that\nagrees least. NIST certifies eleven digits of the nonlinear sets, 15 of the others. Readings whose \
         leading digits are all the same,\nas in SmLs07 and NumAcc4, lose digits when they become binary numbers, before \
         anything is computed.\n\n| dataset | chapter | values | estimates | all | least |\n|---|---|---|---|---|---|\n",
    );
    for row in certified_digits() {
        // Cut, not rounded: nothing is said to agree further than it does.
        let digits = |digits: f64| format!("{:.1}", (10.0 * digits).floor() / 10.0);
        text.push_str(&format!(
            "| {} | {} | {} | {} | {} | {} |\n",
            row.dataset,
            row.kind,
            row.n_values,
            digits(row.least_of_estimates),
            digits(row.least_digits),
            row.least_key
        ));
    }
    text
}
