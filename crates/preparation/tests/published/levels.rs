//! The uncertainty of an amount read back from a line: Eurachem/CITAC CG 4, QUAM:2012, example A5.

use darkline_preparation::levels::{Measurement, Model, judged};

use crate::{case, figure};

#[test]
fn an_amount_read_back_is_as_sure_as_quam_a5_says() {
    let case = case("quam-a5-calibration-line.toml");
    let expected = case["expected"].as_table().unwrap();
    // Five levels, each read three times; the sample twice; equal weights.
    let measurement = Measurement {
        model: Model::StraightLine,
        slope: figure(expected, "B1"),
        sd_at_zero: figure(expected, "S"),
        rsd: 0.0,
        u_level: 0.0,
        readings_of_level: 3,
        readings: 2,
        low: 0.1,
        high: 0.9,
        at: figure(expected, "c0"),
    };
    let (at, _) = judged(&measurement, &[0.1, 0.3, 0.5, 0.7, 0.9]).unwrap();
    let u = at * measurement.at;
    assert!((u - figure(expected, "u_c0")).abs() <= figure(case["tolerance"].as_table().unwrap(), "u_c0"), "{u}");
}
