//! Tables with faults.

use darkline_exchange::folder::{Documents, read_folder};
use darkline_exchange::{readings, run_order};
use darkline_record::method::{PulseWindow, ResponseKind, ResponsePlan};

use crate::folders::in_repository;
use crate::zoo;

const HEAD: &str =
    "row,cup,name,role,amount_mg_per_l,u_amount_mg_per_l,batch,portion,dilution,u_dilution,replicates,joins,replaces\n";

fn rows(lines: &str) -> String {
    format!("{HEAD}{lines}")
}

#[test]
fn run_orders() {
    let many = |n: usize| (1..=n).map(|row| format!("{row},,,standard,x,,,,,,,,\n")).collect::<String>();
    let files = [
        ("a head and nothing else", rows("")),
        ("columns missing and unknown", "row,nmae,weather\n1,S1,fine\n".into()),
        ("a column twice", "row,name,role,role\n1,S1,standard,standard\n".into()),
        ("columns parted by tabs", "row\tname\trole\n1\tS1\tstandard\n".into()),
        (
            "amounts without a unit, in an unknown one, in one of another kind",
            "row,name,role,amount,amount_ppb,u_amount_ml\n1,B,calibration blank,,,\n".into(),
        ),
        (
            "a standard without an amount, one of zero, one below",
            rows("1,,S1,standard,,,,,,,,,\n2,,S2,standard,0,,,,,,,,\n3,,S3,check,-0.1,,,,,,,,\n"),
        ),
        (
            "an uncertainty without an amount, and a negative one",
            rows("1,,S1,standard,,0.1,,,,,,,\n2,,S2,standard,0.3,-0.1,,,,,,,\n"),
        ),
        (
            "words and units in columns of numbers",
            rows(
                "1,,S1,standard,none,,,,,,,,\n2,,S2,standard,0.3 mg/L,,,,,,,,\n3,,S3,standard,NaN,,,,,,,,\n4,,S4,standard,1e999,,,,,,,,\n",
            ),
        ),
        (
            "a decimal comma, quoted and not, and one that may be thousands",
            rows("1,,S1,standard,\"0,25\",,,,,,,,\n2,,S2,standard,0,25,,,,,,,,\n3,,S3,standard,\"1,234\",,,,,,,,\n"),
        ),
        (
            "row numbers",
            rows(
                "0,,S1,standard,0.1,,,,,,,,\n1,,S1,standard,0.1,,,,,,,,\n-3,,S1,standard,0.1,,,,,,,,\n1.5,,S1,standard,0.1,,,,,,,,\n1,,S1,standard,0.1,,,,,,,,\n,,S1,standard,0.1,,,,,,,,\n",
            ),
        ),
        ("roles", rows("1,,S1,Standard,0.1,,,,,,,,\n2,,S2,unknown,0.1,,,,,,,,\n3,,S3,,0.1,,,,,,,,\n")),
        (
            "cells of another role",
            rows(
                "1,,S1,standard,0.1,,P1,P1-1,,,,,\n2,,P,portion,0.1,,P1,P1-1,1,,,,\n3,,B,check blank,0.1,,,,,,,,\n4,,B,check blank,0,,,,,,,,\n",
            ),
        ),
        ("a portion without batch and portion", rows("1,,P,portion,,,,,1,,,,\n")),
        ("a table without the columns of portions", "row,name,role\n1,P,portion\n".into()),
        (
            "dilutions",
            rows(
                "1,,P,portion,,,P1,P1-1,1:10,,,,\n2,,P,portion,,,P1,P1-1,1/50,,,,\n3,,P,portion,,,P1,P1-1,1+9,,,,\n4,,P,portion,,,P1,P1-1,0.1,,,,\n5,,P,portion,,,P1,P1-1,2:5,,,,\n6,,P,portion,,,P1,P1-1,,0.1,,,\n",
            ),
        ),
        (
            "replicates",
            rows("1,,S1,standard,0.1,,,,,,0,,\n2,,S2,standard,0.1,,,,,,300,,\n3,,S3,standard,0.1,,,,,,many,,\n"),
        ),
        (
            "rows that follow others",
            rows(
                "1,,S1,standard,0.1,,,,,,,,\n2,,S1,standard,0.1,,,,,,,1,1\n3,,S1,standard,0.1,,,,,,,9,\n4,,S1,standard,0.1,,,,,,,4,\n5,,S2,standard,0.3,,,,,,,1,\n6,,S2,standard,0.3,,,,,,,,5\n",
            ),
        ),
        (
            "too few and too many cells",
            "row,name,role\n1,S1\n2,S2,calibration blank,,,\n3,S3,calibration blank,x\n".into(),
        ),
        ("a value in a column without a name", "row,name,role,\n1,S1,calibration blank,x\n".into()),
        ("odd quotation marks", rows("1,,\"S1\"x,standard,0.1,,,,,,,,\n2,,\"S2,standard,0.1,,,,,,,,\n")),
        (
            "a fault behind a line break in a cell",
            "row,name,role\n1,\"two\nlines\",calibration blank\nx,S2,calibration blank\n".into(),
        ),
        ("a last line that is not finished", rows("1,,S1,standard,0.1,,,,,,,,\n2,,S2,standard,0.").trim_end().into()),
        ("a portion with a blank in its name", rows("1,,P,portion,,,P1,P1 1,,,,,\n")),
        ("three hundred faults", rows(&many(300)).lines().map(|line| format!("{line}\r\n")).collect()),
    ];
    let files: Vec<(&str, &str)> = files.iter().map(|(title, text)| (*title, text.as_str())).collect();
    let told = zoo::told(&files, |text| run_order::read("run-order.csv", text, 3));
    // Of three hundred alike the first and the count are enough to read.
    let (few, many) = told.split_once("## three hundred faults").unwrap();
    let shown: Vec<&str> = many
        .lines()
        .enumerate()
        .filter(|(n, line)| *n < 5 || line.contains("faults in"))
        .map(|(_, line)| line)
        .collect();
    insta::assert_snapshot!(format!("{few}## three hundred faults{}", shown.join("\n")));
}

