//! The infix expressions of the cases, built as terms of a measurement model.
//!
//! `+ - * / ^`, `sqrt exp log cos sin`, numbers and symbols. Whole powers are repeated products, so that they hold for
//! bases below zero; other powers go through the logarithm.

use std::collections::BTreeMap;

use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::{Model, Term};

/// Terms by the symbols they have in an expression.
pub type Symbols<'m> = BTreeMap<String, Term<'m, Factor>>;

/// Builds an expression on the model of its symbols.
pub fn build<'m>(model: &'m Model, text: &str, symbols: &Symbols<'m>) -> Term<'m, Factor> {
    let mut reader = Reader { model, symbols, text, rest: text };
    let term = reader.sum();
    assert!(reader.peek().is_none(), "{text}: what is {}?", reader.rest);
    term
}

struct Reader<'r, 'm> {
    model: &'m Model,
    symbols: &'r Symbols<'m>,
    text: &'r str,
    rest: &'r str,
}

impl<'r, 'm> Reader<'r, 'm> {
    fn peek(&mut self) -> Option<char> {
        self.rest = self.rest.trim_start();
        self.rest.chars().next()
    }

    fn take(&mut self, wanted: char) -> bool {
        let met = self.peek() == Some(wanted);
        if met {
            self.rest = &self.rest[wanted.len_utf8()..];
        }
        met
    }

    fn number(&self, value: f64) -> Term<'m, Factor> {
        self.model.exact(Factor::from_si(value))
    }

    fn sum(&mut self) -> Term<'m, Factor> {
        let mut value = self.product();
        loop {
            if self.take('+') {
                value = value + self.product();
            } else if self.take('-') {
                value = value - self.product();
            } else {
                return value;
            }
        }
    }

    fn product(&mut self) -> Term<'m, Factor> {
        let mut value = self.signed();
        loop {
            if self.take('*') {
                value = value * self.signed();
            } else if self.take('/') {
                value = value / self.signed();
            } else {
                return value;
            }
        }
    }

    fn signed(&mut self) -> Term<'m, Factor> {
        if self.take('-') { self.number(0.0) - self.signed() } else { self.power() }
    }

    fn power(&mut self) -> Term<'m, Factor> {
        let base = self.atom();
        if !self.take('^') {
            return base;
        }
        let exponent = self.signed();
        let whole = exponent.value().si();
        if whole.fract() != 0.0 || !(1.0..=16.0).contains(&whole) {
            return (base.ln() * exponent).exp();
        }
        let mut value = base;
        for _ in 1..whole as u32 {
            value = value * base;
        }
        value
    }

    fn atom(&mut self) -> Term<'m, Factor> {
        if self.take('(') {
            let value = self.sum();
            assert!(self.take(')'), "{}: a bracket stays open before {}", self.text, self.rest);
            return value;
        }
        let first = self.peek().unwrap_or_else(|| panic!("{} ends early", self.text));
        if first.is_ascii_digit() {
            let figure = self.split(figure_length(self.rest));
            return self.number(figure.parse().unwrap_or_else(|_| panic!("{}: {figure} is no number", self.text)));
        }
        let name = self.split(self.rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(self.rest.len()));
        if self.peek() != Some('(') {
            return *self.symbols.get(name).unwrap_or_else(|| panic!("{}: what is {name:?}?", self.text));
        }
        let argument = self.atom();
        match name {
            "sqrt" => argument.sqrt(),
            "exp" => argument.exp(),
            "log" => argument.ln(),
            "cos" => argument.cos(),
            "sin" => argument.sin(),
            other => panic!("{}: what is {other}?", self.text),
        }
    }

    fn split(&mut self, at: usize) -> &'r str {
        let (taken, rest) = self.rest.split_at(at);
        self.rest = rest;
        taken
    }
}

/// How many bytes at the start are a number such as `2.1e-4`.
fn figure_length(text: &str) -> usize {
    let digits = |text: &str| text.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len());
    let mantissa = digits(text);
    let Some(exponent) = text[mantissa..].strip_prefix(['e', 'E']) else { return mantissa };
    let sign = usize::from(exponent.starts_with(['-', '+']));
    let places = digits(&exponent[sign..]);
    if places == 0 { mantissa } else { mantissa + 1 + sign + places }
}

#[test]
fn expressions_read_as_arithmetic_does() {
    let model = Model::new();
    let symbols: Symbols<'_> =
        [("x", -3.0), ("y_2", 0.5)].map(|(name, value)| (name.to_owned(), model.exact(Factor::from_si(value)))).into();
    for (text, expected) in [
        ("1 + 2*3 - 4/8", 6.5),
        ("-x^2 + 1", -8.0),
        ("2^3^2", 512.0),
        ("(x + 1)^2*1e1", 40.0),
        ("8/4/2", 1.0),
        ("2 - 3 - 4", -5.0),
        ("sqrt(16)*y_2", 2.0),
        ("exp(0) + cos(0) + sin(0) + log(1)", 2.0),
        ("1.5E-1*2e+1", 3.0),
    ] {
        assert_eq!(build(&model, text, &symbols).value().si(), expected, "{text}");
    }
    assert!((build(&model, "4^y_2", &symbols).value().si() - 2.0).abs() < 1e-15);
}
