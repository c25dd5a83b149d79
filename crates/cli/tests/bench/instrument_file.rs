//! An instrument's own file on its way into the record: proposed, looked at, imported; and everything that may be odd about it.

use crate::laboratory::{Bench, CADMIUM, Stage};

/// The readings of the example as a flame instrument with a decimal comma might export them, in Windows 1252.
fn exported(bench: &Bench) -> Vec<Vec<String>> {
    let table = std::fs::read_to_string(bench.path("cadmium/readings.csv")).unwrap();
    let names = ["standard 0.1", "standard 0.3", "standard 0.5", "standard 0.7", "standard 0.9", "dish-1"];
    let reading = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        let row: usize = cells[0].parse().unwrap();
        let (date, time) = cells[2].split_once('T').unwrap();
        let day: Vec<&str> = date.split('-').collect();
        vec![
            names[row - 1].to_owned(),
            row.to_string(),
            cells[1].to_owned(),
            format!("{}.{}.{}", day[2], day[1], day[0]),
            time[..8].to_owned(),
            cells[3].replace('.', ","),
        ]
    };
    table.lines().skip(1).map(reading).collect()
}

fn write(bench: &Bench, readings: &[Vec<String>]) {
    let mut text = String::from("Flamme 228,8 nm, Küvette –\r\n\r\nProbe;Platz;Wdh;Datum;Uhrzeit;Abs\r\n");
    for reading in readings {
        text.push_str(&format!("{}\r\n", reading.join(";")));
    }
    let bytes: Vec<u8> =
        text.chars().map(|c| if c == '–' { 0x96 } else { u8::try_from(u32::from(c)).unwrap() }).collect();
    std::fs::write(bench.path("flame.csv"), bytes).unwrap();
}

/// Proposes a mapping and decides what it leaves open.
fn decide(bench: &Bench) {
    bench.run("import --propose flame.csv --instrument flame-1 -o flame-1.toml").ends(0).says("Look at each line");
    let open = bench.run(&format!("import {CADMIUM} flame.csv --mapping flame-1.toml --as j.alder")).ends(2);
    assert!(open.told.contains("has no \"zone\""), "{}", open.told);
    let draft = std::fs::read_to_string(bench.path("flame-1.toml")).unwrap();
    let decided = draft
        .replace("# kind = \"integrated absorbance\"", "kind = \"absorbance\"")
        .replace("# is = ", "is = ")
        .replace("# zone = \"Europe/Vienna\"", "zone = \"+01:00\"");
    std::fs::write(bench.path("flame-1.toml"), decided).unwrap();
}

const IMPORT: &str = "import 2026-052 flame.csv --mapping flame-1.toml --as j.alder";

#[test]
fn an_exported_file_gives_the_same_results_as_our_own_table() {
    let bench = Bench::at(Stage::Open);
    write(&bench, &exported(&bench));
    decide(&bench);
    bench.run(IMPORT).ends(0).says("17 readings of run").says("Next: darkline evaluate 2026-052");
    let ours = Bench::at(Stage::Imported);
    let results = |bench: &Bench| bench.run("evaluate 2026-052 -o -").ends(0).out;
    assert_eq!(results(&bench), results(&ours));
    // Again: nothing new.
    let before = bench.n_entries();
    bench.run(IMPORT).ends(0).says("brings no new reading").says("17 readings are in the run already");
    assert_eq!(bench.n_entries(), before);
    bench.run("verify --quiet").ends(0);
    bench.run("entries 2026-052").ends(0).says_in_a_paragraph("read with the mapping flame-1.toml");
}

#[test]
fn a_bad_row_is_set_aside_and_the_file_goes_on() {
    let bench = Bench::at(Stage::Open);
    let mut readings = exported(&bench);
    readings[4][5] = "0,0§4".into();
    readings[7][4] = "noon".into();
    readings.insert(9, ["rinse", "40", "1", "12.03.2026", "10:02:50", "0,001"].map(str::to_owned).into());
    readings.remove(12);
    write(&bench, &readings);
    decide(&bench);
    let ran = bench.run(IMPORT).ends(0);
    insta::assert_snapshot!(format!("{}{}", ran.out, ran.told));
    // What was set aside is mended at the instrument and exported again: only that is new.
    write(&bench, &exported(&bench));
    bench.run(IMPORT).ends(0).says("3 readings of run");
    let ours = Bench::at(Stage::Imported);
    let results = |bench: &Bench| bench.run("evaluate 2026-052 -o -").ends(0).out;
    assert_eq!(results(&bench), results(&ours));
}

