//! Equal reports give equal bytes: again, on another thread, and in another process.

use crate::order;
use darkline_report::{evict, render};
use std::{env, fs, process::Command, thread};

/// Where a child process writes its report; set only by the test that starts it.
const CHILD: &str = "DARKLINE_REPORT_TEST_CHILD";

#[test]
fn the_same_report_gives_the_same_bytes_again_and_on_another_thread() {
    let first = render(&order::report(), order::RECORD).unwrap();
    let again = render(&order::report(), order::RECORD).unwrap();
    evict();
    let other = thread::spawn(|| render(&order::report(), order::RECORD).unwrap()).join().unwrap();
    assert!(first == again && first == other);
}

#[test]
fn the_same_report_gives_the_same_bytes_in_another_process() {
    if let Some(path) = env::var_os(CHILD) {
        // The child renders another report first: what was remembered from it must not show.
        let mut other = order::report();
        other.trial = false;
        render(&other, b"[]").unwrap();
        fs::write(path, render(&order::report(), order::RECORD).unwrap()).unwrap();
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("child.pdf");
    let ran = Command::new(env::current_exe().unwrap())
        .args(["--exact", "same_bytes::the_same_report_gives_the_same_bytes_in_another_process"])
        .env(CHILD, &path)
        .output()
        .unwrap();
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    assert!(fs::read(&path).unwrap() == render(&order::report(), order::RECORD).unwrap());
}

#[test]
fn one_letter_more_gives_another_file() {
    let first = render(&order::report(), order::RECORD).unwrap();
    let mut report = order::report();
    report.notes[0].push('.');
    assert!(first != render(&report, order::RECORD).unwrap());
    assert!(first != render(&order::report(), b"{}").unwrap());
}
