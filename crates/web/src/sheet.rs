//! A table of a page: written once, shown as HTML, JSON and CSV.
//!
//! A figure carries its value and the text that people read; programs get the value, to the last digit.

use maud::{Markup, html};
use serde_json::{Map, Value, json};

use crate::asked::{Fields, escape};

/// A column.
#[derive(Clone, Debug)]
pub(crate) struct Column {
    key: &'static str,
    head: String,
    unit: String,
    is_figure: bool,
}

/// What stands in a cell.
#[derive(Clone, Debug, PartialEq)]
enum Datum {
    Nothing,
    Text(String),
    Figure { value: f64, shown: String },
    Count(u64),
}

/// A cell.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Cell {
    datum: Datum,
    link: Option<String>,
    status: Option<Mark>,
}

/// How a status is marked, beside its word.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Mark {
    /// Stops the report.
    Stops,
    /// In order.
    InOrder,
    /// Rejected.
    Rejected,
    /// Neither.
    Plain,
}

impl Mark {
    /// Shape and class: word first, shape second, colour third.
    pub(crate) fn shape(self) -> (&'static str, &'static str) {
        match self {
            Mark::Stops => ("▲", "stops"),
            Mark::InOrder => ("●", "in-order"),
            Mark::Rejected => ("×", "rejected"),
            Mark::Plain => ("", "plain"),
        }
    }
}

/// A status as a tag: a word with its shape.
pub(crate) fn tag(mark: Mark, words: &str) -> Markup {
    let (shape, class) = mark.shape();
    html! {
        span.tag.(class) {
            @if !shape.is_empty() { span.shape aria-hidden="true" { (shape) } " " }
            (words)
        }
    }
}

impl Cell {
    fn of(datum: Datum) -> Self {
        Self { datum, link: None, status: None }
    }
    /// Nothing: an empty cell, never a zero.
    pub(crate) fn nothing() -> Self {
        Self::of(Datum::Nothing)
    }
    /// A text.
    pub(crate) fn text(text: impl Into<String>) -> Self {
        let text = text.into();
        Self::of(if text.is_empty() { Datum::Nothing } else { Datum::Text(text) })
    }
    /// A figure as it is read, with its value.
    pub(crate) fn figure(value: f64, shown: impl Into<String>) -> Self {
        Self::of(Datum::Figure { value, shown: shown.into() })
    }
    /// A figure where there is one.
    pub(crate) fn maybe(value: Option<f64>, shown: impl Fn(f64) -> String) -> Self {
        value.map_or_else(Self::nothing, |value| Self::figure(value, shown(value)))
    }
    /// A count.
    pub(crate) fn count(count: impl TryInto<u64>) -> Self {
        count.try_into().map_or_else(|_| Self::nothing(), |count| Self::of(Datum::Count(count)))
    }
    /// A status.
    pub(crate) fn status(mark: Mark, words: impl Into<String>) -> Self {
        Self { status: Some(mark), ..Self::text(words) }
    }
    /// The same, leading to another page.
    pub(crate) fn linked(self, to: impl Into<String>) -> Self {
        Self { link: Some(to.into()), ..self }
    }

    fn shown(&self) -> String {
        match &self.datum {
            Datum::Nothing => String::new(),
            Datum::Text(text) => text.clone(),
            Datum::Figure { shown, .. } => shown.replace('-', "−"),
            Datum::Count(count) => count.to_string(),
        }
    }

    fn json(&self) -> Value {
        match &self.datum {
            Datum::Nothing => Value::Null,
            Datum::Text(text) => json!(text),
            Datum::Figure { value, .. } => json!(value),
            Datum::Count(count) => json!(count),
        }
    }

    fn csv(&self) -> String {
        match &self.datum {
            Datum::Nothing => String::new(),
            Datum::Text(text) => unarmed(text),
            Datum::Figure { value, .. } => value.to_string(),
            Datum::Count(count) => count.to_string(),
        }
    }
}

/// A text that a spreadsheet takes as text: what would begin a formula gets an apostrophe before it.
///
/// Source: `reference/records/README.md`, pack of sign-in, item csv-injection.
fn unarmed(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r', '\0']) { format!("'{text}") } else { text.to_owned() }
}

/// A table.
#[derive(Clone, Debug)]
pub(crate) struct Sheet {
    /// What it is called in an address and for programs.
    pub(crate) name: &'static str,
    caption: String,
    columns: Vec<Column>,
    rows: Vec<(Option<String>, Vec<Cell>)>,
    empty: &'static str,
    is_sortable: bool,
    of_all: Option<usize>,
}

