//! Outlier tests.

use darkline_quality::outlier::cochran::Cochran;
use darkline_quality::outlier::dixon::Ratio;
use darkline_quality::outlier::double_grubbs::{self, DoubleGrubbs};
use darkline_quality::outlier::grubbs::{self, Grubbs};
use darkline_quality::outlier::{End, rosner as generalised, simulated};

use super::{Asked, Computed};
use crate::answer::Found;
use crate::stop::{Stop, no_value};

fn end(asked: &Asked<'_>) -> Result<End, Stop> {
    let side = asked.data.need("side")?;
    Ok(match side.text()? {
        "max" => End::Highest,
        "min" => End::Lowest,
        "two-sided" => End::Either,
        other => return Err(side.fault(format!("{other} is no side; write max, min or two-sided")).into()),
    })
}

pub(super) fn grubbs(asked: &Asked<'_>) -> Computed {
    let test = Grubbs::of(&asked.numbers("x")?, end(asked)?).ok_or_else(|| no_value("the test"))?;
    let mut found = Found::new();
    found.put("mean", test.mean);
    found.put("s", test.sd);
    found.put("statistic", test.statistic);
    for (sides, critical) in [
        ("one_sided", grubbs::critical_one_sided as fn(usize, f64) -> Option<f64>),
        ("two_sided", grubbs::critical_two_sided),
    ] {
        for (written, significance) in asked.significances(&format!("{sides}_")) {
            let value = critical(test.n, significance);
            found.put_if(format!("critical_{sides}_{written}_percent"), value);
            found.put_if(format!("outlier_{sides}_{written}_percent"), value.map(|value| test.statistic > value));
        }
    }
    Ok(found)
}

pub(super) fn double_grubbs(asked: &Asked<'_>) -> Computed {
    let x = asked.numbers("x")?;
    let test = DoubleGrubbs::of(&x, end(asked)?).ok_or_else(|| no_value("the test"))?;
    let mut found = Found::new();
    found.put("ss_all", test.ss_all);
    found.put("ss_reduced", test.ss_reduced);
    found.put("statistic", test.statistic);
    let mut significances = asked.significances("critical_one_sided_");
    significances.extend(asked.significances("outlier_"));
    for (written, significance) in significances {
        let value = double_grubbs::critical(x.len(), significance);
        found.put_if(format!("critical_one_sided_{written}_percent"), value);
        found.put_if(format!("outlier_{written}_percent"), value.map(|value| test.statistic < value));
    }
    Ok(found)
}

pub(super) fn range(asked: &Asked<'_>) -> Computed {
    let x = asked.numbers("x")?;
    let statistic = simulated::range_over_sd(&x).ok_or_else(|| no_value("the range over the standard deviation"))?;
    let mut found = Found::new();
    found.put("statistic", statistic);
    let mut significances = asked.significances("critical_");
    significances.extend(asked.significances("outlier_"));
    significances.dedup_by(|a, b| a.0 == b.0);
    for (written, significance) in significances {
        let value = simulated::critical_range_over_sd(x.len(), significance);
        found.put_if(format!("critical_{written}_percent"), value);
        found.put_if(format!("outlier_{written}_percent"), value.map(|value| statistic > value));
    }
    Ok(found)
}

pub(super) fn tietjen_moore(asked: &Asked<'_>) -> Computed {
    let (x, k) = (asked.numbers("x")?, asked.data.count_of("k", super::MOST_VALUES)?);
    let statistic = simulated::tietjen_moore(&x, k).ok_or_else(|| no_value("the statistic"))?;
    let mut found = Found::new();
    found.put("statistic", statistic);
    let mut significances = asked.significances("critical_");
    significances.extend(asked.significances("outlier_"));
    significances.dedup_by(|a, b| a.0 == b.0);
    for (written, significance) in significances {
        let value = simulated::critical_tietjen_moore(x.len(), k, significance);
        found.put_if(format!("critical_{written}_percent"), value);
        found.put_if(format!("outlier_{written}_percent"), value.map(|value| statistic < value));
    }
    Ok(found)
}

pub(super) fn rosner(asked: &Asked<'_>) -> Computed {
    let most = asked.data.count_of("max_outliers", 1000)?;
    let test =
        generalised::rosner(&asked.numbers("x")?, most, asked.number("alpha")?).ok_or_else(|| no_value("the test"))?;
    let mut found = Found::new();
    found.put("R", test.statistics);
    found.put("lambda", test.critical);
    found.put("number_of_outliers", test.outliers.len());
    found.put("outliers", test.outliers);
    Ok(found)
}

pub(super) fn dixon(asked: &Asked<'_>) -> Computed {
    let x = asked.numbers("x")?;
    let name = asked.data.need("ratio")?;
    let ratio = match name.text()? {
        "auto" => Ratio::for_size(x.len()).ok_or_else(|| no_value("a ratio for so many values"))?,
        named => Ratio::from_name(named).ok_or_else(|| name.fault(format!("{named} is no ratio of Dixon")))?,
    };
    let statistic = ratio.of(&x, end(asked)?).ok_or_else(|| no_value("the ratio"))?;
    let mut found = Found::new();
    found.put("ratio_used", ratio.name());
    found.put("statistic", statistic);
    for (sides, share) in [("one_sided", 1.0), ("two_sided", 0.5)] {
        for (written, significance) in asked.significances(&format!("{sides}_")) {
            let value = ratio.critical(x.len(), share * significance);
            found.put_if(format!("critical_{sides}_{written}_percent"), value);
            found.put_if(format!("outlier_{sides}_{written}_percent"), value.map(|value| statistic > value));
        }
    }
    Ok(found)
}

pub(super) fn cochran(asked: &Asked<'_>) -> Computed {
    let test = if asked.data.has("groups") {
        Cochran::of_groups(&asked.groups("groups")?)
    } else {
        Cochran::of_differences(&asked.numbers("differences")?)
    };
    let test = test.ok_or_else(|| no_value("the test"))?;
    let mut found = Found::new();
    found.put("statistic", test.statistic);
    found.put("largest_group", test.largest + 1);
    for (written, significance) in asked.significances("critical_") {
        found.put_if(format!("critical_{written}_percent"), test.critical(significance));
    }
    found.put_if("straggler", test.is_straggler());
    found.put_if("outlier", test.is_outlier());
    Ok(found)
}
