//! A curve that a case writes out as a formula.

use darkline_calibration::least_squares::curve::{Curve, Readings, Solution};
use darkline_calibration::least_squares::marquardt;
use darkline_calibration::least_squares::number::Number;

use crate::expression::Expression;
use crate::stop::{Stop, refused};

/// Formulas by the identity that the cases give them.
///
/// # Source
/// NIST Statistical Reference Datasets, nonlinear regression; the logistic curve in ln x of A. Racine-Poon, J. Am. Stat.
/// Assoc. 83 (1988) 650.
const KNOWN: &[(&str, &str)] = &[
    ("misra1a", "b1*(1-exp(-b2*x))"),
    ("misra1b", "b1*(1-1/((1+b2*x/2)*(1+b2*x/2)))"),
    ("misra1d", "b1*b2*x/(1+b2*x)"),
    ("chwirut", "exp(-b1*x)/(b2+b3*x)"),
    ("kirby2", "(b1+x*(b2+x*b3))/(1+x*(b4+x*b5))"),
    ("rational33", "(b1+x*(b2+x*(b3+x*b4)))/(1+x*(b5+x*(b6+x*b7)))"),
    ("rat42", "b1/(1+exp(b2-b3*x))"),
    ("loglogistic", "b1/(1+exp(b2+b3*ln(x)))"),
];

/// A formula of an amount and numbered parameters.
#[derive(Clone, Debug)]
pub(super) struct Formula {
    expression: Expression,
    /// For each symbol: the parameter it is, or `None` for the amount.
    places: Vec<Option<usize>>,
    /// The response without amount is the first parameter: the limit of a curve in ln x.
    first_at_zero: bool,
    /// How many parameters it has.
    pub(super) n_parameters: usize,
}

impl Formula {
    /// The formula of a known identity, or the right side of the model's equation.
    pub(super) fn of(model_id: &str, equation: &str) -> Result<Self, String> {
        let known = KNOWN.iter().find(|(id, _)| *id == model_id).map(|(_, formula)| *formula);
        let expression = match known {
            Some(formula) => Expression::read(formula)?,
            None if equation.is_empty() => {
                return Err(format!("{model_id} is no model known here, and no equation stands with it"));
            }
            None => {
                Expression::right_side(equation).map_err(|why| format!("{model_id} is no model known here: {why}"))?
            }
        };
        Self::in_symbols(expression, model_id == "loglogistic")
    }

    fn in_symbols(expression: Expression, first_at_zero: bool) -> Result<Self, String> {
        let amount = ["x", "c", "t"].into_iter().find(|amount| expression.symbols().iter().any(|s| s == amount));
        let amount = amount.ok_or("the equation names no x")?;
        let mut parameters: Vec<&String> = expression.symbols().iter().filter(|symbol| *symbol != amount).collect();
        // b2 stands before b10, whatever comes first; names without numbers stay in the order of the equation.
        let are_numbered = parameters.iter().all(|name| name.ends_with(|c: char| c.is_ascii_digit()));
        if are_numbered {
            parameters.sort_by_key(|name| {
                (name.trim_end_matches(|c: char| c.is_ascii_digit()).to_owned(), name.len(), (*name).clone())
            });
        }
        let places =
            expression.symbols().iter().map(|symbol| parameters.iter().position(|known| *known == symbol)).collect();
        let n_parameters = parameters.len();
        if expression.with_numbers(&vec![1.0; n_parameters + 1]).is_none() {
            return Err("the equation holds a function that has no derivative here".to_owned());
        }
        Ok(Self { places, n_parameters, first_at_zero, expression })
    }

    /// Sums of powers of the amount, each with a parameter.
    pub(super) fn of_powers(powers: &[usize]) -> Result<Self, String> {
        let terms: Vec<String> =
            powers.iter().enumerate().map(|(place, power)| format!("b{}*x^{power}", place + 1)).collect();
        Self::in_symbols(Expression::read(&format!("0*x + {}", terms.join(" + ")))?, false)
    }
}

impl<const P: usize> Curve<P> for Formula {
    fn response<N: Number>(&self, amount: N, parameters: &[N; P]) -> N {
        if self.first_at_zero && amount.value() == 0.0 {
            return parameters.first().copied().unwrap_or(N::constant(f64::NAN));
        }
        let numbers: Vec<N> = self
            .places
            .iter()
            .map(|place| place.map_or(amount, |place| parameters.get(place).copied().unwrap_or(N::constant(f64::NAN))))
            .collect();
        self.expression.with_numbers(&numbers).unwrap_or(N::constant(f64::NAN))
    }
}

/// The least squares of a curve from each of the starts, which must all lead to one minimum.
pub(super) fn from_starts<const P: usize>(
    curve: &impl Curve<P>,
    readings: &Readings<'_>,
    starts: &[[f64; P]],
) -> Result<Solution<P>, Stop> {
    let mut found: Option<Solution<P>> = None;
    for start in starts {
        let minimum = marquardt::least_squares(curve, readings, *start).map_err(refused)?;
        if let Some(first) = &found {
            for (one, other) in first.parameters.iter().zip(minimum.parameters) {
                if (one - other).abs() > 1e-9 * one.abs() {
                    return Err(refused(format!("the starts lead to different minima, with {one} and {other}")));
                }
            }
        } else {
            found = Some(minimum.solution());
        }
    }
    found.ok_or_else(|| refused("no start is given"))
}

/// Runs code for a number of parameters known only now.
macro_rules! with_parameters {
    ($n:expr, $function:ident($($argument:expr),*)) => {
        match $n {
            1 => $function::<1>($($argument),*),
            2 => $function::<2>($($argument),*),
            3 => $function::<3>($($argument),*),
            4 => $function::<4>($($argument),*),
            5 => $function::<5>($($argument),*),
            6 => $function::<6>($($argument),*),
            7 => $function::<7>($($argument),*),
            8 => $function::<8>($($argument),*),
            9 => $function::<9>($($argument),*),
            10 => $function::<10>($($argument),*),
            11 => $function::<11>($($argument),*),
            n => Err($crate::stop::refused(format!("curves of {n} parameters are not fitted"))),
        }
    };
}
pub(super) use with_parameters;
