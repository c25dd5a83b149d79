//! Linearity, lack of fit, variances.

use darkline_calibration::calibration_function::CalibrationFunction;
use darkline_calibration::fitted::Fitted;
use darkline_calibration::lack_of_fit::lack_of_fit;
use darkline_calibration::level::levels;
use darkline_calibration::line::Line;
use darkline_calibration::mandel::Mandel;
use darkline_calibration::point::Dispersion;
use darkline_calibration::point_to_point;
use darkline_calibration::quadratic::Quadratic;
use darkline_calibration::two_component::TwoComponent;
use darkline_calibration::variance_homogeneity::{Cochran, power_law, ratio};
use darkline_metrology::kind::{Kind, MassConcentration};

use super::line::equal_points;
use crate::case::{Case, Found};

pub fn linearity(case: &Case) -> Found {
    let points = equal_points(case);
    let line = Line::fit(&points).unwrap();
    let quadratic = Fitted::fit(Quadratic, &points, Dispersion::Estimated).unwrap();
    let test = Mandel::of(line.chi_squared(), quadratic.sum_of_squares(), points.len()).unwrap();
    let process_sd = line.process_sd().si();
    let [b0, b1, b2] = quadratic.solution.parameters;
    let mut found = Found::from([
        ("slope".into(), line.slope.si()),
        ("intercept".into(), line.intercept.si()),
        ("s_y1".into(), line.residual_sd.si()),
        ("s_x0".into(), process_sd),
        ("v_x0_percent".into(), 100.0 * process_sd / line.mean_amount.si()),
        ("r".into(), line.r),
        ("x_mean".into(), line.mean_amount.si()),
        ("y_mean".into(), line.mean_response.si()),
        ("b0".into(), b0),
        ("b1".into(), b1),
        ("b2".into(), b2),
        ("s_y2".into(), quadratic.residual_sd().unwrap().si()),
        ("DS2".into(), test.difference),
        ("mandel_F".into(), test.f),
        ("F_crit_99".into(), test.critical(0.99).unwrap()),
        ("nonlinear_at_99".into(), f64::from(u8::from(test.refuses_line(0.99).unwrap()))),
    ]);
    if case.flag("procedure", "point_to_point") {
        let standards: Vec<_> = points.iter().map(|point| (point.amount, point.response)).collect();
        let tolerance = case.number("procedure", "tolerance");
        let slopes = point_to_point::slopes(&standards, tolerance).unwrap();
        let factors = point_to_point::response_factors(&standards, tolerance).unwrap();
        found.insert("ptp_median".into(), slopes.median);
        found.insert("ptp_outside".into(), slopes.outside.len() as f64);
        found.insert("rf_median".into(), factors.median);
        found.insert("rf_outside".into(), factors.outside.len() as f64);
    }
    found
}

pub fn lack_of_fit_of(case: &Case) -> Found {
    let points = equal_points(case);
    let mut found = Found::new();
    for degree in case.numbers("procedure", "degrees") {
        let function: Box<dyn CalibrationFunction> = if degree == 1.0 {
            Box::new(Line::fit(&points).unwrap())
        } else {
            assert_eq!(degree, 2.0);
            Box::new(Fitted::fit(Quadratic, &points, Dispersion::Estimated).unwrap())
        };
        let parameters = function.parameters();
        let test = lack_of_fit(function.sum_of_squares(), parameters.len(), &points).unwrap();
        for (k, parameter) in parameters.iter().enumerate() {
            found.insert(format!("b{k}_deg{degree}"), parameter.value);
            found.insert(format!("s_b{k}_deg{degree}"), parameter.u.unwrap());
        }
        found.insert(format!("s_res_deg{degree}"), function.residual_sd().unwrap().si());
        found.insert(format!("lof_F_deg{degree}"), test.f);
        found.insert(format!("lof_df1_deg{degree}"), test.dof_lack);
        found.insert(format!("lof_df2_deg{degree}"), test.dof_pure_error);
        found.insert(format!("lof_F_crit_95_deg{degree}"), test.critical(0.95).unwrap());
        found.insert(format!("lof_p_deg{degree}"), test.p);
        found.insert(format!("ss_lof_deg{degree}"), test.lack);
        found.insert("ss_pure_error".into(), test.pure_error);
        found.insert("s_replicate".into(), test.replicate_sd().si());
    }
    found
}

pub fn variances(case: &Case) -> Found {
    let levels = levels(&equal_points(case));
    let (low, high) = (case.number("procedure", "low_index") as usize, case.number("procedure", "high_index") as usize);
    let ratio = ratio(&levels[low].responses, &levels[high].responses).unwrap();
    let critical = ratio.critical(0.99).unwrap();
    let variances: Vec<f64> = levels.iter().map(|level| level.sd().unwrap().si() * level.sd().unwrap().si()).collect();
    let law = power_law(&levels).unwrap();
    let mut found = Found::from([
        ("F".into(), ratio.f),
        ("F_crit_99".into(), critical),
        ("homogeneous_at_99".into(), f64::from(u8::from(ratio.f <= critical))),
        ("cochran_C".into(), Cochran::of(&variances).unwrap().c),
        ("ln_variance_slope".into(), law.power),
        ("ln_variance_intercept".into(), law.constant),
    ]);
    for (place, level) in levels.iter().enumerate() {
        found.insert(format!("mean_{}", place + 1), level.mean().unwrap().si());
        found.insert(format!("sd_{}", place + 1), level.sd().unwrap().si());
        found.insert(format!("n_{}", place + 1), level.n() as f64);
    }
    found
}

pub fn two_component(case: &Case) -> Found {
    let model = TwoComponent::fit(&equal_points(case)).unwrap();
    let sd = |amount: f64| model.sd_of_amount(MassConcentration::from_si(amount)).si();
    let mut found = Found::from([
        ("alpha".into(), model.intercept.si()),
        ("beta".into(), model.slope.si()),
        ("sigma_eps".into(), model.constant_sd.si()),
        ("sigma_eta".into(), model.proportional_sd),
        ("loglik".into(), model.log_likelihood),
        ("sd_mu_at_zero".into(), sd(0.0)),
    ]);
    for (place, level) in case.numbers("procedure", "levels").into_iter().enumerate() {
        found.insert(format!("sd_mu_{}", place + 1), sd(level));
    }
    found
}
