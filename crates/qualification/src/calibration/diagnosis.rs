//! Linearity, lack of fit, variances.

use darkline_calibration::calibration_function::CalibrationFunction;
use darkline_calibration::fitted::Fitted;
use darkline_calibration::lack_of_fit::lack_of_fit;
use darkline_calibration::level::{Level, levels};
use darkline_calibration::line::Line;
use darkline_calibration::mandel::Mandel;
use darkline_calibration::point::Dispersion;
use darkline_calibration::point_to_point;
use darkline_calibration::quadratic::Quadratic;
use darkline_calibration::two_component::TwoComponent;
use darkline_calibration::variance_homogeneity::{Cochran, power_law, ratio};
use darkline_metrology::kind::{Kind, MassConcentration};

use super::Computed;
use super::case::{Case, MOST_POINTS};
use crate::answer::Found;
use crate::stop::refused;

pub(super) fn linearity(case: &Case<'_>) -> Computed {
    let points = case.equal_points()?;
    let line = Line::fit(&points).map_err(refused)?;
    let process_sd = line.process_sd().si();
    let mut found = Found::new();
    found.put("slope", line.slope.si());
    found.put("intercept", line.intercept.si());
    found.put("s_y1", line.residual_sd.si());
    found.put("s_x0", process_sd);
    found.put("v_x0_percent", 100.0 * process_sd / line.mean_amount.si());
    found.put("r", line.r);
    found.put("x_mean", line.mean_amount.si());
    found.put("y_mean", line.mean_response.si());
    if case.asks("point_to_point")? {
        let standards: Vec<_> = points.iter().map(|point| (point.amount, point.response)).collect();
        let tolerance = case.procedure_or("tolerance", 0.1)?;
        let slopes = point_to_point::slopes(&standards, tolerance);
        let factors = point_to_point::response_factors(&standards, tolerance);
        for (name, compared) in [("ptp", slopes), ("rf", factors)] {
            found.put_if(format!("{name}_median"), compared.as_ref().map(|compared| compared.median));
            found.put_if(format!("{name}_outside"), compared.as_ref().map(|compared| compared.outside.len()));
        }
    }
    let quadratic = match Fitted::fit(Quadratic, &points, Dispersion::Estimated) {
        Ok(quadratic) => quadratic,
        Err(why) => {
            for key in ["b0", "b1", "b2", "s_y2", "DS2", "mandel_F", "F_crit_99", "nonlinear_at_99"] {
                found.put_or::<f64, _>(key, Err(&why));
            }
            return Ok(found);
        }
    };
    let [b0, b1, b2] = quadratic.solution.parameters;
    found.put("b0", b0);
    found.put("b1", b1);
    found.put("b2", b2);
    let s_y2 = quadratic.residual_sd().map(Kind::si);
    found.put_if("s_y2", s_y2);
    // ISO 8466-2: at the centre of the range.
    let centre = quadratic.sensitivity(line.mean_amount).si();
    found.put("E", centre);
    found.put_if("s_x0_deg2", s_y2.map(|s| s / centre));
    found.put_if("v_x0_percent_deg2", s_y2.map(|s| 100.0 * s / centre / line.mean_amount.si()));
    let test = Mandel::of(line.chi_squared(), quadratic.sum_of_squares(), points.len());
    found.put_if("DS2", test.as_ref().map(|test| test.difference));
    found.put_if("mandel_F", test.as_ref().map(|test| test.f));
    found.put_if("F_crit_99", test.as_ref().and_then(|test| test.critical(0.99)));
    let refused = test.as_ref().and_then(|test| test.refuses_line(0.99));
    found.put_if("nonlinear_at_99", refused.map(|refused| f64::from(u8::from(refused))));
    Ok(found)
}

