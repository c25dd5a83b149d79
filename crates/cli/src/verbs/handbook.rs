//! `darkline handbook`: an element, a line or limits, looked up in the handbook, each figure with its source.

use std::collections::BTreeMap;

use darkline_handbook::{
    Caution, Element, Erratum, Exposure, Handbook, InForce, Limit, Neighbour, Programme, ProgrammeRow, Source,
    Splitting, Stock,
};
use jiff::civil::Date;
use serde::Serialize;

use crate::command_line::{self, Everywhere};
use crate::ending::{Ending, Failure};
use crate::handbook_text;
use crate::talk;

#[derive(Serialize)]
struct ElementLine<'a> {
    schema: &'static str,
    element: &'a Element,
    programmes: Vec<ProgrammeOf<'a>>,
    neighbours: Vec<&'a Neighbour>,
    splittings: Vec<&'a Splitting>,
    stocks: Vec<&'a Stock>,
    limits: Vec<LimitOn<'a>>,
    exposure: Option<&'a Exposure>,
    misprints: Vec<&'a Erratum>,
    cautions: Vec<&'a Caution>,
    sources: BTreeMap<&'a str, &'a Source>,
}

#[derive(Serialize)]
struct ProgrammeOf<'a> {
    programme: &'a str,
    source: &'a str,
    locator: &'a str,
    provenance: darkline_handbook::Provenance,
    modifier: &'a Option<String>,
    row: &'a ProgrammeRow,
}

#[derive(Serialize)]
struct LimitOn<'a> {
    schema: &'static str,
    #[serde(flatten)]
    limit: &'a Limit,
    on: Date,
    in_force: bool,
}

#[derive(Serialize)]
struct LineAt<'a> {
    schema: &'static str,
    symbol: &'a str,
    line: &'a darkline_handbook::Line,
    neighbours: Vec<&'a Neighbour>,
}

#[derive(Serialize)]
struct ListLine<'a> {
    schema: &'static str,
    symbol: &'a str,
    name: &'a str,
    atomic_number: u8,
    primary_line_nm: f64,
}

pub fn run(everywhere: &Everywhere, options: &command_line::Handbook) -> Result<Ending, Failure> {
    let handbook = Handbook::shipped();
    let on = options.on.unwrap_or_else(|| jiff::ZonedDateTime::now().date());
    let element = match &options.element {
        None => None,
        Some(asked) => Some(handbook.element(asked).map_err(|unknown| match nearest(handbook, asked) {
            Some(meant) => Failure::with_hint(unknown.to_string(), format!("is {meant} meant?")),
            None => Failure::told(unknown),
        })?),
    };
    let (matrix, regulation) = (options.matrix.as_deref(), options.regulation.as_deref());
    let only_limits = matrix.is_some() || regulation.is_some();
    let symbol = element.map(|element| element.symbol.as_str());
    let limits = handbook.limits_for(symbol, matrix.unwrap_or(""), regulation.unwrap_or(""));
    let text = match (element, options.line) {
        _ if only_limits => {
            if limits.is_empty() {
                return Err(no_limits(handbook, symbol, matrix, regulation));
            }
            if everywhere.json {
                return limits_json(&limits, on);
            }
            handbook_text::limits(&limits, on)
        }
        (Some(element), None) => {
            if everywhere.json {
                talk::print_json(&element_json(handbook, element, &limits, on))?;
                return Ok(Ending::Done);
            }
            handbook_text::element(handbook, element, &limits, on)
        }
        (_, Some(nm)) => {
            let found: Vec<(&Element, &darkline_handbook::Line)> = handbook
                .elements()
                .iter()
                .filter(|one| symbol.is_none_or(|symbol| one.symbol == symbol))
                .filter_map(|one| Some((one, one.line_at(nm)?)))
                .collect();
            if found.is_empty() {
                return Err(no_line(handbook, element, nm));
            }
            if everywhere.json {
                for (element, line) in found {
                    let neighbours = handbook.neighbours_of(&element.symbol, line.wavelength_air_nm);
                    let schema = "darkline/handbook-line/1";
                    talk::print_json(&LineAt { schema, symbol: &element.symbol, line, neighbours })?;
                }
                return Ok(Ending::Done);
            }
            handbook_text::lines(handbook, &found)
        }
        (None, None) => {
            if everywhere.json {
                for element in handbook.elements() {
                    talk::print_json(&ListLine {
                        schema: "darkline/handbook-list/1",
                        symbol: &element.symbol,
                        name: &element.name,
                        atomic_number: element.atomic_number,
                        primary_line_nm: element.primary_line().label_nm,
                    })?;
                }
                return Ok(Ending::Done);
            }
            handbook_text::list(handbook)
        }
    };
    talk::print(&text)?;
    Ok(Ending::Done)
}

