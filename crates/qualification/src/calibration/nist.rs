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
        let chapter = case.source.split_once(", ").map_or("", |(_, place)| place);
        let chapter = chapter.split_once(',').map_or(chapter, |(chapter, _)| chapter).to_owned();
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
