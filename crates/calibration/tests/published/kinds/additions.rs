//! Standard additions and brackets.

use darkline_calibration::bracketing::{Bracket, Drift};
use darkline_calibration::standard_additions::{StandardAdditions, at_constant_volume, plain, single, successive};
use darkline_metrology::distribution::student_t;
use darkline_metrology::kind::{Kind, MassConcentration, Response, Volume};

use crate::case::{Case, Found};

pub fn standard_additions(case: &Case) -> Found {
    let form = case.word("procedure", "form");
    let (volume, amount) = (Volume::from_si, MassConcentration::from_si);
    let response = Response::from_si;
    if form == "single" {
        let data = |key: &str| case.number("data", key);
        let (with, without) = (response(data("S_A")), response(data("S_B")));
        let found = single(with, without, volume(data("V_X")), volume(data("V_S")), amount(data("C_S"))).unwrap();
        return Found::from([("c_x".into(), found.si())]);
    }
    let (x, y) = (case.column("x"), case.column("y"));
    let by_volume = || x.iter().zip(&y).map(|(&x, &y)| (volume(x), response(y))).collect::<Vec<_>>();
    let (points, per_volume) = match form {
        "plain" => (plain(&x.iter().zip(&y).map(|(&x, &y)| (amount(x), response(y))).collect::<Vec<_>>()), None),
        "constant-volume" => {
            let (portion, standard) = (case.number("data", "V_0"), case.number("data", "C_S"));
            let points = at_constant_volume(volume(portion), amount(standard), &by_volume()).unwrap();
            (points, Some(standard / portion))
        }
        "successive" => {
            let (portion, standard) = (volume(case.number("data", "V_0")), amount(case.number("data", "C_S")));
            (successive(portion, standard, &by_volume()).unwrap(), None)
        }
        other => panic!("form {other}"),
    };
    let found = StandardAdditions::fit(&points).unwrap();
    let level = case.number("procedure", "level");
    let limits = found.limits(level).unwrap();
    // The case of equal volumes states slope and intercept against the volume of standard; the library always counts mass
    // concentration added to the native sample.
    let scale = per_volume.unwrap_or(1.0);
    Found::from([
        ("slope".into(), found.line.slope.si() * scale),
        ("intercept".into(), found.line.intercept.si()),
        ("s_yx".into(), found.line.residual_sd.si()),
        ("r".into(), found.line.r),
        ("t".into(), student_t::coverage_factor(level, found.line.dof() as f64).unwrap()),
        ("x_E".into(), found.amount.si() / scale),
        ("s_xE".into(), found.u.si() / scale),
        ("ci".into(), found.half_width(level).unwrap().si() / scale),
        ("c_x".into(), found.amount.si()),
        ("s_c_x".into(), found.u.si()),
        ("fieller_lower".into(), limits.low.si() / scale),
        ("fieller_upper".into(), limits.high.si() / scale),
    ])
}

pub fn brackets(case: &Case) -> Found {
    let mut found = Found::new();
    for (place, row) in case.rows("data", "brackets").iter().enumerate() {
        let bracket = Bracket {
            low: MassConcentration::from_si(row.number("c_low")),
            high: MassConcentration::from_si(row.number("c_high")),
            response_low: Response::from_si(row.number("y_low")),
            response_high: Response::from_si(row.number("y_high")),
        };
        let response = Response::from_si(row.number("y_sample"));
        let u = bracket.u_amount(response, Response::from_si(row.number("u_y"))).unwrap();
        found.insert(format!("c_{}", place + 1), bracket.amount(response).unwrap().amount.si());
        found.insert(format!("u_{}", place + 1), u.si());
    }
    found
}

pub fn drifting_brackets(case: &Case) -> Found {
    let rows: Vec<(f64, &str, Response)> = case
        .column("position")
        .into_iter()
        .zip(case.words("data", "type"))
        .zip(case.column("signal"))
        .map(|((position, what), signal)| (position, what, Response::from_si(signal)))
        .collect();
    let of = |wanted: &str| {
        let readings: Vec<_> = rows.iter().filter(|(_, what, _)| *what == wanted).map(|(at, _, y)| (*at, *y)).collect();
        Drift::of(&readings).unwrap()
    };
    let amount = |key: &str| MassConcentration::from_si(case.number("data", key));
    let (low, high) = (of("low"), of("high"));
    let mut found = Found::new();
    for (place, (at, _, response)) in rows.iter().filter(|(_, what, _)| *what == "sample").enumerate() {
        let bracket = Bracket::at((amount("c_low"), &low), (amount("c_high"), &high), *at);
        found.insert(format!("c_{}", place + 1), bracket.amount(*response).unwrap().amount.si());
    }
    found
}
