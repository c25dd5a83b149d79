//! Programs of other people at our files: a verifier in Python, the validator of BagIt, a reader of Parquet, a Merkle tree,
//! and a store that speaks S3.
//!
//! The verifier needs `python3` and `cryptography`, which the tests ask for by name. The others are packages that the
//! test brings into `target/strangers`; where they cannot be had, because there is no network, the test says so, and on a
//! machine that sets `CI` it fails.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use crate::laboratory::{Bench, STEPS, Stage, copy, repository};
use crate::program::{Ran, command, run};
use crate::seeded::Seeded;
use crate::server::shared;

const PACKAGES: [&str; 6] = ["bagit==1.9.0", "pyarrow>=15", "pymerkle==7.0.0", "moto[s3]>=5,<6", "flask", "flask-cors"];

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
            let imports = ["-c", "import bagit, flask_cors, moto.server, pyarrow.parquet, pymerkle"];
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

/// A store that speaks S3, with one bucket; it ends with the test.
struct Bucket {
    server: Child,
    port: u16,
}

impl Drop for Bucket {
    fn drop(&mut self) {
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

impl Bucket {
    fn start() -> Option<Self> {
        let python = strangers()?;
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let server = Command::new(python)
            .args(["-m", "moto.server", "-H", "127.0.0.1", "-p", &port.to_string()])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let bucket = Self { server, port };
        let began = Instant::now();
        while TcpStream::connect(("127.0.0.1", port)).is_err() {
            assert!(began.elapsed() < Duration::from_secs(120), "the store that speaks S3 does not start");
            std::thread::sleep(Duration::from_millis(100));
        }
        bucket.ask("PUT /pulses");
        Some(bucket)
    }

    /// What the store answers to a request in its own words, not through our library.
    fn ask(&self, request: &str) -> String {
        let mut line = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        let port = self.port;
        let head =
            format!("{request} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n");
        line.write_all(head.as_bytes()).unwrap();
        let mut answer = Vec::new();
        line.read_to_end(&mut answer).unwrap();
        let answer = String::from_utf8_lossy(&answer).into_owned();
        assert!(answer.starts_with("HTTP/1.1 200"), "{request}: {answer}");
        answer
    }
}

/// A record in a database with its pulses in a bucket: they are there by their digests, a changed one is found, and a store
/// that is gone is said.
#[test]
fn pulses_may_stand_in_a_bucket_of_a_store_that_speaks_s3() {
    let Some(bucket) = Bucket::start() else { return };
    let run = |bench: &Bench, line: &str| {
        let keys = [("AWS_ACCESS_KEY_ID", "millrace"), ("AWS_SECRET_ACCESS_KEY", "invented")];
        Ran::of(line, command(bench.folder(), line).envs(keys).output().unwrap())
    };
    let bench = Bench::without_record();
    copy(&repository().join("demo"), &bench.path("order"));
    let at = shared().address(&shared().database());
    let address = format!("s3://pulses/millrace?endpoint=http://127.0.0.1:{}&region=us-east-1", bucket.port);
    let people = STEPS[0].1;
    run(&bench, &format!("{} --record {at} --pulses {address}", people[0])).ends(0);
    assert!(bench.read("laboratory.trail").ends_with(&format!("pulses {address}\n")));
    run(&bench, people[1]).ends(0);
    run(&bench, "open order --as j.alder").ends(0);
    run(&bench, "simulate 2026-041 --truth order/truth.toml -o readings.csv").ends(0);
    run(&bench, "import 2026-041 readings.csv --as j.alder").ends(0);
    run(&bench, "evaluate 2026-041").ends(1);
    run(&bench, "verify").ends(0).says("84 blobs");
    let listed = bucket.ask("GET /pulses?list-type=2");
    let keys: Vec<&str> = listed.split("<Key>").skip(1).map(|rest| rest.split('<').next().unwrap()).collect();
    assert_eq!(keys.len(), 84);
    for key in &keys {
        let [folder, within, name] = key.split('/').collect::<Vec<_>>()[..] else { panic!("{key}") };
        assert_eq!((folder, within, name.len()), ("millrace", &name[..2], 64));
    }
    let endpoint = format!("http://127.0.0.1:{}", bucket.port);
    says("change", &[Path::new(&endpoint), Path::new(keys[0])]).unwrap();
    run(&bench, "verify").ends(1).says("its bytes have another digest");
    drop(bucket);
    run(&bench, "verify").ends(2).says("cannot be reached");
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
