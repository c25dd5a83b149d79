//! Whole batches on the virtual spectrometer: bias and coverage of results, faults found and missed, false alarms.
//!
//! Three orders (furnace, flame, weighed portions) are measured over and over, each time on another day: other noise, other
//! errors of stock, flask, weighing and dilution, and what their methods state an uncertainty for is off by a draw of it.

mod order;
mod table;

use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::Section;
use order::{Bench, Clean, Faulty};

/// The section of the page.
pub const SECTION: Section = Section { name: "batches", title: "Simulated batches", write };

/// Batches without a fault, of each order.
pub const N_CLEAN: u64 = 212;
/// Batches of each fault in each order.
pub const N_FAULTY: u64 = 7;

/// One batch to be measured.
#[derive(Clone, Copy)]
enum Batch<'a> {
    Clean(&'a Bench, u64),
    Faulty(&'a Bench, usize, u64),
}

enum Came {
    Clean(Clean),
    Faulty(Faulty),
}

fn write(root: &Path) -> Result<String, String> {
    let benches = order::benches(root)?;
    let mut batches: Vec<Batch<'_>> = Vec::new();
    for bench in &benches {
        batches.extend((0..N_CLEAN).map(|number| Batch::Clean(bench, number)));
        for fault in 0..bench.faults.len() {
            batches.extend((0..N_FAULTY).map(|number| Batch::Faulty(bench, fault, number)));
        }
    }
    let (all, done) = (batches.len(), AtomicUsize::new(0));
    let began = std::time::Instant::now();
    // Collected in the order of the list, whatever the threads do.
    let came: Vec<Came> = batches
        .par_iter()
        .map(|batch| {
            let came = match *batch {
                Batch::Clean(bench, number) => bench.clean(number).map(Came::Clean),
                Batch::Faulty(bench, fault, number) => bench.faulty(fault, number).map(Came::Faulty),
            };
            let n = done.fetch_add(1, Ordering::Relaxed) + 1;
            if n % 10 == 0 || n == all {
                bar(n, all);
            }
            came
        })
        .collect::<Result<_, String>>()?;
    eprintln!();
    println!("batches: {all} measured in {} s", began.elapsed().as_secs());
    let mut clean = Vec::new();
    let mut faulty = Vec::new();
    for came in came {
        match came {
            Came::Clean(batch) => clean.push(batch),
            Came::Faulty(batch) => faulty.push(batch),
        }
    }
    Ok(table::text(&benches, all, &clean, &faulty))
}

/// How far it has come, on one line of the terminal.
fn bar(done: usize, all: usize) {
    let filled = 40 * done / all.max(1);
    eprint!("\r  [{}{}] {done} of {all} batches", "=".repeat(filled), " ".repeat(40 - filled));
}
