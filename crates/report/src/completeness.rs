//! The items every test report must carry, and which of them a report lacks.
//!
//! Items a and l stand in the layout itself and cannot be taken out; c and p are printed when they apply; n prints "none".

use crate::test_report::{Finding, Sampling, TestReport, Uncertainty};

/// One of the sixteen items a to p.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReportItem {
    /// Its letter.
    pub letter: char,
    /// What it asks for.
    pub text: &'static str,
}

/// The items a to p, in our own words.
///
/// # Source
/// ISO/IEC 17025:2017, 7.8.2.1.
pub const REPORT_ITEMS: [ReportItem; 16] = [
    ReportItem { letter: 'a', text: "title" },
    ReportItem { letter: 'b', text: "name and address of the laboratory" },
    ReportItem { letter: 'c', text: "place where the work was done, if elsewhere also" },
    ReportItem {
        letter: 'd',
        text: "unique identification that makes all parts recognisable as one report, and a clear end",
    },
    ReportItem { letter: 'e', text: "name and contact of the customer" },
    ReportItem { letter: 'f', text: "identification of the method" },
    ReportItem {
        letter: 'g',
        text: "description, unambiguous identification and, when necessary, condition of the item",
    },
    ReportItem { letter: 'h', text: "date of receipt, and date of sampling where it is critical" },
    ReportItem { letter: 'i', text: "date(s) of the laboratory activity" },
    ReportItem { letter: 'j', text: "date of issue" },
    ReportItem { letter: 'k', text: "sampling plan and method where relevant" },
    ReportItem { letter: 'l', text: "statement that the results relate only to the items tested" },
    ReportItem { letter: 'm', text: "results with units" },
    ReportItem { letter: 'n', text: "additions to, deviations or exclusions from the method" },
    ReportItem { letter: 'o', text: "person(s) authorising the report" },
    ReportItem { letter: 'p', text: "results from external providers clearly marked" },
];

/// An item the report lacks, and where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MissingItem {
    /// The item.
    pub item: ReportItem,
    /// What is not there, like `the unit of cadmium in well-04`.
    pub what: String,
}

impl std::fmt::Display for MissingItem {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(formatter, "item {}, {}: {}", self.item.letter, self.item.text, self.what)
    }
}

impl TestReport {
    /// The items a to p this report lacks, in their order; a report that lacks one is not issued.
    ///
    /// # Source
    /// ISO/IEC 17025:2017, 7.8.2.1; an uncertainty or the reason there is none: 7.8.3.1; specification and decision rule of each
    /// statement of conformity: 7.8.6.2, counted under item m.
    pub fn missing_items(&self) -> Vec<MissingItem> {
        let mut search = Search { found: Vec::new() };
        search.text('b', &self.laboratory.name, "the laboratory's name");
        search.lines('b', &self.laboratory.lines, "the laboratory's address");
        search.text('d', &self.number, "the number of the report");
        search.text('d', &self.order, "the order");
        search.text('e', &self.customer.name, "the customer's name");
        search.lines('e', &self.customer.lines, "a way to reach the customer");
        if self.methods.is_empty() {
            search.lacks('f', "a method".to_owned());
        }
        for method in &self.methods {
            search.text('f', &method.name, "the name of a method");
            search.text('f', &method.version, &format!("the version of method {}", method.name));
        }
        if self.samples.is_empty() {
            search.lacks('g', "a sample".to_owned());
        }
        for sample in &self.samples {
            search.text('g', &sample.id, "the identification of a sample");
        }
        for result in &self.results {
            if !self.samples.iter().any(|sample| sample.id == result.sample) {
                search.lacks('g', format!("a line for sample {}, which has a result", result.sample));
            }
        }
        if self.samples.iter().any(|sample| blank(&sample.received)) {
            search.text('h', &self.received, "the time of receipt");
        }
        search.text('i', &self.measured.first, "the first moment of measurement");
        search.text('i', &self.measured.last, "the last moment of measurement");
        search.text('j', &self.issued, "the time of issue");
        if let Sampling::Laboratory { plan, method } = &self.sampling {
            search.text('k', plan, "the sampling plan");
            search.text('k', method, "the sampling method");
        }
        self.search_results(&mut search);
        for deviation in &self.deviations {
            search.text('n', deviation, "the words of a deviation");
        }
        if self.signatures.is_empty() {
            search.lacks('o', "a signature".to_owned());
        }
        for signature in &self.signatures {
            search.text('o', &signature.name, "the name of a person who signed");
        }
        for result in &self.results {
            if let Some(provider) = &result.external {
                search.text(
                    'p',
                    provider,
                    &format!("the external provider of {} in {}", result.analyte, result.sample),
                );
            }
        }
        search.found
    }

    fn search_results(&self, search: &mut Search) {
        if self.results.is_empty() {
            search.lacks('m', "a result".to_owned());
        }
        for result in &self.results {
            let of = format!("{} in {}", result.analyte, result.sample);
            search.text('m', &result.analyte, &format!("the analyte of a result of {}", result.sample));
            search.text('m', &result.kind, &format!("the kind of quantity of {of}"));
            search.text('m', &result.unit, &format!("the unit of {of}"));
            match &result.finding {
                Finding::Value { value, uncertainty } => {
                    search.text('m', value, &format!("the value of {of}"));
                    match uncertainty {
                        Uncertainty::Expanded { expanded_u, coverage_factor } => {
                            search.text('m', expanded_u, &format!("the uncertainty of {of}"));
                            search.text('m', coverage_factor, &format!("the coverage factor of {of}"));
                        }
                        Uncertainty::NotStated { because } => {
                            search.text('m', because, &format!("the reason why {of} has no uncertainty"));
                        }
                    }
                }
                Finding::BelowLoq => search.text('m', &result.loq, &format!("the LOQ that {of} lies below")),
                Finding::Withheld { because } => {
                    search.text('m', because, &format!("the reason why {of} is withheld"));
                }
            }
            if result.statement.is_some() {
                let limit = result.limit.as_ref();
                search.text('m', limit.map_or("", |limit| &limit.text), &format!("the limit of {of}"));
                search.text('m', limit.map_or("", |limit| &limit.specification), &format!("the specification of {of}"));
                search.text('m', limit.map_or("", |limit| &limit.rule), &format!("the decision rule of {of}"));
            }
        }
    }
}

struct Search {
    found: Vec<MissingItem>,
}

impl Search {
    fn lacks(&mut self, letter: char, what: String) {
        for item in REPORT_ITEMS.into_iter().filter(|item| item.letter == letter) {
            self.found.push(MissingItem { item, what: what.clone() });
        }
    }

    fn text(&mut self, letter: char, text: &str, what: &str) {
        if blank(text) {
            self.lacks(letter, what.to_owned());
        }
    }

    fn lines(&mut self, letter: char, lines: &[String], what: &str) {
        if lines.iter().all(|line| blank(line)) {
            self.lacks(letter, what.to_owned());
        }
    }
}

fn blank(text: &str) -> bool {
    text.trim().is_empty()
}
