//! Reads the inputs of a case into a measurement model, works its expression out and answers the keys it expects.

use std::collections::BTreeMap;

use darkline_metrology::estimate::Estimate;
use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{Shape, Source, SourceId};
use toml::Table;

use crate::expression::{self, Symbols};
use crate::published::{case, check_expected, list, number, optional, table, text};

/// Reads a case and holds its budget against every key that it expects.
#[track_caller]
pub fn check(path: &str) {
    let case = case(path);
    assert_eq!(text(&case, "kind"), "lpu");
    let model = Model::new();
    let budget = Budget::of(&model, &case);
    check_expected(&case, |key| budget.answer(key));
}

/// A budget with the coverage that its case asks for.
pub struct Budget {
    pub estimate: Estimate<Factor>,
    k: Option<f64>,
    groups: BTreeMap<String, Vec<String>>,
    /// u of the sum of each group.
    u_of_groups: BTreeMap<String, f64>,
}

impl Budget {
    /// The first-order budget of `[model].expression`.
    pub fn of(model: &Model, case: &Table) -> Self {
        let symbols = inputs(model, case);
        let equation = table(case, "model");
        let estimate = model.first_order(expression::build(model, text(equation, "expression"), &symbols));
        let coverage = case.get("coverage").and_then(toml::Value::as_table);
        let probability =
            coverage.and_then(|coverage| optional(coverage, "p")).or(optional(equation, "coverage_probability"));
        let k = match (coverage.and_then(|coverage| optional(coverage, "k")), probability) {
            (Some(k), None) => Some(k),
            (None, Some(p)) => estimate.coverage_factor(p),
            (None, None) => None,
            (Some(_), Some(_)) => panic!("a factor and a probability"),
        };
        let mut groups = BTreeMap::new();
        let mut u_of_groups = BTreeMap::new();
        if case.contains_key("groups") {
            for (name, members) in table(case, "groups") {
                let members: Vec<String> = members
                    .as_array()
                    .expect("a list")
                    .iter()
                    .map(|member| member.as_str().expect("a symbol").to_owned())
                    .collect();
                let terms: Vec<Term<'_, Factor>> = members.iter().map(|member| symbols[member]).collect();
                u_of_groups.insert(name.clone(), model.first_order(model.sum(&terms)).u());
                groups.insert(name.clone(), members);
            }
        }
        Self { estimate, k, groups, u_of_groups }
    }

    /// What a key of `[expected]` asks for.
    pub fn answer(&self, key: &str) -> Option<f64> {
        let (y, u) = (self.estimate.value.si(), self.estimate.u());
        match key {
            "y" => Some(y),
            "u" => Some(u),
            "u_rel" => Some(u / y.abs()),
            "nu_eff" => Some(self.estimate.effective_dof()),
            "k" => self.k,
            "U" => self.k.map(|k| self.estimate.expand(k).expanded_u.si()),
            _ => {
                if let Some(name) = key.strip_prefix("contribution_") {
                    Some(self.contribution(name))
                } else if let Some(name) = key.strip_prefix("percent_") {
                    let share = self.contribution(name) / u;
                    Some(100.0 * share * share)
                } else {
                    self.u_of_groups.get(key.strip_prefix("u_")?).copied()
                }
            }
        }
    }

    /// What an input, or a group of inputs, adds: without sign, zero where it adds nothing.
    fn contribution(&self, name: &str) -> f64 {
        let group = |source: &SourceId| {
            let member = |members: &Vec<String>| members.iter().any(|member| member == source.as_str());
            name == source.as_str() || self.groups.get(name).is_some_and(member)
        };
        let by_group = self.estimate.by_group(|source| if group(source) { name } else { "the others" });
        by_group.iter().find(|(group, _)| *group == name).map_or(0.0, |(_, u)| *u)
    }
}

/// The inputs of a case as terms; each has one source with the name of its symbol.
pub fn inputs<'m>(model: &'m Model, case: &Table) -> Symbols<'m> {
    assert!(!case.contains_key("correlation"), "no case correlates inputs by coefficients");
    list(case, "input")
        .iter()
        .map(|input| {
            let input = input.as_table().expect("an input is a table");
            let symbol = text(input, "symbol");
            let (value, source) =
                if input.contains_key("pdf") { of_density(input, symbol) } else { of_budget(input, symbol) };
            (symbol.to_owned(), model.input(Factor::from_si(value), &source))
        })
        .collect()
}

/// An input of a budget: `value`, and `u` or `half_width` with its distribution.
fn of_budget(input: &Table, symbol: &str) -> (f64, Vec<Source>) {
    let shape = match text(input, "distribution") {
        "exact" => {
            assert_eq!(number(input, "u"), 0.0, "{symbol}");
            return (number(input, "value"), Vec::new());
        }
        // A combined figure was put together from several; a t has its degrees of freedom beside it.
        "normal" | "t" | "combined" => Shape::Normal,
        word => Shape::from_word(word).unwrap_or_else(|| panic!("{symbol}: what is {word}?")),
    };
    let u = optional(input, "u")
        .or_else(|| shape.u_of_half_width(number(input, "half_width")))
        .unwrap_or_else(|| panic!("{symbol} has neither u nor half-width"));
    let source = Source { dof: number(input, "dof"), ..Source::shaped(SourceId::new(symbol), u, shape) };
    (number(input, "value"), vec![source])
}

/// An input of Monte Carlo: the parameters of its probability density.
fn of_density(input: &Table, symbol: &str) -> (f64, Vec<Source>) {
    let id = SourceId::new(symbol);
    let between = |shape: Shape| {
        let (low, high) = (number(input, "low"), number(input, "high"));
        let u = shape.u_of_half_width(0.5 * (high - low)).expect("a shape with limits");
        (0.5 * (low + high), Source::shaped(id.clone(), u, shape))
    };
    let (value, source) = match text(input, "pdf") {
        "normal" => (number(input, "mean"), Source::normal(id.clone(), number(input, "sd"))),
        "t" => (number(input, "mean"), Source::estimated(id.clone(), number(input, "scale"), number(input, "dof"))),
        "rectangular" => between(Shape::Rectangular),
        "arcsine" => between(Shape::Arcsine),
        "curvilinear_trapezoid" => {
            let (value, source) = between(Shape::Rectangular);
            let relative = 2.0 * number(input, "d") / (number(input, "high") - number(input, "low"));
            // GUM G.4.2: limits known to this relative uncertainty stand for so many degrees of freedom.
            (value, Source { dof: 0.5 / (relative * relative), ..source })
        }
        other => panic!("{symbol}: what is {other}?"),
    };
    (value, vec![source])
}
