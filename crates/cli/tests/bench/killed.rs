//! Commands that are killed at any moment: nothing acknowledged is lost, the record is sound, the same command goes on.

use std::path::Path;
use std::sync::OnceLock;
use std::time::{Duration, Instant};

use darkline_audit_trail::{SqliteStore, Store};
use tempfile::TempDir;

use crate::laboratory::{Bench, CADMIUM, Stage, copy, repository};
use crate::program::{run, start};
use crate::seeded::Seeded;

fn n_entries(folder: &Path) -> u64 {
    let store = SqliteStore::open(&folder.join("laboratory.trail")).unwrap();
    store.size(store.log()).unwrap()
}

/// Kills a command at moments drawn over a little more than the time it takes.
///
/// # Arguments
/// * `from`: the folder as it is before the command.
/// * `n`: how many times; more in `cargo xtask torture`, which sets a factor.
/// * `holds`: looks at the folder after the command was killed, and again after it was repeated.
fn kill(from: &Path, line: &str, seed: u64, n: usize, holds: impl Fn(&Path)) {
    let factor = std::env::var("DARKLINE_TORTURE").ok().and_then(|factor| factor.parse().ok()).unwrap_or(1);
    let n: usize = n * factor;
    let before = n_entries(from);
    let (whole, added) = {
        let folder = tempfile::tempdir().unwrap();
        copy(from, folder.path());
        let began = Instant::now();
        run(folder.path(), line).ends(0);
        let added = n_entries(folder.path()) - before;
        // Issuing an order in review approves it as well.
        assert_eq!(added, if line.starts_with("issue") { 2 } else { 1 });
        (began.elapsed(), added)
    };
    let mut seeded = Seeded::new(seed);
    for _ in 0..n {
        let folder = tempfile::tempdir().unwrap();
        copy(from, folder.path());
        let part = u32::try_from(seeded.below(1200)).unwrap();
        let mut child = start(folder.path(), line);
        std::thread::sleep(whole * part / 1000);
        child.kill().unwrap();
        let said = child.wait_with_output().unwrap();
        let said = format!("{}{}", String::from_utf8_lossy(&said.stdout), String::from_utf8_lossy(&said.stderr));
        let what = format!("{line}, killed after {part} of 1000 parts, having said {said:?}");
        let after = n_entries(folder.path());
        assert!((before..=before + added).contains(&after), "{what}");
        if said.contains(&format!("entry {}", before + added - 1)) {
            assert_eq!(after, before + added, "{what}: what was acknowledged is lost");
        }
        run(folder.path(), "verify --quiet").ends(0);
        holds(folder.path());
        let began = Instant::now();
        run(folder.path(), line).ends(0);
        assert!(began.elapsed() < whole * 20 + Duration::from_secs(5), "{what}: the next one waited");
        holds(folder.path());
        run(folder.path(), "verify --quiet").ends(0);
        let repeated = n_entries(folder.path());
        // An archive may be written twice; an import or a signature stands once.
        let most = if line.starts_with("archive") { before + 2 } else { before + added };
        assert!((before + added..=most).contains(&repeated), "{what}: {repeated} entries");
        let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
        assert!(!left.iter().any(|name| name.to_string_lossy().ends_with(".unfinished")), "{what}: {left:?}");
    }
}

/// The order of the demo with its readings measured and not yet imported.
fn measured() -> &'static Path {
    static MEASURED: OnceLock<TempDir> = OnceLock::new();
    let folder = MEASURED.get_or_init(|| {
        let bench = Bench::at(Stage::People);
        let folder = tempfile::tempdir().unwrap();
        copy(bench.folder(), folder.path());
        copy(&repository().join("demo"), &folder.path().join("order"));
        run(folder.path(), "open order --as j.alder").ends(0);
        let line = "simulate 2026-041 --truth order/truth.toml -o readings-1.csv --json";
        let simulated = run(folder.path(), line).ends(0).json().remove(0);
        assert_eq!(
            (simulated["schema"].as_str(), simulated["firings"].as_u64()),
            (Some("darkline/simulated/1"), Some(84))
        );
        folder
    });
    folder.path()
}

#[test]
fn an_import_that_is_killed_is_whole_or_not_there() {
    let expected = {
        let folder = tempfile::tempdir().unwrap();
        copy(measured(), folder.path());
        run(folder.path(), "import 2026-041 readings-1.csv --as j.alder").ends(0);
        run(folder.path(), "evaluate 2026-041 --json").ends(1).out
    };
    let none = run(measured(), "evaluate 2026-041 --json").out;
    kill(measured(), "import 2026-041 readings-1.csv --as j.alder", 41, 20, |folder| {
        let found = run(folder, "evaluate 2026-041 --json").out;
        assert!(found == expected || found == none);
    });
}

#[test]
fn a_signature_that_is_killed_is_given_or_not() {
    let bench = Bench::at(Stage::Imported);
    let line = format!("sign {CADMIUM} --as j.alder --confirm {CADMIUM} --key-file keys/j.alder");
    kill(bench.folder(), &line, 52, 20, |_| {});
}

#[test]
fn an_issue_that_is_killed_is_whole_or_not_there() {
    let bench = Bench::at(Stage::Signed);
    let line = format!("issue {CADMIUM} --as m.rowan --confirm {CADMIUM} --key-file keys/m.rowan -o report.pdf");
    kill(bench.folder(), &line, 15489, 20, |folder| {
        if let Ok(report) = std::fs::read(folder.join("report.pdf")) {
            assert!(report.starts_with(b"%PDF-") && report.trim_ascii_end().ends_with(b"%%EOF"));
        }
    });
}

#[test]
fn an_archive_that_is_killed_is_whole_or_not_there() {
    let bench = Bench::at(Stage::Issued);
    let line = format!("archive {CADMIUM} --as m.rowan -o archive.zip");
    kill(bench.folder(), &line, 8493, 20, |folder| {
        if folder.join("archive.zip").exists() {
            let bytes = std::fs::read(folder.join("archive.zip")).unwrap();
            assert!(darkline_laboratory::verification::verify(&bytes, &mut |_| {}).unwrap().is_intact());
        }
    });
}

#[test]
fn an_issue_that_was_killed_gives_its_report_when_asked_again() {
    let bench = Bench::at(Stage::Issued);
    let issued = std::fs::read(bench.path("report.pdf")).unwrap();
    // As if the program had been killed between its entry and its file.
    std::fs::remove_file(bench.path("report.pdf")).unwrap();
    bench.write("report.pdf.unfinished", "half of it");
    let line = format!("issue {CADMIUM} --as m.rowan --confirm {CADMIUM} --key-file keys/m.rowan -o report.pdf");
    bench.run(&line).ends(0).says("issued already").says("report.pdf written");
    assert_eq!(std::fs::read(bench.path("report.pdf")).unwrap(), issued);
    assert!(!bench.path("report.pdf.unfinished").exists());
}

/// Ctrl-C ends a command with 130.
#[cfg(unix)]
#[test]
fn an_interrupted_command_ends_with_130_and_leaves_a_sound_record() {
    let folder = tempfile::tempdir().unwrap();
    let child = start(folder.path(), "demo --folder there");
    let trail = folder.path().join("there/laboratory.trail");
    let began = Instant::now();
    while !trail.exists() && began.elapsed() < Duration::from_secs(20) {
        std::thread::sleep(Duration::from_millis(5));
    }
    let kill = std::process::Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    assert!(kill.success());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(130), "{}", String::from_utf8_lossy(&output.stderr));
    run(&folder.path().join("there"), "verify").ends(0);
}
