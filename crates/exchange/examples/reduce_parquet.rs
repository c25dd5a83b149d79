//! Reduces the pulses of a Parquet file in constant memory, however many there are.
//!
//! `cargo run --release -p darkline-exchange --example reduce_parquet -- make FILE N` writes N pulses of 500 samples;
//! `… -- reduce FILE` reads, reduces and prints their number, the sum of their areas, the time, and the most memory the
//! program ever held.

#![allow(clippy::unwrap_used, reason = "an example ends where it cannot go on")]

use std::error::Error;
use std::fs::File;
use std::io::BufWriter;
use std::time::Instant;

use darkline_exchange::pulse_stream::{PulseWriter, each};
use darkline_record::pulse::Pulse;
use darkline_signal::pulse_shape::SupplyLoss;
use darkline_signal::{Batch, Times, Window, examine, reduce_into};

const N_SAMPLES: usize = 500;
const RATE_HZ: f64 = 100.0;
const WINDOW: Window = Window { baseline_from_s: 0.0, baseline_to_s: 0.25, from_s: 0.25, to_s: 4.74 };
/// Pulses that are reduced at a time: some 16 megabytes of samples.
const TOGETHER: usize = 4096;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match arguments.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["make", file, n] => make(file, n.parse()?),
        ["reduce", file] => reduce(file),
        _ => Err("make FILE N, or reduce FILE".into()),
    }
}

fn make(file: &str, n: u32) -> Result<(), Box<dyn Error>> {
    let mut writer = PulseWriter::new(BufWriter::new(File::create(file)?))?;
    let t_s: Vec<f64> = (0..N_SAMPLES).map(|i| i as f64 / RATE_HZ).collect();
    let mut state = 20_u64;
    let mut uniform = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f64 / 16_777_216.0
    };
    for reading in 0..n {
        let shape = SupplyLoss {
            area: 0.02 + 0.8 * uniform(),
            k_supply_per_s: 3.0 + 4.0 * uniform(),
            k_loss_per_s: 2.0 + 2.0 * uniform(),
            start_s: 0.4 + 0.5 * uniform(),
        };
        // Four digits behind the point, as an instrument writes them.
        let digits = |absorbance: f64| ((absorbance * 1e4).round() / 1e4) as f32;
        let background: Vec<f32> = t_s.iter().map(|_| digits(0.004 * uniform())).collect();
        let total =
            t_s.iter().zip(&background).map(|(&t, &b)| digits(shape.absorbance(t) + 0.004 * uniform() + f64::from(b)));
        writer.append(reading, &Pulse::new(t_s.clone(), total.collect(), background)?)?;
    }
    Ok(writer.finish()?)
}

fn reduce(file: &str) -> Result<(), Box<dyn Error>> {
    let begin = Instant::now();
    let mut heap = Heap::default();
    let n = each(file, File::open(file)?, &mut |_, pulse| heap.put(&pulse))?;
    heap.empty();
    println!("{n} pulses, {} of them with a fault, areas add up to {:.6} s", heap.faults, heap.areas);
    println!("{:.1} s", begin.elapsed().as_secs_f64());
    if let Some(line) = std::fs::read_to_string("/proc/self/status")?.lines().find(|line| line.starts_with("VmHWM")) {
        println!("most memory held: {}", line.trim_start_matches("VmHWM:").trim());
    }
    Ok(())
}

/// Pulses of one length and rate, waiting to be reduced together.
#[derive(Default)]
struct Heap {
    total: Vec<f32>,
    background: Vec<f32>,
    answers: Vec<darkline_signal::Answer>,
    areas: f64,
    faults: u64,
}

impl Heap {
    fn put(&mut self, pulse: &Pulse) {
        let is_usual =
            pulse.t_s().len() == N_SAMPLES && Times::of(pulse.t_s()) == Times::Even { start_s: 0.0, rate_hz: RATE_HZ };
        if is_usual {
            self.total.extend_from_slice(pulse.total());
            self.background.extend_from_slice(pulse.background());
            if self.total.len() == TOGETHER * N_SAMPLES {
                self.empty();
            }
        } else {
            // Another length or rate: on its own.
            match examine(pulse.t_s(), pulse.total(), pulse.background(), &WINDOW) {
                Ok(figures) => self.areas += figures.reduced.integrated_absorbance,
                Err(_) => self.faults += 1,
            }
        }
    }

    fn empty(&mut self) {
        let batch = Batch {
            total: &self.total,
            background: &self.background,
            n_samples: N_SAMPLES,
            start_s: 0.0,
            rate_hz: RATE_HZ,
        };
        reduce_into(&batch, &WINDOW, &mut self.answers).unwrap();
        for answer in &self.answers {
            match answer {
                Ok(figures) => self.areas += figures.integrated_absorbance,
                Err(_) => self.faults += 1,
            }
        }
        self.total.clear();
        self.background.clear();
    }
}
