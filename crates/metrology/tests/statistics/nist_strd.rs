//! NIST Statistical Reference Datasets: univariate summaries and one-way analysis of variance.
//!
//! Certified values, copied digit for digit; tolerances are the relative ones of each case.

use darkline_metrology::anova::OneWay;
use darkline_metrology::summary;
use toml::Table;

use crate::published::{as_number, case, close, number, numbers, optional, read, table, text};

fn columns(data: &Table) -> Vec<Vec<f64>> {
    let written = read(&format!("calibration/{}", text(data, "file")));
    let rows: Vec<Vec<f64>> = written
        .lines()
        .skip(1)
        .filter(|line| !line.trim().is_empty())
        .map(|line| line.split(',').map(|x| x.trim().parse().expect("a number")).collect())
        .collect();
    assert_eq!(rows.len() as f64, number(data, "n"));
    (0..rows[0].len()).map(|i| rows.iter().map(|row| row[i]).collect()).collect()
}

fn check_certified(case: &Table, found: impl Fn(&str) -> Option<f64>) {
    let tolerances = table(case, "tolerance");
    for (key, expected) in table(case, "expected") {
        let expected = as_number(expected);
        let tolerance = table(tolerances, key);
        let allowed = match optional(tolerance, "abs") {
            Some(absolute) => absolute,
            None => number(tolerance, "rel") * expected.abs(),
        };
        close(key, found(key), expected, allowed);
    }
}

fn check_univariate(id: &str) {
    let case = case(&format!("calibration/{id}.toml"));
    let data = table(&case, "data");
    let y = if data.contains_key("file") { columns(data).remove(0) } else { numbers(data, "y") };
    check_certified(&case, |key| match key {
        "mean" => summary::mean(&y),
        "sd" => summary::sd(&y),
        "r1" => summary::lag_one(&y),
        _ => None,
    });
}

fn check_anova(id: &str) {
    let case = case(&format!("calibration/{id}.toml"));
    let columns = columns(table(&case, "data"));
    let mut groups: Vec<(f64, Vec<f64>)> = Vec::new();
    for (group, y) in columns[0].iter().zip(&columns[1]) {
        match groups.last_mut() {
            Some((last, values)) if last == group => values.push(*y),
            _ => groups.push((*group, vec![*y])),
        }
    }
    let groups: Vec<&[f64]> = groups.iter().map(|(_, values)| values.as_slice()).collect();
    let found = OneWay::of(&groups).expect("groups of several values");
    check_certified(&case, |key| match key {
        "df_between" => Some(found.dof_between),
        "df_within" => Some(found.dof_within),
        "ss_between" => Some(found.ss_between),
        "ss_within" => Some(found.ss_within),
        "ms_between" => Some(found.ms_between()),
        "ms_within" => Some(found.ms_within()),
        "F" => found.f(),
        "r2" => found.r_squared(),
        "s_within" => Some(found.s_within()),
        _ => None,
    });
}

/// NIST StRD, univariate summary statistics, dataset Lew.
#[test]
fn nist_univariate_lew() {
    check_univariate("nist-univariate-lew");
}

/// NIST StRD, univariate summary statistics, dataset Michelso.
#[test]
fn nist_univariate_michelso() {
    check_univariate("nist-univariate-michelso");
}

/// NIST StRD, univariate summary statistics, dataset NumAcc1.
#[test]
fn nist_univariate_numacc1() {
    check_univariate("nist-univariate-numacc1");
}

/// NIST StRD, univariate summary statistics, dataset NumAcc2.
#[test]
fn nist_univariate_numacc2() {
    check_univariate("nist-univariate-numacc2");
}

/// NIST StRD, univariate summary statistics, dataset NumAcc4: one-pass formulas fail.
#[test]
fn nist_univariate_numacc4() {
    check_univariate("nist-univariate-numacc4");
}

/// NIST StRD, analysis of variance, dataset AtmWtAg.
#[test]
fn nist_anova_atmwtag() {
    check_anova("nist-anova-atmwtag");
}

/// NIST StRD, analysis of variance, dataset SmLs01.
#[test]
fn nist_anova_smls01() {
    check_anova("nist-anova-smls01");
}

/// NIST StRD, analysis of variance, dataset SmLs04: 7 constant leading digits.
#[test]
fn nist_anova_smls04() {
    check_anova("nist-anova-smls04");
}

/// NIST StRD, analysis of variance, dataset SmLs07: 13 constant leading digits.
#[test]
fn nist_anova_smls07() {
    check_anova("nist-anova-smls07");
}
