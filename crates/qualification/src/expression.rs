//! The expressions of the cases: infix arithmetic, read once, worked out with figures, terms of a model or numbers that
//! carry their derivatives.
//!
//! `+ - * / ^`, `sqrt exp log ln log10 cos sin abs`, `atan2(y, x)`, numbers and symbols; `a x` is a product. Powers with a whole constant are
//! repeated products, so that they hold for bases below zero; other powers go through the logarithm. An expression is kept
//! in the order of its working out, so that no depth of brackets takes the program's own stack.

use std::collections::BTreeMap;

use darkline_calibration::least_squares::number::Number;
use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::{Model, Term};

/// Terms by the symbols they have in an expression.
pub(crate) type Symbols<'m> = BTreeMap<String, Term<'m, Factor>>;

/// Brackets within brackets are read so far.
const DEEPEST: usize = 200;
/// Operations of one expression.
const LONGEST: usize = 5_000;
/// The largest power written out as a product.
const LARGEST_POWER: f64 = 64.0;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Function {
    Sqrt,
    Exp,
    Ln,
    Log10,
    Cos,
    Sin,
    Abs,
}

#[derive(Clone, Debug, PartialEq)]
enum Step {
    Number(f64),
    Symbol(usize),
    Plus,
    Minus,
    Times,
    Over,
    Negative,
    Power,
    /// To a constant power.
    PowerOf(f64),
    Of(Function),
    Atan2,
}

/// An expression that was read.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Expression {
    steps: Vec<Step>,
    symbols: Vec<String>,
}

impl Expression {
    /// Reads an expression.
    ///
    /// # Errors
    /// What cannot be read, in words.
    pub(crate) fn read(text: &str) -> Result<Self, String> {
        let mut reader = Reader { rest: text, steps: Vec::new(), symbols: Vec::new(), depth: 0 };
        reader.sum()?;
        match reader.peek() {
            None => Ok(Self { steps: reader.steps, symbols: reader.symbols }),
            Some(_) => Err(format!("{:?} cannot be read behind an expression", shortened(reader.rest))),
        }
    }

    /// The right side of an equation such as `y = b1*x`, up to a comma or semicolon outside brackets.
    pub(crate) fn right_side(equation: &str) -> Result<Self, String> {
        let right = equation.split_once('=').map_or(equation, |(_, right)| right);
        let mut depth = 0_usize;
        let end = right.find(|c| {
            match c {
                '(' => depth += 1,
                ')' => depth = depth.saturating_sub(1),
                _ => {}
            }
            depth == 0 && matches!(c, ',' | ';')
        });
        Self::read(&right[..end.unwrap_or(right.len())])
    }

    /// The symbols, each once, in the order of their first use.
    pub(crate) fn symbols(&self) -> &[String] {
        &self.symbols
    }

    /// Works it out with figures.
    ///
    /// # Errors
    /// A symbol without a figure.
    pub(crate) fn with_figures(&self, figure: &dyn Fn(&str) -> Option<f64>) -> Result<f64, String> {
        let model = Model::new();
        let symbols = self.symbols.iter().map(|symbol| {
            let value = figure(symbol).ok_or_else(|| format!("no figure for {symbol}"))?;
            Ok((symbol.clone(), model.exact(Factor::from_si(value))))
        });
        let symbols = symbols.collect::<Result<Symbols<'_>, String>>()?;
        Ok(self.on_model(&model, &symbols)?.value().si())
    }

    /// Builds it on the model of its symbols.
    ///
    /// # Errors
    /// A symbol without a term.
    pub(crate) fn on_model<'m>(&self, model: &'m Model, symbols: &Symbols<'m>) -> Result<Term<'m, Factor>, String> {
        let exact = |value: f64| model.exact(Factor::from_si(value));
        let terms = self.symbols.iter().map(|name| {
            symbols.get(name).copied().ok_or_else(|| format!("the expression names {name}, which is no input"))
        });
        let terms = terms.collect::<Result<Vec<_>, String>>()?;
        let mut stack: Vec<Term<'m, Factor>> = Vec::new();
        for step in &self.steps {
            let value = match step {
                Step::Number(number) => exact(*number),
                Step::Symbol(place) => terms[*place],
                Step::Negative => exact(0.0) - taken(&mut stack)?,
                Step::Of(function) => {
                    let of = taken(&mut stack)?;
                    match function {
                        Function::Sqrt => of.sqrt(),
                        Function::Exp => of.exp(),
                        Function::Ln => of.ln(),
                        Function::Log10 => of.ln() / exact(core::f64::consts::LN_10),
                        Function::Cos => of.cos(),
                        Function::Sin => of.sin(),
                        Function::Abs => (of * of).sqrt(),
                    }
                }
                Step::PowerOf(power) => {
                    let base = taken(&mut stack)?;
                    match whole_power(*power) {
                        Some((times, below)) => {
                            let product = (1..times).fold(base, |product, _| product * base);
                            if below { exact(1.0) / product } else { product }
                        }
                        None if *power == 0.0 => exact(1.0),
                        None if *power == 0.5 => base.sqrt(),
                        None => (base.ln() * exact(*power)).exp(),
                    }
                }
                pair => {
                    let second = taken(&mut stack)?;
                    let first = taken(&mut stack)?;
                    match pair {
                        Step::Plus => first + second,
                        Step::Minus => first - second,
                        Step::Times => first * second,
                        Step::Over => first / second,
                        Step::Atan2 => first.atan2(second),
                        _ => (first.ln() * second).exp(),
                    }
                }
            };
            stack.push(value);
        }
        taken(&mut stack)
    }

