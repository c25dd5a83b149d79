//! A page before it is shown: its parts in order, from which people get HTML and programs JSON or CSV.

use darkline_report::figure::Figure;
use maud::Markup;
use serde_json::{Map, Value, json};

use crate::form::{Fault, Form};
use crate::sheet::Sheet;

/// A part of a page.
#[derive(Clone, Debug)]
pub(crate) enum Part {
    /// A heading.
    Heading(String),
    /// Words with links, for people alone.
    Words(Markup),
    /// Facts by name.
    Facts(Vec<Fact>),
    /// A table.
    Sheet(Sheet),
    /// A table for programs alone, where people see it in another form.
    Beside(Sheet),
    /// A drawing.
    Figure(Figure),
    /// A form.
    Form(Form),
    /// Forms that open at a touch: what stands on it, and what is behind.
    Opens(String, Vec<Part>),
}

/// A fact.
#[derive(Clone, Debug)]
pub(crate) struct Fact {
    key: &'static str,
    name: String,
    says: String,
    link: Option<String>,
}

impl Fact {
    /// A fact.
    pub(crate) fn new(key: &'static str, name: impl Into<String>, says: impl Into<String>) -> Self {
        Self { key, name: name.into(), says: says.into(), link: None }
    }
    /// The same, leading to another page.
    pub(crate) fn linked(mut self, to: impl Into<String>) -> Self {
        self.link = Some(to.into());
        self
    }
    /// Name, words and link.
    pub(crate) fn shown(&self) -> (&str, &str, Option<&str>) {
        (&self.name, &self.says, self.link.as_deref())
    }
}

/// A page.
#[derive(Clone, Debug, Default)]
pub(crate) struct Page {
    /// What it is called.
    pub(crate) title: String,
    /// Where it stands: words and addresses from the start page on.
    pub(crate) trail: Vec<(String, String)>,
    /// Its parts in order.
    pub(crate) parts: Vec<Part>,
    /// What needs another look.
    pub(crate) faults: Vec<Fault>,
    /// What was done just now.
    pub(crate) done: Option<String>,
    /// What stands at its foot on paper.
    pub(crate) foot: String,
    /// Whether it keeps itself up to date.
    pub(crate) is_live: bool,
}

impl Page {
    /// A page without parts yet.
    pub(crate) fn new(title: impl Into<String>) -> Self {
        Self { title: title.into(), ..Self::default() }
    }
    /// Where it stands.
    pub(crate) fn under(mut self, words: impl Into<String>, address: impl Into<String>) -> Self {
        self.trail.push((words.into(), address.into()));
        self
    }
    /// Adds a heading.
    pub(crate) fn heading(&mut self, words: impl Into<String>) {
        self.parts.push(Part::Heading(words.into()));
    }
    /// Adds words.
    pub(crate) fn words(&mut self, words: Markup) {
        self.parts.push(Part::Words(words));
    }
    /// Adds facts.
    pub(crate) fn facts(&mut self, facts: Vec<Fact>) {
        self.parts.push(Part::Facts(facts));
    }
    /// Adds a table.
    pub(crate) fn sheet(&mut self, sheet: Sheet) {
        self.parts.push(Part::Sheet(sheet));
    }
    /// Adds a drawing.
    pub(crate) fn figure(&mut self, figure: Figure) {
        self.parts.push(Part::Figure(figure));
    }
    /// Adds a form.
    pub(crate) fn form(&mut self, form: Form) {
        self.parts.push(Part::Form(form));
    }

    fn every(parts: &[Part]) -> Vec<&Part> {
        parts
            .iter()
            .flat_map(|part| match part {
                Part::Opens(_, inner) => Self::every(inner),
                part => vec![part],
            })
            .collect()
    }

    /// The tables of a page.
    pub(crate) fn sheets(&self) -> Vec<&Sheet> {
        let every = Self::every(&self.parts).into_iter();
        let found = every.filter_map(|part| match part {
            Part::Sheet(sheet) | Part::Beside(sheet) => Some(sheet),
            _ => None,
        });
        found.collect()
    }

    /// The page for programs: facts, tables, and what is to be seen in the drawings.
    pub(crate) fn json(&self) -> Value {
        let (mut facts, mut tables, mut figures) = (Map::new(), Map::new(), Vec::new());
        for part in Self::every(&self.parts) {
            match part {
                Part::Facts(found) => facts.extend(found.iter().map(|fact| (fact.key.to_owned(), json!(fact.says)))),
                Part::Sheet(sheet) | Part::Beside(sheet) => {
                    tables.insert(sheet.name.to_owned(), sheet.json());
                }
                Part::Figure(figure) => {
                    figures.push(json!({ "title": figure.title, "description": figure.description }));
                }
                Part::Heading(_) | Part::Words(_) | Part::Form(_) | Part::Opens(..) => {}
            }
        }
        json!({
            "schema": "darkline/page/1",
            "title": self.title,
            "facts": facts,
            "tables": tables,
            "figures": figures,
        })
    }

    /// A table of the page for a spreadsheet: the one named, or the first; a page without tables gives its facts.
    pub(crate) fn csv(&self, named: &str) -> String {
        let sheets = self.sheets();
        let found = sheets.iter().find(|sheet| sheet.name == named).or(sheets.first());
        found.map_or_else(
            || {
                let facts = Self::every(&self.parts).into_iter().flat_map(|part| match part {
                    Part::Facts(facts) => facts.clone(),
                    _ => Vec::new(),
                });
                let rows: Vec<Vec<String>> = facts.map(|fact| vec![fact.key.to_owned(), fact.says.clone()]).collect();
                darkline_exchange::results::write(&["fact", "says"], &rows)
            },
            |sheet| sheet.csv(),
        )
    }
}
