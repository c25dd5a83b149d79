//! `temperature.toml`: furnace temperature, pyrolysis and atomisation curves, choice of the next temperature.

use darkline_signal::furnace_temperature::{Pyrometer, SettingLine};
use darkline_signal::pyrolysis::{PlateauSearch, ThermalLoss, Verdict, loss_score, relative_area};

use super::case::{Case, Computed, Figures};
use crate::answer::Answer;
use crate::stop::{Stop, no_value};

/// temperature.toml, case by case.
///
/// Wien's and Planck's radiation laws; W. M. G. T. van den Broek, L. de Galan, Anal. Chem. 49 (1977) 2176 (from memory) for
/// losses of first order; the choice of the next temperature is our own rule; figures recomputed.
pub(super) fn compute(case: &Case<'_>) -> Computed {
    Ok(match case.family() {
        "pyrometer_emissivity" => pyrometer_emissivity(case),
        "set_from_wanted" => set_from_wanted(case)?,
        "pyrolysis_survival" => pyrolysis_survival(case)?,
        "next_pyrolysis_temperature" => next_pyrolysis_temperature(case)?,
        "is_the_loss_real" => is_the_loss_real(case),
        "atomisation_area" => {
            let (reference, p) = (case.number("T_ref_K"), case.number("p"));
            let areas: Vec<f64> = case.numbers("T_K").into_iter().map(|t| relative_area(t, reference, p)).collect();
            vec![("relative_area", areas.into())]
        }
        _ => return Err(Stop::Unknown),
    })
}

fn pyrometer_emissivity(case: &Case<'_>) -> Figures {
    let (readings, emissivities) = (case.numbers("T_lambda_K"), case.numbers("emissivity"));
    let places = case.numbers("lambda_m").into_iter().zip(emissivities).zip(readings);
    let each = |of: fn(&Pyrometer, f64) -> f64| -> Vec<f64> {
        let found =
            places.clone().map(|((wavelength_m, emissivity), t)| of(&Pyrometer { wavelength_m, emissivity }, t));
        found.collect()
    };
    vec![
        ("T_wien_K", each(Pyrometer::by_wien_k).into()),
        ("T_planck_K", each(Pyrometer::by_planck_k).into()),
        ("dT_per_percent_emissivity_K", each(Pyrometer::kelvin_per_percent).into()),
    ]
}

fn set_from_wanted(case: &Case<'_>) -> Computed {
    let pairs: Vec<(f64, f64)> = case.numbers("set_C").into_iter().zip(case.numbers("measured_C")).collect();
    let line = SettingLine::fit(&pairs).ok_or_else(|| no_value("the line"))?;
    let setting = line.setting_for(case.number("wanted_C"));
    Ok(vec![
        ("a", line.intercept.into()),
        ("b", line.slope.into()),
        ("residual_sd", line.residual_sd.into()),
        ("set_for_wanted_C", setting.set.into()),
        ("u_set_C", setting.u.into()),
    ])
}

fn loss(activation_energy_j_per_mol: f64, case: &Case<'_>) -> ThermalLoss {
    ThermalLoss { activation_energy_j_per_mol, frequency_per_s: case.number("nu_per_s") }
}

fn pyrolysis_survival(case: &Case<'_>) -> Computed {
    let hold_s = case.number("hold_s");
    let both: Vec<ThermalLoss> = case.numbers("E_J_per_mol").into_iter().map(|e| loss(e, case)).collect();
    let survivals =
        |of: &ThermalLoss| -> Vec<f64> { case.numbers("T_C").into_iter().map(|t| of.survival(t, hold_s)).collect() };
    let losing: Vec<f64> = both.iter().map(|loss| loss.temperature_losing_c(case.number("delta"), hold_s)).collect();
    let [without, with] = &both[..] else { return Err(no_value("a pair of activation energies")) };
    Ok(vec![
        ("S_without_modifier", survivals(without).into()),
        ("S_with_modifier", survivals(with).into()),
        ("T_5_percent_loss_C", losing.into()),
    ])
}

fn next_pyrolysis_temperature(case: &Case<'_>) -> Computed {
    let whole = |key: &str| case.small(key);
    let loss = loss(case.number("E_J_per_mol"), case);
    let mut search = PlateauSearch::new(whole("lo_C"), whole("hi_C"), whole("step_C"), case.number("delta"))
        .ok_or_else(|| no_value("the search"))?;
    while let Some(next) = search.next_c().filter(|_| search.tried().len() < 10_000) {
        search.take(loss.survival(f64::from(next), case.number("hold_s")));
    }
    let tried: Vec<i64> = search.tried().iter().map(|tried| i64::from(tried.temperature_c)).collect();
    let responses: Vec<f64> = search.tried().iter().map(|tried| tried.response).collect();
    Ok(vec![
        ("tried_C", Answer::from(tried)),
        ("Q_relative", responses.into()),
        ("highest_on_plateau_C", (search.highest_on_plateau_c() as usize).into()),
    ])
}

fn is_the_loss_real(case: &Case<'_>) -> Figures {
    let whole = |key: &str| case.small(key);
    let z: Vec<f64> = case
        .numbers("d")
        .into_iter()
        .map(|d| loss_score(d, case.number("delta"), case.number("rsd"), whole("n"), whole("n_ref")))
        .collect();
    let verdicts: Vec<&str> = z.iter().map(|&z| Verdict::of(z).words()).collect();
    vec![("z", z.into()), ("verdict", Answer::from(verdicts))]
}
