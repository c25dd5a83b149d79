//! `darkline method`: a method drafted from the handbook, or how it differs from one there is.

use std::collections::BTreeMap;

use darkline_exchange::{method, text_file};
use darkline_handbook::{Handbook, InForce};
use darkline_planning::choice::{Forecast, Question, Way, weigh};
use darkline_planning::demand::{self, Demand};
use darkline_planning::method_draft::{Draft, digits, draft};
use darkline_record::order::{Comparison, DecisionRule, Limit, ResultKind};
use serde::Serialize;
use serde_json::Value;

use super::{count, put_out};
use crate::command_line::{Everywhere, Method};
use crate::ending::{Ending, Failure};
use crate::paragraph;
use crate::talk;

/// What is measured of a sample where nothing is said: waters and solids.
///
/// EPA SW-846 method 3015A: 45 mL with 5 mL of acid; method 3051A: up to 0.5 g, here in 50 mL.
pub const TAKEN_OF_WATER: f64 = 0.9;
/// The same of a solid, in kg a m³.
pub const TAKEN_OF_SOLID: f64 = 10.0;

const OF_WATER: (&str, &str) = ("45 mL of the water in 50 mL", "SW-846 Method 3015A (seen in print)");
const OF_SOLID: (&str, &str) = ("0.5 g in 50 mL", "SW-846 Method 3051A, up to 0.5 g; 50 mL are a choice");

pub fn run(everywhere: &Everywhere, options: &Method) -> Result<Ending, Failure> {
    let handbook = Handbook::shipped();
    let element = handbook.element(&options.element).map_err(Failure::told)?;
    let (demand, told) = demand_of(handbook, options, &element.symbol)?;
    let question = Question {
        element: &element.symbol,
        limit: demand.limit,
        is_solid: demand.is_solid,
        taken: if demand.is_solid { TAKEN_OF_SOLID } else { TAKEN_OF_WATER },
        largest_loq: Some(demand.largest_loq),
        largest_u: demand.largest_u,
        rule: DecisionRule::GuardBandU,
    };
    let weighed = weigh(handbook, &question).map_err(Failure::told)?;
    let forecast = match &options.technique {
        None => weighed.ranked.first(),
        Some(word) => {
            let way = way(word)?;
            weighed.ranked.iter().find(|forecast| forecast.way == way)
        }
    };
    let Some(forecast) = forecast else {
        let why: Vec<String> = weighed.left_out.iter().map(|one| format!("{}: {}", one.way.words(), one.why)).collect();
        return Err(Failure::with_hint(
            format!("the handbook has too little about {} for this", element.name),
            why.join("; "),
        ));
    };
    let matrix_word: String = options
        .matrix
        .to_lowercase()
        .split_whitespace()
        .last()
        .unwrap_or("matrix")
        .chars()
        .filter(|character| character.is_alphanumeric())
        .collect();
    let made = format!("{}-{matrix_word}-{}", element.symbol.to_lowercase(), word_of(forecast.way));
    let id = options.id.as_deref().unwrap_or(&made);
    id.parse::<darkline_record::identity::MethodId>().map_err(Failure::told)?;
    let text = draft(
        handbook,
        &Draft {
            id,
            element: &element.symbol,
            matrix: &options.matrix,
            forecast,
            limit: Some(told.clone()),
            is_solid: demand.is_solid,
            unit: demand.unit,
            loq: demand.in_unit(forecast.loq),
            preparation: if demand.is_solid { OF_SOLID } else { OF_WATER },
        },
    )
    .map_err(Failure::told)?;
    if let Some(other) = &options.compare {
        return compare(everywhere, other, &text);
    }
    for lack in &forecast.lacks {
        talk::tell(&format!("{} does not meet the limit {told}: {lack}", forecast.way.words()));
    }
    tell_forecast(forecast, &demand, &told);
    put_out(&options.output, &text)?;
    Ok(Ending::Done)
}

fn tell_forecast(forecast: &Forecast, demand: &Demand, told: &str) {
    talk::tell(&format!(
        "{} for {told}: quantification limit {} {}, u {:.0} % at the limit.",
        forecast.way.words(),
        digits(demand.in_unit(forecast.loq), 2),
        demand.unit,
        100.0 * forecast.u,
    ));
}

/// The word for a technique on the command line.
fn word_of(way: Way) -> &'static str {
    match way {
        Way::Flame => "flame",
        Way::Furnace => "furnace",
        Way::ReducedField => "reduced-field",
        Way::Solid => "solid",
    }
}

fn way(word: &str) -> Result<Way, Failure> {
    Way::ALL.into_iter().find(|way| word_of(*way) == word).ok_or_else(|| {
        Failure::with_hint(format!("{word} is no technique"), "write flame, furnace, reduced-field or solid")
    })
}