impl Sheet {
    /// A table without columns yet.
    pub(crate) fn new(name: &'static str, caption: impl Into<String>) -> Self {
        Self {
            name,
            caption: caption.into(),
            columns: Vec::new(),
            rows: Vec::new(),
            empty: "Nothing yet.",
            is_sortable: true,
            of_all: None,
        }
    }
    /// Adds a column of words.
    pub(crate) fn words(mut self, key: &'static str, head: impl Into<String>) -> Self {
        self.columns.push(Column { key, head: head.into(), unit: String::new(), is_figure: false });
        self
    }
    /// Adds a column of figures; the unit is empty or "1" for pure numbers.
    pub(crate) fn figures(mut self, key: &'static str, head: impl Into<String>, unit: &str) -> Self {
        let unit = if unit == "1" { String::new() } else { unit.to_owned() };
        self.columns.push(Column { key, head: head.into(), unit, is_figure: true });
        self
    }
    /// What is said where there is no row.
    pub(crate) fn or_else_say(mut self, empty: &'static str) -> Self {
        self.empty = empty;
        self
    }
    /// Keeps the order in which rows were added.
    pub(crate) fn in_order(mut self) -> Self {
        self.is_sortable = false;
        self
    }
    /// Says how many rows there are in all, where only some are shown.
    pub(crate) fn of_all(mut self, n: usize) -> Self {
        self.of_all = Some(n);
        self
    }
    /// Adds a row.
    pub(crate) fn row(&mut self, cells: Vec<Cell>) {
        self.rows.push((None, cells));
    }
    /// Adds a row that an address can name.
    pub(crate) fn row_named(&mut self, id: String, cells: Vec<Cell>) {
        self.rows.push((Some(id), cells));
    }
    /// How many rows there are.
    pub(crate) fn len(&self) -> usize {
        self.rows.len()
    }

    fn sorted(&self, query: &Fields) -> Vec<&(Option<String>, Vec<Cell>)> {
        let mut rows: Vec<_> = self.rows.iter().collect();
        let asked = query.get(&format!("sort-{}", self.name));
        let (key, falls) = asked.strip_prefix('-').map_or((asked, false), |key| (key, true));
        if let Some(place) = self.columns.iter().position(|column| column.key == key).filter(|_| self.is_sortable) {
            let cell = |row: &(Option<String>, Vec<Cell>)| row.1.get(place).map(|cell| (key_of(cell), cell.shown()));
            rows.sort_by(|one, other| {
                let (one, other) = (cell(one), cell(other));
                one.partial_cmp(&other).unwrap_or(std::cmp::Ordering::Equal)
            });
            if falls {
                rows.reverse();
            }
        }
        rows
    }

    /// The rows alone, as HTML, from a place on.
    pub(crate) fn rows_html(&self, from: usize) -> Markup {
        let decimals = self.decimals();
        html! { @for row in self.rows.iter().skip(from) { (self.row_html(row, &decimals)) } }
    }

    fn decimals(&self) -> Vec<usize> {
        let in_column = |place: usize| {
            self.rows.iter().filter_map(|(_, cells)| cells.get(place)).map(|cell| decimals_of(&cell.shown())).max()
        };
        (0..self.columns.len()).map(|place| in_column(place).unwrap_or(0)).collect()
    }

    fn row_html(&self, (id, cells): &(Option<String>, Vec<Cell>), decimals: &[usize]) -> Markup {
        let content = |place: usize, cell: &Cell| {
            let is_figure = self.columns.get(place).is_some_and(|column| column.is_figure);
            let shown = cell.shown();
            let filler = if is_figure { filler(&shown, decimals[place]) } else { String::new() };
            html! {
                @match (&cell.link, cell.status) {
                    (_, Some(mark)) if !shown.is_empty() => (tag(mark, &shown)),
                    (Some(link), _) if !shown.is_empty() => a href=(link) { (shown) },
                    _ => (shown),
                }
                @if !filler.is_empty() { span.filler aria-hidden="true" { (filler) } }
            }
        };
        html! {
            tr id=[id.as_deref()] {
                @for (place, cell) in cells.iter().enumerate() {
                    @let class = if self.columns.get(place).is_some_and(|column| column.is_figure) { Some("figure") } else { None };
                    @if place == 0 { th scope="row" class=[class] { (content(place, cell)) } }
                    @else { td class=[class] { (content(place, cell)) } }
                }
            }
        }
    }

    /// The table as HTML.
    ///
    /// # Arguments
    /// * `path`: the page's own address, for the links that sort and the twins.
    pub(crate) fn html(&self, path: &str, query: &Fields) -> Markup {
        let decimals = self.decimals();
        let id = format!("table-{}", self.name);
        let sorts = format!("sort-{}", self.name);
        let head = |column: &Column| {
            html! { (column.head) @if !column.unit.is_empty() { span.unit { (column.unit) } } }
        };
        let asked = query.get(&sorts);
        html! {
            div.scrolls tabindex="0" role="region" aria-labelledby=(format!("{id}-caption")) {
                table id=(id) {
                    caption id=(format!("{id}-caption")) {
                        (self.caption)
                        span.count {
                            @match self.of_all {
                                Some(all) if all != self.len() => { (self.len()) " of " (all) " rows" },
                                _ => { (self.len()) @if self.len() == 1 { " row" } @else { " rows" } },
                            }
                        }
                    }
                    thead {
                        tr {
                            @for column in &self.columns {
                                @let rises = asked == column.key;
                                @let falls = asked.strip_prefix('-') == Some(column.key);
                                @let order = if rises { Some("ascending") } else if falls { Some("descending") } else { None };
                                @let to = if rises { format!("-{}", column.key) } else { column.key.to_owned() };
                                th scope="col" class=[column.is_figure.then_some("figure")] aria-sort=[order] {
                                    @if self.is_sortable && self.len() > 1 && !column.head.is_empty() {
                                        a.sorts href=(format!("{path}?{sorts}={}#{id}", escape(&to))) { (head(column)) }
                                    } @else { (head(column)) }
                                }
                            }
                        }
                    }
                    tbody {
                        @for row in self.sorted(query) { (self.row_html(row, &decimals)) }
                    }
                }
                @if self.rows.is_empty() { p.nothing { (self.empty) } }
            }
        }
    }

