//! Solid sampling: every case of `reference/quality/cases/solid-*.toml`, each with its source there (Kurfürst, Ingamells and
//! Switzer, Visman, Pauwels and Vandecasteele, Kratochvil and Taylor, Zhou and Gao).

use std::path::{Path, PathBuf};

use darkline_quality::solid_sampling::{
    LogNormal, Nuggets, Portions, Segregation, least_mass_mg, mass_for_rsd, portions_for, rsd_at_mass, tolerance_factor,
};
use toml::{Table, Value};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../reference/quality/cases")
}

fn case(name: &str) -> Table {
    toml::from_str(&std::fs::read_to_string(folder().join(format!("{name}.toml"))).unwrap()).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_float().unwrap_or_else(|| value.as_integer().unwrap() as f64)
}

fn given(case: &Table, key: &str) -> f64 {
    number(&case["data"][key])
}

fn list(case: &Table, key: &str) -> Vec<f64> {
    case["data"][key].as_array().unwrap().iter().map(number).collect()
}

/// Every expected output of the case is found, within its tolerance.
#[track_caller]
fn agrees(case: &Table, found: impl Fn(&str) -> Option<f64>) {
    for expect in case["expect"].as_array().unwrap() {
        let name = expect["name"].as_str().unwrap();
        let found = found(name).unwrap_or_else(|| panic!("{name} is compared with nothing"));
        let expected =
            expect["value"].as_bool().map_or_else(|| number(&expect["value"]), |yes| f64::from(u8::from(yes)));
        let tolerance = expect.get("abs_tol").map_or(0.0, number);
        assert!((found - expected).abs() <= tolerance, "{name}: {found}, not {expected}");
    }
}

#[test]
fn homogeneity_factors_of_kurfuerst() {
    for name in ["solid-he-cadmium-leaf", "solid-he-lead-sediment"] {
        let case = case(name);
        let portions = Portions::new(list(&case, "masses_mg"), list(&case, "results")).unwrap();
        let analytical = given(&case, "analytical_rsd_percent");
        let factor = portions.homogeneity_factor(analytical);
        agrees(&case, |output| {
            Some(match output {
                "mean" => portions.mean(),
                "rsd_percent" => portions.rsd_percent(),
                "rsd_homogeneity_percent" => portions.rsd_homogeneity_percent(analytical),
                "mean_mass_mg" => portions.mean_mass_mg(),
                "H_E" => factor,
                "K_s_mg" => portions.sampling_constant_mg(analytical),
                "h_e_below_10" => f64::from(u8::from(factor < 10.0)),
                "sampling_error_at_10_mg_percent" => rsd_at_mass(factor * factor, 10.0),
                "mass_for_1_percent_mg" => mass_for_rsd(factor * factor, 1.0),
                _ => return None,
            })
        });
    }
}

#[test]
fn sampling_constant_of_ingamells_and_switzer() {
    let case = case("solid-ks-basic");
    let constant = given(&case, "rsd_percent") * given(&case, "rsd_percent") * given(&case, "mass");
    agrees(&case, |output| {
        Some(match output {
            "K_s" => constant,
            "rsd_at_other_mass" => rsd_at_mass(constant, given(&case, "other_mass")),
            "mass_for_target" => mass_for_rsd(constant, given(&case, "target_rsd_percent")),
            _ => return None,
        })
    });
}

#[test]
fn smallest_mass_of_pauwels_and_vandecasteele() {
    let case = case("solid-minimum-mass-20");
    let n = given(&case, "n") as u32;
    let (factor, limit) = (given(&case, "H_E"), given(&case, "uncertainty_percent"));
    let (coverage, confidence) = (given(&case, "coverage"), given(&case, "confidence"));
    agrees(&case, |output| match output {
        "k2" => tolerance_factor(n, coverage, confidence),
        "minimum_mass_mg" => least_mass_mg(n, factor, limit, coverage, confidence),
        "minimum_mass_normal_mg" => {
            let z = darkline_metrology::distribution::normal::quantile(f64::midpoint(1.0, coverage)).unwrap();
            Some((z * factor / limit) * (z * factor / limit))
        }
        _ => None,
    });
}

