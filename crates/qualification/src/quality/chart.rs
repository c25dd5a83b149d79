//! Control charts and run rules.

use darkline_quality::chart::cusum as sums;
use darkline_quality::chart::ewma::{self as moving, Course};
use darkline_quality::chart::multi_rule::{MultiRule, two_levels};
use darkline_quality::chart::run_rules::{self as patterns, RunRule};
use darkline_quality::chart::shewhart::{self, RangeFactors};

use super::{Asked, Computed, from_one};
use crate::answer::Found;
use crate::stop::no_value;

pub(super) fn individuals(asked: &Asked<'_>) -> Computed {
    let x = asked.numbers("x")?;
    let chart = shewhart::individuals(&x).ok_or_else(|| no_value("the chart"))?;
    let mut found = Found::new();
    found.put("mean", chart.location.centre);
    found.put("mr_mean", chart.spread.centre);
    found.put("ucl", chart.location.upper);
    found.put("lcl", chart.location.lower);
    found.put("mr_ucl", chart.spread.upper);
    found.put("outside", from_one(&chart.location.outside(&x)));
    Ok(found)
}

pub(super) fn mean_and_range(asked: &Asked<'_>) -> Computed {
    let base = asked.groups("base")?;
    let factors = RangeFactors { a2: asked.number("A2")?, d3: asked.number("D3")?, d4: asked.number("D4")? };
    let chart = shewhart::mean_and_range(&base, factors).ok_or_else(|| no_value("the chart"))?;
    let mut found = Found::new();
    found.put("center", chart.location.centre);
    found.put("r_mean", chart.spread.centre);
    found.put("ucl", chart.location.upper);
    found.put("lcl", chart.location.lower);
    found.put("r_ucl", chart.spread.upper);
    found.put("r_lcl", chart.spread.lower);
    let n = base.first().map_or(0, Vec::len);
    found.put_if("sigma", shewhart::sigma_of_range(chart.spread.centre, n));
    if asked.data.has("monitor") {
        let means = shewhart::means(&asked.groups("monitor")?);
        found.put_if("outside_monitor", means.map(|means| from_one(&chart.location.outside(&means))));
    }
    Ok(found)
}

pub(super) fn mean_and_sd(asked: &Asked<'_>) -> Computed {
    let groups = asked.groups("groups")?;
    let chart = shewhart::mean_and_sd(&groups).ok_or_else(|| no_value("the chart"))?;
    let mut found = Found::new();
    found.put("center", chart.location.centre);
    found.put("s_mean", chart.spread.centre);
    found.put("ucl", chart.location.upper);
    found.put("lcl", chart.location.lower);
    found.put("s_ucl", chart.spread.upper);
    found.put("s_lcl", chart.spread.lower);
    found.put_if("outside_mean", shewhart::means(&groups).map(|means| from_one(&chart.location.outside(&means))));
    found.put_if("outside_s", shewhart::sds(&groups).map(|sds| from_one(&chart.spread.outside(&sds))));
    Ok(found)
}

pub(super) fn ewma(asked: &Asked<'_>) -> Computed {
    let limits = asked.data.need("limits")?;
    let course = match limits.text()? {
        "asymptotic" => Course::Asymptotic,
        "time-varying" => Course::TimeVarying,
        other => return Err(limits.fault(format!("{other} is no course of limits")).into()),
    };
    let (centre, sigma) = (asked.number("center")?, asked.number("sigma")?);
    let chart = moving::ewma(&asked.numbers("x")?, centre, sigma, asked.number("lam")?, asked.number("L")?, course)
        .ok_or_else(|| no_value("the chart"))?;
    let mut found = Found::new();
    let (first, last) = (chart.half_widths.first().copied(), chart.half_widths.last().copied());
    found.put_if("ucl", last.map(|half| centre + half));
    found.put_if("lcl", last.map(|half| centre - half));
    found.put_if("ucl_first", first.map(|half| centre + half));
    found.put_if("ucl_last", last.map(|half| centre + half));
    found.put_if("lcl_first", first.map(|half| centre - half));
    found.put_if("lcl_last", last.map(|half| centre - half));
    found.put("signals", from_one(&chart.signals()));
    found.put("z", chart.averages);
    Ok(found)
}

