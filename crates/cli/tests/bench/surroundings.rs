//! What surrounds a command: the words it is called by, the environment, pipes, and the file where a record should be.

use std::io::{BufRead, BufReader};

use crate::laboratory::{Bench, Stage};
use crate::program::{command, run, start};

#[test]
fn mistyped_words_are_told_and_not_run() {
    let bench = Bench::at(Stage::Open);
    let before = bench.n_entries();
    let mut text = String::new();
    for line in [
        "evalute 2026-052",
        "imprt 2026-052 cadmium/readings.csv --as j.alder",
        "telephone",
        "people ad",
        "evaluate",
        "evaluate 2026-052 --jsno",
        "evaluate 2026-052 --frobnicate",
        "evaluate 2026-052 2026-053",
        "evaluate 2026-052 --output",
        "import 2026-052 --as j.alder",
        "demo --seed many",
        "decide 2026-052 --take-up x:run:R1 --dilute-by half --reason r --as j.alder",
        "decide 2026-052 --dilute-by 5 --reason r --as j.alder",
        "verify --report report.pdf",
        "--quiet",
        "evaluate 2026-052 --json --json",
    ] {
        text.push_str(&bench.run(line).ends(2).seen());
    }
    assert_eq!(bench.n_entries(), before);
    insta::assert_snapshot!(text);
}

#[cfg(unix)]
#[test]
fn words_that_are_no_text_are_told() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    let bench = Bench::at(Stage::Open);
    let odd = OsStr::from_bytes(b"\xff.zip");
    for verb in ["evaluate", "open", "verify", "explain", "frobnicate"] {
        let output = command(bench.folder(), verb).arg(odd).output().unwrap();
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{verb}: {told}");
        assert!(told.starts_with("error: ") && !told.contains("panicked"), "{verb}: {told}");
    }
}

#[test]
fn help_is_an_answer_and_no_command_at_all_is_none() {
    let folder = tempfile::tempdir().unwrap();
    let help = run(folder.path(), "--help").ends(0);
    assert!(help.told.is_empty() && help.out.contains("Everywhere the same"), "{}", help.out);
    insta::assert_snapshot!("help", help.out);
    insta::assert_snapshot!("help_of_evaluate", run(folder.path(), "evaluate --help").ends(0).out);
    insta::assert_snapshot!("help_of_decide", run(folder.path(), "decide -h").ends(0).out);
    let bare = run(folder.path(), "").ends(2);
    assert!(bare.out.is_empty() && bare.told.contains("Usage: darkline"), "{}", bare.told);
    let version = run(folder.path(), "-V").ends(0).out;
    assert_eq!(version, format!("darkline {}\n", env!("CARGO_PKG_VERSION")));
}