    /// Works it out with numbers, one for each of [`symbols`](Self::symbols); `None` for what has no derivatives here.
    pub(crate) fn with_numbers<N: Number>(&self, numbers: &[N]) -> Option<N> {
        let mut stack: Vec<N> = Vec::with_capacity(8);
        for step in &self.steps {
            let value = match step {
                Step::Number(number) => N::constant(*number),
                Step::Symbol(place) => *numbers.get(*place)?,
                Step::Negative => -stack.pop()?,
                Step::Of(function) => {
                    let of = stack.pop()?;
                    match function {
                        Function::Sqrt => of.sqrt(),
                        Function::Exp => of.exp(),
                        Function::Ln => of.ln(),
                        Function::Log10 => of.ln() / N::constant(core::f64::consts::LN_10),
                        Function::Cos | Function::Sin | Function::Abs => return None,
                    }
                }
                Step::PowerOf(power) => {
                    let base = stack.pop()?;
                    match whole_power(*power) {
                        Some((times, below)) => {
                            let product = (1..times).fold(base, |product, _| product * base);
                            if below { N::constant(1.0) / product } else { product }
                        }
                        None if *power == 0.0 => N::constant(1.0),
                        None if *power == 0.5 => base.sqrt(),
                        None => (base.ln() * N::constant(*power)).exp(),
                    }
                }
                pair => {
                    let second = stack.pop()?;
                    let first = stack.pop()?;
                    match pair {
                        Step::Plus => first + second,
                        Step::Minus => first - second,
                        Step::Times => first * second,
                        Step::Over => first / second,
                        Step::Atan2 => return None,
                        _ => (first.ln() * second).exp(),
                    }
                }
            };
            stack.push(value);
        }
        stack.pop()
    }
}

fn taken<T>(stack: &mut Vec<T>) -> Result<T, String> {
    stack.pop().ok_or_else(|| "the expression ends early".to_owned())
}

/// A power as so many factors, and whether the product stands below the line.
fn whole_power(power: f64) -> Option<(u32, bool)> {
    let size = power.abs();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole and small")]
    (size.fract() == 0.0 && (1.0..=LARGEST_POWER).contains(&size)).then_some((size as u32, power < 0.0))
}

struct Reader<'r> {
    rest: &'r str,
    steps: Vec<Step>,
    symbols: Vec<String>,
    depth: usize,
}

impl<'r> Reader<'r> {
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

    fn step(&mut self, step: Step) -> Result<(), String> {
        if self.steps.len() >= LONGEST {
            return Err(format!("an expression has at most {LONGEST} operations"));
        }
        self.steps.push(step);
        Ok(())
    }

    fn deeper(&mut self, read: impl FnOnce(&mut Self) -> Result<(), String>) -> Result<(), String> {
        if self.depth >= DEEPEST {
            return Err(format!("an expression has at most {DEEPEST} brackets and signs within one another"));
        }
        self.depth += 1;
        let done = read(self);
        self.depth -= 1;
        done
    }

    fn sum(&mut self) -> Result<(), String> {
        self.product()?;
        loop {
            if self.take('+') {
                self.product()?;
                self.step(Step::Plus)?;
            } else if self.take('-') {
                self.product()?;
                self.step(Step::Minus)?;
            } else {
                return Ok(());
            }
        }
    }

    fn product(&mut self) -> Result<(), String> {
        self.signed()?;
        loop {
            if self.take('*') {
                self.signed()?;
                self.step(Step::Times)?;
            } else if self.take('/') {
                self.signed()?;
                self.step(Step::Over)?;
            } else if self.peek().is_some_and(|next| next == '(' || next.is_alphabetic()) {
                // `a c` and `b (1 + x)` are products too.
                self.power()?;
                self.step(Step::Times)?;
            } else {
                return Ok(());
            }
        }
    }

    fn signed(&mut self) -> Result<(), String> {
        if self.take('-') {
            self.deeper(Self::signed)?;
            self.step(Step::Negative)
        } else if self.take('+') {
            self.deeper(Self::signed)
        } else {
            self.power()
        }
    }

