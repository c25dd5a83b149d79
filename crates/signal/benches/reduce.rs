//! Reduces 100 000 pulses and holds time and figures against numpy and scipy, in one run.
//!
//! `cargo bench -p darkline-signal --bench reduce -- [FILE]`. The file of pulses is made where it is missing; without
//! a name it lies in the directory for temporary files. `PYTHON` names an interpreter with numpy and scipy,
//! `python3` where it is not set; without one only our own times are printed.
//!
//! Printed: seconds and samples a second on one core and on all, the ratio to numpy on one core, the part of
//! this machine's read bandwidth reached, the cost against length and number of pulses, and for each figure both checksums
//! and the largest difference.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use darkline_signal::{Batch, BatchFigures, TraceFault, Window, reduce_into, reduce_many};
use rayon::prelude::*;

const N_SAMPLES: usize = 500;
const RATE_HZ: f64 = 100.0;
const WINDOW: Window = Window { baseline_from_s: 0.0, baseline_to_s: 0.25, from_s: 0.25, to_s: 4.74 };
const REPEATS: usize = 15;
const NAMES: [&str; 8] = ["offset", "noise", "area", "height", "time", "width", "highest", "tail"];

fn main() {
    // Cargo passes `--bench` to every benchmark.
    let file = std::env::args().skip(1).find(|argument| !argument.starts_with("--"));
    let file = file.map_or_else(|| std::env::temp_dir().join("darkline-pulses.f32"), PathBuf::from);
    if !file.exists() && python(&["make"], &file).is_none() {
        println!("no pulses: {} is missing and python3 with numpy cannot make it", file.display());
        return;
    }
    let before = python(&["run"], &file);

    let values = samples(&file);
    let (total, background) = values.split_at(values.len() / 2);
    let batch = Batch { total, background, n_samples: N_SAMPLES, start_s: 0.0, rate_hz: RATE_HZ };
    let one = threads(1);
    let n_threads = std::thread::available_parallelism().map_or(1, |n| n.get());
    let all = threads(n_threads);

    let answers = one.install(|| reduce_many(&batch, &WINDOW)).expect("whole pulses");
    // Into a list that is kept, as whoever reduces batch after batch does.
    let mut kept = Vec::new();
    let mut act = || reduce_into(&batch, &WINDOW, &mut kept).expect("whole pulses");
    let wall_one = one.install(|| median(&mut act));
    let wall_all = all.install(|| median(&mut act));
    let read_one = one.install(|| median(|| read(&values)));
    let read_all = all.install(|| median(|| read(&values)));
    // numpy again behind ours: the machine may have been busier at one end.
    let after = python(&["run"], &file);

    one.install(|| growth(total, background));
    let n = total.len() as f64;
    let bytes = (values.len() * size_of::<f32>()) as f64;
    let told = |cores: &str, wall: f64, read: f64| {
        println!(
            "{cores:>9}  {:7.2} ms  {:.2e} samples/s  {:5.2} GB/s of {:5.2} GB/s read ({:.0} %)",
            wall * 1e3,
            n / wall,
            bytes / wall / 1e9,
            bytes / read / 1e9,
            100.0 * read / wall
        );
    };
    println!("{} pulses of {N_SAMPLES} samples in two channels", answers.len());
    told("one core", wall_one, read_one);
    told(&format!("{n_threads} cores"), wall_all, read_all);
    let Some(numpy) = before.zip(after).map(|(a, b)| if a.wall_s < b.wall_s { a } else { b }) else {
        println!("no python3 with numpy and scipy: nothing to compare with");
        return;
    };
    println!(
        "    numpy  {:7.2} ms  one core: {:.1} x, {n_threads} cores: {:.1} x",
        numpy.wall_s * 1e3,
        numpy.wall_s / wall_one,
        numpy.wall_s / wall_all
    );
    compare(&answers, &numpy, &file);
}

/// How the cost grows with the length of a pulse and with the number of pulses: nanoseconds a sample, on one core.
fn growth(total: &[f32], background: &[f32]) {
    println!("{:>9}  {:>9}  {:>12}  {:>12}", "pulses", "samples", "ms", "ns a sample");
    let mut kept = Vec::new();
    for (n_pulses, n_samples) in
        [(1_000, 500), (10_000, 500), (100_000, 500), (200_000, 250), (50_000, 1_000), (12_500, 4_000)]
    {
        let n = (n_pulses * n_samples).min(total.len() / n_samples * n_samples);
        let batch = Batch {
            total: &total[..n],
            background: &background[..n],
            n_samples,
            start_s: 0.0,
            rate_hz: n_samples as f64 / 5.0,
        };
        let wall = median(|| reduce_into(&batch, &WINDOW, &mut kept).expect("whole pulses"));
        println!("{:>9}  {n_samples:>9}  {:12.3}  {:12.3}", n / n_samples, wall * 1e3, wall / n as f64 * 1e9);
    }
}

