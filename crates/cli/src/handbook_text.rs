//! The handbook as people read it: tables by subject, a number in brackets for each publication, and the list of them.

use std::collections::BTreeMap;

use darkline_handbook::{
    Caution, Element, Figure, Handbook, InForce, Limit, Line, Programme, ProgrammeRow, Provenance, Stock,
};
use jiff::civil::Date;

use crate::paragraph;
use crate::table::Table;

/// Publications in the order they are first named, each with its number.
struct Citations<'a> {
    handbook: &'a Handbook,
    numbers: BTreeMap<String, usize>,
    order: Vec<String>,
}

impl<'a> Citations<'a> {
    fn new(handbook: &'a Handbook) -> Self {
        Self { handbook, numbers: BTreeMap::new(), order: Vec::new() }
    }

    /// The number in brackets, the place, and how sure that is where the figure was not seen in print.
    fn cite(&mut self, source: &str, locator: &str, provenance: Provenance) -> String {
        let next = self.order.len() + 1;
        let number = *self.numbers.entry(source.to_owned()).or_insert(next);
        if number == next {
            self.order.push(source.to_owned());
        }
        let place = if locator.is_empty() { String::new() } else { format!(" {locator}") };
        let sure = match provenance {
            Provenance::Verified => String::new(),
            unsure => format!(", {}", unsure.words()),
        };
        format!("[{number}]{place}{sure}")
    }

    fn list(&self) -> String {
        let mut text = "Publications\n".to_owned();
        for (place, name) in self.order.iter().enumerate() {
            let words = match self.handbook.source(name) {
                Some(source) if source.seen => source.words(),
                Some(source) => format!("{} (no copy seen)", source.words()),
                None => name.clone(),
            };
            text.push_str(&hanging(&format!("[{}] ", place + 1), &words));
        }
        text
    }
}

/// A paragraph whose further lines stand below its first word.
fn hanging(head: &str, text: &str) -> String {
    let body = paragraph::indented(text, head.chars().count() + 2);
    format!("  {head}{}", body.trim_start())
}

/// A figure as short as it can be written.
fn figure(value: f64) -> String {
    format!("{value}")
}

fn optional(value: Option<f64>) -> String {
    value.map_or(String::new(), figure)
}

/// Below a head.
fn below(head: &str, table: &Table) -> String {
    let body: String = table.text().lines().map(|line| format!("  {line}\n")).collect();
    format!("{head}\n{body}\n")
}

/// All elements with their usual line.
pub fn list(handbook: &Handbook) -> String {
    let mut table = Table::new()
        .words("")
        .words("element")
        .figures("line", "nm")
        .words("furnace")
        .words("flame")
        .figures("limits", "");
    for element in handbook.elements() {
        let furnace = handbook.programmes_of(&element.symbol).next().is_some();
        let flames: Vec<&str> = element.flame.iter().map(|row| row.flame.as_str()).collect();
        let limits = handbook.limits_for(Some(&element.symbol), "", "").len();
        table.row(vec![
            element.symbol.clone(),
            element.name.clone(),
            format!("{:.1}", element.primary_line().label_nm),
            if furnace { "printed programme".into() } else { String::new() },
            flames.join(", "),
            if limits == 0 { String::new() } else { limits.to_string() },
        ]);
    }
    format!("{}\nOne of them in full: darkline handbook lead\n", table.text())
}

/// Which elements have a line at a wavelength, with what lies beside it.
pub fn lines(handbook: &Handbook, found: &[(&Element, &Line)]) -> String {
    let mut citations = Citations::new(handbook);
    let mut table = lines_table();
    for (element, line) in found {
        table.row(line_row(handbook, element, line, &mut citations));
    }
    format!("{}\n{}", table.text(), citations.list())
}

fn lines_table() -> Table {
    Table::new()
        .words("")
        .figures("line", "nm")
        .figures("in air", "nm")
        .figures("sensitivity", "relative")
        .words("rests on")
        .words("printed in, and lines of other elements within 30 pm")
}

