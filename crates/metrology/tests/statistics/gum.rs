//! JCGM 100:2008 (GUM): Type A, Type B, rounding of a result, analysis of variance.

use darkline_metrology::anova::{GroupSummary, OneWay};
use darkline_metrology::rounding::{Decimal, Digits, ReportRule, Rounding, report};
use darkline_metrology::summary;
use darkline_metrology::type_b::Stated;

use crate::published::{case, check_expected, items, number, numbers, table, text};

/// GUM 4.4.3 and Table 1, from memory: twenty temperature readings.
#[test]
fn gum_4_4_3_type_a_of_twenty_readings() {
    let case = case("uncertainty/gum-4-4-3-type-a.toml");
    let found = summary::type_a(&numbers(table(&case, "data"), "observations")).expect("twenty readings");
    check_expected(&case, |key| match key {
        "n" => Some(found.n as f64),
        "y" => Some(found.mean),
        "s" => Some(found.sd),
        "u" => Some(found.u),
        "dof" => Some(found.dof),
        _ => None,
    });
}

/// GUM 4.3.3 to 4.4.6 and H.1.3.4, from memory: what certificates state.
#[test]
fn gum_4_3_type_b_from_stated_limits() {
    for item in items("uncertainty/gum-4-3-type-b.toml") {
        let get = |key| number(&item.table, key);
        let stated = match text(&item.table, "given") {
            "multiple_of_u" => Stated::Expanded { expanded_u: get("value"), k: get("k") },
            "normal_interval" => Stated::NormalInterval { half_width: get("half_width"), level: get("level") },
            "rectangular" => Stated::Rectangular { half_width: get("half_width") },
            "rectangular_limits" => Stated::RectangularLimits { lower: get("lower"), upper: get("upper") },
            "triangular" => Stated::Triangular { half_width: get("half_width") },
            "arcsine" => Stated::Arcsine { half_width: get("half_width") },
            other => panic!("{other} is not covered"),
        };
        item.close("u", stated.u());
    }
}

/// GUM 7.2.6, from memory: the estimate to the place of its uncertainty, 10.47 up and 28.05 down.
#[test]
fn gum_7_2_6_rounding_of_uncertainty_and_estimate() {
    for item in items("uncertainty/gum-7-2-6-rounding.toml") {
        let uncertainty = match text(&item.table, "mode") {
            "half_even" => Rounding::HalfEven,
            "up" => Rounding::Up,
            other => panic!("{other} is not covered"),
        };
        assert_eq!(number(&item.table, "uc_digits"), 2.0);
        let rule = ReportRule { digits: Digits::Two, uncertainty, value: Rounding::HalfEven };
        let y = item.table.get("y").map(|_| number(&item.table, "y"));
        let printed = report(y.unwrap_or(0.0), number(&item.table, "uc"), rule).expect("finite figures");
        assert_eq!(printed.u.to_string(), text(&item.table, "uc_reported"));
        if y.is_some() {
            assert_eq!(printed.value.to_string(), text(&item.table, "y_reported"));
        }
        // From the written figure as from the binary number.
        let written: Decimal = item.written("uc").parse().expect("a figure");
        assert_eq!(written.rounded_to_digits(2, uncertainty).to_string(), text(&item.table, "uc_reported"));
    }
}

/// GUM H.5.2 and Table H.9, from memory: ten days of five readings, given as daily means and standard deviations.
#[test]
fn gum_h_5_between_and_within_days() {
    let case = case("uncertainty/gum-h5-anova.toml");
    let data = table(&case, "data");
    let (means, sds) = (numbers(data, "daily_mean"), numbers(data, "daily_s"));
    let n = number(data, "K") as usize;
    assert_eq!((means.len() as f64, sds.len() as f64), (number(data, "J"), number(data, "J")));
    let days: Vec<GroupSummary> =
        means.iter().zip(&sds).map(|(mean, sd)| GroupSummary { n, mean: *mean, sd: sd * 1.0e-6 }).collect();
    let days = OneWay::of_summaries(&days).expect("ten days of five");
    check_expected(&case, |key| match key {
        "mean" => Some(days.grand_mean),
        "s_of_means_uV" => summary::sd(&means).map(|s| 1.0e6 * s),
        "s_a_uV" => Some(1.0e6 * days.ms_between().sqrt()),
        "s_b_uV" => Some(1.0e6 * days.s_within()),
        "F" => days.f(),
        "F_crit_95" => days.critical_f(0.95),
        "F_crit_975" => days.critical_f(0.975),
        "dof_a" => Some(days.dof_between),
        "dof_b" => Some(days.dof_within),
        "s_B_uV" => Some(1.0e6 * days.s_between()),
        "u_mean_uV" => Some(1.0e6 * days.u_grand_mean()),
        "u_mean_pooled_uV" => Some(1.0e6 * days.u_grand_mean_pooled()),
        _ => None,
    });
}