#[test]
fn a_table_of_ten_megabytes_on_one_line_is_told_at_once() {
    let text = format!("{}\n", "row,".repeat(2_500_000));
    let told = run_order::read("run-order.csv", &text, 3).unwrap_err().to_string();
    assert!(told.contains("stands here a second time") && told.len() < 100_000);
}

#[test]
fn tables_of_other_places_are_read() {
    let plain = rows("1,,S1,standard,0.25,,,,,,,,\n2,,P,portion,,,P1,P1-1,1.5,,,,\n");
    let wanted = run_order::read("run-order.csv", &plain, 3).unwrap();
    let other = plain.replace(',', ";").replace("0.25", "0,25").replace("1.5", "1,5").replace('\n', "\r\n");
    assert_eq!(run_order::read("run-order.csv", &format!("\u{feff}{other}"), 3).unwrap(), wanted);
    let quoted = plain.replace("0.25", "\"0,25\"").replace("1.5", "\"1,5\"").replace("S1", "\"S1\"");
    assert_eq!(run_order::read("run-order.csv", &quoted, 3).unwrap(), wanted);
}

fn example() -> Documents {
    read_folder(&in_repository("examples/cadmium-release")).unwrap()
}

#[test]
fn legs() {
    let documents = example();
    let run = documents.runs[0].run();
    let files = [
        (
            "a number that the run has, and a row that replaces none of its kind",
            rows("6,,dish-1,portion,,,P1,P1-1,2,,,,6\n7,,dish-1,portion,,,P1,P1-1,2,,,,5\n"),
        ),
        ("a good leg", rows("7,,dish-1,portion,,,P1,P1-1,2,,,,6\n8,,dish-1,portion,,,P1,P1-1,1,,,6,\n")),
        ("a row that joins a dilution", rows("7,,dish-1,portion,,,P1,P1-1,2,,,6,\n")),
    ];
    let files: Vec<(&str, &str)> = files.iter().map(|(title, text)| (*title, text.as_str())).collect();
    insta::assert_snapshot!(zoo::told(&files, |text| run_order::read_leg("leg-2.csv", text, 3, &run)));
}