fn line_row(handbook: &Handbook, element: &Element, line: &Line, citations: &mut Citations) -> Vec<String> {
    let beside: Vec<String> = handbook
        .neighbours_of(&element.symbol, line.wavelength_air_nm)
        .iter()
        .map(|one| format!("{} {:+.1} pm {}", one.neighbour, one.delta_pm, one.kind.words()).replace('-', "−"))
        .collect();
    let basis = match line.relative_sensitivity_basis.as_deref() {
        Some("theory_2500K") => "line strength at 2500 K".to_owned(),
        Some("reference") => "the usual line".to_owned(),
        Some("memory") => "from memory".to_owned(),
        other => other.unwrap_or("").to_owned(),
    };
    let mut last = citations.cite(&line.source, "", line.provenance);
    if !beside.is_empty() {
        last.push_str(&format!("; {}", beside.join(", ")));
    }
    let sensitivity = line.relative_sensitivity.map_or(String::new(), |ratio| format!("{ratio:.2}"));
    vec![
        element.symbol.clone(),
        format!("{:.1}", line.label_nm),
        figure(line.wavelength_air_nm),
        sensitivity,
        basis,
        last,
    ]
}

/// An element in full.
pub fn element(handbook: &Handbook, element: &Element, limits: &[&Limit], on: Date) -> String {
    let mut citations = Citations::new(handbook);
    let symbol = element.symbol.as_str();
    let weight = citations.cite(&element.atomic_weight_source, "", element.atomic_weight_provenance);
    let mut text = format!(
        "{symbol}  {}, atomic number {}, CAS {}, standard atomic weight {} {weight}\n\n",
        element.name, element.atomic_number, element.cas, element.atomic_weight_printed
    );
    let mut table = lines_table();
    for line in &element.line {
        table.row(line_row(handbook, element, line, &mut citations));
    }
    text.push_str(&below("Lines", &table));
    if let Some(bandpass) = &element.bandpass_nm {
        let cited = citations.cite(&bandpass.source, &bandpass.locator, bandpass.provenance);
        text.push_str(&format!("  bandpass {} nm at {} nm {cited}\n\n", bandpass.value, bandpass.wavelength_nm));
    }
    text.push_str(&flames(element, &mut citations));
    text.push_str(&programmes(handbook, symbol, &mut citations));
    text.push_str(&modifiers(element, &mut citations));
    text.push_str(&interferences(element, &mut citations));
    text.push_str(&printed_figures(element, &mut citations));
    text.push_str(&splittings(handbook, symbol));
    text.push_str(&stocks(handbook, symbol, &mut citations));
    if !limits.is_empty() {
        text.push_str(&limits_below(limits, on));
    }
    text.push_str(&exposure(handbook, symbol));
    text.push_str(&errata(handbook, symbol, &mut citations));
    text.push_str(&citations.list());
    text.push('\n');
    text.push_str(&cautions(handbook, symbol));
    text
}

fn flames(element: &Element, citations: &mut Citations) -> String {
    if element.flame.is_empty() {
        return String::new();
    }
    let mut table = Table::new().words("flame").words("mixture").words("printed in");
    for row in &element.flame {
        let cited = citations.cite(&row.source, &row.locator, row.provenance);
        table.row(vec![row.flame.clone(), row.stoichiometry.clone(), cited]);
    }
    below("Flame", &table)
}

