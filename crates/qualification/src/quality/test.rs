//! Significance tests and analysis of variance.

use darkline_metrology::anova::OneWay;
use darkline_metrology::summary;
use darkline_quality::significance::{self as tests, Series, TTest};

use super::{Asked, Computed};
use crate::answer::Found;
use crate::stop::no_value;

/// Counts of values behind a summary.
const MOST: usize = 1_000_000_000;

/// A whole number as one, where the pack writes whole numbers.
fn whole(dof: f64) -> crate::answer::Answer {
    if dof.fract() == 0.0 && dof.abs() < 1e15 {
        #[expect(clippy::cast_possible_truncation, reason = "whole and small")]
        crate::answer::Answer::Whole(dof as i64)
    } else {
        crate::answer::Answer::Number(dof)
    }
}

fn put_test(found: &mut Found, test: Option<TTest>, suffix: &str) {
    found.put_if(format!("t{suffix}"), test.map(|test| test.t));
    found.put_if(format!("df{suffix}"), test.map(|test| whole(test.dof)));
    found.put_if(format!("p{suffix}"), test.and_then(|test| test.p()));
    found.put_if(format!("critical_5_percent{suffix}"), test.and_then(|test| test.critical(0.05)));
    found.put_if(format!("significant{suffix}"), test.and_then(|test| test.is_significant(0.05)));
}

pub(super) fn one_mean(asked: &Asked<'_>) -> Computed {
    let x = asked.numbers("x")?;
    let mut found = Found::new();
    found.put_if("mean", summary::mean(&x));
    found.put_if("s", summary::sd(&x));
    put_test(&mut found, tests::mean_against(&x, asked.number("mu0")?), "");
    Ok(found)
}

pub(super) fn two_means(asked: &Asked<'_>) -> Computed {
    let (x, y) = (Series::of(&asked.numbers("x")?), Series::of(&asked.numbers("y")?));
    let (x, y) = x.zip(y).ok_or_else(|| no_value("a standard deviation"))?;
    let mut found = Found::new();
    put_test(&mut found, tests::two_means_pooled(x, y), "_pooled");
    put_test(&mut found, tests::two_means(x, y), "_welch");
    Ok(found)
}

pub(super) fn two_summaries(asked: &Asked<'_>) -> Computed {
    let series = |place: u8| -> Result<Series, crate::stop::Stop> {
        Ok(Series {
            mean: asked.number(&format!("mean{place}"))?,
            sd: asked.number(&format!("s{place}"))?,
            n: asked.data.count_of(&format!("n{place}"), MOST)?,
        })
    };
    let (one, other) = (series(1)?, series(2)?);
    let mut found = Found::new();
    found.put_if("s_pooled", tests::pooled_sd(one, other));
    put_test(&mut found, tests::two_means_pooled(one, other), "");
    Ok(found)
}

pub(super) fn paired(asked: &Asked<'_>) -> Computed {
    let (x, y) = (asked.numbers("x")?, asked.numbers("y")?);
    if x.len() != y.len() {
        return Err(asked.data.fault(format!("{} figures x and {} figures y are no pairs", x.len(), y.len())).into());
    }
    let differences: Vec<f64> = x.iter().zip(&y).map(|(x, y)| x - y).collect();
    let mut found = Found::new();
    found.put_if("mean_difference", summary::mean(&differences));
    found.put_if("s_difference", summary::sd(&differences));
    put_test(&mut found, tests::mean_against(&differences, 0.0), "");
    Ok(found)
}

pub(super) fn variance_ratio(asked: &Asked<'_>) -> Computed {
    let tails = asked.data.need("tails")?;
    let n_tails = match tails.count(2)? {
        1 => 1,
        2 => 2,
        _ => return Err(tails.fault("a test has one tail or two").into()),
    };
    let one = (asked.number("s1")?, asked.data.count_of("n1", MOST)?);
    let other = (asked.number("s2")?, asked.data.count_of("n2", MOST)?);
    let test = tests::variance_ratio(one, other).ok_or_else(|| no_value("the ratio"))?;
    let critical = test.critical(0.05, n_tails);
    let mut found = Found::new();
    found.put("F", test.f);
    found.put("df1", whole(test.dof_over));
    found.put("df2", whole(test.dof_under));
    found.put_if("critical_5_percent", critical);
    found.put_if("significant", critical.map(|critical| test.f > critical));
    Ok(found)
}

pub(super) fn anova(asked: &Asked<'_>) -> Computed {
    let groups = asked.groups("groups")?;
    let groups: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
    let table = OneWay::of(&groups).ok_or_else(|| no_value("the analysis of variance"))?;
    let mut found = Found::new();
    found.put("grand_mean", table.grand_mean);
    found.put("ss_between", table.ss_between);
    found.put("ss_within", table.ss_within);
    found.put("df_between", whole(table.dof_between));
    found.put("df_within", whole(table.dof_within));
    found.put("ms_between", table.ms_between());
    found.put("ms_within", table.ms_within());
    found.put_if("F", table.f());
    found.put_if("p", table.p());
    found.put_if("critical_5_percent", table.critical_f(0.95));
    found.put("var_between", table.variance_between());
    found.put("s_within", table.s_within());
    found.put("s_between", table.s_between());
    found.put("s_intermediate", table.s_intermediate());
    found.put("rsd_r_percent", 100.0 * table.s_within() / table.grand_mean);
    found.put("rsd_i_percent", 100.0 * table.s_intermediate() / table.grand_mean);
    found.put("var_between_negative", table.raw_variance_between() < 0.0);
    Ok(found)
}
