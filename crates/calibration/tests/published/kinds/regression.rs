//! Numerical correctness: summaries, analysis of variance, polynomials, nonlinear curves.

use darkline_calibration::fitted::CalibrationCurve;
use darkline_calibration::hyperbola::Hyperbola;
use darkline_calibration::least_squares::curve::{Curve, Readings};
use darkline_calibration::least_squares::marquardt;
use darkline_calibration::least_squares::number::Number;
use darkline_calibration::least_squares::polynomial::Polynomial;
use darkline_calibration::regression::{About, Regression};
use darkline_metrology::anova::OneWay;
use darkline_metrology::summary;

use crate::case::{Case, Found};

pub fn univariate(case: &Case) -> Found {
    let y = case.column("y");
    Found::from([
        ("n".into(), y.len() as f64),
        ("mean".into(), summary::mean(&y).unwrap()),
        ("sd".into(), summary::sd(&y).unwrap()),
        ("r1".into(), summary::lag_one(&y).unwrap()),
    ])
}

pub fn anova(case: &Case) -> Found {
    let (group, y) = (case.column("group"), case.column("y"));
    let mut names = group.clone();
    names.sort_by(f64::total_cmp);
    names.dedup();
    let groups: Vec<Vec<f64>> = names
        .iter()
        .map(|name| group.iter().zip(&y).filter(|(group, _)| *group == name).map(|(_, y)| *y).collect())
        .collect();
    let groups: Vec<&[f64]> = groups.iter().map(Vec::as_slice).collect();
    let table = OneWay::of(&groups).unwrap();
    Found::from([
        ("df_between".into(), table.dof_between),
        ("ss_between".into(), table.ss_between),
        ("ms_between".into(), table.ms_between()),
        ("F".into(), table.f().unwrap()),
        ("df_within".into(), table.dof_within),
        ("ss_within".into(), table.ss_within),
        ("ms_within".into(), table.ms_within()),
        ("r2".into(), table.r_squared().unwrap()),
        ("s_within".into(), table.s_within()),
    ])
}

pub fn polynomial(case: &Case) -> Found {
    let powers: Vec<usize> = case.numbers("procedure", "powers").iter().map(|&power| power as usize).collect();
    match powers.as_slice() {
        [1] => polynomial_of::<1>(case, Polynomial::ThroughOrigin),
        [0, 1] => polynomial_of::<2>(case, Polynomial::WithConstant),
        [0, 1, 2] => polynomial_of::<3>(case, Polynomial::WithConstant),
        [0, 1, 2, 3, 4, 5] => polynomial_of::<6>(case, Polynomial::WithConstant),
        other => panic!("powers {other:?}"),
    }
}

fn polynomial_of<const P: usize>(case: &Case, polynomial: Polynomial) -> Found {
    let (x, y) = (case.column("x"), case.column("y"));
    let weights = vec![1.0; x.len()];
    let readings = Readings { amounts: &x, responses: &y, weights: &weights, variances_of_amounts: None };
    let solution = polynomial.fit::<P>(&readings).unwrap();
    let about = if polynomial == Polynomial::WithConstant { About::TheMean } else { About::Zero };
    let first_power = usize::from(about == About::Zero);
    let fitted: Vec<f64> = x.iter().map(|&x| polynomial.response(x, &solution.parameters)).collect();
    let table = Regression::of(&fitted, &weights, solution.squares, P, about).unwrap();
    let s_res = (table.residual / table.dof_residual).sqrt();
    let mut found = Found::from([
        ("s_res".into(), s_res),
        ("r2".into(), table.r_squared),
        ("ss_reg".into(), table.regression),
        ("F".into(), table.f),
        ("df_res".into(), table.dof_residual),
        ("ss_res".into(), table.residual),
    ]);
    for k in 0..P {
        found.insert(format!("b{}", k + first_power), solution.parameters[k]);
        found.insert(format!("s_b{}", k + first_power), s_res * solution.covariance(k, k).sqrt());
    }
    found
}

