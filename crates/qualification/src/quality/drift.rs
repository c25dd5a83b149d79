//! Drift, sensitivity, carry-over, range.

use darkline_metrology::summary;
use darkline_quality::sensitivity::{self as figures, CHARACTERISTIC_ABSORBANCE, DriftBracket};

use super::{Asked, Computed};
use crate::answer::Found;
use crate::stop::{Stop, no_value};

fn three(asked: &Asked<'_>, key: &str) -> Result<[f64; 3], Stop> {
    let node = asked.data.need(key)?;
    let of: Result<[f64; 3], _> = node.numbers()?.try_into();
    Ok(of.map_err(|_| node.fault(format!("{key} is three readings")))?)
}

pub(super) fn carry_over(asked: &Asked<'_>) -> Computed {
    let percent = figures::carry_over_percent(three(asked, "high")?, three(asked, "low")?)
        .ok_or_else(|| no_value("the carry-over"))?;
    let mut found = Found::new();
    found.put("k_percent", percent);
    found.put("pass", percent <= asked.number("limit_percent")?);
    Ok(found)
}

pub(super) fn memory(asked: &Asked<'_>) -> Computed {
    let after = asked.numbers("after")?;
    let of = figures::memory(asked.number("high")?, &asked.numbers("blank_readings_before")?, &after)
        .ok_or_else(|| no_value("the memory"))?;
    let mut found = Found::new();
    found.put("limit", of.limit);
    found.put("memory_percent", of.percent);
    found.put("clean_from", of.clean_from.map_or(0, |place| place + 1));
    Ok(found)
}

fn put_deviation(found: &mut Found, asked: &Asked<'_>, of: f64, reference: f64) -> Result<(), Stop> {
    let deviation = figures::deviation_percent(of, reference);
    let window = asked.number("window_percent")?;
    found.put_if("deviation_percent", deviation);
    found.put_if("pass", deviation.map(|deviation| deviation.abs() <= window));
    Ok(())
}

pub(super) fn characteristic_mass(asked: &Asked<'_>) -> Computed {
    let mass = asked.number("volume_ul")? * asked.number("conc_ug_per_l")?;
    let m_0 = figures::characteristic_mass(mass, asked.number("integrated_absorbance")?)
        .ok_or_else(|| no_value("the characteristic mass"))?;
    let mut found = Found::new();
    found.put("mass_pg", mass);
    found.put("m0_pg", m_0);
    put_deviation(&mut found, asked, m_0, asked.number("reference_pg")?)?;
    Ok(found)
}

pub(super) fn characteristic_concentration(asked: &Asked<'_>) -> Computed {
    let (concentration, reference) = (asked.number("conc_mg_per_l")?, asked.number("reference_mg_per_l")?);
    let net = asked.number("absorbance")? - asked.number("blank")?;
    let c_0 = figures::characteristic_concentration(concentration, net)
        .ok_or_else(|| no_value("the characteristic concentration"))?;
    let mut found = Found::new();
    found.put("c0_mg_per_l", c_0);
    found.put("expected_absorbance", CHARACTERISTIC_ABSORBANCE * concentration / reference);
    put_deviation(&mut found, asked, c_0, reference)?;
    Ok(found)
}