#[test]
fn tables_of_readings() {
    let documents = example();
    let run = documents.runs[0].run();
    let plan = documents.methods[0].document.response.clone();
    let at = "2026-03-12T10:00:00+01:00";
    let of = |head: &str, lines: &[&str]| format!("{head}\n{}\n", lines.join("\n").replace("AT", at));
    let head = "row,replicate,at,absorbance";
    let files = [
        ("a head and nothing else", format!("{head}\n")),
        ("columns missing", of("row,absorbance", &["1,0.028"])),
        ("an unknown column", of("row,replicate,at,absorbtion", &["1,1,AT,0.028"])),
        ("another response than the method's", of("row,replicate,at,integrated_absorbance_s", &["1,1,AT,0.028"])),
        ("two responses", of("row,replicate,at,absorbance,peak_absorbance,pulse", &["1,1,AT,0.028,,"])),
        ("pulses where the method has no windows", of("row,replicate,at,pulse", &["1,1,AT,7"])),
        ("unknown rows", of(head, &["7,1,AT,0.028", "0,1,AT,0.028", "one,1,AT,0.028"])),
        ("replicates", of(head, &["1,-1,AT,0.028", "1,0,AT,0.028", "1,1,AT,0.028", "2,1,AT,0.028", "1,1,AT,0.029"])),
        (
            "attempts",
            of(
                "row,replicate,attempt,at,absorbance",
                &["1,1,1,AT,0.028", "1,1,2,AT,0.028", "1,1,,AT,0.028", "1,2,first,AT,0.028"],
            ),
        ),
        ("times", of(head, &["1,1,12.03.2026 10:00,0.028", "1,2,2026-03-12T10:00:00,0.028", "1,3,,0.028"])),
        (
            "responses",
            of(
                head,
                &[
                    "1,1,AT,low",
                    "1,2,AT,NaN",
                    "1,3,AT,inf",
                    "2,1,AT,1e999",
                    "2,2,AT,\"1,234\"",
                    "2,3,AT,",
                    "3,1,AT,\"0,25\"",
                    "3,2,AT,0.1 s",
                ],
            ),
        ),
        ("a file of zeros", of(head, &["1,1,AT,0", "1,2,AT,0.000", "1,3,AT,-0.0"])),
        (
            "failed readings",
            of("row,replicate,at,absorbance,failed", &["1,1,AT,0.028,spilt", "1,2,AT,,", "1,3,AT,,spilt"]),
        ),
        ("a decimal comma between commas", of(head, &["1,1,AT,0,028"])),
    ];
    let files: Vec<(&str, &str)> = files.iter().map(|(title, text)| (*title, text.as_str())).collect();
    insta::assert_snapshot!(zoo::told(&files, |text| readings::read("readings.csv", text, &run, &plan)));
}

#[test]
fn tables_of_pulses_name_each_pulse_once() {
    let documents = example();
    let run = documents.runs[0].run();
    let second = || "1 s".parse().unwrap();
    let window = PulseWindow {
        baseline_from: second(),
        baseline_to: second(),
        from: second(),
        to: second(),
        by_standards: false,
    };
    let plan = ResponsePlan { kind: ResponseKind::IntegratedAbsorbance, window: Some(window) };
    let head = "row,replicate,at,pulse,failed\n1,1,2026-03-12T10:00:00+01:00,7,\n";
    let files = [
        (
            "a pulse twice, and a number that is none",
            format!("{head}1,2,2026-03-12T10:00:00+01:00,7,\n1,3,2026-03-12T10:00:00+01:00,0.25,\n"),
        ),
        ("a failed reading without a pulse", format!("{head}1,2,2026-03-12T10:00:00+01:00,,no injection\n")),
    ];
    let files: Vec<(&str, &str)> = files.iter().map(|(title, text)| (*title, text.as_str())).collect();
    insta::assert_snapshot!(zoo::told(&files, |text| readings::read("readings.csv", text, &run, &plan)));
}

#[test]
fn blanks_may_all_read_zero() {
    let rows = run_order::read("run-order.csv", &rows("1,,B,calibration blank,,,,,,,,,\n"), 3).unwrap();
    let documents = example();
    let run = documents.runs[0].head.document.with_rows(rows);
    let text = "row,replicate,at,absorbance\n1,1,2026-03-12T10:00:00Z,0\n1,2,2026-03-12T10:00:00Z,0\n";
    assert_eq!(readings::read("readings.csv", text, &run, &documents.methods[0].document.response).unwrap().len(), 2);
}