pub(super) fn cusum(asked: &Asked<'_>) -> Computed {
    let (target, k, h) = (asked.number("target")?, asked.number("k")?, asked.number("h")?);
    let chart = sums::tabular(&asked.numbers("x")?, target, k, h).ok_or_else(|| no_value("the sums"))?;
    let signals = from_one(&chart.signals());
    let first = signals.first().copied().unwrap_or(0);
    let mut found = Found::new();
    let run = first.checked_sub(1).and_then(|place| chart.run_high.get(place));
    found.put("shift_starts_after", run.map_or(0, |run| first.saturating_sub(*run)));
    found.put("first_signal", first);
    found.put("signals", signals);
    found.put("high", chart.high);
    found.put("low", chart.low);
    found.put("run_high", chart.run_high);
    Ok(found)
}

pub(super) fn plain_sum(asked: &Asked<'_>) -> Computed {
    let mut found = Found::new();
    found.put("s", sums::plain(&asked.numbers("x")?, asked.number("target")?));
    Ok(found)
}

pub(super) fn recovery_limits(asked: &Asked<'_>) -> Computed {
    let recoveries = asked.numbers("recoveries")?;
    let (own, used) =
        shewhart::recovery_limits(&recoveries, asked.two("required")?).ok_or_else(|| no_value("the limits"))?;
    let mut found = Found::new();
    found.put("mean", own.centre);
    found.put_if("s", darkline_metrology::summary::sd(&recoveries));
    found.put("lower_3s", own.lower);
    found.put("upper_3s", own.upper);
    found.put("used", [used.lower, used.upper]);
    Ok(found)
}

/// `rule@i,j`: a rule and the places where it fires, from 1; nothing for one that does not.
fn fired(name: &str, places: &[usize]) -> Option<String> {
    let places: Vec<String> = from_one(places).iter().map(ToString::to_string).collect();
    (!places.is_empty()).then(|| format!("{name}@{}", places.join(",")))
}

pub(super) fn run_rules(asked: &Asked<'_>) -> Computed {
    let z = asked.numbers("z")?;
    let set = asked.data.need("rule_set")?;
    let rules: &[RunRule] = match set.text()? {
        "western-electric" => patterns::WESTERN_ELECTRIC,
        "nelson-iso8258" => patterns::NELSON,
        "iso7870-2" => patterns::ISO_7870_2,
        other => return Err(set.fault(format!("{other} is no set of rules known here")).into()),
    };
    let mut found = Found::new();
    let told: Vec<String> = rules.iter().filter_map(|rule| fired(&rule.name(), &rule.fires(&z))).collect();
    found.put("fired", told);
    Ok(found)
}

pub(super) fn multi_rule(asked: &Asked<'_>) -> Computed {
    let z = asked.numbers("z")?;
    let mut found = Found::new();
    let told: Vec<(MultiRule, String)> = MultiRule::ALL
        .into_iter()
        .filter_map(|rule| fired(rule.name(), &rule.fires(&z)).map(|text| (rule, text)))
        .collect();
    found.put("reject", told.iter().any(|(rule, _)| rule.rejects()));
    found.put("fired", told.into_iter().map(|(_, text)| text).collect::<Vec<String>>());
    Ok(found)
}

pub(super) fn multi_rule_two(asked: &Asked<'_>) -> Computed {
    let told: Vec<String> = two_levels(&asked.pairs("runs")?)
        .iter()
        .enumerate()
        .map(|(place, fired)| {
            let rules = if fired.is_empty() { "none".to_owned() } else { fired.join(", ") };
            format!("run {}: {rules}", place + 1)
        })
        .collect();
    let mut found = Found::new();
    found.put("fired", told);
    Ok(found)
}

pub(super) fn long_term(asked: &Asked<'_>) -> Computed {
    let verdicts: Vec<&str> =
        patterns::long_term(&asked.numbers("z")?).into_iter().map(|verdict| verdict.words()).collect();
    let mut found = Found::new();
    found.put("verdict", verdicts);
    Ok(found)
}
