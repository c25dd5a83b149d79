//! Laws of every calibration function: scaled responses, scaled amounts, readings in any order.

use darkline_evaluation::outcome::{Outcome, Reported};
use darkline_record::method::CalibrationModel;
use proptest::prelude::*;
use serde_json::json;

use crate::package::{outcome, package};

fn standards(scale_response: f64, scale_amount: f64, noise: &[f64]) -> Vec<(f64, Vec<f64>)> {
    [1.0, 2.0, 4.0, 6.0, 8.0, 10.0]
        .iter()
        .zip(noise.chunks(2))
        .map(|(x, noise)| {
            // A scatter that no draw takes away: of an exact fit nothing but rounding is left, which keeps to no law.
            let response = |(noise, sign): (&f64, f64)| scale_response * (x / (1.0 + 0.03 * x) + noise + 0.02 * sign);
            (scale_amount * x, noise.iter().zip([1.0, -1.0]).map(response).collect())
        })
        .collect()
}

fn value(outcome: &Outcome) -> (f64, f64) {
    match &outcome.results[0].reported {
        Reported::Value { result } => (result.value, result.u),
        other => panic!("{other:?}, {:?}", outcome.flags),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// The unabsorbed-light curve is left out where responses are scaled: its ceiling is a property of absorbance.
    #[test]
    fn scaled_responses_leave_amounts_and_scaled_amounts_scale_them(
        noise in proptest::collection::vec(-0.01..0.01_f64, 12),
        unknown in 2.0..6.0_f64,
    ) {
        for model in CalibrationModel::ALL {
            let method = json!({"calibration": {"model": model, "weights": "equal"}});
            let plain = value(&outcome(&package(&standards(1.0, 1.0, &noise), &[vec![unknown]], &method)));
            let amounts = value(&outcome(&package(&standards(1.0, 5.0, &noise), &[vec![unknown]], &method)));
            prop_assert!((amounts.0 / (5.0 * plain.0) - 1.0).abs() < 1e-6, "{:?} {:?} {:?}", model, plain, amounts);
            prop_assert!((amounts.1 / (5.0 * plain.1) - 1.0).abs() < 1e-5, "{:?} {:?} {:?}", model, plain, amounts);
            if model != CalibrationModel::UnabsorbedLight {
                let responses = value(&outcome(&package(&standards(3.0, 1.0, &noise), &[vec![3.0 * unknown]], &method)));
                prop_assert!((responses.0 / plain.0 - 1.0).abs() < 1e-6, "{:?} {:?} {:?}", model, plain, responses);
                prop_assert!((responses.1 / plain.1 - 1.0).abs() < 1e-5, "{:?} {:?} {:?}", model, plain, responses);
            }
        }
    }

    /// The covariance matrix of all results, by the sources they share, is positive semidefinite; u is at least its largest
    /// contribution.
    #[test]
    fn covariances_of_all_results_are_a_covariance_matrix(
        noise in proptest::collection::vec(-0.01..0.01_f64, 12),
        unknowns in proptest::collection::vec(1.0..7.0_f64, 2..6),
        weights in proptest::collection::vec(-3.0..3.0_f64, 5),
    ) {
        let unknowns: Vec<Vec<f64>> = unknowns.iter().map(|response| vec![*response, response + 0.01]).collect();
        for model in CalibrationModel::ALL {
            let method = json!({"calibration": {"model": model, "weights": "equal", "u_stock": "1 %"}});
            let found = outcome(&package(&standards(1.0, 1.0, &noise), &unknowns, &method));
            let values: Vec<_> = found.results.iter().filter_map(|result| result.reported.found()).collect();
            prop_assert_eq!(values.len(), unknowns.len());
            for value in &values {
                let largest = value.contributions.iter().map(|(_, u)| u.abs()).fold(0.0, f64::max);
                prop_assert!(value.u >= largest && largest > 0.0);
            }
            // For any combination of the results the variance is not below zero, but for rounding.
            let mut variance: f64 = values.iter().zip(&weights).map(|(value, weight)| (weight * value.u) * (weight * value.u)).sum();
            let scale = variance;
            let place = |sample: &darkline_record::identity::SampleId| {
                found.results.iter().position(|result| result.sample == *sample).expect("a sample of the order")
            };
            for pair in found.correlations() {
                let (one, other) = (place(&pair.sample), place(&pair.other));
                variance += 2.0 * weights[one] * weights[other] * pair.covariance;
                prop_assert!(pair.correlation.abs() <= 1.0);
            }
            prop_assert!(variance >= -1e-9 * scale, "{:?} {} {}", model, variance, scale);
        }
    }

    #[test]
    fn readings_in_any_order_give_the_same_bits(
        noise in proptest::collection::vec(-0.01..0.01_f64, 12),
        shuffle in any::<u64>(),
    ) {
        for model in CalibrationModel::ALL {
            let method = json!({"calibration": {"model": model, "weights": "equal"}});
            let mut package = package(&standards(1.0, 1.0, &noise), &[vec![3.0, 3.01]], &method);
            let wanted = outcome(&package);
            for run in &mut package.runs {
                run.readings.sort_by_key(|reading| (u64::from(reading.number) ^ shuffle).wrapping_mul(0x9E37_79B9_7F4A_7C15));
            }
            let mut found = outcome(&package);
            found.package = wanted.package;
            prop_assert_eq!(found.digest(), wanted.digest());
        }
    }

    #[test]
    fn any_figure_gives_a_fact_and_never_a_panic(
        figures in proptest::collection::vec(proptest::num::f64::NORMAL | proptest::num::f64::ZERO, 7),
    ) {
        // A record holds what can be written; what cannot be read as a figure is turned back at the door.
        let written = |figure: f64| if figure.abs() < 1e300 { figure } else { 1e300 };
        let standards: Vec<(f64, Vec<f64>)> =
            (0..6).map(|place| (f64::from(place), vec![written(figures[place as usize])])).collect();
        for model in CalibrationModel::ALL {
            let method = json!({"calibration": {"model": [model, "straight-line"], "weights": "equal"}});
            let found = outcome(&package(&standards, &[vec![written(figures[6])]], &method));
            prop_assert!(serde_json::to_string(&found).is_ok());
        }
    }
}
