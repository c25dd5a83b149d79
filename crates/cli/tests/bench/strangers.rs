//! Programs of other people at our files: a verifier in Python, the validator of BagIt, a reader of Parquet, a Merkle tree.
//!
//! The verifier needs `python3` and `cryptography`, which the tests ask for by name. The other three are packages that the
//! test brings into `target/strangers`; where they cannot be had, because there is no network, the test says so, and on a
//! machine that sets `CI` it fails.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use crate::laboratory::{Bench, Stage, copy, repository};
use crate::program::run;
use crate::seeded::Seeded;

const PACKAGES: [&str; 3] = ["bagit==1.9.0", "pyarrow>=15", "pymerkle==7.0.0"];

fn python(program: &Path, arguments: &[&std::ffi::OsStr]) -> Output {
    Command::new(program).args(arguments).output().expect("these tests need the program python3")
}

/// The Python with the packages of others; none where they cannot be had.
fn strangers() -> Option<&'static Path> {
    static MADE: OnceLock<Option<PathBuf>> = OnceLock::new();
    let made = MADE.get_or_init(|| {
        let folder = repository().join("target/strangers");
        let program = folder.join("bin/python");
        let there = |program: &Path| {
            let imports = ["-c", "import bagit, pyarrow.parquet, pymerkle"];
            program.exists() && Command::new(program).args(imports).output().is_ok_and(|output| output.status.success())
        };
        if !there(&program) {
            let made = Command::new("python3").args(["-m", "venv"]).arg(&folder).output();
            assert!(
                made.is_ok_and(|made| made.status.success()),
                "python3 -m venv (on Debian: apt-get install python3-venv)"
            );
            let brought = Command::new(&program).args(["-m", "pip", "install", "--quiet"]).args(PACKAGES).output();
            if !there(&program) {
                let why =
                    brought.map_or_else(|error| error.to_string(), |it| String::from_utf8_lossy(&it.stderr).into());
                assert!(std::env::var_os("CI").is_none(), "{} cannot be had: {why}", PACKAGES.join(", "));
                eprintln!("not checked by programs of others, since {} cannot be had: {why}", PACKAGES.join(", "));
                return None;
            }
        }
        Some(program)
    });
    made.as_deref()
}

#[track_caller]
fn says(check: &str, arguments: &[&Path]) -> Option<String> {
    let script = repository().join("crates/cli/tests/bench/strangers.py");
    let mut words = vec![script.as_os_str(), check.as_ref()];
    words.extend(arguments.iter().map(|path| path.as_os_str()));
    let output = python(strangers()?, &words);
    assert!(output.status.success(), "{check}: {}", String::from_utf8_lossy(&output.stderr));
    Some(String::from_utf8(output.stdout).unwrap())
}

/// Unpacks an archive into a folder; its files are stored, so that Python's own reader of zip is a third opinion.
fn unpack(archive: &Path, folder: &Path) {
    let unpacked = python(
        Path::new("python3"),
        &["-m".as_ref(), "zipfile".as_ref(), "-e".as_ref(), archive.as_os_str(), folder.as_os_str()],
    );
    assert!(unpacked.status.success(), "{}", String::from_utf8_lossy(&unpacked.stderr));
}

#[test]
fn the_reference_validator_of_bagit_finds_our_bag_valid() {
    let bench = Bench::at(Stage::Archived);
    unpack(&bench.path("archive.zip"), &bench.path("unpacked"));
    if let Some(said) = says("bag", &[&bench.path("unpacked/2026-052")]) {
        assert_eq!(said, "valid\n");
    }
}

/// The readings of the demo as the virtual spectrometer writes them, by the code that writes those of an archive.
#[test]
fn a_foreign_reader_of_parquet_reads_our_pulses() {
    let bench = Bench::at(Stage::People);
    copy(&repository().join("demo"), &bench.path("order"));
    bench.run("open order --as j.alder").ends(0);
    bench.run("simulate 2026-041 --truth order/truth.toml -o readings.csv").ends(0);
    if let Some(said) = says("pulses", &[&bench.path("readings.parquet")]) {
        let words: Vec<&str> = said.split_whitespace().collect();
        let [n_readings, n_rows, columns] = words[..] else { panic!("{said}") };
        assert_eq!(columns, "reading:uint32,t_s:double,total:float,background:float");
        assert!(n_readings.parse::<u32>().unwrap() > 50 && n_rows.parse::<u32>().unwrap() > 5000, "{said}");
    }
}