#[test]
fn a_doubtful_solution_waits_for_a_person() {
    let bench = Bench::at(Stage::Open);
    let mut readings = exported(&bench);
    // The name says one standard, the cup another.
    for reading in &mut readings[6..9] {
        reading[0] = "unnamed".into();
    }
    write(&bench, &readings);
    decide(&bench);
    let ran = bench.run(IMPORT).ends(1);
    insta::assert_snapshot!(format!("{}{}", ran.out, ran.told));
    bench.run(&format!("{IMPORT} --row 10=3")).ends(0).says("3 readings of run");
    bench.run("evaluate 2026-052").ends(0);
}

#[test]
fn another_value_for_a_known_reading_is_kept_and_told() {
    let bench = Bench::at(Stage::Open);
    write(&bench, &exported(&bench));
    decide(&bench);
    bench.run(IMPORT).ends(0);
    let mut readings = exported(&bench);
    readings[0][5] = "0,030".into();
    write(&bench, &readings);
    bench.run(IMPORT).ends(0).says("1 reading of run").says("came before with another value; both are kept");
}

/// Waits until a condition holds.
#[track_caller]
fn wait(what: &str, mut holds: impl FnMut() -> bool) {
    let began = std::time::Instant::now();
    while !holds() {
        assert!(began.elapsed() < std::time::Duration::from_secs(60), "{what} did not come");
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
}

#[test]
fn a_watched_folder_shows_readings_as_they_come_and_survives_what_happens_to_it() {
    let bench = Bench::at(Stage::Open);
    let readings = exported(&bench);
    write(&bench, &readings);
    decide(&bench);
    let whole = std::fs::read(bench.path("flame.csv")).unwrap();
    std::fs::remove_file(bench.path("flame.csv")).unwrap();
    let share = bench.path("share");
    std::fs::create_dir(&share).unwrap();
    let line = "watch share --mapping flame-1.toml --as j.alder --until-quiet 3 --json";
    let running = crate::program::start(bench.folder(), line);
    let ended = std::thread::scope(|scope| {
        let waiting = scope.spawn(|| running.wait_with_output().unwrap());
        let n_readings = || {
            let entries = bench.run("entries 2026-052 --json").ends(0).out;
            entries.matches("readings of flame.csv").count()
        };
        // The head and three readings, and the fourth half written.
        let lines: Vec<usize> =
            whole.iter().enumerate().filter(|(_, byte)| **byte == b'\n').map(|(place, _)| place + 1).collect();
        std::fs::write(share.join("flame.csv"), &whole[..lines[5] + 9]).unwrap();
        wait("the first readings", || n_readings() == 1);
        // The share goes away and comes back; the file has grown meanwhile.
        std::fs::rename(&share, bench.path("away")).unwrap();
        std::thread::sleep(std::time::Duration::from_millis(600));
        std::fs::write(bench.path("away/flame.csv"), &whole[..lines[9]]).unwrap();
        std::fs::rename(bench.path("away"), &share).unwrap();
        wait("the readings after the share came back", || n_readings() == 2);
        // The file is replaced by a whole one, with another beside it that is no table.
        std::fs::write(share.join("notes.md"), "lamp changed").unwrap();
        std::fs::write(share.join("new"), &whole).unwrap();
        std::fs::rename(share.join("new"), share.join("flame.csv")).unwrap();
        waiting.join().unwrap()
    });
    let ran = crate::program::Ran::of(line, ended).ends(0);
    assert_eq!(ran.out.matches("\"is\":\"reading\"").count(), readings.len(), "{}", ran.out);
    assert!(
        ran.told.contains("paused: share cannot be read") && ran.told.contains("share is there again"),
        "{}",
        ran.told
    );
    // Read only: what the instrument wrote is as it wrote it.
    assert_eq!(std::fs::read(share.join("flame.csv")).unwrap(), whole);
    let ours = Bench::at(Stage::Imported);
    let results = |bench: &Bench| bench.run("evaluate 2026-052 -o -").ends(0).out;
    assert_eq!(results(&bench), results(&ours));
}

/// The demonstration order measured, and what its furnace leaves behind: a table, and a file of a trace for each firing, whose
/// numbers start again with the second folder.
struct Furnace {
    bench: Bench,
    lines: Vec<String>,
}

const FURNACE: &str = "format = \"darkline/mapping/1\"\nid = \"furnace-2\"\n
[file]\ncode_page = \"utf-8\"\nseparator = \"semicolon\"\ndecimal_sign = \",\"\n
[columns]\nsample = \"Name\"\ncup = \"Cup\"\nreplicate = \"Rep\"\nat = \"At\"\nfiring = \"Firing\"\nresponse = \"Area\"\n
[response]\nkind = \"integrated absorbance\"\nunit = \"absorbance\"\nis = \"as measured\"\n
[time]\ndate_order = \"year month day\"\nzone = \"+01:00\"\n
[traces]\nfiles = \"trace_#.txt\"\nmoment = \"t\"\nmoment_unit = \"s\"\ntotal = \"AA\"\nbackground = \"BG\"\n";

impl Furnace {
    fn new() -> Self {
        let bench = crate::simulating::bench();
        bench.run("simulate 2026-041 --truth truth.toml -o r.csv").ends(0);
        let pulses = std::fs::read(bench.path("r.parquet")).unwrap();
        let pulses = darkline_exchange::pulses::read("r.parquet", pulses).unwrap();
        let table = std::fs::read_to_string(bench.path("r.csv")).unwrap();
        let order = std::fs::read_to_string(bench.path("order/run-order.csv")).unwrap();
        let planned: Vec<Vec<&str>> = order.lines().map(|line| line.split(',').collect()).collect();
        std::fs::create_dir_all(bench.path("share/night")).unwrap();
        bench.write("furnace-2.toml", FURNACE);
        let method = std::fs::read_to_string(bench.path("order/method.toml")).unwrap();
        let method = darkline_exchange::method::read("method.toml", &method).unwrap();
        let mut lines = Vec::new();
        for (place, line) in table.lines().skip(1).enumerate() {
            let cells: Vec<&str> = line.split(',').collect();
            let row: usize = cells[0].parse().unwrap();
            let pulse = &pulses[&cells[3].parse().unwrap()];
            let (firing, folder) = if place < 50 { (place + 1, "share") } else { (place - 49, "share/night") };
            let mut trace = String::from("t;AA;BG\r\n");
            for ((t, total), background) in pulse.t_s().iter().zip(pulse.total()).zip(pulse.background()) {
                trace.push_str(&format!("{t};{total};{background}\r\n").replace('.', ","));
            }
            bench.write(&format!("{folder}/trace_{firing:04}.txt"), trace);
            let area = darkline_evaluation::responses::response_of(pulse, &method).unwrap();
            let (cup, name) = (planned[row][1], planned[row][2]);
            let line = format!("{firing};{name};{cup};{};{};{area:.4}", cells[1], cells[2]);
            lines.push(line.replace('.', ","));
        }
        let furnace = Self { bench, lines };
        furnace.write(usize::MAX);
        furnace
    }

    /// Writes the first so many lines of the table.
    fn write(&self, n: usize) {
        let lines: Vec<&str> = self.lines.iter().take(n).map(String::as_str).collect();
        self.bench.write("share/run.csv", format!("Firing;Name;Cup;Rep;At;Area\r\n{}\r\n", lines.join("\r\n")));
    }
}

const FURNACE_IMPORT: &str = "import 2026-041 share/run.csv --mapping furnace-2.toml --as j.alder";

#[test]
fn traces_of_an_instrument_give_the_same_results_as_our_own_file_of_pulses() {
    let Furnace { bench, lines } = Furnace::new();
    // The second folder is not named yet: its readings wait.
    let waits = bench.run(FURNACE_IMPORT).ends(1).says("50 readings, 50 pulses of run R1 imported");
    assert!(waits.out.contains("firing 3 has no trace"), "{}", waits.out);
    bench
        .run(&format!("{FURNACE_IMPORT} --traces share --traces share/night"))
        .ends(0)
        .says(&format!("{0} readings, {0} pulses of run R1 imported", lines.len() - 50));
    bench.run(&format!("{FURNACE_IMPORT} --traces share --traces share/night")).ends(0).says("brings no new reading");
    let results = |bench: &Bench| bench.run("evaluate 2026-041 -o -").out;
    let found = results(&bench);
    let ours = crate::simulating::bench();
    ours.run("simulate 2026-041 --truth truth.toml -o r.csv").ends(0);
    ours.run("import 2026-041 r.csv --as j.alder").ends(0);
    assert_eq!(found, results(&ours));
    bench.run("verify --quiet").ends(0);
}

#[test]
fn a_trace_of_another_firing_is_told_with_both_numbers() {
    let Furnace { bench, .. } = Furnace::new();
    // The trace of a standard under the number of a sample.
    std::fs::copy(bench.path("share/trace_0016.txt"), bench.path("share/trace_0034.txt")).unwrap();
    bench.run(&format!("{FURNACE_IMPORT} --traces share --traces share/night")).ends(0);
    let told = bench.run("evaluate 2026-041 --json").ends(1);
    let flag = told.json().into_iter().find(|line| line["id"] == "printed-response-differs:reading:R1/34").unwrap();
    assert_eq!(
        flag["says"],
        "S02: the trace gives 0.280 s, the instrument printed 0.0826 s; they may differ by 0.00826 s"
    );
}

#[test]
fn readings_wait_for_their_traces_in_a_watched_folder() {
    let furnace = Furnace::new();
    let bench = &furnace.bench;
    furnace.write(6);
    let line = "watch share --mapping furnace-2.toml --as j.alder --until-quiet 3 --json";
    let last = bench.path("share/trace_0006.txt");
    let held = std::fs::read(&last).unwrap();
    std::fs::remove_file(&last).unwrap();
    let running = crate::program::start(bench.folder(), line);
    let ended = std::thread::scope(|scope| {
        let waiting = scope.spawn(|| running.wait_with_output().unwrap());
        let n_imports = || bench.run("entries 2026-041 --json").ends(0).out.matches("readings of run.csv").count();
        wait("readings with their traces", || n_imports() == 1);
        // The trace comes behind its reading, first half of it.
        std::fs::write(&last, &held[..held.len() / 2]).unwrap();
        std::thread::sleep(std::time::Duration::from_millis(600));
        std::fs::write(&last, &held).unwrap();
        wait("the reading whose trace came late", || n_imports() == 2);
        waiting.join().unwrap()
    });
    let ran = crate::program::Ran::of(line, ended).ends(0);
    assert_eq!(ran.out.matches("\"is\":\"reading\"").count(), 6, "{}\n{}", ran.out, ran.told);
}

#[test]
fn readings_go_out_as_json_lines_and_with_a_comma_and_come_back_the_same() {
    let results = |bench: &Bench| bench.run("evaluate 2026-041 -o -").out;
    let first = crate::simulating::bench();
    first.run("simulate 2026-041 --truth truth.toml -o r.csv").ends(0);
    first.run("import 2026-041 r.csv --as j.alder").ends(0);
    let wanted = results(&first);
    for (name, sign) in [("out.jsonl", "."), ("out.csv", ",")] {
        first
            .run(&format!("export 2026-041 --what readings -o {name} --decimal-sign {sign}"))
            .ends(0)
            .says("84 pulses");
        let other = crate::simulating::bench();
        other.write(name, std::fs::read(first.path(name)).unwrap());
        other.write("out.parquet", std::fs::read(first.path("out.parquet")).unwrap());
        std::fs::remove_file(first.path("out.parquet")).unwrap();
        other.run(&format!("import 2026-041 {name} --as j.alder")).ends(0).says("84 readings, 84 pulses of run R1");
        assert_eq!(results(&other), wanted, "{name}");
    }
    let text = first.run("export 2026-041 -o - --decimal-sign ,").ends(0).out;
    assert!(text.starts_with("sample;element;kind;unit;state;value;u"), "{text}");
    assert!(text.contains("S01;Pb;mass fraction;mg/kg;value;0,838"), "{text}");
    let told = first.run("export 2026-041 --what readings -o out.xlsx").ends(2);
    assert!(told.told.contains("end its name with .csv or .jsonl"), "{}", told.told);
    // A fault of a line of JSON is told where its value stands.
    first.write("bad.jsonl", "{\"row\": 1, \"replicate\": 1, \"at\": \"noon\", \"pulse\": 1}\n");
    first.run("import 2026-041 bad.jsonl --as j.alder").ends(2).says("bad.jsonl:1:");
}

#[test]
fn weighings_of_a_balance_are_laid_into_the_preparation_for_a_person_to_look_at() {
    let bench = crate::simulating::bench();
    bench.write(
        "balance-1.toml",
        "format = \"darkline/balance/1\"\nid = \"balance-1\"\n\n[file]\ncode_page = \"utf-8\"\nseparator = \"semicolon\"\n\
         decimal_sign = \",\"\n\n[columns]\nid = \"Probe\"\nmass = \"Netto\"\nat = \"Zeit\"\n",
    );
    std::fs::create_dir(bench.path("balance")).unwrap();
    bench.write("balance/morning.txt", "Probe;Netto;Zeit\r\nP1-03;0,5101 g;09:14\r\nTara;0,0001 g;09:15\r\n");
    bench.write("balance/noon.txt", "Probe;Netto;Zeit\r\nP1-04;0,4? g;12:01\r\nP1-04;0,4988 g;12:02\r\n");
    let before = bench.n_entries();
    let line = "weigh order/preparation.toml balance --mapping balance-1.toml -o weighed.toml";
    let ran = bench.run(line).ends(1);
    insta::assert_snapshot!(format!("{}{}", ran.out, ran.told));
    assert_eq!(bench.n_entries(), before);
    let text = std::fs::read_to_string(bench.path("weighed.toml")).unwrap();
    assert!(text.contains("mass = { value = \"0.5101 g\", u = \"0.0002 g\" }"), "{text}");
}
