//! `stray_light.toml`: ceilings, bent curves and the roll-over.

use darkline_signal::line_width::{self, BandpassLine};
use darkline_signal::roll_over::NetCurve;
use darkline_signal::stray_light::StrayLight;

use super::case::{Case, Computed, Figures};
use crate::stop::{Stop, no_value};

/// stray_light.toml, case by case: absorbance bends by stray light and line width as the formulas have it.
///
/// M. T. C. de Loos-Vollebregt, L. de Galan, Spectrochim. Acta 33B (1978) 495 (from memory) for the net curve; figures
/// recomputed.
pub(super) fn compute(case: &Case<'_>) -> Computed {
    Ok(match case.family() {
        "stray_alpha" => stray_alpha(case),
        "stray_inverse" => {
            let channel = StrayLight { fraction: case.number("alpha") };
            vec![("A0", each(case, "A", |a| case.or_none(channel.linearised(a), "a value above the ceiling")))]
        }
        "net_curve" => net_curve(case)?,
        "rollover_table" => rollover_table(case),
        "stray_fraction_from_rollover" => stray_fraction_from_rollover(case),
        "both_branches" => {
            let curve = curve(case);
            let rising = each(case, "A_net", |net| case.or_none(curve.rising(net), "the rising branch"));
            let falling = each(case, "A_net", |net| case.or_none(curve.falling(net), "the falling branch"));
            vec![("A0_rising", rising), ("A0_falling", falling)]
        }
        "background_lowers_the_ceiling" => background_lowers_the_ceiling(case),
        "gaussian_line_width_ratio" => {
            let rho = case.number("rho");
            let slope = line_width::gaussian_lines_initial_slope(rho);
            let a = each(case, "A_centre", |a| line_width::gaussian_lines(rho, a));
            vec![("A", a), ("initial_slope", slope.into())]
        }
        "two_lines_in_the_slit" => two_lines(case),
        _ => return Err(Stop::Unknown),
    })
}

fn each(case: &Case<'_>, key: &str, of: impl Fn(f64) -> f64) -> crate::answer::Answer {
    case.numbers(key).into_iter().map(of).collect::<Vec<f64>>().into()
}

fn curve(case: &Case<'_>) -> NetCurve {
    NetCurve { stray_fraction: case.number("alpha"), sensitivity_ratio: case.number("R") }
}

fn stray_alpha(case: &Case<'_>) -> Figures {
    let channel = StrayLight { fraction: case.number("alpha") };
    vec![
        ("A", each(case, "A0", |a0| channel.measured(a0))),
        ("A_limit", channel.ceiling().into()),
        ("A0_where_10_percent_low", channel.low_by(0.1).into()),
    ]
}

fn net_curve(case: &Case<'_>) -> Computed {
    let curve = curve(case);
    let top = curve.roll_over().ok_or_else(|| no_value("the roll-over"))?;
    Ok(vec![
        ("A_net", each(case, "A0", |a0| curve.net(a0))),
        ("A0_rollover", top.true_absorbance.into()),
        ("A_rollover", top.net.into()),
        ("initial_slope", curve.initial_slope().into()),
        ("total_at_rollover", top.total.into()),
        ("background_channel_at_rollover", top.background.into()),
    ])
}

fn rollover_table(case: &Case<'_>) -> Figures {
    let pairs = case.numbers("alpha").into_iter().zip(case.numbers("R"));
    let (a0, net): (Vec<f64>, Vec<f64>) = pairs
        .map(|(stray_fraction, sensitivity_ratio)| {
            let top = NetCurve { stray_fraction, sensitivity_ratio }.roll_over();
            let net = case.or_none(top.as_ref().map(|top| top.net), "the roll-over");
            (top.map_or(f64::NAN, |top| top.true_absorbance), net)
        })
        .unzip();
    vec![("A0_rollover", a0.into()), ("A_rollover", net.into())]
}

fn stray_fraction_from_rollover(case: &Case<'_>) -> Figures {
    let pairs = case.numbers("A_rollover").into_iter().zip(case.numbers("R"));
    let (alpha, a0): (Vec<f64>, Vec<f64>) = pairs
        .map(|(net, r)| {
            let curve = NetCurve::from_roll_over(net, r);
            (curve.stray_fraction, case.or_none(curve.roll_over().map(|top| top.true_absorbance), "the roll-over"))
        })
        .unzip();
    vec![("alpha", alpha.into()), ("A0_rollover", a0.into())]
}

fn background_lowers_the_ceiling(case: &Case<'_>) -> Figures {
    let (curve, a0) = (curve(case), case.number("A0"));
    let net = |b: f64| curve.behind_background(b).net(a0);
    let channels = |b: f64| {
        let channel = StrayLight { fraction: curve.stray_fraction };
        let left = (1.0 - curve.sensitivity_ratio) * a0;
        (channel.measured(a0 + b), channel.measured(left + b))
    };
    vec![
        ("A_net", each(case, "B", net)),
        (
            "A_rollover",
            each(case, "B", |b| {
                case.or_none(curve.behind_background(b).roll_over().map(|top| top.net), "the roll-over")
            }),
        ),
        ("A0_if_background_ignored", each(case, "B", |b| case.or_none(curve.rising(net(b)), "the rising branch"))),
        (
            "A0_two_channel",
            each(case, "B", |b| {
                let (total, background) = channels(b);
                case.or_none(curve.from_channels(total, background), "a value above the ceiling")
            }),
        ),
    ]
}

fn two_lines(case: &Case<'_>) -> Figures {
    let pairs = case.numbers("w").into_iter().zip(case.numbers("r"));
    let lines: Vec<BandpassLine> =
        pairs.map(|(weight, relative_absorptivity)| BandpassLine { weight, relative_absorptivity }).collect();
    vec![
        ("A", each(case, "A0", |a0| line_width::several_lines(&lines, a0))),
        ("initial_slope", line_width::several_lines_initial_slope(&lines).into()),
    ]
}
