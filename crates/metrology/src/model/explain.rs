//! The derivation: the equation of a quantity with its symbols, then with its numbers, step by step as an auditor reads it.

use super::tape::{Model, Name, Node, Tape};
use super::term::Term;
use crate::kind::Kind;

/// How a quantity came about, from the first step to the last.
#[derive(Clone, Debug, PartialEq)]
pub struct Derivation {
    /// Steps, each resting only on those before it.
    pub steps: Vec<Step>,
}

/// One named quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Its name.
    pub name: String,
    /// Its equation in names; empty for an input.
    pub symbols: String,
    /// The same with numbers in the units shown; empty for an input.
    pub numbers: String,
    /// Its value in the unit shown.
    pub value: f64,
    /// Standard uncertainty in the unit shown, by first order.
    pub u: f64,
    /// The unit; "1" for a pure number.
    pub unit: &'static str,
}

impl Model {
    /// The derivation of a quantity: one step for each named quantity it rests on, in the order they were written.
    ///
    /// Quantities without a name are written out inside the equation of the next one that has a name.
    pub fn explain<K: Kind>(&self, y: Term<'_, K>) -> Derivation {
        let wanted: Vec<u32> = {
            let tape = self.tape.borrow();
            let needed = tape.needed(&[y.node]);
            let named = tape.names.keys().copied().filter(|&node| needed.get(node as usize) == Some(&true));
            let mut wanted: Vec<u32> = named.collect();
            if !wanted.contains(&y.node) {
                wanted.push(y.node);
            }
            wanted
        };
        let steps = wanted
            .into_iter()
            .map(|node| {
                let u = self.first_order(Term::<K>::at(self, node)).u();
                let tape = self.tape.borrow();
                let unnamed = Name { name: "result".into(), symbol: K::UNIT, numerator: 1.0, denominator: 1.0 };
                let name = tape.names.get(&node).unwrap_or(&unnamed);
                let is_input = matches!(tape.nodes[node as usize], Node::Input { .. } | Node::Exact);
                let equation = |with| if is_input { String::new() } else { write_node(&tape, node, with).0 };
                Step {
                    name: name.name.clone(),
                    symbols: equation(With::Names),
                    numbers: equation(With::Numbers),
                    value: shown(name, tape.values[node as usize]),
                    u: shown(name, u),
                    unit: name.symbol,
                }
            })
            .collect();
        Derivation { steps }
    }
}

fn shown(name: &Name, si: f64) -> f64 {
    si * name.denominator / name.numerator
}

#[derive(Clone, Copy, PartialEq)]
enum With {
    Names,
    Numbers,
}

/// How tightly a written expression holds together: sums loosest, single figures tightest.
#[derive(Clone, Copy, PartialEq, PartialOrd)]
enum Holds {
    Sum,
    Product,
    Single,
}

fn write_node(tape: &Tape, node: u32, with: With) -> (String, Holds) {
    let operand = |of: u32| write_operand(tape, of, with);
    let held = |of: u32, at_least: Holds| {
        let (text, holds) = operand(of);
        if holds < at_least { format!("({text})") } else { text }
    };
    match tape.nodes[node as usize] {
        Node::Exact | Node::Input { .. } => (figure(tape.values[node as usize]), Holds::Single),
        Node::Add(a, b) => (format!("{} + {}", held(a, Holds::Sum), held(b, Holds::Sum)), Holds::Sum),
        Node::Sub(a, b) => (format!("{} − {}", held(a, Holds::Sum), held(b, Holds::Product)), Holds::Sum),
        Node::Mul(a, b) => (format!("{} · {}", held(a, Holds::Product), held(b, Holds::Product)), Holds::Product),
        Node::Div(a, b) => (format!("{} / {}", held(a, Holds::Product), held(b, Holds::Single)), Holds::Product),
        Node::Sum { first, end } => {
            let terms: Vec<String> =
                tape.terms_of_sums[first as usize..end as usize].iter().map(|&term| held(term, Holds::Sum)).collect();
            let holds = if terms.len() == 1 { Holds::Product } else { Holds::Sum };
            (terms.join(" + "), holds)
        }
        Node::Sqrt(a) => (format!("√({})", operand(a).0), Holds::Single),
        Node::Ln(a) => (format!("ln({})", operand(a).0), Holds::Single),
        Node::Exp(a) => (format!("exp({})", operand(a).0), Holds::Single),
        Node::Sin(a) => (format!("sin({})", operand(a).0), Holds::Single),
        Node::Cos(a) => (format!("cos({})", operand(a).0), Holds::Single),
        Node::Atan2(y, x) => (format!("angle({}, {})", operand(x).0, operand(y).0), Holds::Single),
        Node::Solve { fit, .. } => (tape.fits[fit as usize].fit.describe(), Holds::Single),
    }
}