/// The demand of the limit asked for, or of the lowest in force; with the limit in words.
fn demand_of(handbook: &Handbook, options: &Method, symbol: &str) -> Result<(Demand, String), Failure> {
    if let Some(text) = &options.limit {
        let read = ResultKind::MassConcentration.read(text).or_else(|_| ResultKind::MassFraction.read(text));
        let at_most = read.map_err(|_| {
            Failure::with_hint(
                format!("\"{text}\" is no limit that a method is drafted for"),
                "write it with its unit, such as \"10 µg/L\" of a liquid or \"0.20 mg/kg\" of a solid",
            )
        })?;
        if at_most.si() <= 0.0 {
            return Err(Failure::told(format!("{at_most} is not above zero")));
        }
        let origin = options.regulation.clone().unwrap_or_else(|| "as asked".into());
        let told = format!("{at_most} ({origin})");
        let limit = Limit {
            at_most,
            origin,
            decision_rule: DecisionRule::GuardBandU,
            guard: None,
            comparison: Comparison::Unrounded,
            prior: None,
        };
        return Ok((demand::of(handbook, symbol, &limit).map_err(Failure::told)?, told));
    }
    let on = options.on.unwrap_or_else(|| jiff::ZonedDateTime::now().date());
    let limits = handbook.limits_for(Some(symbol), &options.matrix, options.regulation.as_deref().unwrap_or(""));
    let lowest = limits
        .iter()
        .filter(|limit| limit.in_force(on) == InForce::Yes)
        .filter_map(|limit| Some((demand::of_printed(handbook, limit).ok()?, *limit)))
        .min_by(|(a, _), (b, _)| a.is_solid.cmp(&b.is_solid).then(a.limit.total_cmp(&b.limit)));
    let Some((demand, limit)) = lowest else {
        return Err(Failure::with_hint(
            format!(
                "the handbook has no limit of {symbol} in force on {on} whose matrix has the words \"{}\"",
                options.matrix
            ),
            format!(
                "write the limit the method has to serve, --limit \"…\"; darkline handbook {symbol} shows those there are"
            ),
        ));
    };
    let told = format!("{} {} ({}, {}; {})", limit.value, limit.unit, limit.source, limit.clause, limit.matrix);
    Ok((demand, told))
}

#[derive(Serialize)]
struct DifferenceLine<'a> {
    schema: &'static str,
    key: &'a str,
    there: Option<&'a str>,
    draft: Option<&'a str>,
}

/// Each key that differs, with both values.
fn compare(everywhere: &Everywhere, other: &std::path::Path, text: &str) -> Result<Ending, Failure> {
    let name = other.display().to_string();
    let there = keys(&method::read(&name, &text_file::read(other)?)?)?;
    let drafted = keys(&method::read("the draft", text)?)?;
    let mut all: Vec<&String> = there.keys().chain(drafted.keys()).collect();
    all.sort();
    all.dedup();
    let mut text_of_all = String::new();
    let mut differ = 0;
    for key in all {
        let (there, draft) = (there.get(key).map(String::as_str), drafted.get(key).map(String::as_str));
        if there == draft {
            continue;
        }
        differ += 1;
        if everywhere.json {
            talk::print_json(&DifferenceLine { schema: "darkline/method-difference/1", key, there, draft })?;
        }
        text_of_all.push_str(&format!("{key}\n"));
        for (whose, value) in [("there", there), ("draft", draft)] {
            text_of_all.push_str(&paragraph::indented(&format!("{whose}  {}", value.unwrap_or("–")), 2));
        }
    }
    if !everywhere.json {
        talk::print(&text_of_all)?;
    }
    talk::tell(&count(differ, "difference"));
    Ok(Ending::Done)
}

/// Everything a method says, key by key; conditions and factors by their names.
fn keys(method: &darkline_record::method::ResolvedMethod) -> Result<BTreeMap<String, String>, Failure> {
    fn flat(path: &str, value: &Value, into: &mut BTreeMap<String, String>) {
        let below = |key: &str| if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") };
        match value {
            // A condition stands under its name; where it comes from is no setting.
            Value::Object(object) => object
                .iter()
                .filter(|(key, _)| !path.starts_with("conditions.") || *key == "value")
                .for_each(|(key, value)| flat(&below(key), value, into)),
            Value::Array(list) => {
                for (place, item) in list.iter().enumerate() {
                    let name =
                        item.get("name").and_then(Value::as_str).map_or_else(|| place.to_string(), str::to_owned);
                    flat(&below(&name), item, into);
                }
            }
            Value::String(text) => {
                into.insert(path.to_owned(), text.clone());
            }
            other => {
                into.insert(path.to_owned(), other.to_string());
            }
        }
    }
    let mut found = BTreeMap::new();
    flat("", &serde_json::to_value(method).map_err(Failure::told)?, &mut found);
    Ok(found)
}
