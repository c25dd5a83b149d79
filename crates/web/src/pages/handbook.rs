//! The handbook, the rules, and the keys: what is known, for reading.

use darkline_handbook::Handbook;
use darkline_quality::rules::FIRST;
use maud::html;

use crate::answer::{Answer, Refused};
use crate::asked::{Asked, escape};
use crate::desk::Desk;
use crate::page::{Fact, Page};
use crate::prose;
use crate::sheet::{Cell, Sheet};

/// All elements.
pub(crate) fn elements(_: &Desk, _: &Asked) -> Result<Answer, Refused> {
    let mut page = Page::new("Handbook");
    let mut sheet = Sheet::new("elements", "Elements, with the line most sensitive")
        .words("symbol", "symbol")
        .words("name", "element")
        .figures("atomic_number", "atomic number", "")
        .figures("line", "line", "nm");
    for element in Handbook::shipped().elements() {
        let line = element.primary_line().label_nm;
        sheet.row(vec![
            Cell::text(element.symbol.as_str()).linked(format!("/handbook/{}", escape(&element.symbol))),
            Cell::text(element.name.as_str()),
            Cell::count(element.atomic_number),
            Cell::figure(line, format!("{line:.1}")),
        ]);
    }
    page.sheet(sheet);
    Ok(page.into())
}

/// One element.
pub(crate) fn element(_: &Desk, asked: &Asked) -> Result<Answer, Refused> {
    let handbook = Handbook::shipped();
    let element = handbook.element(asked.part(0)).map_err(|unknown| Refused::no_page(unknown.to_string()))?;
    let mut page = Page::new(format!("{} ({})", element.name, element.symbol)).under("Handbook", "/handbook");
    page.facts(vec![
        Fact::new("atomic_number", "atomic number", element.atomic_number.to_string()),
        Fact::new("atomic_weight", "atomic weight", element.atomic_weight_printed.as_str()),
        Fact::new("cas", "CAS number", element.cas.as_str()),
    ]);
    let mut lines = Sheet::new("lines", "Lines").figures("line", "line", "nm").words("source", "source");
    for line in &element.line {
        lines.row(vec![
            Cell::figure(line.wavelength_air_nm, format!("{:.2}", line.wavelength_air_nm)),
            Cell::text(line.source.as_str()),
        ]);
    }
    page.sheet(lines);
    let mut programmes = Sheet::new("programmes", "Furnace programmes")
        .words("programme", "programme")
        .words("modifier", "modifier")
        .words("source", "source")
        .words("locator", "where");
    for (programme, _) in handbook.programmes_of(&element.symbol) {
        programmes.row(vec![
            Cell::text(programme.id.as_str()),
            Cell::text(programme.modifier.as_deref().unwrap_or_default()),
            Cell::text(programme.source.as_str()),
            Cell::text(programme.locator.as_str()),
        ]);
    }
    page.sheet(programmes);
    page.words(html! {
        p.hint { "All of it, with temperatures, neighbours, limits and cautions: " code { "darkline handbook " (element.symbol) } }
    });
    Ok(page.into())
}

/// All rules.
pub(crate) fn rules(_: &Desk, _: &Asked) -> Result<Answer, Refused> {
    let mut page = Page::new("Rules");
    let mut sheet =
        Sheet::new("rules", "Rules that look at a run").words("name", "rule").words("source", "source").in_order();
    for rule in FIRST {
        sheet.row(vec![Cell::text(rule.name), Cell::text(rule.source)]);
    }
    page.parts.push(crate::page::Part::Beside(sheet));
    let text = include_str!("../../../../docs/reference/rules.md");
    // The page has its own head.
    let (_, text) = text.split_once('\n').unwrap_or(("", text));
    page.words(prose::shown(text));
    Ok(page.into())
}

/// The single-letter keys.
pub(crate) fn keys(_: &Desk, _: &Asked) -> Result<Answer, Refused> {
    let mut page = Page::new("Keys");
    let mut sheet = Sheet::new("keys", "Single-letter keys; none of them signs or decides anything")
        .words("key", "key")
        .words("does", "what it does")
        .in_order();
    for (key, does) in [
        ("/", "to the field that finds and scans"),
        ("t", "Today"),
        ("o", "Orders"),
        ("q", "Quality"),
        ("a", "Audit trail"),
        ("h", "Handbook"),
        ("n", "to the next flag that stops the report"),
        ("?", "this page"),
    ] {
        sheet.row(vec![Cell::text(key), Cell::text(does)]);
    }
    page.sheet(sheet);
    page.words(html! {
        p { "Everything is reached with " kbd { "Tab" } " and done with " kbd { "Enter" } " besides. In a field, letters are letters." }
        p { button type="button" id="keys-off" hidden { "Switch single-letter keys off" } }
    });
    Ok(page.into())
}