fn write_operand(tape: &Tape, node: u32, with: With) -> (String, Holds) {
    match tape.names.get(&node) {
        Some(name) if with == With::Names => (name.name.clone(), Holds::Single),
        Some(name) => {
            let shown = shown(name, tape.values[node as usize]);
            let value = figure(shown);
            let text = if name.symbol == "1" { value } else { format!("{value} {}", name.symbol) };
            // "1 − −2" reads as a slip of the pen.
            (if shown < 0.0 { format!("({text})") } else { text }, Holds::Single)
        }
        None => write_node(tape, node, with),
    }
}

/// A figure to six significant digits, without trailing zeros.
///
/// A derivation shows more digits than a report, so that a reader with a pocket calculator gets the reported digits.
pub fn figure(value: f64) -> String {
    if value == 0.0 {
        return "0".into();
    }
    let scientific = format!("{value:.5e}");
    let exponent: i32 = scientific.split_once('e').and_then(|(_, exponent)| exponent.parse().ok()).unwrap_or(0);
    let text = if (-4..7).contains(&exponent) {
        let decimals = usize::try_from(5 - exponent).unwrap_or(0);
        format!("{value:.decimals$}")
    } else {
        scientific
    };
    let text = match text.split_once('e') {
        Some((mantissa, exponent)) => format!("{}·10^{exponent}", without_trailing_zeros(mantissa)),
        None => without_trailing_zeros(&text).to_owned(),
    };
    text.replace('-', "−")
}

fn without_trailing_zeros(text: &str) -> &str {
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::{Area, MassConcentration, ReleasePerArea, Volume};
    use crate::source::{Source, SourceId};

    #[test]
    fn a_quotient_is_shown_in_names_and_in_numbers() {
        let model = Model::new();
        let mg_per_l = MassConcentration::unit("mg/L").unwrap();
        let source = |name: &str, u: f64| [Source::normal(SourceId::new(name), u)];
        let c = model.input(mg_per_l.of(0.26), &source("c", 0.018e-3)).named("c0", mg_per_l);
        let litre = Volume::unit("L").unwrap();
        let v = model.input(litre.of(0.332), &source("v", 0.0018e-3)).named("V", litre);
        let dm2 = Area::unit("dm²").unwrap();
        let a = model.input(dm2.of(5.73), &source("a", 0.19e-2)).named("a", dm2);
        let r = (c * v / a).named("r", ReleasePerArea::unit("mg/dm²").unwrap());
        let steps = model.explain(r).steps;
        assert_eq!(steps.len(), 4);
        assert_eq!(steps[3].symbols, "c0 · V / a");
        assert_eq!(steps[3].numbers, "0.26 mg/L · 0.332 L / 5.73 dm²");
        assert_eq!(figure(steps[3].value), "0.0150646");
        assert_eq!(figure(steps[0].u), "0.018");
    }

    #[test]
    fn figures_keep_six_digits() {
        assert_eq!(figure(0.0), "0");
        assert_eq!(figure(1.0), "1");
        assert_eq!(figure(123456.7), "123457");
        assert_eq!(figure(-0.000123456), "−0.000123456");
        assert_eq!(figure(1.5e-9), "1.5·10^−9");
    }
}
