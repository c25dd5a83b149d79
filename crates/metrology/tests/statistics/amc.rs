//! Analytical Methods Committee: robust statistics, Analyst 114 (1989) 1693-1702 and Technical Brief No. 6.

use darkline_metrology::robust::{algorithm_a, huber_location, huber_pass, mad, median, scaled_mad};
use darkline_metrology::summary;

use crate::published::{number, numbers};
use crate::quality_case::check;

/// Analyst 114 (1989) 1693: copper in wholemeal flour, 24 values and one of 28.95.
#[test]
fn amc_1989_copper_in_flour() {
    check("robust-copper-flour", "robust_summary", |data, name| {
        let (x, k) = (numbers(data, "x"), number(data, "k"));
        match name {
            "mean" => summary::mean(&x),
            "s" => summary::sd(&x),
            "median" => median(&x),
            "mad" => mad(&x),
            "mad_scaled" => scaled_mad(&x),
            "huber_fixed_scale_location" => huber_location(&x, scaled_mad(&x)?, k),
            "h15_location" => Some(algorithm_a(&x)?.location),
            "h15_scale" => Some(algorithm_a(&x)?.scale),
            _ => None,
        }
    });
}

/// AMC Technical Brief No. 6 (2001): two passes of winsorising, step by step.
#[test]
fn amc_brief_6_winsorising_step_by_step() {
    check("robust-amc-brief-6", "huber_passes", |data, name| {
        let x = numbers(data, "x");
        let (k, factor) = (number(data, "k"), number(data, "scale_factor"));
        assert_eq!(number(data, "passes"), 2.0);
        let one = huber_pass(&x, number(data, "start_mean"), number(data, "start_scale"), k, factor)?;
        let two = huber_pass(&x, one.location, one.scale, k, factor)?;
        match name {
            "pass_1_upper_limit" => Some(one.upper_limit),
            "pass_1_mean" => Some(one.location),
            "pass_1_scale" => Some(one.scale),
            "pass_2_upper_limit" => Some(two.upper_limit),
            "classical_mean" => summary::mean(&x),
            "classical_s" => summary::sd(&x),
            _ => None,
        }
    });
}
