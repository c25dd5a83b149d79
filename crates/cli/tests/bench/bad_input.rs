//! Input that cannot be taken: what is said about it, that the exit code is 2, and that the record has not one entry more.

use crate::laboratory::{Bench, CADMIUM, Stage};

/// What is done to a file of the example before the command is given.
enum Spoilt {
    /// One text in place of another, which stands there once.
    Edit(&'static str, &'static str),
    /// Other bytes altogether.
    Bytes(&'static [u8]),
    /// It is not there.
    Gone,
    /// A folder stands there.
    Folder,
}

use Spoilt::{Bytes, Edit, Folder, Gone};

/// A kind of bad input: what it is, the file, what is done to it.
type Case = (&'static str, &'static str, Spoilt);

const HEAD: &str = "row,replicate,at,absorbance";

/// What is said about each case, one below the other.
fn told(stage: Stage, command: &str, cases: &[Case]) -> String {
    let mut text = String::new();
    for (what, file, spoilt) in cases {
        let bench = Bench::at(stage);
        let path = bench.path(file);
        match spoilt {
            Edit(old, new) => bench.edit(file, old, new),
            Bytes(bytes) => std::fs::write(&path, bytes).unwrap(),
            Gone => std::fs::remove_file(&path).unwrap(),
            Folder => {
                std::fs::remove_file(&path).unwrap();
                std::fs::create_dir(&path).unwrap();
            }
        }
        let before = bench.n_entries();
        let ran = bench.run(command).ends(2);
        assert_eq!(bench.n_entries(), before, "{what}: something was appended");
        assert!(ran.out.is_empty(), "{what}: {}", ran.out);
        text.push_str(&format!("## {what}\n{}\n", ran.told));
        // The record is as sound as it was, and takes the file once it is mended.
        bench.run("verify --quiet").ends(0);
    }
    text
}

#[test]
fn tables_of_readings() {
    let readings = "cadmium/readings.csv";
    let cases: &[Case] = &[
        ("a missing column", readings, Edit(HEAD, "row,replicate,at,value")),
        ("two missing columns", readings, Edit(HEAD, "row,n,when,absorbance")),
        ("another response than the method reads", readings, Edit(HEAD, "row,replicate,at,integrated_absorbance_s")),
        ("a decimal comma between commas", readings, Edit("0.028\n", "0,028\n")),
        ("a decimal comma that may be thousands", readings, Edit("0.084\n", "\"1,234\"\n")),
        ("a reading for an unknown row", readings, Edit("6,1,2026", "66,1,2026")),
        ("a replicate twice", readings, Edit("6,2,2026", "6,1,2026")),
        ("a word where a response stands", readings, Edit("0.0712", "n.d.")),
        ("a response with its unit", readings, Edit("0.0712", "0.0712 A")),
        ("no number that a machine would take for one", readings, Edit("0.0712", "NaN")),
        ("a response is missing", readings, Edit("0.0712", "")),
        ("a time without its offset", readings, Edit("10:05:00+01:00", "10:05:00")),
        ("a day that does not exist", readings, Edit("2026-03-12T10:05:00", "2026-02-30T10:05:00")),
        ("an unfinished last line", readings, Edit("10:05:20+01:00,0.0716\n", "10:05:20+01:00,0.07")),
        ("a quotation mark that nothing closes", readings, Edit("0.0712", "\"0.0712")),
        ("a head and nothing else", readings, Bytes(b"row,replicate,at,absorbance\n")),
        ("all faults of a file at once", readings, Bytes(b"row,replicate,at,absorbance,operator\n1,1,2026-03-12T10:00:00+01:00,0.028,ja\n9,0,noon,high,ja\n")),
        ("an empty file", readings, Bytes(b"")),
        ("blanks and nothing else", readings, Bytes(b"  \n\n \n")),
        ("a file of NUL bytes", readings, Bytes(&[0; 4096])),
        ("NUL bytes behind half a table", readings, Bytes(b"row,replicate,at,absorbance\n1,1,2026-03-12T10:00:00+01:00,0.0\0\0\0\0")),
        (
            "every response zero",
            readings,
            Bytes(b"row,replicate,at,absorbance\n1,1,2026-03-12T10:00:00+01:00,0\n2,1,2026-03-12T10:01:00+01:00,0.000\n6,1,2026-03-12T10:05:00+01:00,0\n"),
        ),
        ("an older encoding", readings, Bytes(b"row,replicate,at,absorbance\n1,1,2026-03-12T10:00:00+01:00,0.028 \xb5\n")),
        ("UTF-16", readings, Bytes(b"\xff\xfer\0o\0w\0")),
        ("something that is no table", readings, Bytes(b"%PDF-1.7\n\x00\x01\x02\xff")),
        ("a folder", readings, Folder),
        ("no file at all", readings, Gone),
    ];
    insta::assert_snapshot!(told(Stage::Open, &format!("import {CADMIUM} cadmium/readings.csv --as j.alder"), cases));
}

#[test]
fn files_of_pulses() {
    let table = "cadmium/readings.csv";
    let pulses = "row,replicate,at,pulse\n1,1,2026-03-12T10:00:00+01:00,1\n";
    let bench = Bench::at(Stage::Open);
    bench.write(table, pulses);
    // The method of the example reads no pulses; with a window it does.
    let mut text = String::new();
    let before = bench.n_entries();
    for (what, bytes) in [
        ("the method reads no pulses", None),
        ("an empty file of pulses", Some(&b""[..])),
        ("a text in place of pulses", Some(b"t_s,total\n0,0.1\n")),
        ("half a file of pulses", Some(b"PAR1\x15\x04\x15\x10")),
    ] {
        if let Some(bytes) = bytes {
            bench.write("cadmium/readings.parquet", bytes);
        }
        let ran = bench.run(&format!("import {CADMIUM} {table} --as j.alder")).ends(2);
        text.push_str(&format!("## {what}\n{}\n", ran.told));
    }
    let ran = bench.run(&format!("import {CADMIUM} {table} --pulses none.parquet --as j.alder")).ends(2);
    text.push_str(&format!("## no such file of pulses\n{}\n", ran.told));
    assert_eq!(bench.n_entries(), before);
    insta::assert_snapshot!(text);
}

#[test]
fn documents_of_an_order() {
    let (order, method, preparation) = ("cadmium/order.toml", "cadmium/method.toml", "cadmium/preparation.toml");
    let (run, rows) = ("cadmium/run.toml", "cadmium/run-order.csv");
    let cases: &[Case] = &[
        (
            "a volume where a release per area is wanted",
            order,
            Edit("at_most = \"0.07 mg/dm²\"", "at_most = \"0.07 mL\""),
        ),
        (
            "a mass concentration where a volume is wanted",
            preparation,
            Edit("value = \"0.332 L\"", "value = \"0.332 mg/L\""),
        ),
        ("a volume where a mass concentration is wanted", rows, Edit("amount_mg_per_l", "amount_ml")),
        ("a comma that may be decimal or thousands", preparation, Edit("\"5.73 dm²\"", "\"5,730 dm²\"")),
        ("a unit nobody knows", preparation, Edit("\"5.73 dm²\"", "\"5.73 square feet\"")),
        ("an unknown key", method, Edit("subtract = \"nothing\"", "substract = \"nothing\"")),
        ("a missing key", order, Edit("customer = \"Kiln Lane Pottery (invented)\"\n", "")),
        ("a newer format", method, Edit("darkline/method/1", "darkline/method/2")),
        ("another kind of document", order, Edit("darkline/order/1", "darkline/method/1")),
        ("no TOML", order, Edit("[analyte.limit]", "[analyte.limit")),
        ("a key twice", order, Edit("purpose = ", "id = \"x\"\npurpose = ")),
        ("an unfinished last line", run, Edit("rows = \"run-order.csv\"\n", "rows = \"run-or")),
        ("a run without its rows", rows, Gone),
        ("a run by a method that is not there", run, Edit("method = \"cd-release\"", "method = \"cd-relaese\"")),
        (
            "a portion of a sample that the order does not have",
            preparation,
            Edit("sample = \"dish-1\"", "sample = \"dish-2\""),
        ),
        ("a row that measures no portion", rows, Edit("P1,P1-1,1,2", "P1,P1-9,1,2")),
        ("a dilution that can mean two things", rows, Edit("P1,P1-1,1,2", "P1,P1-1,1:10,2")),
        ("a role nobody knows", rows, Edit("1,1,standard 0.1,standard,", "1,1,standard 0.1,standrad,")),
        ("an empty order", order, Bytes(b"")),
        ("an order of NUL bytes", order, Bytes(&[0; 512])),
        ("no order at all", order, Gone),
        ("an order that is a folder", order, Folder),
    ];
    insta::assert_snapshot!(told(Stage::People, "open cadmium --as j.alder", cases));
}

#[test]
fn folders_and_documents_that_the_record_has_otherwise() {
    let bench = Bench::at(Stage::Open);
    let before = bench.n_entries();
    let mut text = String::new();
    let mut seen = |line: &str| text.push_str(&bench.run(line).ends(2).seen());
    seen("open nowhere --as j.alder");
    seen("open cadmium/order.toml --as j.alder");
    seen("open keys --as j.alder");
    bench.edit("cadmium/order.toml", "at_most = \"0.07 mg/dm²\"", "at_most = \"0.7 mg/dm²\"");
    seen("open cadmium --as j.alder");
    assert_eq!(bench.n_entries(), before);
    insta::assert_snapshot!(text);
}

#[test]
fn words_of_a_command_that_name_nothing() {
    let bench = Bench::at(Stage::Imported);
    let before = bench.n_entries();
    let mut text = String::new();
    for line in [
        "evaluate 2026-053",
        "evaluate \"2026 052\"",
        "explain 2026-052 dish-2",
        "explain 2026-052 dish-1 --element Pb",
        "explain 2026-052 dish-1 --element Xx",
        "import 2026-053 cadmium/readings.csv --as j.alder",
        "import 2026-052 cadmium/readings.csv --run R2 --as j.alder",
        "plan 2026-052 --run R2",
        "decide 2026-052 --reject 18 --reason \"none such\" --as j.alder",
        "decide 2026-052 --reject R2/1 --reason \"none such\" --as j.alder",
        "decide 2026-052 --reject first --reason \"none such\" --as j.alder",
        "decide 2026-052 --reject 0 --reason \"none such\" --as j.alder",
        "decide 2026-052 --justify drift:row:R1/3 --reason \"none such\" --as j.alder",
        "decide 2026-052 --justify drift --reason \"no subject\" --as j.alder",
        "decide 2026-052 --reject 1 --reason \"\" --as j.alder",
        "decide 2026-052 --reason \"about nothing\" --as j.alder",
        "entries 2026-053",
        "simulate 2026-052 --truth none.toml -o r.csv",
        "simulate 2026-052 --truth cadmium/order.toml -o r.csv",
        "sign 2026-052 --as j.alder --confirm 2026-053 --key-file keys/j.alder",
    ] {
        text.push_str(&bench.run(line).ends(2).seen());
    }
    let long = format!("decide 2026-052 --reject 1 --reason \"{}\" --as j.alder", "long ".repeat(101));
    bench.run(&long).ends(2).says("a reason has between 1 and 500 characters");
    assert_eq!(bench.n_entries(), before);
    insta::assert_snapshot!(text);
}

/// Acts that come too early are not the command's fault: exit 1, what is missing, and nothing appended.
#[test]
fn acts_that_come_too_early() {
    let mut text = String::new();
    for (stage, line) in [
        (Stage::Open, "sign 2026-052 --as j.alder"),
        (Stage::Open, "issue 2026-052 --as m.rowan"),
        (Stage::Imported, "sign 2026-052 --as m.rowan"),
        (Stage::Imported, "issue 2026-052 --as m.rowan"),
        (Stage::SignedByAnalyst, "issue 2026-052 --as m.rowan"),
        (Stage::Signed, "archive 2026-052 --as m.rowan"),
        (Stage::Imported, "plan 2026-052 --extend --as j.alder"),
    ] {
        let bench = Bench::at(stage);
        let before = bench.n_entries();
        text.push_str(&format!("## {stage:?}\n{}", bench.run(line).ends(1).seen()));
        // What was wanted out of turn is an entry, and nothing else is.
        assert_eq!(bench.n_entries() - bench.n_refused(), before);
        assert!(!bench.path("2026-052.zip").exists() && !bench.path("2026-052-1.pdf").exists());
    }
    insta::assert_snapshot!(text);
}