#[test]
fn portions_for_a_confidence_interval() {
    for name in ["solid-replicates-10-5", "solid-replicates-15-12"] {
        let case = case(name);
        let (rsd, target, confidence) =
            (given(&case, "rsd_percent"), given(&case, "target_percent"), given(&case, "confidence"));
        agrees(&case, |output| match output {
            "n" => portions_for(rsd, target, confidence).map(f64::from),
            "n_normal" => {
                let z = darkline_metrology::distribution::normal::quantile(f64::midpoint(1.0, confidence)).unwrap();
                Some((z * rsd / target * (z * rsd / target)).ceil())
            }
            _ => None,
        });
    }
}

#[test]
fn nuggets_of_ingamells() {
    for name in ["solid-nugget-few", "solid-nugget-many"] {
        let case = case(name);
        let nuggets = Nuggets {
            mean: given(&case, "mean"),
            sd: given(&case, "s"),
            background: given(&case, "background"),
            mass_mg: given(&case, "mass_mg"),
        };
        agrees(&case, |output| {
            Some(match output {
                "nuggets_per_portion" => nuggets.in_a_portion(),
                "contribution_per_nugget" => nuggets.of_one(),
                "skewness" => nuggets.skewness(),
                "probability_no_nugget" => nuggets.part_without(),
                "mass_for_wanted_nuggets_mg" => nuggets.mass_for(given(&case, "nuggets_wanted")),
                "K_s_mg" => nuggets.sampling_constant_mg(),
                _ => return None,
            })
        });
    }
}

#[test]
fn segregation_of_visman() {
    let case = case("solid-visman");
    let rsd = ["rsd1_percent", "rsd2_percent"].map(|key| given(&case, key));
    let mass = ["mass1_mg", "mass2_mg"].map(|key| given(&case, key));
    let found = Segregation::of_two_masses(rsd, mass).unwrap();
    agrees(&case, |output| {
        Some(match output {
            "A" => found.random,
            "B" => found.between_places,
            "segregation" => found.degree(),
            "rsd_of_mean_percent" => found.rsd_of_mean(given(&case, "portion_mg"), given(&case, "portions")),
            _ => return None,
        })
    });
}

#[test]
fn the_mass_weighted_mean_is_all_analyte_over_all_mass() {
    let case = case("solid-mass-weighted-mean");
    let portions = Portions::new(list(&case, "masses_mg"), list(&case, "results")).unwrap();
    agrees(&case, |output| match output {
        "mean" => Some(portions.mean()),
        "mass_weighted_mean" => Some(portions.mass_weighted_mean()),
        "slope_vs_inverse_mass" => portions.slope_vs_inverse_mass(),
        _ => None,
    });
}

#[test]
fn the_mean_of_a_skewed_set_by_the_method_of_cox() {
    let case = case("solid-lognormal-mean");
    let x = list(&case, "x");
    let found = LogNormal::of(&x).unwrap();
    let mut sorted = x.clone();
    sorted.sort_by(f64::total_cmp);
    let median = f64::midpoint(sorted[(sorted.len() - 1) / 2], sorted[sorted.len() / 2]);
    let (low, high) = found.interval(0.95).unwrap();
    for expect in case["expect"].as_array().unwrap() {
        let name = expect["name"].as_str().unwrap();
        let tolerance = number(&expect["abs_tol"]);
        let pairs: Vec<(f64, f64)> = match name {
            "mean" => vec![(x.iter().sum::<f64>() / x.len() as f64, number(&expect["value"]))],
            "median" => vec![(median, number(&expect["value"]))],
            "geometric_mean" => vec![(found.geometric_mean(), number(&expect["value"]))],
            "lognormal_mean" => vec![(found.mean(), number(&expect["value"]))],
            "ci95" => [low, high].into_iter().zip(expect["value"].as_array().unwrap().iter().map(number)).collect(),
            _ => panic!("{name} is compared with nothing"),
        };
        for (found, expected) in pairs {
            assert!((found - expected).abs() <= tolerance, "{name}: {found}, not {expected}");
        }
    }
}