/// Bytes cannot be read as numbers in place without `unsafe`; this happens once, outside the clock.
fn samples(file: &Path) -> Vec<f32> {
    let bytes = std::fs::read(file).expect("the file of pulses can be read");
    let (words, rest) = bytes.as_chunks::<4>();
    assert!(rest.is_empty() && words.len().is_multiple_of(2 * N_SAMPLES), "whole pulses of two channels");
    words.iter().map(|word| f32::from_le_bytes(*word)).collect()
}

fn threads(n: usize) -> rayon::ThreadPool {
    rayon::ThreadPoolBuilder::new().num_threads(n).build().expect("threads")
}

fn median(mut act: impl FnMut()) -> f64 {
    let mut walls: Vec<f64> = (0..REPEATS)
        .map(|_| {
            let begin = Instant::now();
            act();
            begin.elapsed().as_secs_f64()
        })
        .collect();
    walls.sort_by(f64::total_cmp);
    walls[REPEATS / 2]
}

/// Reads every sample and does as little with it as can be.
fn read(values: &[f32]) {
    let seen = values
        .par_chunks(64 * 2 * N_SAMPLES)
        .map(|chunk| {
            let (blocks, rest) = chunk.as_chunks::<32>();
            let mut lanes = [0_u32; 32];
            for block in blocks {
                for (lane, value) in lanes.iter_mut().zip(block) {
                    *lane ^= value.to_bits();
                }
            }
            rest.iter().map(|value| value.to_bits()).chain(lanes).fold(0, |a, b| a ^ b)
        })
        .reduce(|| 0, |a, b| a ^ b);
    std::hint::black_box(seen);
}

/// What the script tells.
struct Numpy {
    wall_s: f64,
    checksums: Vec<f64>,
}

fn python(verb: &[&str], file: &Path) -> Option<Numpy> {
    let interpreter = std::env::var("PYTHON").unwrap_or_else(|_| "python3".into());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/reduce_numpy.py");
    let mut command = Command::new(interpreter);
    // One core against one core.
    for threads in ["OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"] {
        command.env(threads, "1");
    }
    let output = command.arg(script).args(verb).arg(file).output().ok()?;
    if !output.status.success() {
        return None;
    }
    let mut told = Numpy { wall_s: f64::NAN, checksums: Vec::new() };
    for line in String::from_utf8(output.stdout).ok()?.lines() {
        match line.split_whitespace().collect::<Vec<_>>()[..] {
            ["wall_s", wall] => told.wall_s = wall.parse().ok()?,
            ["checksum", _, sum] => told.checksums.push(sum.parse().ok()?),
            _ => {}
        }
    }
    Some(told)
}

fn compare(answers: &[Result<BatchFigures, TraceFault>], numpy: &Numpy, file: &Path) {
    let mut figures_file = file.as_os_str().to_owned();
    figures_file.push(".figures");
    let bytes = std::fs::read(figures_file).expect("the script writes the figures");
    let theirs: Vec<f64> = bytes.as_chunks::<8>().0.iter().map(|word| f64::from_le_bytes(*word)).collect();
    assert_eq!(theirs.len(), NAMES.len() * answers.len(), "one value of each figure for each pulse");
    let faults = answers.iter().filter(|answer| answer.is_err()).count();
    println!("{faults} pulses with a fault");
    println!("{:>9}  {:>16}  {:>16}  {:>12}  {:>12}", "figure", "ours", "numpy", "relative", "largest");
    for (k, name) in NAMES.iter().enumerate() {
        let ours = |figures: &BatchFigures| match k {
            0 => figures.offset,
            1 => figures.baseline_noise,
            2 => figures.integrated_absorbance,
            3 => figures.peak_absorbance,
            4 => figures.peak_time_s,
            5 => figures.width_s.unwrap_or(f64::NAN),
            6 => figures.background_max,
            _ => figures.tail.unwrap_or(f64::NAN),
        };
        let (mut sum, mut largest) = (0.0, 0.0_f64);
        for (answer, theirs) in answers.iter().zip(&theirs[k * answers.len()..]) {
            let Ok(figures) = answer else { continue };
            let ours = ours(figures);
            if ours.is_nan() || theirs.is_nan() {
                assert!(ours.is_nan() == theirs.is_nan(), "{name}: one side has no figure");
                continue;
            }
            sum += ours;
            largest = largest.max((ours - theirs).abs());
        }
        let theirs = numpy.checksums[k];
        let relative = (sum - theirs).abs() / theirs.abs();
        println!("{name:>9}  {sum:16.6}  {theirs:16.6}  {relative:12.1e}  {largest:12.1e}");
    }
}
