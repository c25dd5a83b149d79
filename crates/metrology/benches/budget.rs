//! Propagates budgets both ways and holds the times against numpy, in one run.
//!
//! `cargo bench -p darkline-metrology --bench budget`. `PYTHON` names an interpreter with numpy, `python3` where it is not
//! set; without one only our own times are printed.
//!
//! Printed: seconds for 10⁶ trials with estimate, u and 95 % interval, on one core and on all, of the budget of QUAM:2012,
//! example A5, of a budget with 30 normal sources, and of the latter with an estimated standard deviation behind one of
//! them; then 10 000 first-order budgets with 30 sources each.

use std::path::Path;
use std::process::Command;
use std::time::Instant;

use darkline_metrology::kind::{Factor, Kind};
use darkline_metrology::model::{Model, Term};
use darkline_metrology::source::{Source, SourceId};

const TRIALS: u32 = 1_000_000;
const BUDGETS: usize = 10_000;
const REPEATS: usize = 5;

/// QUAM:2012, example A5, Table A5.4: c0, V_L, a_V, and the factors for acid, time and temperature.
const A5: [(&str, f64, f64); 6] = [
    ("c0", 0.26, 0.018),
    ("V_L", 0.332, 0.0018),
    ("a_V", 5.73, 0.19),
    ("f_acid", 1.0, 0.0008),
    ("f_time", 1.0, 0.001),
    ("f_temp", 1.0, 0.06),
];

fn main() {
    let one = threads(1);
    let n_threads = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let all = threads(n_threads);
    let before = numpy();
    let mut ours: Vec<(&str, f64, f64)> = Vec::new();
    type Write = fn(&Model) -> Term<'_, Factor>;
    for (name, write) in [
        ("release", ceramic_ware as Write),
        ("thirty", |model| thirty(model, f64::INFINITY)),
        ("thirty_t", |model| thirty(model, 7.0)),
    ] {
        let replay = move || {
            let model = Model::new();
            let y = write(&model);
            let sample = model.monte_carlo(&[y], TRIALS).remove(0);
            (sample.mean(), sample.u(), sample.symmetric_interval(0.95))
        };
        let (mean, u, interval) = one.install(replay);
        let interval = interval.expect("enough trials");
        println!(
            "{name}: mean {:.6} u {:.6} [{:.6}, {:.6}]",
            mean.expect("trials").si(),
            u.expect("trials").si(),
            interval.low.si(),
            interval.high.si()
        );
        ours.push((name, one.install(|| fastest(replay)), all.install(|| fastest(replay))));
    }
    let begin_to_end = fastest(|| (0..BUDGETS).map(|_| first_order(&Model::new())).sum::<f64>());
    let model = Model::new();
    let y = thirty(&model, f64::INFINITY);
    let swept = fastest(|| (0..BUDGETS).map(|_| model.first_order(y).u()).sum::<f64>());
    // numpy again behind ours: the machine may have been busier at one end.
    let after = numpy();

    let theirs = |name: &str| {
        let of = |told: &Option<Vec<(String, f64)>>| {
            told.as_ref().and_then(|told| told.iter().find(|(known, _)| known == name).map(|(_, wall)| *wall))
        };
        of(&before).zip(of(&after)).map(|(a, b)| a.min(b))
    };
    for (name, wall_one, wall_all) in ours {
        print!("{name:>9}  one core {:7.1} ms, {n_threads} cores {:7.1} ms", wall_one * 1e3, wall_all * 1e3);
        match theirs(name) {
            Some(wall) => println!("  numpy {:7.1} ms: {:.1} x, {:.1} x", wall * 1e3, wall / wall_one, wall / wall_all),
            None => println!(),
        }
    }
    let each = 1e6 / BUDGETS as f64;
    print!("    first  written and swept {:.2} µs a budget, swept {:.2} µs", begin_to_end * each, swept * each);
    match theirs("first_order") {
        Some(wall) => println!("  numpy {:.2} µs: {:.1} x", wall * each, wall / begin_to_end),
        None => println!("\nno python3 with numpy: nothing to compare with"),
    }
    for library in ["GTC", "uncertainties"] {
        if let Some(wall) = theirs(library) {
            let (written, swept) = (wall / begin_to_end, wall / swept);
            println!("           {library} {:.1} µs: {written:.0} x, swept only {swept:.0} x", wall * each);
        }
    }
}

fn input<'m>(model: &'m Model, name: &str, value: f64, source: impl Fn(SourceId) -> Source) -> Term<'m, Factor> {
    model.input(Factor::from_si(value), &[source(SourceId::new(name))])
}

fn ceramic_ware(model: &Model) -> Term<'_, Factor> {
    let [c_0, v_l, a_v, acid, time, temperature] =
        A5.map(|(name, value, u)| input(model, name, value, |id| Source::normal(id, u)));
    c_0 * v_l / a_v * acid * time * temperature
}

/// Names of thirty sources, at hand as they are in the other languages.
const NAMES: [&str; 30] = [
    "a1", "a2", "a3", "b1", "b2", "b3", "c1", "c2", "c3", "d1", "d2", "d3", "e1", "e2", "e3", "f1", "f2", "f3", "g1",
    "g2", "g3", "h1", "h2", "h3", "i1", "i2", "i3", "j1", "j2", "j3",
];

/// Ten sums of three inputs, multiplied; the first source has these degrees of freedom.
fn thirty(model: &Model, dof: f64) -> Term<'_, Factor> {
    let inputs: Vec<Term<'_, Factor>> = NAMES
        .iter()
        .enumerate()
        .map(|(n, name)| {
            let dof = if n == 0 { dof } else { f64::INFINITY };
            input(model, name, 1.0 / 3.0, |id| Source::estimated(id, 0.01, dof))
        })
        .collect();
    inputs.chunks(3).map(|three| model.sum(three)).reduce(|a, b| a * b).expect("thirty inputs")
}

fn first_order(model: &Model) -> f64 {
    model.first_order(thirty(model, f64::INFINITY)).u()
}

fn threads(n: usize) -> rayon::ThreadPool {
    rayon::ThreadPoolBuilder::new().num_threads(n).build().expect("threads")
}

fn fastest<T>(act: impl Fn() -> T) -> f64 {
    let wall = |_| {
        let begin = Instant::now();
        std::hint::black_box(act());
        begin.elapsed().as_secs_f64()
    };
    (0..REPEATS).map(wall).fold(f64::INFINITY, f64::min)
}

/// What the script tells: name and seconds.
fn numpy() -> Option<Vec<(String, f64)>> {
    let interpreter = std::env::var("PYTHON").unwrap_or_else(|_| "python3".into());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/budget_numpy.py");
    let mut command = Command::new(interpreter);
    // One core against one core.
    for threads in ["OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"] {
        command.env(threads, "1");
    }
    let output = command.arg(script).output().ok().filter(|output| output.status.success())?;
    let told = String::from_utf8(output.stdout).ok()?;
    told.lines()
        .map(|line| line.split_once(' ').and_then(|(name, wall)| Some((name.to_owned(), wall.parse().ok()?))))
        .collect()
}
