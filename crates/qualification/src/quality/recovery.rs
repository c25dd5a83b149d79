//! Recoveries, blanks, duplicates, dilutions, additions; the sequence of a run.

use darkline_quality::check_sequence::{self as checks, Position};
use darkline_quality::recovery as figures;
use darkline_quality::sensitivity::Straight;

use super::{Asked, Computed, from_one};
use crate::answer::Found;
use crate::stop::no_value;

pub(super) fn of_addition(asked: &Asked<'_>) -> Computed {
    let recovery = figures::of_addition(asked.number("unspiked")?, asked.number("spiked")?, asked.number("added")?)
        .ok_or_else(|| no_value("the recovery"))?;
    let mut found = Found::new();
    found.put("recovery_percent", recovery.percent);
    found.put("evaluated", recovery.counts);
    found.put("within_70_130", (70.0..=130.0).contains(&recovery.percent));
    found.put("within_75_125", (75.0..=125.0).contains(&recovery.percent));
    Ok(found)
}

pub(super) fn by_volume(asked: &Asked<'_>) -> Computed {
    let sample = (asked.number("sample_conc")?, asked.number("sample_volume_ml")?);
    let spike = (asked.number("spike_conc")?, asked.number("spike_volume_ml")?);
    let (expected, percent) = figures::of_addition_by_volume(sample, spike, asked.number("found_conc")?)
        .ok_or_else(|| no_value("the recovery"))?;
    let mut found = Found::new();
    found.put("expected_conc", expected);
    found.put("recovery_percent", percent);
    Ok(found)
}

pub(super) fn fortified_blank(asked: &Asked<'_>) -> Computed {
    let percent = figures::of_fortified_blank(asked.number("lfb")?, asked.number("lrb")?, asked.number("added")?)
        .ok_or_else(|| no_value("the recovery"))?;
    let mut found = Found::new();
    found.put("recovery_percent", percent);
    found.put("pass", (85.0..=115.0).contains(&percent));
    Ok(found)
}

pub(super) fn blank_rule(asked: &Asked<'_>) -> Computed {
    let (blank, detection_limit) = (asked.number("lrb")?, asked.number("mdl")?);
    let limits: Vec<f64> =
        asked.numbers("samples")?.into_iter().map(|sample| figures::blank_limit(sample, detection_limit)).collect();
    let mut found = Found::new();
    found.put("affected", limits.iter().map(|limit| blank >= *limit).collect::<Vec<bool>>());
    found.put("limits", limits);
    Ok(found)
}

pub(super) fn relative_difference(asked: &Asked<'_>) -> Computed {
    let mut found = Found::new();
    found.put_if("rpd_percent", figures::relative_difference(asked.number("d1")?, asked.number("d2")?));
    Ok(found)
}

pub(super) fn duplicates(asked: &Asked<'_>) -> Computed {
    let of = figures::duplicates(asked.number("d1")?, asked.number("d2")?, asked.number("crdl")?)
        .ok_or_else(|| no_value("the difference"))?;
    let mut found = Found::new();
    found.put("criterion", if of.is_absolute { "absolute" } else { "rpd" });
    found.put("statistic", of.statistic);
    found.put("limit", of.limit);
    found.put("pass", of.statistic <= of.limit);
    Ok(found)
}

pub(super) fn dilution(asked: &Asked<'_>) -> Computed {
    let undiluted = asked.number("undiluted")?;
    let percent =
        figures::dilution_difference(undiluted, asked.number("diluted_reading")?, asked.number("dilution_factor")?)
            .ok_or_else(|| no_value("the difference"))?;
    let applicable = undiluted >= asked.number("min_ratio")? * asked.number("lloq")?;
    let mut found = Found::new();
    found.put("applicable", applicable);
    found.put("percent_difference", percent);
    // Where the test does not apply, nothing passes.
    found.put("pass", applicable && percent <= 10.0);
    Ok(found)
}

pub(super) fn additions(asked: &Asked<'_>) -> Computed {
    let line =
        Straight::of(&asked.numbers("added")?, &asked.numbers("absorbance")?).ok_or_else(|| no_value("the line"))?;
    let ratio = line.slope / asked.number("aqueous_slope")?;
    let mut found = Found::new();
    found.put("slope", line.slope);
    found.put("intercept", line.intercept);
    found.put("result", line.intercept / line.slope);
    found.put("r", line.r);
    found.put("slope_ratio", ratio);
    found.put("slope_within_20_percent", (0.8..=1.2).contains(&ratio));
    found.put("r_ok", line.r >= asked.number("min_r")?);
    Ok(found)
}

pub(super) fn sequence(asked: &Asked<'_>) -> Computed {
    let (types, recoveries) = (asked.data.list_of("types")?, asked.numbers("recovery")?);
    if types.len() != recoveries.len() {
        let what = format!("{} positions and {} recoveries", types.len(), recoveries.len());
        return Err(asked.data.fault(what).into());
    }
    let mut positions = Vec::new();
    for (node, recovery) in types.iter().zip(recoveries) {
        positions.push(match node.text()? {
            "IPC" => Position::Check(recovery),
            "CB" => Position::Blank,
            "S" => Position::Sample,
            other => return Err(node.fault(format!("{other} is no position; write IPC, CB or S")).into()),
        });
    }
    let of = checks::sequence(&positions, asked.two("first_check_limits")?, asked.two("later_check_limits")?);
    let mut found = Found::new();
    found.put("failed_checks", from_one(&of.failed_checks));
    found.put("stop_at", of.stops_at.map_or(0, |place| place + 1));
    found.put("remeasure_samples", from_one(&of.again));
    found.put("accepted_samples", from_one(&of.accepted));
    Ok(found)
}

pub(super) fn furnace_scheme(asked: &Asked<'_>) -> Computed {
    let sample = asked.number("sample_absorbance")?;
    let spike = asked.number("spiked_absorbance")? - sample;
    let diluted = asked.data.truth_of("already_diluted")?;
    let (recovery, step) = checks::furnace_step(sample, spike, asked.number("expected_spike_absorbance")?, diluted)
        .ok_or_else(|| no_value("the recovery"))?;
    let mut found = Found::new();
    found.put("spike_absorbance", spike);
    found.put("recovery_percent", recovery);
    found.put("decision", step.word());
    Ok(found)
}