fn programmes(handbook: &Handbook, symbol: &str, citations: &mut Citations) -> String {
    let rows: Vec<(&Programme, &ProgrammeRow)> = handbook.programmes_of(symbol).collect();
    if rows.is_empty() {
        return String::new();
    }
    let mut table = Table::new()
        .figures("line", "nm")
        .figures("bandpass", "nm")
        .figures("pyrolysis", "°C")
        .figures("atomisation", "°C")
        .words("printed in, with");
    for (programme, row) in rows {
        let mut last = citations.cite(&programme.source, &programme.locator, programme.provenance);
        let more = [
            row.method.as_ref().map(|method| format!("method {method}")),
            row.tube.as_ref().map(|tube| format!("tube: {tube}")),
            programme.modifier.as_ref().map(|modifier| format!("modifier: {modifier}")),
            programme.sample_volume_ul.map(|volume| format!("{volume} µL")),
            row.method_detection_limit_ug_l.map(|limit| format!("method detection limit {limit} µg/L")),
            row.characteristic_mass_pg.map(|mass| format!("characteristic mass {mass} pg")),
            row.optimum_range_ug_l.map(|[low, high]| format!("range {low} µg/L to {high} µg/L")),
        ];
        for part in more.into_iter().flatten() {
            last.push_str(&format!("; {part}"));
        }
        table.row(vec![
            optional(row.wavelength_nm),
            optional(row.bandpass_nm),
            optional(row.pyrolysis_degc),
            optional(row.atomisation_degc),
            micro(&last),
        ]);
    }
    below("Furnace", &table)
}

fn modifiers(element: &Element, citations: &mut Citations) -> String {
    if element.modifier.is_empty() {
        return String::new();
    }
    let mut text = "Modifiers\n".to_owned();
    for row in &element.modifier {
        let amount = row.amount.as_ref().map_or(String::new(), |amount| format!(", {}", micro(amount)));
        let cited = citations.cite(&row.source, &row.locator, row.provenance);
        text.push_str(&hanging("", &format!("{}{amount} {cited}", micro(&row.modifier))));
    }
    text + "\n"
}

fn interferences(element: &Element, citations: &mut Citations) -> String {
    if element.interference.is_empty() {
        return String::new();
    }
    let mut text = "Interferences\n".to_owned();
    for row in &element.interference {
        let cited = citations.cite(&row.source, &row.locator, row.provenance);
        let kind = row.kind.replace('_', ", ");
        let told =
            format!("{} ({kind}): {}: {}. Remedy: {}. {cited}", row.technique, row.interferent, row.effect, row.remedy);
        text.push_str(&hanging("", &micro(&told)));
    }
    text + "\n"
}

fn printed_figures(element: &Element, citations: &mut Citations) -> String {
    let mut techniques: Vec<&str> = Vec::new();
    for row in &element.figures {
        if !techniques.contains(&row.technique.as_str()) {
            techniques.push(&row.technique);
        }
    }
    let mut text = String::new();
    for technique in techniques {
        let mut rows: Vec<&Figure> = element.figures.iter().filter(|row| row.technique == technique).collect();
        // Figures of one quantity stand beside one another.
        rows.sort_by_key(|row| element.figures.iter().position(|first| first.quantity == row.quantity));
        let mut table = Table::new().words("").figures("", "").words("").words("");
        for row in &rows {
            if rows.iter().any(|other| is_upper_end(other, row)) {
                continue;
            }
            let mut last = citations.cite(&row.source, &row.locator, row.provenance);
            let more = [row.wavelength_nm.map(|nm| format!("at {nm} nm")), row.mode.clone(), row.note.clone()];
            for part in more.into_iter().flatten() {
                last.push_str(&format!("; {part}"));
            }
            let unit = row.unit_symbol();
            let (quantity, unit) = match rows.iter().find(|other| is_upper_end(row, other)) {
                Some(upper) => ("optimum range".to_owned(), format!("to {} {unit}", figure(upper.value))),
                None => (row.quantity_words(), unit.to_owned()),
            };
            table.row(vec![quantity, figure(row.value), unit, micro(&last)]);
        }
        text.push_str(&format!("Printed figures, {technique}\n{}\n", without_heads(&table, 2)));
    }
    if !text.is_empty() {
        text.push_str(&hanging(
            "",
            "Each figure belongs to the line, flame and hardware of its source; none is a specification.",
        ));
        text.push('\n');
    }
    text
}

