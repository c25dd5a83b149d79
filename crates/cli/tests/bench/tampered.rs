//! Archives with a changed byte, cut short, or that are none at all.

use darkline_laboratory::verification::verify;

use crate::laboratory::{Bench, Stage};
use crate::seeded::Seeded;

/// What is told about bytes that are no sound archive; nothing where they are sound.
fn faults(bytes: &[u8]) -> Vec<String> {
    match verify(bytes, &mut |_| {}) {
        Ok(found) if found.is_intact() => Vec::new(),
        Ok(found) => found.checks.into_iter().flat_map(|check| check.faults).collect(),
        Err(none) => vec![none.to_string()],
    }
}

/// A fault names a file of the archive, a byte of it, or an entry.
#[track_caller]
fn is_placed(faults: &[String], what: &str) {
    assert!(!faults.is_empty(), "{what}: nothing was found");
    for fault in faults {
        let placed =
            ["data/", "byte ", "bag-info.txt", "bagit.txt", "manifest-sha512.txt", "the path ", "entry ", "no archive"];
        assert!(placed.iter().any(|place| fault.contains(place)), "{what}: {fault}");
    }
}

#[test]
fn a_changed_byte_anywhere_is_found_and_its_place_named() {
    let bench = Bench::at(Stage::Archived);
    let whole = std::fs::read(bench.path("archive.zip")).unwrap();
    assert_eq!(faults(&whole), [""; 0]);
    let mut seeded = Seeded::new(2026);
    let anywhere = (0..150).map(|_| (seeded.below(whole.len()), seeded.below(8))).collect::<Vec<_>>();
    // The first and last bytes hold the heads of the zip, where the fewest bytes carry the most.
    let ends = (0..60).chain(whole.len() - 60..whole.len()).map(|place| (place, 0));
    for (place, bit) in anywhere.into_iter().chain(ends) {
        let mut changed = whole.clone();
        changed[place] ^= 1 << bit;
        is_placed(&faults(&changed), &format!("byte {place}, bit {bit}"));
    }
    // The same through the command: exit 1, what and where.
    for place in [0, 40, whole.len() / 3, whole.len() / 2, whole.len() - 1] {
        let mut changed = whole.clone();
        changed[place] ^= 0x20;
        bench.write("changed.zip", &changed);
        let ran = bench.run("verify changed.zip").ends(1).says("changed.zip is not as it was issued");
        is_placed(
            &ran.out.lines().filter(|line| line.starts_with('▲')).map(str::to_owned).collect::<Vec<_>>(),
            &format!("byte {place}"),
        );
        let ran = bench.run("verify changed.zip --json --quiet").ends(1);
        assert_eq!(ran.json().last().unwrap()["intact"], false);
    }
}

/// 10 000 bytes drawn over the whole archive, every one changed in a bit of its own, every one found.
#[test]
fn ten_thousand_changed_bytes_are_found_and_placed() {
    const FLIPS: usize = 10_000;
    let bench = Bench::at(Stage::Archived);
    let whole = std::fs::read(bench.path("archive.zip")).unwrap();
    let mut seeded = Seeded::new(10_000);
    let flips: Vec<(usize, usize)> = (0..FLIPS).map(|_| (seeded.below(whole.len()), seeded.below(8))).collect();
    let n_threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for flips in flips.chunks(FLIPS.div_ceil(n_threads)) {
            let whole = &whole;
            scope.spawn(move || {
                let mut changed = whole.clone();
                for (place, bit) in flips {
                    changed[*place] ^= 1 << bit;
                    is_placed(&faults(&changed), &format!("byte {place}, bit {bit}"));
                    changed[*place] ^= 1 << bit;
                }
            });
        }
    });
}

#[test]
fn what_an_analyst_reads_of_a_changed_archive() {
    let bench = Bench::at(Stage::Archived);
    let mut bytes = std::fs::read(bench.path("archive.zip")).unwrap();
    let reading = b"2026-03-12T10:05:00+01:00,0.0712";
    let place = bytes.windows(reading.len()).position(|window| window == reading).unwrap();
    bytes[place + reading.len() - 1] = b'3';
    bench.write("changed.zip", &bytes);
    let seen = bench.run("verify changed.zip").ends(1).seen();
    // Where a file begins depends on how long the entries before it are.
    let mut settings = insta::Settings::clone_current();
    settings.add_filter(r"byte \d+", "byte [n]");
    settings.bind(|| insta::assert_snapshot!(seen));
}

#[test]
fn an_archive_that_was_cut_or_went_on_is_told() {
    let bench = Bench::at(Stage::Archived);
    let whole = std::fs::read(bench.path("archive.zip")).unwrap();
    let mut seeded = Seeded::new(8493);
    let lengths = (0..60).map(|_| seeded.below(whole.len())).chain(0..40).chain(whole.len() - 40..whole.len());
    for length in lengths {
        is_placed(&faults(&whole[..length]), &format!("cut after {length}"));
    }
    is_placed(&faults(&[&whole[..], b"\0"].concat()), "a byte behind it");
    is_placed(&faults(&[&whole[..], &whole[..]].concat()), "twice");
    bench.write("cut.zip", &whole[..whole.len() / 2]);
    bench.run("verify cut.zip").ends(1).says("cut.zip is not as it was issued");
}

#[test]
fn what_is_no_archive_cannot_be_verified() {
    let bench = Bench::at(Stage::Archived);
    bench.write("empty.zip", "");
    bench.write("text.zip", "a text\n");
    bench.write("zeros.zip", [0; 1000]);
    let mut text = String::new();
    for name in ["none.zip", "keys", "empty.zip", "text.zip", "zeros.zip", "report.pdf", "laboratory.trail"] {
        text.push_str(&bench.run(&format!("verify {name}")).ends(2).seen());
    }
    text.push_str(&bench.run("verify archive.zip --report none.pdf").ends(2).seen());
    // Zips that another program packed: an empty one, and one stored file with a time of its own.
    let empty = [&b"PK\x05\x06"[..], &[0; 18]].concat();
    let packed = b"PK\x03\x04\x14\0\0\0\x08\0\x21\x54\x6c\x5a\0\0\0\0\x02\0\0\0\0\0\0\0\x01\0\0\0a\x03\0PK\x01\x02";
    for (name, bytes) in [("nothing.zip", &empty[..]), ("other.zip", packed)] {
        bench.write(name, bytes);
        text.push_str(&bench.run(&format!("verify {name}")).ends(1).seen());
    }
    insta::assert_snapshot!(text);
}
