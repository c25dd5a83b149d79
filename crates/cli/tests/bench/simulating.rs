//! `darkline simulate`: faults by name, readings while time passes, bad truths.

use crate::laboratory::{Bench, Stage, repository};

/// A bench where the demonstration order is open and nothing is measured.
pub fn bench() -> Bench {
    let bench = Bench::at(Stage::People);
    std::fs::create_dir(bench.path("order")).unwrap();
    for name in ["order.toml", "preparation.toml", "method.toml", "run.toml", "run-order.csv"] {
        bench.write(&format!("order/{name}"), std::fs::read(repository().join("demo").join(name)).unwrap());
    }
    bench.write("truth.toml", std::fs::read(repository().join("demo/truth.toml")).unwrap());
    bench.run("open order --as j.alder").ends(0);
    bench
}

#[test]
fn a_fault_nobody_knows_is_told_with_the_list_of_all() {
    let bench = bench();
    let told = bench.run("simulate 2026-041 --truth truth.toml --fault gremlin@3 -o r.csv").ends(2);
    let told = told.says("there is no fault \"gremlin\"").says("the faults are").says("found from");
    told.says("bad-injection").says("slot-clogging").says("spilled-portion");
    bench
        .run("simulate 2026-041 --truth truth.toml --fault worn-tube@77 -o r.csv")
        .ends(2)
        .says("--fault worn-tube@77 cannot happen in run R1: it has no such row");
    bench
        .run("simulate 2026-041 --truth truth.toml --fault worn-tube@7=3s -o r.csv")
        .ends(2)
        .says("--fault worn-tube@7=3s: the size of worn-tube is a part of a whole, not \"3s\"; write for example 20 %");
    assert!(!bench.path("r.csv").exists());
}

#[test]
fn a_bad_truth_is_told_with_file_line_and_column() {
    let bench = bench();
    bench.edit("truth.toml", "row = 13", "row = 99");
    let line = "simulate 2026-041 --truth truth.toml -o r.csv";
    bench
        .run(line)
        .ends(2)
        .says("truth.toml: line 100, column 7: bad-injection@99.2 cannot happen in run R1: it has no such row");
    bench.edit("truth.toml", "\"15.4 pg\"", "\"-15.4 pg\"");
    bench.run(line).ends(2).says("truth.toml: line 10, column 23: the characteristic mass is -15.4 pg");
}

#[test]
fn faults_of_the_command_line_come_on_top_and_are_judged() {
    let bench = bench();
    let line = "simulate 2026-041 --truth truth.toml --fault worn-tube@15=30% --fault lost-reading@22.1";
    bench
        .run(&format!("{line} -o r.csv"))
        .ends(0)
        .says("28 rows of run R1 measured")
        .says("r.csv and r.parquet written");
    bench.run("import 2026-041 r.csv --as j.alder").ends(0);
    let judged = bench.run(&format!("{line} --judge")).ends(0);
    for line in [
        "bad-injection@13.2: found by replicate-outlier:reading:R1/38",
        "check-outside-limits:row:R1/19, check-outside-limits:row:R1/27",
        "lost-reading@22.1: found by ",
    ] {
        assert!(judged.out.contains(line), "{line}\n{}", judged.out);
    }
}

#[test]
fn readings_come_row_by_row_while_time_passes() {
    let bench = bench();
    let line = "simulate 2026-041 --truth truth.toml --speed 1e6 -o r.csv";
    bench.run(line).ends(0).says("row 1: r-001.csv written").says("row 28: r-028.csv written");
    bench.run("import 2026-041 r-001.csv --as j.alder").ends(0).says("3 readings, 3 pulses of run R1 imported");
    bench.run("import 2026-041 r-002.csv --as j.alder").ends(0).says("as 4 to 6");
    bench.run("simulate 2026-041 --truth truth.toml --speed 0 -o s.csv").ends(2).says("a speed is a number above 0");
}