#[test]
fn every_verb_that_help_lists_is_in_the_reference() {
    let folder = tempfile::tempdir().unwrap();
    let help = run(folder.path(), "--help").ends(0).out;
    let reference = run(folder.path(), "help-reference").ends(0).out;
    let verbs: Vec<&str> = help
        .lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter(|line| !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    assert!(verbs.len() >= 18, "{verbs:?}");
    for verb in verbs {
        assert!(reference.contains(&format!("\n## darkline {verb}\n")), "{verb}");
        assert!(run(folder.path(), &format!("{verb} --help")).ends(0).out.contains("\n  darkline "), "{verb}");
    }
    assert!(!help.contains("help-reference"));
}

#[test]
fn option_beats_environment_beats_the_usual_place() {
    let bench = Bench::at(Stage::Imported);
    std::fs::rename(bench.path("laboratory.trail"), bench.path("millrace.trail")).unwrap();
    std::fs::rename(bench.path("laboratory.trail.key"), bench.path("millrace.trail.key")).unwrap();
    bench
        .run("evaluate 2026-052")
        .ends(2)
        .says("there is no audit trail at laboratory.trail")
        .says("or name another with --trail PATH");
    let with = |line: &str, trail: &str, person: &str| {
        let output =
            command(bench.folder(), line).env("DARKLINE_TRAIL", trail).env("DARKLINE_PERSON", person).output().unwrap();
        crate::program::Ran::of(line, output)
    };
    with("evaluate 2026-052", "millrace.trail", "").ends(0);
    with("evaluate 2026-052 --trail millrace.trail", "nowhere.trail", "").ends(0);
    with("evaluate 2026-052 --trail nowhere.trail", "millrace.trail", "").ends(2);
    with("evaluate 2026-052", "", "").ends(2).says("laboratory.trail");
    with("decide 2026-052 --reject 1 --reason \"by the environment\"", "millrace.trail", "j.alder")
        .ends(0)
        .says("by j.alder");
    with("decide 2026-052 --reject 2 --reason \"by the option\" --as j.alder", "millrace.trail", "m.rowan")
        .ends(0)
        .says("by j.alder");
    with("decide 2026-052 --reject 3 --reason \"by nobody\"", "millrace.trail", "").ends(2).says("nobody is named");
}

#[test]
fn no_colour_without_a_terminal_nor_with_no_color() {
    let bench = Bench::at(Stage::Imported);
    let line = "evaluate 2026-053";
    let plain = bench.run(line).ends(2);
    assert!(!plain.told.contains('\u{1b}'), "{:?}", plain.told);
    let coloured = command(bench.folder(), line).env("CLICOLOR_FORCE", "1").output().unwrap();
    assert!(String::from_utf8_lossy(&coloured.stderr).contains('\u{1b}'));
    let wanted_plain = command(bench.folder(), line).env("CLICOLOR_FORCE", "0").env("NO_COLOR", "1").output().unwrap();
    assert_eq!(String::from_utf8_lossy(&wanted_plain.stderr), plain.told);
    let dumb = command(bench.folder(), line).env("CLICOLOR_FORCE", "1").env("TERM", "dumb").output().unwrap();
    assert_eq!(String::from_utf8_lossy(&dumb.stderr), plain.told);
}

#[test]
fn quiet_leaves_results_and_errors() {
    let bench = Bench::at(Stage::Open);
    let silent = bench.run("import 2026-052 cadmium/readings.csv --as j.alder --quiet").ends(0);
    assert!(silent.out.is_empty() && silent.told.is_empty(), "{}{}", silent.out, silent.told);
    let results = bench.run("evaluate 2026-052 -q").ends(0);
    assert!(results.out.contains("dish-1") && results.told.is_empty());
    bench.run("evaluate 2026-053 -q").ends(2).says("error: the record has no order 2026-053");
}

#[test]
fn a_reader_that_goes_away_is_no_fault() {
    let bench = Bench::at(Stage::Archived);
    for line in [
        "entries --json",
        "explain 2026-052 dish-1",
        "evaluate 2026-052 --json",
        "help-reference",
        "entries --help",
        "verify archive.zip",
    ] {
        let mut child = start(bench.folder(), line);
        let mut first = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut first).unwrap();
        assert!(!first.is_empty(), "{line}");
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{line}: {}", String::from_utf8_lossy(&output.stderr));
        let mut gone = start(bench.folder(), line);
        drop(gone.stdout.take());
        let output = gone.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{line}: {}", String::from_utf8_lossy(&output.stderr));
    }
}

