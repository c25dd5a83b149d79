//! How long fits take: `cargo bench -p darkline-calibration`.
//!
//! 100 000 weighted quadratics of 8 points, as the re-evaluation of an archive or a Monte Carlo run needs them, beside the
//! straight line and the hyperbola, each through the door that evaluation uses and through the node.

#![allow(clippy::unwrap_used)] // A benchmark may stop.

use darkline_calibration::fitted::Fitted;
use darkline_calibration::hyperbola::Hyperbola;
use darkline_calibration::line::{Line, LineFit, Point};
use darkline_calibration::node::CurveFit;
use darkline_calibration::point::Dispersion;
use darkline_calibration::quadratic::Quadratic;
use darkline_metrology::kind::{Kind, MassConcentration, Response};
use darkline_metrology::model::Fit;
use divan::Bencher;
use divan::counter::ItemsCount;

const N_FITS: usize = 100_000;

fn main() {
    divan::main();
}

/// Eight standards, a little different at each trial.
fn points(trial: usize) -> [Point; 8] {
    let unit = MassConcentration::usual_unit();
    std::array::from_fn(|place| {
        let amount = 2.5 * place as f64;
        let noise = 1e-4 * ((trial * 8 + place) as f64 * 0.618_033_988_749_895).fract();
        Point {
            amount: unit.of(amount),
            response: Response::from_si(0.002 + 0.04 * amount / (1.0 + 0.01 * amount) + noise),
            weight: 1.0 / (1.0 + amount),
        }
    })
}

fn inputs(points: &[Point; 8]) -> [f64; 16] {
    std::array::from_fn(|place| if place < 8 { points[place].response.si() } else { points[place - 8].amount.si() })
}

fn run<R>(bencher: Bencher, fit: impl Fn(&[Point; 8]) -> R + Sync) {
    let calibrations: Vec<[Point; 8]> = (0..N_FITS).map(points).collect();
    bencher.counter(ItemsCount::new(N_FITS)).bench(|| {
        for points in &calibrations {
            divan::black_box(fit(divan::black_box(points)));
        }
    });
}

#[divan::bench(sample_count = 10)]
fn quadratic(bencher: Bencher) {
    run(bencher, |points| Fitted::fit(Quadratic, points, Dispersion::Estimated).unwrap());
}

#[divan::bench(sample_count = 10)]
fn quadratic_node(bencher: Bencher) {
    let start = Fitted::fit(Quadratic, &points(0), Dispersion::Estimated).unwrap().solution.parameters;
    let node = CurveFit::new(Quadratic, start, points(0).map(|point| point.weight).to_vec(), "1/amount");
    run(bencher, |points| {
        let mut parameters = [0.0; 3];
        node.solve(&inputs(points), &mut parameters).unwrap();
        parameters
    });
}

#[divan::bench(sample_count = 10)]
fn line(bencher: Bencher) {
    run(bencher, |points| Line::fit(points).unwrap());
}

#[divan::bench(sample_count = 10)]
fn line_node(bencher: Bencher) {
    let node = LineFit::new(points(0).map(|point| point.weight).to_vec(), "1/amount");
    run(bencher, |points| {
        let mut parameters = [0.0; 2];
        node.solve(&inputs(points), &mut parameters).unwrap();
        parameters
    });
}

#[divan::bench(sample_count = 10)]
fn hyperbola_node(bencher: Bencher) {
    let start = Fitted::fit(Hyperbola, &points(0), Dispersion::Estimated).unwrap().solution.parameters;
    let node = CurveFit::new(Hyperbola, start, points(0).map(|point| point.weight).to_vec(), "1/amount");
    run(bencher, |points| {
        let mut parameters = [0.0; 2];
        node.solve(&inputs(points), &mut parameters).unwrap();
        parameters
    });
}
