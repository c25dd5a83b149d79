//! Draws the pictures of the documentation: pulse and calibration from the held package of the demo, a dipped pulse and two
//! ranges of one firing from the formulas of their physics. `cargo run -p darkline-report --example draw_demo`.

use std::error::Error;
use std::path::Path;

use darkline_evaluation::evaluate;
use darkline_record::decision::Decision;
use darkline_record::package::DataPackage;
use darkline_report::composing::{Issued, compose};
use darkline_report::figure::{Dipped, Figure, Medium, TwoRanges, dipped, two_ranges};
use darkline_signal::pulse_shape::SupplyLoss;
use darkline_signal::restored_area::{MeasuredCurve, restored_area};
use darkline_signal::roll_over::NetCurve;
use darkline_signal::two_ranges::{Reading, ThreeFields, joined};
use darkline_signal::{Times, Trace, Window, reduce};
use serde::Deserialize;

#[derive(Deserialize)]
struct Held {
    package: DataPackage,
    decisions: Vec<Decision>,
}

fn main() -> Result<(), Box<dyn Error>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let held: Held = serde_json::from_str(&std::fs::read_to_string(root.join("corpus/millrace-lead.json"))?)?;
    let outcome = evaluate(&held.package, &held.decisions)?;
    let nobody = Issued {
        because: None,
        changes: Vec::new(),
        justified_by: Default::default(),
        report: "none".into(),
        supersedes: None,
        at: "2026-03-05T15:00:00+01:00".into(),
        signatures: Vec::new(),
        issued_by: "nobody".into(),
        size: 0,
        root: String::new(),
        laboratory: None,
        program: "draw_demo".into(),
    };
    let annex = compose(&held.package, &outcome, &nobody).annex.ok_or("a composed report has an annex")?;
    for (name, figure) in ["pulse", "calibration"].iter().zip(&annex.figures) {
        std::fs::write(root.join("docs/picture").join(format!("{name}.svg")), &figure.svg)?;
        println!("docs/picture/{name}.svg: {}", figure.description);
    }
    for (name, figure) in [("dipped-pulse", dipped_pulse()?), ("two-ranges", both_ranges()?)] {
        std::fs::write(root.join("docs/picture").join(format!("{name}.svg")), &figure.svg)?;
        println!("docs/picture/{name}.svg: {}", figure.description);
    }
    Ok(())
}

const WINDOW: Window = Window { baseline_from_s: -0.5, baseline_to_s: 0.0, from_s: 0.0, to_s: 3.0 };
const TIMES: Times<'static> = Times::Even { start_s: -0.5, rate_hz: 100.0 };
const FIELDS: ThreeFields = ThreeFields { stray_fraction: 0.01, left_at_middle: 0.3, left_at_full: 0.08 };

/// What one phase of a firing reads: a pulse of a height, the part of it left in the field, and a ripple for noise.
fn phase(height: f64, left: f64, seed: u32) -> Vec<f32> {
    let shape = SupplyLoss { area: 1.0, k_supply_per_s: 5.0, k_loss_per_s: 3.0, start_s: 0.3 };
    let scale = left * height / shape.peak().height;
    let mut state = seed;
    (0..351)
        .map(|i| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = 0.004 * (f64::from(state >> 8) / 16_777_216.0 - 0.5);
            let truth = FIELDS.sensitive().total(scale * shape.absorbance(f64::from(i) / 100.0 - 0.5));
            (truth + noise) as f32
        })
        .collect()
}

fn doubles(values: &[f32]) -> Vec<f64> {
    values.iter().map(|&value| f64::from(value)).collect()
}

fn net(one: &[f32], other: &[f32]) -> Vec<f64> {
    one.iter().zip(other).map(|(a, b)| f64::from(*a) - f64::from(*b)).collect()
}

fn measured(curve: &NetCurve) -> Result<MeasuredCurve, Box<dyn Error>> {
    let net_at_roll_over = curve.roll_over().ok_or("a curve with a roll-over")?.net;
    Ok(MeasuredCurve {
        net_at_roll_over,
        u_net_at_roll_over: 0.01 * net_at_roll_over,
        sensitivity_ratio: curve.sensitivity_ratio,
        u_sensitivity_ratio: 0.005,
    })
}

fn dipped_pulse() -> Result<Figure, Box<dyn Error>> {
    let curve = FIELDS.sensitive();
    let (total, background) = (phase(4.5, 1.0, 1), phase(4.5, FIELDS.left_at_full, 2));
    let trace = Trace::new(TIMES, &total, &background)?;
    let restored = restored_area(&trace, &WINDOW, &measured(&curve)?)?.ok_or("a curve with a roll-over")?;
    let from = total.len() - restored.t_s.len();
    let scaled: Vec<f64> = restored.true_absorbance.iter().map(|a0| a0 * curve.initial_slope()).collect();
    let (total, net) = (doubles(&total), net(&total, &background));
    Ok(dipped(
        &Dipped {
            id: "dipped",
            title: "A pulse beyond the roll-over, restored",
            time_s: &restored.t_s,
            total: &total[from..],
            net: &net[from..],
            restored: &scaled,
            roll_over: measured(&curve)?.net_at_roll_over,
            dip_s: restored.dip_s,
            response: &format!("({:.2} ± {:.2}) s", restored.area, 2.0 * restored.u),
        },
        Medium::Page,
    ))
}

fn both_ranges() -> Result<Figure, Box<dyn Error>> {
    let height = 1.9;
    let (zero, middle, full) =
        (phase(height, 1.0, 3), phase(height, FIELDS.left_at_middle, 4), phase(height, FIELDS.left_at_full, 5));
    let curve = FIELDS.sensitive();
    let read = |total: &[f32], curve: &NetCurve| -> Result<(Reading, f64), Box<dyn Error>> {
        let trace = Trace::new(TIMES, total, &full)?;
        let restored = restored_area(&trace, &WINDOW, &measured(curve)?)?.ok_or("a curve with a roll-over")?;
        let highest = reduce(&trace, &WINDOW)?.peak_absorbance / measured(curve)?.net_at_roll_over;
        Ok((Reading { value: restored.area, u: restored.u }, highest))
    };
    let (sensitive, highest) = read(&zero, &curve)?;
    let (reduced, _) = read(&middle, &FIELDS.reduced())?;
    let ratio = Reading { value: FIELDS.slope_ratio(), u: 0.002 };
    let both = joined(sensitive, reduced, ratio, highest, 0.3);
    let time_s: Vec<f64> = (0..351).map(|i| f64::from(i) / 100.0 - 0.5).collect();
    Ok(two_ranges(
        &TwoRanges {
            id: "ranges",
            title: "Two ranges from one firing",
            time_s: &time_s,
            sensitive: &net(&zero, &full),
            reduced: &net(&middle, &full),
            roll_over: Some(measured(&curve)?.net_at_roll_over),
            limits_s: Some((WINDOW.from_s, WINDOW.to_s)),
            response: &format!("({:.3} ± {:.3}) s", both.reading.value, 2.0 * both.reading.u),
            weight_sensitive: Some(both.weight_sensitive),
        },
        Medium::Page,
    ))
}
