//! `stray_light.toml`: ceilings, bent curves and the roll-over.

use darkline_signal::line_width::{self, BandpassLine};
use darkline_signal::roll_over::NetCurve;
use darkline_signal::stray_light::StrayLight;

use super::case::{Case, Figures};

/// stray_light.toml, case by case: absorbance bends by stray light and line width as the formulas have it.
///
/// M. T. C. de Loos-Vollebregt, L. de Galan, Spectrochim. Acta 33B (1978) 495 (from memory) for the net curve; figures
/// recomputed.
pub fn compute(case: &Case) -> Option<Figures> {
    let families = ["stray_alpha", "net_curve", "gaussian_line_width_ratio"];
    Some(match case.family(&families) {
        "stray_alpha" => stray_alpha(case),
        "stray_inverse" => {
            let channel = StrayLight { fraction: case.number("alpha") };
            vec![("A0", each(case, "A", |a| channel.linearised(a).expect("below the ceiling")))]
        }
        "net_curve" => net_curve(case),
        "rollover_table" => rollover_table(case),
        "stray_fraction_from_rollover" => stray_fraction_from_rollover(case),
        "both_branches" => {
            let curve = curve(case);
            let rising = each(case, "A_net", |net| curve.rising(net).expect("a branch"));
            let falling = each(case, "A_net", |net| curve.falling(net).expect("a branch"));
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
        _ => return None,
    })
}

fn each(case: &Case, key: &str, of: impl Fn(f64) -> f64) -> super::case::Found {
    case.numbers(key).into_iter().map(of).collect::<Vec<f64>>().into()
}

fn curve(case: &Case) -> NetCurve {
    NetCurve { stray_fraction: case.number("alpha"), sensitivity_ratio: case.number("R") }
}

fn stray_alpha(case: &Case) -> Figures {
    let channel = StrayLight { fraction: case.number("alpha") };
    vec![
        ("A", each(case, "A0", |a0| channel.measured(a0))),
        ("A_limit", channel.ceiling().into()),
        ("A0_where_10_percent_low", channel.low_by(0.1).into()),
    ]
}

fn net_curve(case: &Case) -> Figures {
    let curve = curve(case);
    let top = curve.roll_over().expect("a roll-over");
    vec![
        ("A_net", each(case, "A0", |a0| curve.net(a0))),
        ("A0_rollover", top.true_absorbance.into()),
        ("A_rollover", top.net.into()),
        ("initial_slope", curve.initial_slope().into()),
        ("total_at_rollover", top.total.into()),
        ("background_channel_at_rollover", top.background.into()),
    ]
}

fn rollover_table(case: &Case) -> Figures {
    let pairs = case.numbers("alpha").into_iter().zip(case.numbers("R"));
    let (a0, net): (Vec<f64>, Vec<f64>) = pairs
        .map(|(stray_fraction, sensitivity_ratio)| {
            let top = NetCurve { stray_fraction, sensitivity_ratio }.roll_over().expect("a roll-over");
            (top.true_absorbance, top.net)
        })
        .unzip();
    vec![("A0_rollover", a0.into()), ("A_rollover", net.into())]
}

fn stray_fraction_from_rollover(case: &Case) -> Figures {
    let pairs = case.numbers("A_rollover").into_iter().zip(case.numbers("R"));
    let (alpha, a0): (Vec<f64>, Vec<f64>) = pairs
        .map(|(net, r)| {
            let curve = NetCurve::from_roll_over(net, r);
            (curve.stray_fraction, curve.roll_over().expect("a roll-over").true_absorbance)
        })
        .unzip();
    vec![("alpha", alpha.into()), ("A0_rollover", a0.into())]
}

fn background_lowers_the_ceiling(case: &Case) -> Figures {
    let (curve, a0) = (curve(case), case.number("A0"));
    let net = |b: f64| curve.behind_background(b).net(a0);
    let channels = |b: f64| {
        let channel = StrayLight { fraction: curve.stray_fraction };
        let left = (1.0 - curve.sensitivity_ratio) * a0;
        (channel.measured(a0 + b), channel.measured(left + b))
    };
    vec![
        ("A_net", each(case, "B", net)),
        ("A_rollover", each(case, "B", |b| curve.behind_background(b).roll_over().expect("a roll-over").net)),
        ("A0_if_background_ignored", each(case, "B", |b| curve.rising(net(b)).expect("the rising branch"))),
        (
            "A0_two_channel",
            each(case, "B", |b| {
                let (total, background) = channels(b);
                curve.from_channels(total, background).expect("below the ceiling")
            }),
        ),
    ]
}

fn two_lines(case: &Case) -> Figures {
    let pairs = case.numbers("w").into_iter().zip(case.numbers("r"));
    let lines: Vec<BandpassLine> =
        pairs.map(|(weight, relative_absorptivity)| BandpassLine { weight, relative_absorptivity }).collect();
    vec![
        ("A", each(case, "A0", |a0| line_width::several_lines(&lines, a0))),
        ("initial_slope", line_width::several_lines_initial_slope(&lines).into()),
    ]
}
