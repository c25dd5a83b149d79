//! Which reports rest on a lot, and what they would say if the lot were other than believed.
//!
//! [`Laboratory::lot_uses`] follows the record from the lots that runs name to orders and reports. [`Laboratory::what_if`]
//! works all of them out again with the standards of those runs changed. Nothing is stored.
//!
//! Source: none needed, an amount of a standard is proportional to that of its stock.

use darkline_evaluation::evaluate;
use darkline_evaluation::outcome::{Outcome, Reported, ResultOutcome};
use darkline_metrology::kind::{Kind, MassConcentration};
use darkline_record::figure::{Uncertain, Written};
use darkline_record::identity::{OrderId, RunId};
use darkline_record::run::{RowHolds, Run};

use crate::laboratory::{Laboratory, LaboratoryError};

/// A run whose standards were made of a lot, and what rests on it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LotUse {
    /// The lot.
    pub lot: String,
    /// The run.
    pub run: RunId,
    /// An order measured in it.
    pub order: OrderId,
    /// Its reports.
    pub reports: Vec<String>,
}

/// A result before and after a lot is taken to be other than believed.
#[derive(Clone, Debug, PartialEq)]
pub struct WhatIf {
    /// The order.
    pub order: OrderId,
    /// The sample.
    pub sample: String,
    /// The element.
    pub element: String,
    /// The unit of both values.
    pub unit: String,
    /// What is reported now.
    pub before: Told,
    /// What would be.
    pub after: Told,
}

/// What is told of a sample.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// The value found, where there is one.
    pub value: Option<f64>,
    /// What is said: below LOQ, withheld and by what, or the statement of conformity.
    pub words: String,
}

impl WhatIf {
    /// Whether what is said changes, not only the value.
    pub fn changes_what_is_said(&self) -> bool {
        self.before.words != self.after.words
    }
}

impl Laboratory {
    /// The runs whose standards were made of a lot, or of any where none is named, by lot, run and order.
    pub fn lot_uses(&self, lot: Option<&str>) -> Vec<LotUse> {
        let state = self.state();
        let mut uses = Vec::new();
        for (order, known) in &state.orders {
            for run in state.runs_of(order) {
                for named in run.run.lots.iter().filter(|named| lot.is_none_or(|lot| lot == *named)) {
                    uses.push(LotUse {
                        lot: named.clone(),
                        run: run.run.id.clone(),
                        order: order.clone(),
                        reports: known.issues.iter().map(|issue| issue.report.clone()).collect(),
                    });
                }
            }
        }
        uses.sort_by(|a, b| (&a.lot, &a.run, &a.order).cmp(&(&b.lot, &b.run, &b.order)));
        uses.dedup();
        uses
    }

    /// The results of all orders that rest on a lot, now and with its content changed.
    ///
    /// # Arguments
    /// * `change`: relative, such as −0.02 for a lot that holds 2 % less than believed.
    ///
    /// # Errors
    /// As [`Laboratory::evaluate`].
    pub fn what_if(&self, lot: &str, change: f64) -> Result<Vec<WhatIf>, LaboratoryError> {
        let mut orders: Vec<OrderId> = self.lot_uses(Some(lot)).into_iter().map(|one| one.order).collect();
        orders.dedup();
        orders.sort();
        orders.dedup();
        let mut all = Vec::new();
        for order in orders {
            let evaluated = self.evaluate(&order)?;
            let mut package = evaluated.package;
            for run in package.runs.iter_mut().filter(|run| run.lots.iter().any(|named| named == lot)) {
                change_standards(run, 1.0 + change);
            }
            let after = evaluate(&package, &evaluated.decisions)?;
            all.extend(compared(&order, &evaluated.outcome, &after));
        }
        Ok(all)
    }
}

/// Multiplies the amounts of a run's standards and checks.
fn change_standards(run: &mut Run, by: f64) {
    let changed = |amount: &Uncertain<MassConcentration>| {
        let unit = amount.value.unit();
        let figure = unit.read_si(amount.value.value().si()) * by;
        Written::in_unit(&format!("{figure}"), unit).ok()
    };
    for row in run.legs.iter_mut().flat_map(|leg| &mut leg.rows) {
        if let RowHolds::Standard { amount } | RowHolds::Check { amount } = &mut row.holds
            && let Some(value) = changed(amount)
        {
            amount.value = value;
        }
    }
}

fn compared(order: &OrderId, before: &Outcome, after: &Outcome) -> Vec<WhatIf> {
    let pairs = before.results.iter().filter_map(|one| {
        let other = after
            .results
            .iter()
            .find(|other| other.sample == one.sample && other.element == one.element && other.method == one.method)?;
        Some((one, other))
    });
    pairs
        .map(|(one, other)| WhatIf {
            order: order.clone(),
            sample: one.sample.to_string(),
            element: one.element.as_str().to_owned(),
            unit: one.unit.clone(),
            before: told(one),
            after: told(other),
        })
        .collect()
}

fn told(result: &ResultOutcome) -> Told {
    let statement = result.statement.as_ref().map(|statement| statement.statement.to_string());
    let with = |words: String| match &statement {
        Some(statement) if words.is_empty() => statement.clone(),
        Some(statement) => format!("{words}: {statement}"),
        None => words,
    };
    let (value, words) = match &result.reported {
        Reported::Awaiting { .. } => (None, "awaited".to_owned()),
        Reported::BelowLoq { found, .. } => (Some(found.value), "below LOQ".to_owned()),
        Reported::Value { result } => (Some(result.value), String::new()),
        Reported::Withheld { because, found } => {
            (found.as_ref().map(|found| found.value), format!("withheld by {because}"))
        }
    };
    Told { value, words: with(words) }
}