pub(super) fn bracket(asked: &Asked<'_>) -> Computed {
    let pair = |key: &str| asked.two(key).map(|(before, after)| [before, after]);
    let of = DriftBracket {
        check: asked.number("check_conc")?,
        times: pair("check_times")?,
        absorbances: pair("check_absorbance")?,
        blanks: pair("blank_absorbance")?,
    };
    let (times, absorbances) = (asked.numbers("sample_times")?, asked.numbers("sample_absorbance")?);
    if times.len() != absorbances.len() {
        let what = format!("{} times and {} absorbances", times.len(), absorbances.len());
        return Err(asked.data.fault(what).into());
    }
    let first = of.at(of.times[0]).ok_or_else(|| no_value("the sensitivity"))?;
    let (mut sensitivity, mut blank, mut corrected, mut uncorrected) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for (time, absorbance) in times.iter().zip(&absorbances) {
        let at = of.at(*time).ok_or_else(|| no_value("the sensitivity"))?;
        sensitivity.push(at.sensitivity);
        blank.push(at.blank);
        corrected.push((absorbance - at.blank) / at.sensitivity);
        uncorrected.push((absorbance - first.blank) / first.sensitivity);
    }
    let mut found = Found::new();
    found.put("sensitivity", sensitivity);
    found.put("blank", blank);
    found.put("corrected_conc", corrected);
    found.put("uncorrected_conc", uncorrected);
    found.put_if("drift_percent", of.drift_percent());
    Ok(found)
}

pub(super) fn reslope(asked: &Asked<'_>) -> Computed {
    let blank = asked.number("blank_calibration")?;
    let blank_now = asked.number("blank_now")?;
    let factor = figures::reslope_factor(
        (blank, asked.number("standard_calibration")?),
        (blank_now, asked.number("standard_now")?),
    )
    .ok_or_else(|| no_value("the factor"))?;
    let (low, high) = asked.two("window")?;
    let mut found = Found::new();
    found.put("factor", factor);
    found.put("accepted", (low..=high).contains(&factor));
    found.put("equivalent_absorbance", blank + (asked.number("sample_absorbance")? - blank_now) * factor);
    Ok(found)
}

pub(super) fn before_and_after(asked: &Asked<'_>) -> Computed {
    let drift = figures::deviation_percent(asked.number("after")?, asked.number("before")?)
        .ok_or_else(|| no_value("the drift"))?;
    let mut found = Found::new();
    found.put("drift_percent", drift);
    found.put("pass", drift.abs() <= asked.number("limit_percent")?);
    Ok(found)
}

pub(super) fn linear_range(asked: &Asked<'_>) -> Computed {
    let n_lower = asked.data.count_of("lower_count", super::MOST_VALUES)?;
    let of = figures::linear_range(&asked.numbers("conc")?, &asked.numbers("signal")?, n_lower)
        .ok_or_else(|| no_value("the linear range"))?;
    let mut found = Found::new();
    found.put("slope", of.line.slope);
    found.put("intercept", of.line.intercept);
    found.put("deficit_percent", of.deficits);
    found.put("upper_limit", of.upper_limit);
    found.put("dilute_above", 0.9 * of.upper_limit);
    Ok(found)
}

pub(super) fn flame_linearity(asked: &Asked<'_>) -> Computed {
    let (bottom, top) = figures::fifths(&asked.numbers("conc")?, &asked.numbers("absorbance")?)
        .ok_or_else(|| no_value("the fifths of the range"))?;
    let ratio = top / bottom;
    let mut found = Found::new();
    found.put("change_bottom", bottom);
    found.put("change_top", top);
    found.put("ratio", ratio);
    found.put("pass", ratio >= asked.number("minimum_ratio")?);
    Ok(found)
}

pub(super) fn flame_precision(asked: &Asked<'_>) -> Computed {
    let (top, low) = (asked.numbers("top")?, asked.numbers("low")?);
    let mean = summary::mean(&top).ok_or_else(|| no_value("the mean"))?;
    let percent = |sd: Option<f64>| sd.map(|sd| 100.0 * sd / mean);
    let (s_top, s_low) = (summary::sd(&top), summary::sd(&low));
    let mut found = Found::new();
    found.put_if("s_top", s_top);
    found.put_if("top_percent", percent(s_top));
    found.put_if("top_pass", percent(s_top).map(|percent| percent <= 1.5));
    found.put_if("s_low", s_low);
    found.put_if("low_percent_of_top", percent(s_low));
    found.put_if("low_pass", percent(s_low).map(|percent| percent <= 0.5));
    Ok(found)
}