#[test]
fn files_that_are_no_record() {
    let bench = Bench::at(Stage::Imported);
    std::fs::create_dir(bench.path("folder.trail")).unwrap();
    bench.write("empty.trail", "");
    bench.write("text.trail", "entry 1\n");
    bench.write("zeros.trail", [0; 8192]);
    // The head of a SQLite file, and an application identity that is not ours.
    let mut other = std::fs::read(bench.path("laboratory.trail")).unwrap();
    other[68..72].copy_from_slice(&[0, 0, 0, 0]);
    bench.write("other.trail", &other);
    let mut text = String::new();
    for name in ["none", "folder", "empty", "text", "zeros", "other"] {
        for line in [format!("evaluate 2026-052 --trail {name}.trail"), format!("verify --trail {name}.trail")] {
            text.push_str(&bench.run(&line).ends(2).seen());
        }
    }
    text.push_str(&bench.run("begin --trail text.trail --as k.willow --full-name \"K. Willow\" --laboratory L --address A --key-file keys/k.willow").ends(2).seen());
    assert_eq!(bench.read("text.trail"), "entry 1\n");
    assert!(!bench.path("text.trail.key").exists());
    std::fs::remove_file(bench.path("laboratory.trail.key")).unwrap();
    text.push_str(&bench.run("decide 2026-052 --reject 1 --reason \"no key here\" --as j.alder").ends(2).seen());
    bench.run("evaluate 2026-052").ends(0);
    insta::assert_snapshot!(text);
}

/// A record with one changed byte somewhere: told by place, or of no consequence since nothing is kept there.
#[test]
fn a_record_with_a_changed_byte_is_told_or_sound_and_never_ends_the_program() {
    let bench = Bench::at(Stage::Issued);
    let whole = std::fs::read(bench.path("laboratory.trail")).unwrap();
    let mut places = crate::seeded::Seeded::new(52);
    let (mut n_told, n) = (0, 40);
    for _ in 0..n {
        let place = places.below(whole.len());
        let mut changed = whole.clone();
        changed[place] ^= 1 << places.below(8);
        bench.write("changed.trail", &changed);
        let ran = bench.run("verify --trail changed.trail");
        assert!(matches!(ran.code, Some(0..=2)), "byte {place}: {:?}\n{}", ran.code, ran.told);
        assert!(!ran.told.contains("panicked"), "byte {place}: {}", ran.told);
        match ran.code {
            Some(0) => {}
            Some(1) => {
                assert!(ran.out.contains('▲'), "byte {place}: {}", ran.out);
                n_told += 1;
            }
            _ => {
                assert!(ran.told.starts_with("error: "), "byte {place}: {}", ran.told);
                n_told += 1;
            }
        }
        for name in ["changed.trail-wal", "changed.trail-shm"] {
            let _ = std::fs::remove_file(bench.path(name));
        }
    }
    // Most of the file are the pages of the report, whose every byte is digested.
    assert!(n_told * 2 > n, "{n_told} of {n}");
}

/// The order of a second folder shares nothing with the first but its run's name would: two runs are named.
#[test]
fn an_order_in_two_runs_asks_which_and_names_them() {
    let bench = Bench::at(Stage::People);
    let rows = bench.read("cadmium/run-order.csv");
    bench.write("cadmium/run-order-2.csv", rows);
    let second = bench.read("cadmium/run.toml").replace("\"R1\"", "\"R2\"").replace("run-order.csv", "run-order-2.csv");
    bench.write("cadmium/run-2.toml", second);
    bench.run("open cadmium --as j.alder").ends(0).says("12 rows");
    let before = bench.n_entries();
    let which = bench.run("import 2026-052 cadmium/readings.csv --as j.alder").ends(2);
    assert_eq!(
        which.told,
        "error: order 2026-052 is measured in several runs; name one of them: R1, R2\n  write it behind --run\n"
    );
    bench.run("plan 2026-052").ends(2).says("name one of them: R1, R2");
    bench
        .run("decide 2026-052 --reject 1 --reason \"in which run\" --as j.alder")
        .ends(2)
        .says("name one of them: R1, R2");
    assert_eq!(bench.n_entries(), before);
    bench.run("import 2026-052 cadmium/readings.csv --run R2 --as j.alder").ends(0).says("of run R2");
    bench.run("import 2026-052 cadmium/readings.csv --run R3 --as j.alder").ends(2).says("it is in R1, R2");
}
