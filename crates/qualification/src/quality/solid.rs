//! Homogeneity and solid sampling.

use darkline_metrology::anova::OneWay;
use darkline_metrology::distribution::normal;
use darkline_metrology::robust::median;
use darkline_metrology::summary;
use darkline_quality::homogeneity::{Pairs, allowance_factors, between_units as units};
use darkline_quality::sensitivity::Straight;
use darkline_quality::solid::heterogeneity::{self, Homogeneity, Segregation};
use darkline_quality::solid::nugget::Nuggets;
use darkline_quality::solid::{minimum_mass as masses, skewed};
use darkline_quality::solid_sampling::tolerance_factor;

use super::{Asked, Computed};
use crate::answer::Found;
use crate::stop::no_value;

pub(super) fn pairs(asked: &Asked<'_>) -> Computed {
    let of = Pairs::of(&asked.pairs("pairs")?).ok_or_else(|| no_value("the variances"))?;
    let sigma_pt = asked.number("sigma_pt")?;
    let factors = match (asked.data.number_if("F1")?, asked.data.number_if("F2")?) {
        (Some(f1), Some(f2)) => Some((f1, f2)),
        _ => allowance_factors(of.n_samples),
    };
    let critical = factors.map(|factors| of.critical(sigma_pt, factors));
    let mut found = Found::new();
    found.put("mean", of.mean);
    found.put("var_within", of.variance_within);
    found.put("var_of_averages", of.variance_of_averages);
    found.put("var_between", of.variance_between);
    found.put("s_between", of.s_between());
    found.put("check_0_3_sigma", 0.3 * sigma_pt);
    found.put("homogeneous", of.s_between() <= 0.3 * sigma_pt);
    found.put_if("critical_c", critical);
    found.put_if("homogeneous_with_allowance", critical.map(|critical| of.variance_between <= critical));
    Ok(found)
}

pub(super) fn between_units(asked: &Asked<'_>) -> Computed {
    let groups = asked.groups("groups")?;
    let groups: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
    let table = OneWay::of(&groups).ok_or_else(|| no_value("the analysis of variance"))?;
    let of = units(&groups).ok_or_else(|| no_value("u of the differences between units"))?;
    let mut found = Found::new();
    found.put("grand_mean", table.grand_mean);
    found.put("ms_between", table.ms_between());
    found.put("ms_within", table.ms_within());
    found.put("n0", of.n0);
    found.put("s_bb", of.s_between);
    found.put("u_bb_star", of.hidden);
    found.put("u_bb", of.u);
    found.put("u_bb_percent", 100.0 * of.u / table.grand_mean);
    found.put("between_negative", table.ms_between() < table.ms_within());
    Ok(found)
}

pub(super) fn homogeneity_factor(asked: &Asked<'_>) -> Computed {
    let of = Homogeneity::of(
        &asked.numbers("masses_mg")?,
        &asked.numbers("results")?,
        asked.number("analytical_rsd_percent")?,
    )
    .ok_or_else(|| no_value("the homogeneity factor"))?;
    let mut found = Found::new();
    found.put("mean", of.mean);
    found.put("rsd_percent", of.rsd_percent);
    found.put("rsd_homogeneity_percent", of.rsd_material_percent);
    found.put("mean_mass_mg", of.mean_mass_mg);
    found.put("H_E", of.factor);
    found.put("K_s_mg", of.sampling_constant());
    found.put("h_e_below_10", of.factor < 10.0);
    found.put("sampling_error_at_10_mg_percent", of.error_percent(10.0));
    found.put("mass_for_1_percent_mg", of.sampling_constant());
    Ok(found)
}

pub(super) fn sampling_constant(asked: &Asked<'_>) -> Computed {
    let constant = heterogeneity::sampling_constant(asked.number("rsd_percent")?, asked.number("mass")?);
    let target = asked.number("target_rsd_percent")?;
    let mut found = Found::new();
    found.put("K_s", constant);
    found.put("rsd_at_other_mass", (constant / asked.number("other_mass")?).sqrt());
    found.put("mass_for_target", constant / (target * target));
    Ok(found)
}

