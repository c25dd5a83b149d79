//! How long it takes from a reading that an instrument writes to the flags that follow from it, in a run of five hundred.
//!
//! The real program watches a real folder: the example of the furnace is measured by the virtual spectrometer, its table written
//! line by line as an instrument does, each line once the last one has been evaluated. Timed is what a person waits for: from the
//! line on the disk to the line of the program behind the last flag.
//!
//! `cargo bench -p darkline-cli --bench watch`; `READINGS=100` makes it shorter, `TRACES=1` leaves a file of a trace for each
//! firing beside the table.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "what a benchmark rests on may end it")]
#![allow(dead_code, reason = "the laboratory of the tests has more stages")]

#[path = "../tests/bench/laboratory.rs"]
mod laboratory;
#[path = "../tests/bench/program.rs"]
mod program;

use std::io::{BufRead as _, BufReader, Write as _};
use std::time::{Duration, Instant};

use laboratory::{Bench, Stage, repository};

const MAPPING: &str = "format = \"darkline/mapping/1\"\nid = \"furnace-2\"\n
[file]\ncode_page = \"utf-8\"\nseparator = \"semicolon\"\ndecimal_sign = \".\"\n
[columns]\nsample = \"Name\"\ncup = \"Cup\"\nreplicate = \"Rep\"\nat = \"At\"\nfiring = \"Firing\"\nresponse = \"Area\"\n
[response]\nkind = \"integrated absorbance\"\nunit = \"absorbance\"\nis = \"as measured\"\n
[time]\ndate_order = \"year month day\"\nzone = \"+01:00\"\n";

const TRACES: &str =
    "\n[traces]\nfiles = \"trace_#.txt\"\nmoment = \"t\"\nmoment_unit = \"s\"\ntotal = \"AA\"\nbackground = \"BG\"\n";

fn main() {
    let wanted: usize = std::env::var("READINGS").ok().and_then(|n| n.parse().ok()).unwrap_or(500);
    let has_traces = std::env::var_os("TRACES").is_some();
    let bench = Bench::at(Stage::People);
    std::fs::create_dir_all(bench.path("order")).unwrap();
    std::fs::create_dir_all(bench.path("share")).unwrap();
    for name in ["order.toml", "preparation.toml", "method.toml", "run.toml", "run-order.csv"] {
        bench.write(&format!("order/{name}"), std::fs::read(repository().join("demo").join(name)).unwrap());
    }
    bench.write("truth.toml", std::fs::read(repository().join("demo/truth.toml")).unwrap());
    // As many replicates a row as make the run long enough.
    let order = std::fs::read_to_string(bench.path("order/run-order.csv")).unwrap();
    let n_rows = order.lines().count() - 1;
    let replicates = wanted.div_ceil(n_rows).clamp(1, 255);
    let longer: Vec<String> = order
        .lines()
        .enumerate()
        .map(|(place, line)| match line.rsplit_once(',') {
            Some((before, _)) if place > 0 => format!("{before},{replicates}"),
            _ => line.to_owned(),
        })
        .collect();
    bench.write("order/run-order.csv", longer.join("\n") + "\n");
    bench.write("furnace-2.toml", format!("{MAPPING}{}", if has_traces { TRACES } else { "" }));
    bench.run("open order --as j.alder").ends(0);
    bench.run("simulate 2026-041 --truth truth.toml -o r.csv").ends(0);
    let pulses = std::fs::read(bench.path("r.parquet")).unwrap();
    let pulses = darkline_exchange::pulses::read("r.parquet", pulses).unwrap();
    let method = std::fs::read_to_string(bench.path("order/method.toml")).unwrap();
    let method = darkline_exchange::method::read("method.toml", &method).unwrap();
    let table = std::fs::read_to_string(bench.path("r.csv")).unwrap();
    let planned: Vec<Vec<&str>> = order.lines().map(|line| line.split(',').collect()).collect();
    let mut child =
        program::command(bench.folder(), "watch share --mapping furnace-2.toml --as j.alder --until-quiet 20 --json")
            .stdout(std::process::Stdio::piped())
            .stderr(std::process::Stdio::null())
            .spawn()
            .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut file = std::fs::File::create(bench.path("share/run.csv")).unwrap();
    file.write_all(b"Firing;Name;Cup;Rep;At;Area\n").unwrap();
    let mut took: Vec<Duration> = Vec::new();
    for (firing, line) in (1..).zip(table.lines().skip(1).take(wanted)) {
        let cells: Vec<&str> = line.split(',').collect();
        let row: usize = cells[0].parse().unwrap();
        let Some(pulse) = cells[3].parse().ok().and_then(|number| pulses.get(&number)) else { continue };
        let Some(area) = darkline_evaluation::responses::response_of(pulse, &method) else { continue };
        if has_traces {
            let samples = pulse.t_s().iter().zip(pulse.total()).zip(pulse.background());
            let text: String = samples.map(|((t, total), background)| format!("{t};{total};{background}\n")).collect();
            bench.write(&format!("share/trace_{firing:04}.txt"), format!("t;AA;BG\n{text}"));
        }
        // Not in step with the looks of the program.
        std::thread::sleep(Duration::from_millis(7 * (firing % 5)));
        let began = Instant::now();
        let (cup, name) = (planned[row][1], planned[row][2]);
        file.write_all(format!("{firing};{name};{cup};{};{};{area:.4}\n", cells[1], cells[2]).as_bytes()).unwrap();
        loop {
            let line = lines.next().expect("the program goes on").unwrap();
            if line.contains("\"is\":\"evaluated\"") {
                break;
            }
        }
        took.push(began.elapsed());
    }
    let _ = child.kill();
    let _ = child.wait();
    took.sort();
    let part = |per_cent: usize| took[(took.len() - 1) * per_cent / 100].as_secs_f64() * 1e3;
    println!("from a line on the disk to the flags that follow from it, {} readings of one run", took.len());
    println!(
        "  median {:.0} ms, p90 {:.0} ms, p99 {:.0} ms, most {:.0} ms   (goal: p99 100 ms)",
        part(50),
        part(90),
        part(99),
        part(100)
    );
}