#[test]
fn another_library_comes_to_the_same_roots_and_the_same_proof() {
    let bench = Bench::at(Stage::Archived);
    let earlier = Bench::at(Stage::Imported);
    earlier.run("checkpoint -o kept").ends(0);
    std::fs::copy(earlier.path("kept"), bench.path("kept")).unwrap();
    bench.run("verify --since kept --proof growth").ends(0);
    unpack(&bench.path("archive.zip"), &bench.path("unpacked"));
    let data = bench.path("unpacked/2026-052/data");
    let files = [data.join("entries.jsonl"), data.join("checkpoint.txt"), bench.path("growth")];
    if let Some(said) = says("merkle", &files.each_ref().map(PathBuf::as_path)) {
        assert!(said.starts_with("agrees "), "{said}");
    }
}

/// Whether the verifier in Python finds an archive in order; how it ended otherwise.
fn in_python(archive: &Path, more: &[&str]) -> (bool, String) {
    let script = repository().join("tools/verify_archive.py");
    let mut words = vec![script.as_os_str(), archive.as_os_str()];
    words.extend(more.iter().map(|word| std::ffi::OsStr::new(*word)));
    let output = python(Path::new("python3"), &words);
    let said = format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert!(!said.contains("No module named 'cryptography'"), "install cryptography (Debian: python3-cryptography)");
    assert!(!said.contains("Traceback"), "{said}");
    (output.status.code() == Some(0), said)
}

#[test]
fn the_verifier_in_python_agrees_on_a_sound_archive_its_bench_and_an_earlier_checkpoint() {
    let bench = Bench::at(Stage::Archived);
    let archive = bench.path("archive.zip");
    let (sound, said) = in_python(&archive, &[]);
    assert!(sound, "{said}");
    assert!(said.contains("in order: report"), "{said}");
    let key = said.split("bench ").nth(1).unwrap()[..16].to_owned();
    assert!(in_python(&archive, &["--bench-key", &key]).0);
    assert!(!in_python(&archive, &["--bench-key", "0123456789abcdef"]).0);
    let earlier = Bench::at(Stage::SignedByAnalyst);
    earlier.run("checkpoint -o kept").ends(0);
    let kept = earlier.path("kept");
    let (sound, said) = in_python(&archive, &["--since", kept.to_str().unwrap()]);
    assert!(sound, "{said}");
    let other = kept.with_file_name("other");
    std::fs::write(&other, std::fs::read_to_string(&kept).unwrap().replace("\n2026-", "\n2025-")).unwrap();
    assert!(!in_python(&archive, &["--since", other.to_str().unwrap()]).0);
}

/// 60 single bits, and pieces cut off or put behind: both verifiers find every one.
#[test]
fn the_verifier_in_python_agrees_on_damaged_archives() {
    let bench = Bench::at(Stage::Archived);
    let whole = std::fs::read(bench.path("archive.zip")).unwrap();
    let mut seeded = Seeded::new(9162);
    let mut altered: Vec<Vec<u8>> = (0..60)
        .map(|_| {
            let mut bytes = whole.clone();
            let place = seeded.below(whole.len());
            bytes[place] ^= 1 << seeded.below(8);
            bytes
        })
        .collect();
    altered.extend([whole[..whole.len() - 1].to_vec(), whole[..whole.len() / 2].to_vec(), Vec::new()]);
    altered.push([&whole[..], b"\n"].concat());
    for (place, bytes) in altered.iter().enumerate() {
        let path = bench.path(&format!("damaged-{place}.zip"));
        std::fs::write(&path, bytes).unwrap();
        let (sound, said) = in_python(&path, &[]);
        assert!(!sound, "{place}: {said}");
        let ours = run(bench.folder(), &format!("verify damaged-{place}.zip --quiet"));
        assert_ne!(ours.code, Some(0), "{place}");
    }
}
