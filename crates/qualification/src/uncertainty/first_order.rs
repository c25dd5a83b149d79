//! Propagation of uncertainty to the first order: budgets, correlated readings, short forms.

use std::collections::BTreeMap;

use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{Source, SourceId};
use darkline_metrology::summary;

use super::inputs::{self, correlated, independent};
use super::{ByKey, Computed};
use crate::answer::{Answer, Found};
use crate::case_file::Node;
use crate::expression::{Expression, Symbols};
use crate::stop::{Stop, no_value, refused};

/// Terms added one by one at most.
const MOST_TERMS: usize = 10_000;

/// The expression of a case.
pub(super) fn expression(node: &Node<'_>) -> Result<Expression, Stop> {
    Ok(Expression::read(node.text()?).map_err(|why| node.fault(why))?)
}

pub(super) fn on_model<'m>(node: &Node<'_>, model: &'m Model, symbols: &Symbols<'m>) -> Result<Term<'m, Factor>, Stop> {
    Ok(expression(node)?.on_model(model, symbols).map_err(|why| node.fault(why))?)
}

/// The budget of `[model].expression`; keys name its inputs and groups.
pub(super) fn budget(case: Node<'_>) -> Result<ByKey, Stop> {
    let equation = case.need("model")?;
    let text = equation.need("expression")?;
    let inputs = inputs::read(&case)?;
    let model = Model::new();
    let symbols = correlated(&model, &case, &inputs)?;
    let estimate = model.first_order(on_model(&text, &model, &symbols)?);
    // What an input adds by itself does not depend on what it correlates with.
    let alone = Model::new();
    let alone_symbols = independent(&alone, &inputs);
    let alone_estimate = alone.first_order(on_model(&text, &alone, &alone_symbols)?);

    let coverage = case.get("coverage");
    let stated = |key: &str| coverage.map_or(Ok(None), |coverage| coverage.number_if(key));
    let probability = match stated("p")? {
        Some(p) => Some(p),
        None => equation.number_if("coverage_probability")?,
    };
    let k = match (stated("k")?, probability) {
        (Some(k), _) => Some(k),
        (None, Some(p)) => Some(estimate.coverage_factor(p).ok_or_else(|| no_value("the coverage factor"))?),
        (None, None) => None,
    };

    let mut groups: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut u_of_groups: BTreeMap<String, f64> = BTreeMap::new();
    for group in case.entries_of("groups")? {
        let mut terms: Vec<Term<'_, Factor>> = Vec::new();
        let mut members = Vec::new();
        for member in group.list()? {
            let name = member.text()?;
            terms.push(*symbols.get(name).ok_or_else(|| member.fault(format!("{name} is no input of this case")))?);
            members.push(name.to_owned());
        }
        u_of_groups.insert(group.name().to_owned(), model.first_order(model.sum(&terms)).u());
        groups.insert(group.name().to_owned(), members);
    }

    let (y, u, nu_eff) = (estimate.value.si(), estimate.u(), estimate.effective_dof());
    let expanded = k.map(|k| estimate.expand(k).expanded_u.si());
    // Without sign; zero for what adds nothing.
    let mut contributions: BTreeMap<String, f64> = inputs.iter().map(|input| (input.symbol.clone(), 0.0)).collect();
    for contribution in &alone_estimate.contributions {
        contributions.insert(contribution.source.as_str().to_owned(), contribution.u.abs());
    }
    for (name, members) in &groups {
        let in_group = |source: &SourceId| {
            if members.iter().any(|member| member == source.as_str()) { "in" } else { "out" }
        };
        let by_group = alone_estimate.by_group(in_group);
        let u = by_group.iter().find(|(group, _)| *group == "in").map_or(0.0, |(_, u)| *u);
        contributions.insert(name.clone(), u);
    }
    Ok(Box::new(move |key| {
        Some(Answer::Number(match key {
            "y" => y,
            "u" => u,
            "u_rel" => u / y.abs(),
            "nu_eff" => nu_eff,
            "k" => k?,
            "U" => expanded?,
            "U_rel" => expanded? / y.abs(),
            _ => {
                if let Some(name) = key.strip_prefix("contribution_") {
                    *contributions.get(name)?
                } else if let Some(name) = key.strip_prefix("percent_") {
                    let share = contributions.get(name)? / u;
                    100.0 * share * share
                } else {
                    *u_of_groups.get(key.strip_prefix("u_")?)?
                }
            }
        }))
    }))
}

