//! Single rules of the GUM: Type A and B, coverage, analysis of variance, rounding.

use darkline_metrology::anova::{GroupSummary, OneWay};
use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::Model;
use darkline_metrology::rounding::{Decimal, Digits, ReportRule, Rounding, report};
use darkline_metrology::source::{Source, SourceId};
use darkline_metrology::summary;
use darkline_metrology::type_b::Stated;

use super::Computed;
use crate::answer::Found;
use crate::case_file::Node;
use crate::stop::{no_value, refused};

pub(super) fn type_a(case: Node<'_>) -> Computed {
    let readings = case.need("data")?.numbers_of("observations")?;
    let of = summary::type_a(&readings).ok_or_else(|| no_value("the evaluation of the readings"))?;
    let mut found = Found::new();
    found.put("n", of.n);
    found.put("y", of.mean);
    found.put("s", of.sd);
    found.put("u", of.u);
    found.put("dof", of.dof);
    Ok(found)
}

pub(super) fn type_b(_: Node<'_>, item: Node<'_>) -> Computed {
    let get = |key: &str| item.number_of(key);
    let given = item.need("given")?;
    let stated = match given.text()? {
        "multiple_of_u" | "expanded" => Stated::Expanded { expanded_u: get("value")?, k: get("k")? },
        "normal_interval" => Stated::NormalInterval { half_width: get("half_width")?, level: get("level")? },
        "rectangular" => Stated::Rectangular { half_width: get("half_width")? },
        "rectangular_limits" => Stated::RectangularLimits { lower: get("lower")?, upper: get("upper")? },
        "triangular" => Stated::Triangular { half_width: get("half_width")? },
        "arcsine" => Stated::Arcsine { half_width: get("half_width")? },
        "trapezoidal" | "trapezoid" => {
            Stated::Trapezoidal { half_width: get("half_width")?, top_over_base: get("beta")? }
        }
        other => return Err(given.fault(format!("{other} is no knowledge known here")).into()),
    };
    let mut found = Found::new();
    found.put_if("u", stated.u());
    Ok(found)
}

pub(super) fn rounding(_: Node<'_>, item: Node<'_>) -> Computed {
    let mode = item.need("mode")?;
    let uncertainty = match mode.text()? {
        "half_even" => Rounding::HalfEven,
        "half_up" => Rounding::HalfUp,
        "up" => Rounding::Up,
        "down" => Rounding::Down,
        other => return Err(mode.fault(format!("{other} is no way of rounding known here")).into()),
    };
    let mut found = Found::new();
    let written: Decimal = item
        .need("uc")?
        .written()
        .parse()
        .map_err(|why: darkline_metrology::rounding::DecimalError| item.fault(why.to_string()))?;
    let n_digits = item.count_of("uc_digits", 15)?;
    let digits = match n_digits {
        1 => Some(Digits::One),
        2 => Some(Digits::Two),
        _ => None,
    };
    #[expect(clippy::cast_possible_truncation, reason = "at most 15")]
    let of_written = written.rounded_to_digits(n_digits as u8, uncertainty);
    let y = item.number_if("y")?;
    let Some(digits) = digits else {
        // More digits than a report takes: the same rule, without its limit.
        let value = y.and_then(Decimal::from_f64);
        found.put_if(
            "y_reported",
            value.map(|y| y.rounded_to_place(of_written.place(), Rounding::HalfEven).to_string()),
        );
        found.put("uc_reported", of_written.to_string());
        return Ok(found);
    };
    let rule = ReportRule { digits, uncertainty, value: Rounding::HalfEven };
    let printed = report(y.unwrap_or(0.0), item.number_of("uc")?, rule).ok_or_else(|| no_value("the rounding"))?;
    // From the written figure as from the binary number.
    if printed.u != of_written {
        return Err(refused(format!("rounded from the binary number {}, from its digits {of_written}", printed.u)));
    }
    found.put("uc_reported", printed.u.to_string());
    found.put_if("y_reported", y.map(|_| printed.value.to_string()));
    Ok(found)
}

pub(super) fn welch_satterthwaite(case: Node<'_>) -> Computed {
    let model = Model::new();
    let mut product = model.exact(Factor::from_si(1.0));
    for input in case.list_of("input")? {
        let u = match input.number_if("u_rel_percent")? {
            Some(percent) => 0.01 * percent,
            None => input.number_of("u_rel")?,
        };
        let source =
            Source::estimated(SourceId::new(input.text_of("symbol")?), u, input.number_or("dof", f64::INFINITY)?);
        product = product * model.input(Factor::from_si(1.0), &[source]);
    }
    let estimate = model.first_order(product);
    let p = case.get("given").map_or(Ok(0.95), |given| given.number_or("p", 0.95))?;
    let k = estimate.coverage_factor(p).ok_or_else(|| no_value("the coverage factor"))?;
    let expanded = estimate.expand(k).expanded_u.si();
    let mut found = Found::new();
    found.put("uc_rel_percent", 100.0 * estimate.u());
    found.put("uc_rel", estimate.u());
    found.put("nu_eff", estimate.effective_dof());
    found.put("k", k);
    found.put("U_rel_percent", 100.0 * expanded);
    found.put("U_rel", expanded);
    Ok(found)
}

pub(super) fn nested(case: Node<'_>) -> Computed {
    let data = case.need("data")?;
    let (means, sds) = (data.numbers_of("daily_mean")?, data.numbers_of("daily_s")?);
    let n = data.count_of("K", 1_000_000)?;
    let j = data.get("J").map_or(Ok(means.len()), |j| j.count(1_000_000))?;
    if means.len() != j || sds.len() != j {
        return Err(data.fault(format!("{} means and {} standard deviations, J = {j}", means.len(), sds.len())).into());
    }
    // Standard deviations may stand in millionths of the unit of the means.
    let scale = if data.text_or_none("unit_s").starts_with('u') && !data.text_or_none("unit_mean").starts_with('u') {
        1e-6
    } else {
        1.0
    };
    let days: Vec<GroupSummary> =
        means.iter().zip(&sds).map(|(mean, sd)| GroupSummary { n, mean: *mean, sd: sd * scale }).collect();
    let days = OneWay::of_summaries(&days).ok_or_else(|| no_value("the analysis of variance"))?;
    let mut found = Found::new();
    let mut in_both = |name: &str, sd: Option<f64>| {
        found.put_if(format!("{name}_uV"), sd.map(|sd| sd / scale));
        found.put_if(name, sd.map(|sd| sd / scale));
    };
    in_both("s_of_means", summary::sd(&means));
    in_both("s_a", Some(days.ms_between().sqrt()));
    in_both("s_b", Some(days.s_within()));
    in_both("s_B", Some(days.s_between()));
    in_both("u_mean", Some(days.u_grand_mean()));
    in_both("u_mean_pooled", Some(days.u_grand_mean_pooled()));
    found.put("mean", days.grand_mean);
    found.put_if("F", days.f());
    found.put_if("F_crit_95", days.critical_f(0.95));
    found.put_if("F_crit_975", days.critical_f(0.975));
    found.put("dof_a", days.dof_between);
    found.put("dof_b", days.dof_within);
    Ok(found)
}
