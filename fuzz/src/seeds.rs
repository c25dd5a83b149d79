//! Writes the seeds of every target below a folder: each nasty of the instruments' files, the documents of the examples, and small
//! files of pulses and archives.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use darkline_fuzz::habits::Habit;
use darkline_fuzz::written;
use darkline_record::pulse::Pulse;

/// Keeps one seed.
fn keep(folder: &Path, target: &str, number: usize, bytes: &[u8]) {
    let folder = folder.join(target);
    std::fs::create_dir_all(&folder).expect("a folder for seeds");
    std::fs::write(folder.join(format!("seed-{number:04}")), bytes).expect("a seed");
}

/// The files of the examples whose names begin and end so.
fn documents(root: &Path, begins: &str, ends: &str) -> Vec<Vec<u8>> {
    let folders = ["demo", "examples/cadmium-cocoa", "examples/cadmium-release", "examples/copper-water"];
    let mut paths: Vec<PathBuf> = folders
        .iter()
        .flat_map(|folder| std::fs::read_dir(root.join(folder)).into_iter().flatten().flatten())
        .map(|entry| entry.path())
        .filter(|path| path.is_file())
        .collect();
    paths.sort();
    let is_wanted = |path: &&PathBuf| {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        name.starts_with(begins) && name.ends_with(ends)
    };
    paths.iter().filter(is_wanted).filter_map(|path| std::fs::read(path).ok()).collect()
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let (Some(root), Some(folder)) = (arguments.next(), arguments.next()) else {
        eprintln!("seeds ROOT FOLDER");
        std::process::exit(2);
    };
    let (root, folder) = (Path::new(&root), Path::new(&folder));
    let (run, readings) = written::bench();
    let mut pairs: Vec<Vec<Habit>> = vec![Vec::new()];
    for (place, one) in Habit::ALL.into_iter().enumerate() {
        pairs.push(vec![one]);
        pairs.extend(
            Habit::ALL[place + 1..].iter().filter(|other| one.goes_with(**other)).map(|other| vec![one, *other]),
        );
    }
    for (number, habits) in pairs.iter().enumerate() {
        let file = written::write(&run, &readings, habits);
        keep(folder, "mapping", number, file.mapping.as_bytes());
        keep(folder, "proposal", number, &file.bytes);
        let mut whole = file.mapping.into_bytes();
        whole.push(0);
        whole.extend(&file.bytes);
        if let Some((_, trace)) = file.traces.first() {
            whole.push(0);
            whole.extend(trace);
        }
        keep(folder, "instrument_file", number, &whole);
    }
    for (target, begins, ends) in [
        ("order", "order", ".toml"),
        ("preparation", "preparation", ".toml"),
        ("method", "method", ".toml"),
        ("run", "run", ".toml"),
        ("run_order", "run-order", ".csv"),
        ("readings", "readings", ".csv"),
        ("truth", "truth", ".toml"),
    ] {
        for (number, bytes) in documents(root, begins, ends).iter().enumerate() {
            keep(folder, target, number, bytes);
        }
    }
    let table = "row,replicate,attempt,at,mass_mg,pulse,printed_integrated_absorbance_s,failed\n\
                 1,1,1,2026-03-04T08:55:00+01:00,,1,0.002,\n1,2,1,2026-03-04T08:57:00+01:00,,,,lamp out\n\
                 2,1,1,2026-03-04T08:59:00+01:00,0.3,,0.05,\n";
    keep(folder, "readings", 100, table.as_bytes());
    let pulse = Pulse::new(vec![0.0, 0.02, 0.04], vec![0.0, 0.1, 0.05], vec![0.01, 0.01, 0.01]).expect("equal lengths");
    let bytes =
        darkline_exchange::pulses::write(&BTreeMap::from([(1_u32, pulse.clone()), (2, pulse)])).expect("pulses");
    keep(folder, "pulses", 0, &bytes);
    let payload =
        BTreeMap::from([("readings.csv".to_owned(), table.as_bytes().to_vec()), ("pulses.parquet".into(), bytes)]);
    let info = [("External-Identifier".to_owned(), "2026-052".to_owned())];
    keep(folder, "bag", 0, &darkline_exchange::bag::write(&payload, &info).expect("an archive"));
    for (number, document) in documents(root, "checkpoint", "").iter().enumerate() {
        keep(folder, "checkpoint", number, document);
    }
    let checkpoint = format!(
        "darkline/checkpoint/1\nlog bench-1\nsize 12\nroot {0}\nat 2026-03-12T09:00:00Z\nkey {0}\nsignature {0}{0}\n",
        "0".repeat(64)
    );
    keep(folder, "checkpoint", 100, checkpoint.as_bytes());
    let pem = "-----BEGIN PUBLIC KEY-----\nMCowBQYDK2VwAyEA11qYAYKxCrfVS/7TyWQHOg7hcvPapiMlrwIaaPcHURo=\n-----END PUBLIC KEY-----\n";
    keep(folder, "key_file", 0, pem.as_bytes());
    for (number, act) in [
        r#"{"act":"set-laboratory","name":"Millrace Laboratory","address":["Mill Lane"]}"#,
        r#"{"act":"open-order","order":"2026-052","edition":1}"#,
        r#"{"act":"import","run":"R1","table":{"file_name":"r.csv","text":"row"},"first":1,"pulses":[[1,"00"]]}"#,
    ]
    .iter()
    .enumerate()
    {
        keep(folder, "act", number, act.as_bytes());
    }
}