/// Several outputs from repeated simultaneous readings; keys name readings, outputs and pairs of them.
pub(super) fn simultaneous_readings(case: Node<'_>) -> Result<ByKey, Stop> {
    let data = case.need("data")?;
    let names = data.texts_of("symbols")?;
    let readings = names.iter().map(|name| data.numbers_of(name)).collect::<Result<Vec<Vec<f64>>, _>>()?;
    let n = readings.first().map_or(0, Vec::len);
    if n < 2 || readings.iter().any(|of| of.len() != n) {
        return Err(data.fault("readings that belong together are equally many, at least two").into());
    }
    let means = readings
        .iter()
        .map(|of| summary::mean(of).ok_or_else(|| no_value("a mean")))
        .collect::<Result<Vec<f64>, _>>()?;
    let with_correlation = data.get("use_correlation").map_or(Ok(true), |asked| asked.truth())?;
    let number = n as f64;
    let mut covariance = Vec::new();
    for (i, (x, x_mean)) in readings.iter().zip(&means).enumerate() {
        for (j, (y, y_mean)) in readings.iter().zip(&means).enumerate() {
            let products: f64 = x.iter().zip(y).map(|(x, y)| (x - x_mean) * (y - y_mean)).sum();
            let kept = with_correlation || i == j;
            covariance.push(if kept { products / (number * (number - 1.0)) } else { 0.0 });
        }
    }
    let model = Model::new();
    let values: Vec<Factor> = means.iter().map(|&mean| Factor::from_si(mean)).collect();
    let terms = model.correlated(&values, &covariance, "sets of readings", number - 1.0).map_err(refused)?;
    let symbols: Symbols<'_> = names.iter().map(|name| (*name).to_owned()).zip(terms).collect();
    let mut estimates: BTreeMap<String, _> =
        symbols.iter().map(|(name, term)| (name.clone(), model.first_order(*term))).collect();
    let equation = case.need("model")?;
    let (outputs, expressions) = (equation.texts_of("outputs")?, equation.list_of("expressions")?);
    if outputs.len() != expressions.len() {
        return Err(equation.fault("each output has one expression").into());
    }
    for (name, text) in outputs.iter().zip(&expressions) {
        estimates.insert((*name).to_owned(), model.first_order(on_model(text, &model, &symbols)?));
    }
    Ok(Box::new(move |key| {
        if let Some(estimate) = estimates.get(key) {
            return Some(Answer::Number(estimate.value.si()));
        }
        if let Some(estimate) = key.strip_prefix("u_").and_then(|name| estimates.get(name)) {
            return Some(Answer::Number(estimate.u()));
        }
        if let Some(estimate) = key.strip_prefix("nu_eff_").and_then(|name| estimates.get(name)) {
            return Some(Answer::Number(estimate.effective_dof()));
        }
        // Names may hold an underscore themselves.
        let names = key.strip_prefix("r_")?;
        let pair = names
            .match_indices('_')
            .find_map(|(at, _)| Some((estimates.get(&names[..at])?, estimates.get(&names[at + 1..])?)));
        let (a, b) = pair?;
        Some(Answer::Number(a.covariance(b) / (a.u() * b.u())))
    }))
}

/// A sum of n values that correlate alike, as values that share one standard do.
pub(super) fn correlated_sum(_: Node<'_>, item: Node<'_>) -> Computed {
    let (n, u_i, r) = (item.count_of("n", MOST_TERMS)?, item.number_of("u_i")?, item.number_of("r")?);
    let model = Model::new();
    let value = Factor::from_si(1.0);
    let terms: Vec<Term<'_, Factor>> = if (0.0..=1.0).contains(&r) {
        (0..n)
            .map(|i| {
                let common = Source::normal(SourceId::new("common"), u_i * r.sqrt());
                let own = Source::normal(SourceId::new(format!("value {i}")), u_i * (1.0 - r).sqrt());
                model.input(value, &[common, own])
            })
            .collect()
    } else {
        let n = item.count_of("n", 200)?;
        let covariance: Vec<f64> =
            (0..n * n).map(|place| if place / n == place % n { u_i * u_i } else { r * u_i * u_i }).collect();
        model.correlated(&vec![value; n], &covariance, "values", f64::INFINITY).map_err(refused)?
    };
    let mut found = Found::new();
    found.put("u", model.first_order(model.sum(&terms)).u());
    Ok(found)
}

/// Relative uncertainties of the factors of a result.
pub(super) fn relative_combination(case: Node<'_>) -> Computed {
    let result = case.need("result")?;
    let model = Model::new();
    let mut product = model.exact(Factor::from_si(result.number_of("value")?));
    for input in case.list_of("input")? {
        let (value, symbol) = (input.number_or("value", 1.0)?, input.text_of("symbol")?);
        let u = match input.number_if("u")? {
            Some(u) => u,
            None => input.number_of("u_rel")? * value.abs(),
        };
        let factor = model.input(Factor::from_si(value), &[Source::normal(SourceId::new(symbol), u)]);
        // Each factor is in the result already; dividing by its value takes it out of the product again.
        product = product * factor / model.exact(Factor::from_si(value));
    }
    let estimate = model.first_order(product);
    let expanded = estimate.expand(result.number_or("k", 2.0)?).expanded_u.si();
    let mut found = Found::new();
    found.put("u_rel", estimate.u() / estimate.value.si().abs());
    found.put("u", estimate.u());
    found.put("U", expanded);
    found.put("U_rel", expanded / estimate.value.si().abs());
    Ok(found)
}

/// Propagation by differences, as in a spreadsheet: one input raised by its u at a time.
///
/// The case gives values and their `u_NAME`; its expression is `[model].expression`, or that of the example of the guide.
pub(super) fn by_differences(case: Node<'_>) -> Computed {
    let data = case.need("data")?;
    let given = case.get("model").and_then(|model| model.get("expression"));
    let expression = match given {
        Some(node) => expression(&node)?,
        None => Expression::read("1000*m*P/V").map_err(refused)?,
    };
    let worked_out = |raised: Option<&str>| {
        expression
            .with_figures(&|symbol| {
                let value = data.get(symbol)?.number().ok()?;
                let u = data.get(&format!("u_{symbol}")).and_then(|u| u.number().ok()).unwrap_or(0.0);
                Some(if raised == Some(symbol) { value + u } else { value })
            })
            .map_err(|why| data.fault(why))
    };
    let base = worked_out(None)?;
    let mut found = Found::new();
    found.put("base", base);
    let mut sum_of_squares = 0.0;
    for symbol in expression.symbols() {
        if data.has(&format!("u_{symbol}")) {
            let cell = worked_out(Some(symbol))?;
            sum_of_squares += (cell - base) * (cell - base);
            found.put(format!("{symbol}_plus"), cell);
            found.put(format!("difference_{symbol}"), cell - base);
        }
    }
    found.put("sum_of_squares", sum_of_squares);
    found.put("u", sum_of_squares.sqrt());
    found.put("u_rel", sum_of_squares.sqrt() / base.abs());
    Ok(found)
}
