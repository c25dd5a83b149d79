//! Standard additions and brackets.

use darkline_calibration::bracketing::{Bracket, Drift};
use darkline_calibration::standard_additions::{StandardAdditions, at_constant_volume, plain, single, successive};
use darkline_metrology::distribution::student_t;
use darkline_metrology::kind::{Kind, MassConcentration, Response, Volume};

use super::Computed;
use super::case::Case;
use crate::answer::Found;
use crate::stop::{no_value, refused};

pub(super) fn standard_additions(case: &Case<'_>) -> Computed {
    let form = case.procedure()?.need("form")?;
    let data = case.data()?;
    let (volume, amount) = (Volume::from_si, MassConcentration::from_si);
    let response = Response::from_si;
    if form.text()? == "single" {
        let (with, without) = (response(data.number_of("S_A")?), response(data.number_of("S_B")?));
        let (sample, standard) = (volume(data.number_of("V_X")?), volume(data.number_of("V_S")?));
        let found = single(with, without, sample, standard, amount(data.number_of("C_S")?)).map_err(refused)?;
        let mut figures = Found::new();
        figures.put("c_x", found.si());
        return Ok(figures);
    }
    let (x, y) = case.pair("x", "y")?;
    let by_volume = || x.iter().zip(&y).map(|(&x, &y)| (volume(x), response(y))).collect::<Vec<_>>();
    let (points, per_volume) = match form.text()? {
        "plain" => (plain(&x.iter().zip(&y).map(|(&x, &y)| (amount(x), response(y))).collect::<Vec<_>>()), None),
        "constant-volume" => {
            let (portion, standard) = (data.number_of("V_0")?, data.number_of("C_S")?);
            let points = at_constant_volume(volume(portion), amount(standard), &by_volume()).map_err(refused)?;
            (points, Some(standard / portion))
        }
        "successive" => {
            let (portion, standard) = (volume(data.number_of("V_0")?), amount(data.number_of("C_S")?));
            (successive(portion, standard, &by_volume()).map_err(refused)?, None)
        }
        other => return Err(form.fault(format!("{other} is no form of standard additions known here")).into()),
    };
    let found = StandardAdditions::fit(&points).map_err(refused)?;
    let level = case.level()?;
    // The case of equal volumes states slope and intercept against the volume of standard; the library always counts mass
    // concentration added to the native sample.
    let scale = per_volume.unwrap_or(1.0);
    let mut figures = Found::new();
    figures.put("slope", found.line.slope.si() * scale);
    figures.put("intercept", found.line.intercept.si());
    figures.put("s_slope", found.line.u_slope.si() * scale);
    figures.put("s_intercept", found.line.u_intercept.si());
    figures.put("s_yx", found.line.residual_sd.si());
    figures.put("r", found.line.r);
    figures.put_if("t", student_t::coverage_factor(level, found.line.dof() as f64));
    figures.put("x_E", found.amount.si() / scale);
    figures.put("s_xE", found.u.si() / scale);
    figures.put_if("ci", found.half_width(level).map(|half| half.si() / scale));
    figures.put("c_x", found.amount.si());
    figures.put("s_c_x", found.u.si());
    figures.put_if("ci_c_x", found.half_width(level).map(Kind::si));
    let limits = found.limits(level);
    figures.put_or("fieller_lower", limits.as_ref().map(|limits| limits.low.si() / scale));
    figures.put_or("fieller_upper", limits.as_ref().map(|limits| limits.high.si() / scale));
    Ok(figures)
}

pub(super) fn brackets(case: &Case<'_>) -> Computed {
    let mut found = Found::new();
    for (place, row) in case.data()?.list_of("brackets")?.iter().enumerate() {
        let bracket = Bracket {
            low: MassConcentration::from_si(row.number_of("c_low")?),
            high: MassConcentration::from_si(row.number_of("c_high")?),
            response_low: Response::from_si(row.number_of("y_low")?),
            response_high: Response::from_si(row.number_of("y_high")?),
        };
        let response = Response::from_si(row.number_of("y_sample")?);
        found.put_or(format!("c_{}", place + 1), bracket.amount(response).map(|found| found.amount.si()));
        if let Some(u) = row.number_if("u_y")? {
            let u = bracket.u_amount(response, Response::from_si(u));
            found.put_or(format!("u_{}", place + 1), u.map(Kind::si));
        }
    }
    Ok(found)
}

pub(super) fn drifting_brackets(case: &Case<'_>) -> Computed {
    let data = case.data()?;
    let types = data.need("type")?;
    let (positions, signals) = case.pair("position", "signal")?;
    let words: Vec<&str> = types.list()?.iter().map(|word| word.text()).collect::<Result<_, _>>()?;
    if words.len() != positions.len() {
        return Err(types.fault(format!("type has {} entries, {} are wanted", words.len(), positions.len())).into());
    }
    let rows: Vec<(f64, &str, Response)> = positions
        .into_iter()
        .zip(words)
        .zip(signals)
        .map(|((position, what), signal)| (position, what, Response::from_si(signal)))
        .collect();
    let of = |wanted: &str| {
        let readings: Vec<_> = rows.iter().filter(|(_, what, _)| *what == wanted).map(|(at, _, y)| (*at, *y)).collect();
        Drift::of(&readings).ok_or_else(|| no_value(&format!("the drift of the {wanted} standard")))
    };
    let amount = |key: &str| data.number_of(key).map(MassConcentration::from_si);
    let (low, high) = (of("low")?, of("high")?);
    let (amount_low, amount_high) = (amount("c_low")?, amount("c_high")?);
    let mut found = Found::new();
    for (place, (at, _, response)) in rows.iter().filter(|(_, what, _)| *what == "sample").enumerate() {
        let bracket = Bracket::at((amount_low, &low), (amount_high, &high), *at);
        found.put_or(format!("c_{}", place + 1), bracket.amount(*response).map(|found| found.amount.si()));
    }
    Ok(found)
}
