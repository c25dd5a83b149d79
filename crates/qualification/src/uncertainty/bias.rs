//! Precision and bias, criteria of methods, scores.

use darkline_metrology::bias::{BiasStudy, recovery_test, reference_material_test};
use darkline_metrology::horwitz as predicted;
use darkline_metrology::method_criteria::{
    Analyte, fitness_alpha, fitness_for_purpose, largest_detection_limit, largest_quantification_limit,
};
use darkline_metrology::proficiency::{e_n, judge, judge_e_n, z, z_prime, zeta};
use darkline_metrology::rounding::{Decimal, Rounding};
use darkline_metrology::summary;

use super::Computed;
use crate::answer::Found;
use crate::case_file::Node;
use crate::stop::{no_value, refused};

pub(super) fn fitness(_: Node<'_>, item: Node<'_>) -> Computed {
    let c = item.number_of("C_ug_kg")?;
    let mut found = Found::new();
    found.put_if("alpha", fitness_alpha(c));
    found.put_if("Uf_ug_kg", fitness_for_purpose(item.number_of("LOD_ug_kg")?, c));
    Ok(found)
}

pub(super) fn detection_criteria(_: Node<'_>, item: Node<'_>) -> Computed {
    let analyte: Analyte = item.text_of("element")?.parse().map_err(refused)?;
    let maximum_level = item.number_of("ML_mg_kg")?;
    let mut found = Found::new();
    found.put_if("max_LOQ_mg_kg", largest_quantification_limit(analyte, maximum_level));
    found.put_if("max_LOD_mg_kg", largest_detection_limit(analyte, maximum_level));
    Ok(found)
}

pub(super) fn horwitz(_: Node<'_>, item: Node<'_>) -> Computed {
    let c = item.number_of("C")?;
    let mut found = Found::new();
    found.put_if("PRSD_percent", predicted::predicted_rsd(c).map(|rsd| 100.0 * rsd));
    if let Some(rsd) = item.number_if("rsd_found_percent")? {
        found.put_if("horrat", predicted::predicted_rsd(c).map(|of| 0.01 * rsd / of));
    }
    Ok(found)
}

pub(super) fn thompson(_: Node<'_>, item: Node<'_>) -> Computed {
    let c = item.number_of("c")?;
    let mut found = Found::new();
    found.put_if("rsd_percent", predicted::thompson_sd(c).map(|sd| 100.0 * sd / c));
    if let Some(rsd) = item.number_if("rsd_found_percent")? {
        found.put_if("horrat", predicted::horrat(0.01 * rsd, c));
    }
    Ok(found)
}

/// Biases of several comparisons, or the bias found with one reference material.
pub(super) fn study(case: Node<'_>) -> Computed {
    let data = case.need("data")?;
    let u_rw = match data.number_if("u_Rw_percent")? {
        Some(u) => u,
        None => 0.5 * data.number_of("control_limit_95_percent")?,
    };
    let u_reference = data.number_of("u_Cref_percent")?;
    let biases = data.numbers_of("bias_percent")?;
    let study = match data.number_if("s_bias_percent")? {
        None => BiasStudy::of_several(u_rw, &biases, u_reference),
        Some(sd) => {
            let bias = summary::mean(&biases).ok_or_else(|| no_value("the bias"))?;
            BiasStudy::of_one_material(u_rw, bias, sd, data.count_of("n_bias", 1_000_000)?, u_reference)
        }
    };
    let study = study.ok_or_else(|| no_value("the study of bias"))?;
    let rounded = Decimal::from_f64(study.expanded_u()).map(|u| u.rounded_to_digits(1, Rounding::HalfEven).to_f64());
    let mut found = Found::new();
    found.put("u_Rw", u_rw);
    found.put("RMS_bias", study.rms_bias);
    found.put("u_bias", study.u_bias);
    found.put("uc", study.u);
    found.put("U", study.expanded_u());
    found.put_if("U_rounded", rounded);
    Ok(found)
}

pub(super) fn recovery(_: Node<'_>, item: Node<'_>) -> Computed {
    let n = item.count_of("n", 1_000_000_000)?;
    let test = recovery_test(item.number_of("recovery")?, item.number_of("s")?, n);
    let test = test.ok_or_else(|| no_value("the test of the recovery"))?;
    let mut found = Found::new();
    found.put("u_recovery", test.u);
    found.put("t", test.t);
    found.put("t_crit", test.critical_t);
    found.put("significant", test.significant);
    Ok(found)
}

pub(super) fn reference_material(_: Node<'_>, item: Node<'_>) -> Computed {
    let get = |key: &str| item.number_of(key);
    let test =
        reference_material_test(get("c_m")?, get("u_m")?, get("c_CRM")?, get("U_CRM")?, item.number_or("k", 2.0)?);
    let test = test.ok_or_else(|| no_value("the comparison"))?;
    let mut found = Found::new();
    found.put("delta", test.difference);
    found.put("U_delta", test.expanded_u);
    found.put("different", test.different);
    Ok(found)
}

pub(super) fn score(_: Node<'_>, item: Node<'_>) -> Computed {
    let get = |key: &str| item.number_of(key);
    let (x, x_pt) = (get("x")?, get("x_pt")?);
    let kind = item.need("kind")?;
    let score = match kind.text()? {
        "z" => z(x, x_pt, get("sigma_pt")?),
        "z_prime" => z_prime(x, x_pt, get("sigma_pt")?, get("u_pt")?),
        "zeta" => zeta(x, x_pt, get("u_x")?, get("u_pt")?),
        "E_n" => e_n(x, x_pt, get("U_x")?, get("U_pt")?),
        other => return Err(kind.fault(format!("{other} is no score known here")).into()),
    };
    let mut found = Found::new();
    found.put_if("score", score);
    let verdict = score.map(|score| if kind.written() == "E_n" { judge_e_n(score) } else { judge(score) });
    found.put_if("verdict", verdict.map(|verdict| verdict.to_string()));
    Ok(found)
}