/// The rows of a table whose heads are empty.
fn without_heads(table: &Table, indent: usize) -> String {
    table.text().lines().skip(1).map(|line| format!("{}{line}\n", " ".repeat(indent))).collect()
}

/// Whether two figures are the ends of one printed range.
fn is_upper_end(low: &Figure, high: &Figure) -> bool {
    low.quantity == "optimum_range_low"
        && high.quantity == "optimum_range_high"
        && (&low.source, &low.locator, &low.technique, &low.unit)
            == (&high.source, &high.locator, &high.technique, &high.unit)
        && low.wavelength_nm == high.wavelength_nm
}

fn splittings(handbook: &Handbook, symbol: &str) -> String {
    let mut table = Table::new()
        .figures("line", "nm")
        .words("splitting")
        .figures("σ shift at 0.8 T", "pm")
        .figures("π spread", "pm")
        .figures("Doppler width, 2500 K", "pm")
        .words("terms");
    let mut any = false;
    for row in handbook.splittings().iter().filter(|row| row.symbol == symbol) {
        any = true;
        table.row(vec![
            figure(row.wavelength_nm),
            row.splitting.clone(),
            format!("{:.2}", row.sigma_mean_shift_pm_at_0_8_t),
            format!("{:.2}", row.pi_rms_shift_pm_at_0_8_t),
            format!("{:.2}", row.doppler_fwhm_pm_at_2500_k),
            format!("{} to {}, {}", row.lower_term, row.upper_term, row.provenance.words()),
        ]);
    }
    if any { below("In a magnetic field (LS coupling, hyperfine structure left out)", &table) } else { String::new() }
}

fn stocks(handbook: &Handbook, symbol: &str, citations: &mut Citations) -> String {
    let rows: Vec<&Stock> = handbook.stocks().iter().filter(|stock| stock.symbol == symbol).collect();
    if rows.is_empty() {
        return String::new();
    }
    let mut table = Table::new()
        .words("weigh")
        .figures("mass", "g")
        .figures("fill up to", "L")
        .figures("gives", "mg/L")
        .words("dissolve in; printed in");
    for stock in rows {
        let cited = citations.cite(&stock.source, &stock.locator, stock.provenance);
        table.row(vec![
            stock.compound.clone(),
            figure(stock.printed_mass_g),
            figure(stock.final_volume_l),
            format!("{:.1}", stock.mass_concentration_mg_l()),
            format!("{}; {cited}", stock.solvent),
        ]);
    }
    below("Stock solutions", &table)
}

/// Limits alone.
pub fn limits(limits: &[&Limit], on: Date) -> String {
    limits_below(limits, on).trim_end().to_owned() + "\n"
}

fn limits_below(limits: &[&Limit], on: Date) -> String {
    let (now, then): (Vec<&Limit>, Vec<&Limit>) = limits.iter().partition(|limit| limit.in_force(on) == InForce::Yes);
    let mut text = String::new();
    if !now.is_empty() {
        text.push_str(&format!("Limits in force on {on}: read the regulation for its exact scope\n"));
        text.push_str(&limits_by_regulation(&now, on));
    }
    if !then.is_empty() {
        text.push_str(&format!("Not in force on {on}\n"));
        text.push_str(&limits_by_regulation(&then, on));
    }
    text
}