pub(super) fn minimum_mass(asked: &Asked<'_>) -> Computed {
    let (coverage, factor) = (asked.number("coverage")?, asked.number("H_E")?);
    let uncertainty = asked.number("uncertainty_percent")?;
    let n = u32::try_from(asked.data.count_of("n", 100_000)?).unwrap_or(u32::MAX);
    let k_2 = tolerance_factor(n, coverage, asked.number("confidence")?);
    let z = normal::quantile(0.5 * (1.0 + coverage));
    let mut found = Found::new();
    found.put_if("k2", k_2);
    found.put_if("minimum_mass_mg", k_2.map(|k| masses::minimum_mass_mg(k, factor, uncertainty)));
    found.put_if("minimum_mass_normal_mg", z.map(|z| masses::minimum_mass_mg(z, factor, uncertainty)));
    Ok(found)
}

pub(super) fn replicates(asked: &Asked<'_>) -> Computed {
    let (n, by_normal) =
        masses::portions(asked.number("rsd_percent")?, asked.number("target_percent")?, asked.number("confidence")?)
            .ok_or_else(|| no_value("a number of portions"))?;
    let mut found = Found::new();
    found.put("n", n);
    found.put("n_normal", by_normal);
    Ok(found)
}

pub(super) fn nugget(asked: &Asked<'_>) -> Computed {
    let (mean, sd, mass) = (asked.number("mean")?, asked.number("s")?, asked.number("mass_mg")?);
    let of = Nuggets::of(mean, sd, asked.number("background")?).ok_or_else(|| no_value("the number of nuggets"))?;
    let mut found = Found::new();
    found.put("nuggets_per_portion", of.per_portion);
    found.put("contribution_per_nugget", of.contribution);
    found.put("skewness", of.skewness());
    found.put("probability_no_nugget", of.probability_of_none());
    found.put("mass_for_wanted_nuggets_mg", of.mass_for(asked.number("nuggets_wanted")?, mass));
    found.put("K_s_mg", heterogeneity::sampling_constant(100.0 * sd / mean, mass));
    Ok(found)
}

pub(super) fn visman(asked: &Asked<'_>) -> Computed {
    let one = (asked.number("rsd1_percent")?, asked.number("mass1_mg")?);
    let other = (asked.number("rsd2_percent")?, asked.number("mass2_mg")?);
    let of = Segregation::of(one, other).ok_or_else(|| no_value("the constants"))?;
    let mut found = Found::new();
    found.put("A", of.homogeneity);
    found.put("B", of.segregation);
    found.put("segregation", of.degree());
    found.put("rsd_of_mean_percent", of.rsd_of_mean(asked.number("portion_mg")?, asked.number("portions")?));
    Ok(found)
}

pub(super) fn mass_weighted(asked: &Asked<'_>) -> Computed {
    let (m, x) = (asked.numbers("masses_mg")?, asked.numbers("results")?);
    let inverse: Vec<f64> = m.iter().map(|mass| 1.0 / mass).collect();
    let mut found = Found::new();
    found.put_if("mean", summary::mean(&x));
    found.put_if("mass_weighted_mean", skewed::mass_weighted_mean(&m, &x));
    found.put_if("slope_vs_inverse_mass", Straight::of(&inverse, &x).map(|line| line.slope));
    Ok(found)
}

pub(super) fn log_normal(asked: &Asked<'_>) -> Computed {
    let x = asked.numbers("x")?;
    let of = skewed::log_normal(&x, 0.95).ok_or_else(|| no_value("the log-normal mean"))?;
    let mut found = Found::new();
    found.put_if("mean", summary::mean(&x));
    found.put_if("median", median(&x));
    found.put("geometric_mean", of.geometric_mean);
    found.put("lognormal_mean", of.mean);
    found.put("ci95", [of.interval.0, of.interval.1]);
    Ok(found)
}