    /// The table for programs.
    pub(crate) fn json(&self) -> Value {
        let columns: Vec<Value> = self
            .columns
            .iter()
            .map(|column| json!({ "key": column.key, "head": column.head, "unit": column.unit }))
            .collect();
        let rows: Vec<Value> = self
            .rows
            .iter()
            .map(|(_, cells)| {
                let members = self.columns.iter().zip(cells).map(|(column, cell)| (column.key.to_owned(), cell.json()));
                Value::Object(members.collect::<Map<_, _>>())
            })
            .collect();
        json!({ "caption": self.caption, "columns": columns, "rows": rows, "rows_in_all": self.of_all.unwrap_or(self.len()) })
    }

    /// The table for a spreadsheet: RFC 4180.
    pub(crate) fn csv(&self) -> String {
        let head: Vec<String> = self
            .columns
            .iter()
            .map(|column| {
                if column.unit.is_empty() { column.key.to_owned() } else { format!("{} ({})", column.key, column.unit) }
            })
            .collect();
        let head: Vec<&str> = head.iter().map(String::as_str).collect();
        let rows: Vec<Vec<String>> = self.rows.iter().map(|(_, cells)| cells.iter().map(Cell::csv).collect()).collect();
        darkline_exchange::results::write(&head, &rows)
    }
}

/// Figures before words, words by their letters.
fn key_of(cell: &Cell) -> (u8, f64) {
    match &cell.datum {
        Datum::Nothing => (2, 0.0),
        Datum::Text(_) => (1, 0.0),
        Datum::Figure { value, .. } => (0, *value),
        #[expect(clippy::cast_precision_loss, reason = "a place in an order")]
        Datum::Count(count) => (0, *count as f64),
    }
}

fn decimals_of(shown: &str) -> usize {
    shown.split_once('.').map_or(0, |(_, decimals)| decimals.chars().take_while(char::is_ascii_digit).count())
}

/// Blanks as wide as the decimals that a figure has less than the others of its column, so that points stand under one another.
fn filler(shown: &str, most: usize) -> String {
    let own = decimals_of(shown);
    if shown.is_empty() || own >= most {
        return String::new();
    }
    let point = if own == 0 { "\u{2008}" } else { "" };
    format!("{point}{}", "\u{2007}".repeat(most - own))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet() -> Sheet {
        let mut sheet =
            Sheet::new("results", "Results").words("sample", "sample").figures("value", "mass fraction", "mg/kg");
        sheet.row(vec![Cell::text("=1+1"), Cell::figure(-0.003, "-0.003")]);
        sheet.row(vec![Cell::text("<script>, \"x\""), Cell::figure(1.5, "1.5")]);
        sheet.row(vec![Cell::text("S03"), Cell::nothing()]);
        sheet
    }

    #[test]
    fn a_formula_is_text_for_a_spreadsheet_and_a_negative_figure_stays_one() {
        let csv = sheet().csv();
        let lines: Vec<&str> = csv.lines().collect();
        assert_eq!(lines[0], "sample,value (mg/kg)");
        assert_eq!(lines[1], "'=1+1,-0.003");
        assert_eq!(lines[2], "\"<script>, \"\"x\"\"\",1.5");
        assert_eq!(lines[3], "S03,");
    }

    #[test]
    fn names_are_text_and_points_stand_under_one_another() {
        let html = sheet().html("/x", &Fields::default()).into_string();
        assert!(!html.contains("<script>") && html.contains("&lt;script&gt;"));
        assert!(html.contains("1.5<span class=\"filler\" aria-hidden=\"true\">\u{2007}\u{2007}</span>"), "{html}");
        assert!(html.contains("−0.003"));
    }

    #[test]
    fn rows_sort_by_value_and_what_is_missing_comes_last() {
        let order = |asked: &str| {
            let query = Fields::read(asked);
            let sheet = sheet();
            sheet.sorted(&query).iter().map(|row| row.1[0].shown().chars().next().unwrap()).collect::<String>()
        };
        assert_eq!([order(""), order("sort-results=value"), order("sort-results=-value")], ["=<S", "=<S", "S<="]);
        assert_eq!(order("sort-results=none"), "=<S");
    }

    #[test]
    fn programs_get_the_value_and_not_its_rounding() {
        let json = sheet().json();
        assert_eq!(json["rows"][0]["value"], -0.003);
        assert!(json["rows"][2]["value"].is_null());
    }
}