pub(super) fn lack_of_fit_of(case: &Case<'_>) -> Computed {
    let points = case.equal_points()?;
    let mut found = Found::new();
    for node in case.procedure()?.list_of("degrees")? {
        let degree = node.count(MOST_POINTS)?;
        let function: Box<dyn CalibrationFunction> = match degree {
            1 => Box::new(Line::fit(&points).map_err(refused)?),
            2 => Box::new(Fitted::fit(Quadratic, &points, Dispersion::Estimated).map_err(refused)?),
            other => return Err(node.fault(format!("no calibration function has the degree {other}")).into()),
        };
        let parameters = function.parameters();
        let test = lack_of_fit(function.sum_of_squares(), parameters.len(), &points).map_err(refused)?;
        for (k, parameter) in parameters.iter().enumerate() {
            found.put(format!("b{k}_deg{degree}"), parameter.value);
            found.put_if(format!("s_b{k}_deg{degree}"), parameter.u);
        }
        found.put_if(format!("s_res_deg{degree}"), function.residual_sd().map(Kind::si));
        found.put(format!("lof_F_deg{degree}"), test.f);
        found.put(format!("lof_df1_deg{degree}"), test.dof_lack);
        found.put(format!("lof_df2_deg{degree}"), test.dof_pure_error);
        for (level, name) in [(0.95, "95"), (0.99, "99")] {
            found.put_if(format!("lof_F_crit_{name}_deg{degree}"), test.critical(level));
        }
        found.put(format!("lof_p_deg{degree}"), test.p);
        found.put(format!("ss_lof_deg{degree}"), test.lack);
        found.put("ss_pure_error", test.pure_error);
        found.put("s_replicate", test.replicate_sd().si());
    }
    Ok(found)
}

pub(super) fn variances(case: &Case<'_>) -> Computed {
    let levels = levels(&case.equal_points()?);
    let procedure = case.procedure()?;
    // The lowest and the highest standard, where the case names no others.
    let index = |key: &str, otherwise: usize| match procedure.get(key) {
        None => Ok(otherwise),
        Some(index) => {
            let place = index.count(MOST_POINTS)?;
            if place < levels.len() {
                Ok(place)
            } else {
                Err(index.fault(format!("there are {} levels", levels.len())))
            }
        }
    };
    let (low, high) = (index("low_index", 0)?, index("high_index", levels.len().saturating_sub(1))?);
    let mut found = Found::new();
    if let (Some(low), Some(high)) = (levels.get(low), levels.get(high)) {
        let ratio = ratio(&low.responses, &high.responses);
        let critical = ratio.as_ref().and_then(|ratio| ratio.critical(0.99));
        found.put_if("F", ratio.as_ref().map(|ratio| ratio.f));
        found.put_if("F_crit_99", critical);
        let holds = ratio.as_ref().zip(critical).map(|(ratio, critical)| f64::from(u8::from(ratio.f <= critical)));
        found.put_if("homogeneous_at_99", holds);
    }
    let sd = |level: &Level| level.sd().map(Kind::si);
    let variances: Option<Vec<f64>> = levels.iter().map(|level| sd(level).map(|sd| sd * sd)).collect();
    found.put_if("cochran_C", variances.and_then(|variances| Cochran::of(&variances)).map(|cochran| cochran.c));
    let law = power_law(&levels);
    found.put_if("ln_variance_slope", law.as_ref().map(|law| law.power));
    found.put_if("ln_variance_intercept", law.as_ref().map(|law| law.constant));
    for (place, level) in levels.iter().enumerate() {
        found.put_if(format!("mean_{}", place + 1), level.mean().map(Kind::si));
        found.put_if(format!("sd_{}", place + 1), sd(level));
        found.put(format!("n_{}", place + 1), level.n());
    }
    Ok(found)
}

pub(super) fn two_component(case: &Case<'_>) -> Computed {
    let model = TwoComponent::fit(&case.equal_points()?).map_err(refused)?;
    let sd = |amount: f64| model.sd_of_amount(MassConcentration::from_si(amount)).si();
    let mut found = Found::new();
    found.put("alpha", model.intercept.si());
    found.put("beta", model.slope.si());
    found.put("sigma_eps", model.constant_sd.si());
    found.put("sigma_eta", model.proportional_sd);
    found.put("loglik", model.log_likelihood);
    found.put("sd_mu_at_zero", sd(0.0));
    let levels = case.node.get("procedure").and_then(|procedure| procedure.get("levels"));
    for (place, level) in levels.map_or(Ok(Vec::new()), |levels| levels.numbers())?.into_iter().enumerate() {
        found.put(format!("sd_mu_{}", place + 1), sd(level));
    }
    Ok(found)
}
