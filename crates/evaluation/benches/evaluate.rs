//! How long the demo's order takes to evaluate, against the reduction of its pulses alone in the same run.
//!
//! `cargo bench -p darkline-evaluation --bench evaluate`: the package of `corpus/millrace-lead.json`, 94 pulses of 500 samples,
//! one thread. The ratio says what calibration, budgets and rules cost on top of what must be read in any case.

use std::error::Error;
use std::hint::black_box;
use std::path::Path;
use std::time::{Duration, Instant};

use darkline_evaluation::evaluate;
use darkline_record::decision::Decision;
use darkline_record::package::DataPackage;
use darkline_signal::{Times, Trace, Window, reduce};
use serde::Deserialize;

#[derive(Deserialize)]
struct Held {
    package: DataPackage,
    decisions: Vec<Decision>,
}

const ROUNDS: usize = 50;

fn main() -> Result<(), Box<dyn Error>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../corpus/millrace-lead.json");
    let held: Held = serde_json::from_str(&std::fs::read_to_string(path)?)?;
    let window = Window { baseline_from_s: -0.4, baseline_to_s: 0.0, from_s: 0.0, to_s: 4.0 };
    let one_thread = rayon::ThreadPoolBuilder::new().num_threads(1).build()?;
    let (mut reducing, mut evaluating) = (Vec::new(), Vec::new());
    one_thread.install(|| {
        for _ in 0..ROUNDS {
            reducing.push(timed(|| {
                for pulse in held.package.pulses.values() {
                    let times = Times::Even { start_s: pulse.t_s()[0], rate_hz: 100.0 };
                    let trace =
                        Trace::new(times, pulse.total(), pulse.background()).expect("the corpus holds sound pulses");
                    black_box(reduce(&trace, &window).expect("the window lies within them"));
                }
            }));
            evaluating.push(timed(|| {
                black_box(evaluate(&held.package, &held.decisions).expect("the edition is known"));
            }));
        }
    });
    let (reducing, evaluating) = (median(reducing), median(evaluating));
    println!("pulses       {}", held.package.pulses.len());
    println!("reduce       {:>8.1} µs", 1e6 * reducing.as_secs_f64());
    println!("evaluate     {:>8.1} µs", 1e6 * evaluating.as_secs_f64());
    println!(
        "evaluate / reduce = {:.2}, one thread, medians of {ROUNDS} rounds",
        evaluating.as_secs_f64() / reducing.as_secs_f64()
    );
    Ok(())
}

fn timed(work: impl FnOnce()) -> Duration {
    let start = Instant::now();
    work();
    start.elapsed()
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}