    fn power(&mut self) -> Result<(), String> {
        self.atom()?;
        if !self.take('^') {
            return Ok(());
        }
        let from = self.steps.len();
        self.deeper(Self::signed)?;
        let exponent = self.steps.split_off(from);
        let is_constant = !exponent.iter().any(|step| matches!(step, Step::Symbol(_)));
        let constant = Expression { steps: exponent.clone(), symbols: Vec::new() };
        match is_constant.then(|| constant.with_figures(&|_| None)) {
            Some(power) => {
                let power = power?;
                self.step(Step::PowerOf(power))
            }
            None => {
                self.steps.extend(exponent);
                self.step(Step::Power)
            }
        }
    }

    fn bracket(&mut self) -> Result<(), String> {
        self.deeper(Self::sum)?;
        if self.take(')') { Ok(()) } else { Err(format!("a bracket stays open before {:?}", shortened(self.rest))) }
    }

    fn atom(&mut self) -> Result<(), String> {
        if self.take('(') {
            return self.bracket();
        }
        let first = self.peek().ok_or_else(|| "the expression ends early".to_owned())?;
        if first.is_ascii_digit() || first == '.' {
            let figure = self.split(figure_length(self.rest));
            let number = figure.parse().map_err(|_| format!("{figure:?} is no number"))?;
            return self.step(Step::Number(number));
        }
        let end = self.rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(self.rest.len());
        let name = self.split(end);
        if name.is_empty() {
            return Err(format!("{:?} cannot be read in an expression", shortened(self.rest)));
        }
        let function = match name {
            "sqrt" => Function::Sqrt,
            "exp" => Function::Exp,
            "log" | "ln" => Function::Ln,
            "log10" | "lg" => Function::Log10,
            "cos" => Function::Cos,
            "sin" => Function::Sin,
            "abs" => Function::Abs,
            "atan2" => {
                if !self.take('(') {
                    return Err("atan2 takes two figures in brackets".to_owned());
                }
                self.deeper(Self::sum)?;
                if !self.take(',') {
                    return Err("atan2 takes two figures".to_owned());
                }
                self.bracket()?;
                return self.step(Step::Atan2);
            }
            symbol => {
                let place = self.symbols.iter().position(|known| known == symbol).unwrap_or_else(|| {
                    self.symbols.push(symbol.to_owned());
                    self.symbols.len() - 1
                });
                return self.step(Step::Symbol(place));
            }
        };
        if self.take('(') {
            self.bracket()?;
        } else {
            // `ln x` as it is printed.
            self.deeper(Self::power)?;
        }
        self.step(Step::Of(function))
    }

    fn split(&mut self, at: usize) -> &'r str {
        let (taken, rest) = self.rest.split_at(at);
        self.rest = rest;
        taken
    }
}

/// The beginning of what cannot be read.
fn shortened(text: &str) -> String {
    text.chars().take(20).collect()
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

#[cfg(test)]
mod tests {
    use super::*;

    fn worked_out(text: &str) -> Result<f64, String> {
        Expression::read(text)?.with_figures(&|symbol| match symbol {
            "x" => Some(-3.0),
            "y_2" => Some(0.5),
            _ => None,
        })
    }

    #[test]
    fn expressions_read_as_arithmetic_does() {
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
            ("x^-1*3", -1.0),
            ("atan2(0, 1) + abs(x)", 3.0),
            ("x^0", 1.0),
            ("2 x y_2 - 1", -4.0),
            ("2 (x + 1)^2", 8.0),
            ("1 + ln y_2 x - ln(y_2)*x", 1.0),
        ] {
            assert_eq!(worked_out(text), Ok(expected), "{text}");
            let expression = Expression::read(text).unwrap();
            let numbers: Vec<f64> =
                expression.symbols().iter().map(|symbol| if symbol == "x" { -3.0 } else { 0.5 }).collect();
            if let Some(found) = expression.with_numbers(&numbers) {
                assert_eq!(found, expected, "{text}");
            }
        }
        assert!((worked_out("4^y_2").unwrap() - 2.0).abs() < 1e-15);
        assert!((worked_out("log10(1000)").unwrap() - 3.0).abs() < 1e-15);
    }

    #[test]
    fn what_cannot_be_read_is_said() {
        for text in ["", "1 +", "(1", "1)", "foo(1)", "1 2", "#", "x*/2", "1..2", "atan2(1)", "é(", "2^(", "z"] {
            assert!(worked_out(text).is_err(), "{text}");
        }
        for text in ["(".repeat(100_000), "-".repeat(100_000), "1+".repeat(100_000) + "1", "2^".repeat(100_000)] {
            assert!(worked_out(&text).is_err());
        }
    }

    #[test]
    fn the_right_side_of_an_equation_ends_at_its_comma() {
        let right = Expression::right_side("y = b1*(1-exp(-b2*x)), no weights").unwrap();
        assert_eq!(right.symbols(), ["b1", "b2", "x"]);
        assert_eq!(Expression::right_side("Y2 = atan2(X2, X1); more").unwrap().symbols(), ["X2", "X1"]);
    }
}
