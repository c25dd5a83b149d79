//! Two programs at one record at the same time: one is first, the other is told, and nothing is lost.

use crate::laboratory::{Bench, CADMIUM, Stage};
use crate::program::{Ran, start};

/// Runs two commands at the same moment.
fn both(bench: &Bench, lines: [&str; 2]) -> [Ran; 2] {
    let children = lines.map(|line| (line, start(bench.folder(), line)));
    children.map(|(line, child)| Ran::of(line, child.wait_with_output().unwrap()))
}

#[test]
fn two_imports_at_once_bring_all_readings_once() {
    let mut n_overtaken = 0;
    for _ in 0..8 {
        let bench = Bench::at(Stage::Open);
        let table = bench.read("cadmium/readings.csv");
        let (head, lines) = table.split_once('\n').unwrap();
        let (first, second) = lines.split_at(lines.find("4,1,").unwrap());
        bench.write("first.csv", format!("{head}\n{first}"));
        bench.write("second.csv", format!("{head}\n{second}"));
        let lines = ["first", "second"].map(|name| format!("import {CADMIUM} {name}.csv --as j.alder"));
        let before = bench.n_entries();
        let ran = both(&bench, [&lines[0], &lines[1]]);
        assert!(ran.iter().any(|ran| ran.code == Some(0)), "{}{}", ran[0].told, ran[1].told);
        for ran in ran {
            if ran.code == Some(0) {
                continue;
            }
            n_overtaken += 1;
            let again = ran.line.clone();
            ran.ends(2)
                .says("somebody else appended an entry in the meantime; nothing of this was appended")
                .says("give the command again");
            assert_eq!(bench.n_entries(), before + 1);
            bench.run(&again).ends(0);
        }
        assert_eq!(bench.n_entries(), before + 2);
        bench.run("verify --quiet").ends(0);
        bench.run(&format!("evaluate {CADMIUM}")).ends(0).says("0.0151");
        for line in &lines {
            bench.run(line).ends(0).says("in the record already, word for word");
        }
    }
    // How often they meet is up to the machine; that they may is what the loop is for.
    assert!(n_overtaken <= 8);
}

#[test]
fn the_same_import_twice_at_once_is_one_import() {
    for _ in 0..4 {
        let bench = Bench::at(Stage::Open);
        let line = format!("import {CADMIUM} cadmium/readings.csv --as j.alder");
        let before = bench.n_entries();
        let ran = both(&bench, [&line, &line]);
        assert!(ran.iter().any(|ran| ran.code == Some(0)), "{}{}", ran[0].told, ran[1].told);
        for ran in ran {
            assert!(matches!(ran.code, Some(0 | 2)), "{}", ran.told);
        }
        assert_eq!(bench.n_entries(), before + 1);
        bench.run("verify --quiet").ends(0);
    }
}

#[test]
fn two_who_begin_a_record_at_once_do_not_share_it() {
    let bench = Bench::without_record();
    let line = "begin --as k.willow --full-name \"K. Willow\" --laboratory L --address A --key-file keys/k.willow";
    let ran = both(&bench, [line, line]);
    let mut codes = ran.each_ref().map(|ran| ran.code);
    codes.sort_unstable();
    assert_eq!(codes, [Some(0), Some(2)], "{}{}", ran[0].told, ran[1].told);
    bench.run("verify").ends(0);
    bench
        .run("people add j.alder --full-name \"J. Alder\" --role analyst --as k.willow --key-file keys/j.alder")
        .ends(0);
}