fn limits_by_regulation(limits: &[&Limit], on: Date) -> String {
    let mut regulations: Vec<(&str, &str)> = Vec::new();
    for limit in limits {
        let heading = (limit.source.as_str(), limit.kind.as_str());
        if !regulations.contains(&heading) {
            regulations.push(heading);
        }
    }
    let mut text = String::new();
    for (source, kind) in regulations {
        let of_it = || {
            limits.iter().copied().filter(move |limit| (limit.source.as_str(), limit.kind.as_str()) == (source, kind))
        };
        let all_from_memory = of_it().all(|limit| limit.provenance == Provenance::Memory);
        let memory = if all_from_memory { ", from memory" } else { "" };
        text.push_str(&hanging("", &format!("{source}: {kind}{memory}")));
        let mut table = Table::new().words("").figures("", "").words("").words("");
        for limit in of_it() {
            let mut last = limit.matrix.clone();
            last.push_str(&limit.species.as_ref().map_or(String::new(), |species| format!(", as {species}")));
            last.push_str(&format!("; {}", place_in(limit)));
            last.push_str(&match limit.in_force(on) {
                InForce::Yes => String::new(),
                InForce::From(day) => format!("; from {day}"),
                InForce::Until(day) => format!("; until {day}"),
            });
            let unsure = limit.provenance != Provenance::Verified && !all_from_memory;
            let more = [
                limit.designation.clone(),
                limit.note.clone(),
                limit.u_max_percent.map(|percent| format!("U at the limit at most {percent} %")),
                unsure.then(|| limit.provenance.words().to_owned()),
                (limit.seen == "secondary transcription").then(|| "seen in a transcription only".to_owned()),
            ];
            for part in more.into_iter().flatten() {
                last.push_str(&format!("; {part}"));
            }
            table.row(vec![limit.element.clone(), limit.value.clone(), limit.unit.clone(), last]);
        }
        text.push_str(&without_heads(&table, 4));
        text.push('\n');
    }
    text
}

/// The place in the regulation, without its name before it.
fn place_in(limit: &Limit) -> &str {
    let short = limit.source.split(',').next().unwrap_or("");
    limit.clause.strip_prefix(short).map_or(limit.clause.as_str(), |rest| rest.trim_start_matches([',', ' ']))
}

fn exposure(handbook: &Handbook, symbol: &str) -> String {
    let Some(row) = handbook.exposures().iter().find(|row| row.element == symbol) else { return String::new() };
    let mut table = Table::new()
        .words("class")
        .figures("by mouth", "µg/day")
        .figures("by injection", "µg/day")
        .figures("by breathing", "µg/day")
        .figures("through the skin", "µg/day")
        .words("printed in");
    table.row(vec![
        row.class.clone(),
        figure(row.oral),
        figure(row.parenteral),
        figure(row.inhalation),
        figure(row.cutaneous),
        format!("ICH Q3D(R2), 2022; {}", row.seen),
    ]);
    below("Permitted daily exposure from drug products", &table)
}

fn errata(handbook: &Handbook, symbol: &str, citations: &mut Citations) -> String {
    let mut text = String::new();
    for erratum in handbook.errata_of(symbol) {
        let cited = citations.cite(&erratum.source, &erratum.locator, Provenance::Verified);
        let told = format!("{cited} prints {}; used here: {} ({})", erratum.printed, erratum.used, erratum.reason);
        text.push_str(&hanging("", &told));
    }
    if text.is_empty() { text } else { format!("Misprints\n{text}\n") }
}

/// The cautions that name an element, the worst first.
pub fn cautions_of<'a>(handbook: &'a Handbook, symbol: &str) -> Vec<&'a Caution> {
    let all = &handbook.cautions().cautions;
    let mut found: Vec<&Caution> =
        all.iter().filter(|caution| caution.applies.element.iter().any(|one| one == symbol)).collect();
    found.sort_by_key(|caution| caution.severity);
    found
}

fn cautions(handbook: &Handbook, symbol: &str) -> String {
    let mut text = "Cautions\n".to_owned();
    for caution in cautions_of(handbook, symbol) {
        let head = format!("{}: ", caution.severity.word());
        text.push_str(&hanging(&head, &format!("{} ({})", caution.caution, caution.source)));
    }
    text + &hanging("", &handbook.cautions().general.short_form)
}

/// The micro sign where the tables write a plain u.
fn micro(text: &str) -> String {
    let words = text.split(' ').map(|word| match word.strip_prefix('u') {
        Some(unit @ ("g" | "L" | "g/L" | "L," | "g," | "L;" | "g;" | "g/L;" | "g/L,")) => format!("µ{unit}"),
        _ => word.to_owned(),
    });
    words.collect::<Vec<_>>().join(" ")
}