macro_rules! curves {
    ($($(#[$doc:meta])* $name:ident<$n:literal>($x:ident, [$($b:ident),+]) = $response:expr;)+) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug)]
        struct $name;
        impl Curve<$n> for $name {
            fn response<N: Number>(&self, $x: N, &[$($b),+]: &[N; $n]) -> N {
                $response
            }
        }
    )+};
}

fn one<N: Number>() -> N {
    N::constant(1.0)
}

curves! {
    /// b1·(1 − exp(−b2·x))
    Misra1a<2>(x, [b1, b2]) = b1 * (one::<N>() - (-(b2 * x)).exp());
    /// b1·(1 − (1 + b2·x/2)⁻²)
    Misra1b<2>(x, [b1, b2]) = {
        let base = one::<N>() + b2 * x / N::constant(2.0);
        b1 * (one::<N>() - one::<N>() / (base * base))
    };
    /// b1·b2·x/(1 + b2·x)
    Misra1d<2>(x, [b1, b2]) = b1 * b2 * x / (one::<N>() + b2 * x);
    /// exp(−b1·x)/(b2 + b3·x)
    Chwirut<3>(x, [b1, b2, b3]) = (-(b1 * x)).exp() / (b2 + b3 * x);
    /// (b1 + b2·x + b3·x²)/(1 + b4·x + b5·x²)
    Kirby2<5>(x, [b1, b2, b3, b4, b5]) = (b1 + x * (b2 + x * b3)) / (one::<N>() + x * (b4 + x * b5));
    /// (b1 + b2·x + b3·x² + b4·x³)/(1 + b5·x + b6·x² + b7·x³)
    Rational33<7>(x, [b1, b2, b3, b4, b5, b6, b7]) =
        (b1 + x * (b2 + x * (b3 + x * b4))) / (one::<N>() + x * (b5 + x * (b6 + x * b7)));
    /// b1/(1 + exp(b2 − b3·x))
    Rat42<3>(x, [b1, b2, b3]) = b1 / (one::<N>() + (b2 - b3 * x).exp());
}

pub fn nonlinear(case: &Case) -> Found {
    match case.word("procedure", "model_id") {
        "misra1a" => nonlinear_of(case, Misra1a),
        "misra1b" => nonlinear_of(case, Misra1b),
        "misra1d" => nonlinear_of(case, Misra1d),
        "chwirut" => nonlinear_of(case, Chwirut),
        "kirby2" => nonlinear_of(case, Kirby2),
        "rational33" => nonlinear_of(case, Rational33),
        "rat42" => nonlinear_of(case, Rat42),
        "hyperbola" => {
            let mut found = nonlinear_of(case, Hyperbola);
            let parameters = [found["b1"], found["b2"]];
            for (place, y) in case.numbers("procedure", "unknown_y").into_iter().enumerate() {
                found.insert(format!("x0_{}", place + 1), Hyperbola.amount(y, &parameters).unwrap());
            }
            found
        }
        other => panic!("model {other}"),
    }
}

/// Both starts must lead to the same minimum.
fn nonlinear_of<const P: usize>(case: &Case, curve: impl Curve<P>) -> Found {
    let (x, y) = (case.column("x"), case.column("y"));
    let weights = vec![1.0; x.len()];
    let readings = Readings { amounts: &x, responses: &y, weights: &weights, variances_of_amounts: None };
    let from = |start: &str| {
        let start: [f64; P] = case.numbers("procedure", start).try_into().unwrap();
        marquardt::least_squares(&curve, &readings, start)
            .unwrap_or_else(|fault| panic!("{} {start:?}: {fault}", case.id))
    };
    let (minimum, other) = (from("start1"), from("start2"));
    for (one, other) in minimum.parameters.iter().zip(other.parameters) {
        assert!((one - other).abs() <= 1e-9 * one.abs(), "{}: {one} and {other} from the two starts", case.id);
    }
    let solution = minimum.solution();
    let dof = (x.len() - P) as f64;
    let s_res = (solution.squares / dof).sqrt();
    let mut found = Found::from([("ss_res".into(), solution.squares), ("s_res".into(), s_res), ("df_res".into(), dof)]);
    for k in 0..P {
        found.insert(format!("b{}", k + 1), solution.parameters[k]);
        found.insert(format!("s_b{}", k + 1), s_res * solution.covariance(k, k).sqrt());
    }
    found
}