fn element_json<'a>(handbook: &'a Handbook, element: &'a Element, limits: &[&'a Limit], on: Date) -> ElementLine<'a> {
    let symbol = &element.symbol;
    let of = |programme: &'a Programme, row: &'a ProgrammeRow| ProgrammeOf {
        programme: &programme.id,
        source: &programme.source,
        locator: &programme.locator,
        provenance: programme.provenance,
        modifier: &programme.modifier,
        row,
    };
    let programmes: Vec<ProgrammeOf> =
        handbook.programmes_of(symbol).map(|(programme, row)| of(programme, row)).collect();
    let stocks: Vec<&Stock> = handbook.stocks().iter().filter(|stock| stock.symbol == *symbol).collect();
    let named = [element.atomic_weight_source.as_str()]
        .into_iter()
        .chain(element.line.iter().map(|row| row.source.as_str()))
        .chain(element.bandpass_nm.iter().map(|row| row.source.as_str()))
        .chain(element.flame.iter().map(|row| row.source.as_str()))
        .chain(element.modifier.iter().map(|row| row.source.as_str()))
        .chain(element.interference.iter().map(|row| row.source.as_str()))
        .chain(element.figures.iter().map(|row| row.source.as_str()))
        .chain(programmes.iter().map(|row| row.source))
        .chain(stocks.iter().map(|row| row.source.as_str()));
    let sources = named.filter_map(|name| Some((name, handbook.source(name)?))).collect();
    ElementLine {
        schema: "darkline/handbook-element/1",
        neighbours: handbook.neighbours().iter().filter(|one| one.symbol == *symbol).collect(),
        splittings: handbook.splittings().iter().filter(|one| one.symbol == *symbol).collect(),
        limits: limits.iter().map(|limit| limit_on(limit, on)).collect(),
        exposure: handbook.exposures().iter().find(|one| one.element == *symbol),
        misprints: handbook.errata_of(symbol),
        cautions: handbook_text::cautions_of(handbook, symbol),
        element,
        programmes,
        stocks,
        sources,
    }
}

fn limit_on(limit: &Limit, on: Date) -> LimitOn<'_> {
    let in_force = limit.in_force(on) == InForce::Yes;
    LimitOn { schema: "darkline/handbook-limit/1", limit, on, in_force }
}

fn limits_json(limits: &[&Limit], on: Date) -> Result<Ending, Failure> {
    for limit in limits {
        talk::print_json(&limit_on(limit, on))?;
    }
    Ok(Ending::Done)
}

/// The element whose name is nearest to what was typed.
fn nearest<'a>(handbook: &'a Handbook, asked: &str) -> Option<&'a str> {
    let asked = asked.to_lowercase();
    let likeness = |element: &&Element| strsim::jaro_winkler(&element.name, &asked);
    let best = handbook.elements().iter().max_by(|a, b| likeness(a).total_cmp(&likeness(b)))?;
    (likeness(&best) > 0.8).then_some(best.name.as_str())
}

fn no_limits(handbook: &Handbook, symbol: Option<&str>, matrix: Option<&str>, regulation: Option<&str>) -> Failure {
    let mut asked = Vec::new();
    asked.extend(symbol.map(|symbol| format!("the element {symbol}")));
    asked.extend(matrix.map(|words| format!("\"{words}\" in the matrix")));
    asked.extend(regulation.map(|words| format!("\"{words}\" in the regulation")));
    let mut sources: Vec<&str> = handbook.limits().iter().map(|limit| limit.source.as_str()).collect();
    sources.sort_unstable();
    sources.dedup();
    Failure::with_hint(
        format!("the handbook holds no limit with {}", asked.join(" and ")),
        format!("it holds limits of: {}", sources.join("; ")),
    )
}

fn no_line(handbook: &Handbook, element: Option<&Element>, nm: f64) -> Failure {
    let lines = |element: &Element| {
        element.line.iter().map(|line| format!("{:.1}", line.label_nm)).collect::<Vec<_>>().join(", ")
    };
    match element {
        Some(element) => Failure::with_hint(
            format!("the handbook has no line of {} within 0.15 nm of {nm} nm", element.name),
            format!("its lines are {} nm", lines(element)),
        ),
        None => {
            let all = || handbook.elements().iter().flat_map(|one| one.line.iter().map(move |line| (one, line)));
            let away = |line: &darkline_handbook::Line| (line.wavelength_air_nm - nm).abs();
            let what = format!("no element of the handbook has a line within 0.15 nm of {nm} nm");
            match all().min_by(|(_, a), (_, b)| away(a).total_cmp(&away(b))) {
                Some((one, line)) => {
                    Failure::with_hint(what, format!("the nearest is {} {:.1} nm", one.symbol, line.label_nm))
                }
                None => Failure::told(what),
            }
        }
    }
}
