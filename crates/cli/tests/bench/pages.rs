//! The demo's day in a browser: by keyboard alone, at the size of a hand, and with scripts switched off.
//!
//! The spectrometer is the virtual one; its readings come from another program while the page of the run is open.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;
use tempfile::TempDir;

use crate::browser::{BENCH, Browser, ENTER, SPACE, Screen};
use crate::program::{command, run};

const ORDER: &str = "2026-041";
const PEOPLE: [(&str, &str); 3] =
    [("k.willow", "gathered by the weir"), ("j.alder", "catkins before leaves"), ("m.rowan", "red berries in autumn")];

/// The demo's laboratory with its pages served.
struct Day {
    folder: TempDir,
    served: Child,
    address: String,
}

impl Day {
    fn begin() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo");
        std::fs::create_dir(folder.path().join("order")).unwrap();
        std::fs::create_dir(folder.path().join("keys")).unwrap();
        for name in ["order.toml", "preparation.toml", "method.toml", "run.toml", "run-order.csv"] {
            std::fs::copy(demo.join(name), folder.path().join("order").join(name)).unwrap();
        }
        std::fs::copy(demo.join("truth.toml"), folder.path().join("truth.toml")).unwrap();
        for (name, passphrase) in PEOPLE {
            let file = folder.path().join("keys").join(name);
            std::fs::write(&file, format!("{passphrase}\n")).unwrap();
            std::fs::set_permissions(&file, std::os::unix::fs::PermissionsExt::from_mode(0o600)).unwrap();
        }
        let done = |line: &str| {
            let ran = run(folder.path(), line);
            assert_eq!(ran.code, Some(0), "{}: {}", ran.line, ran.told);
        };
        done(
            "begin --as k.willow --full-name \"K. Willow\" --laboratory \"Millrace Laboratory (invented)\" --address \"1 Weir Lane\" --key-file keys/k.willow",
        );
        done("people add j.alder --full-name \"J. Alder\" --role analyst --as k.willow --key-file keys/j.alder");
        done(
            "people add m.rowan --full-name \"M. Rowan\" --role reviewer --role \"quality manager\" --as k.willow --key-file keys/m.rowan",
        );
        done("open order --as j.alder");
        let (served, address) = serve(folder.path());
        Self { folder, served, address }
    }

    fn to(&self, path: &str) -> String {
        format!("{}{path}", self.address)
    }

    /// Runs the program beside the one that serves.
    fn done(&self, line: &str) -> String {
        let ran = run(self.folder.path(), line);
        assert_eq!(ran.code, Some(0), "{}: {}", ran.line, ran.told);
        ran.out
    }

    /// The virtual spectrometer measures what waits; its readings stand in files.
    fn measure(&self, leg: u32) -> PathBuf {
        self.done(&format!("simulate {ORDER} --truth truth.toml -o readings-{leg}.csv"));
        self.folder.path().join(format!("readings-{leg}.csv"))
    }

    /// Readings come in, a part of a table at a time.
    fn import(&self, table: &Path, from: usize, to: usize) {
        let text = std::fs::read_to_string(table).unwrap();
        let lines: Vec<&str> = text.lines().collect();
        let part: String = lines[..1]
            .iter()
            .chain(&lines[from.min(lines.len())..to.min(lines.len())])
            .map(|line| format!("{line}\n"))
            .collect();
        let name = format!("part-{from}-{}", table.file_name().unwrap().to_str().unwrap());
        std::fs::write(self.folder.path().join(&name), part).unwrap();
        std::fs::copy(table.with_extension("parquet"), self.folder.path().join(&name).with_extension("parquet"))
            .unwrap();
        self.done(&format!("import {ORDER} {name} --as j.alder"));
    }

    /// Flags that stop the report, as programs see them.
    fn stopping(&self) -> Vec<String> {
        let ran = run(self.folder.path(), &format!("evaluate {ORDER} --json"));
        let lines = ran.out.lines().filter_map(|line| serde_json::from_str::<Value>(line).ok());
        lines
            .filter(|line| line["line"] == "flag" && line["stops"] == true)
            .map(|line| line["id"].as_str().unwrap().to_owned())
            .collect()
    }
}

impl Drop for Day {
    fn drop(&mut self) {
        let _ = self.served.kill();
        let _ = self.served.wait();
    }
}

fn serve(folder: &Path) -> (Child, String) {
    let mut served = command(folder, "serve --address 127.0.0.1:0 --json")
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut line = String::new();
    BufReader::new(served.stdout.take().unwrap()).read_line(&mut line).unwrap();
    let told: Value = serde_json::from_str(&line).unwrap();
    (served, told["address"].as_str().unwrap().to_owned())
}

fn passphrase(name: &str) -> &'static str {
    PEOPLE.iter().find(|(known, _)| *known == name).unwrap().1
}

/// Signs in with the keyboard alone.
fn sign_in(day: &Day, browser: &Browser, name: &str) {
    browser.go(&day.to("/sign-in"));
    if browser.has(".leave button") {
        browser.tab_to(".leave button", ENTER);
        browser.wait("the form", || browser.has("#sign-in-name").then_some(()));
    }
    browser.tab_to("#sign-in-name", name);
    browser.tab_to("#sign-in-passphrase", passphrase(name));
    browser.press(ENTER);
    browser.wait("Today", || browser.text("h1").contains("Today").then_some(()));
}

/// The id of a flag's card on a page.
fn card(flag: &str) -> String {
    format!("#flag-{}", flag.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect::<String>())
}

/// Looks at a page with axe-core, for whether it is wider than the screen, and keeps its picture where one is wanted.
fn looked_at(day: &Day, browser: &Browser, path: &str, picture: Option<&str>) {
    if !path.is_empty() {
        browser.go(&day.to(path));
    }
    let found = browser.barriers();
    assert!(found.is_empty(), "{path}:\n{found}");
    let wide = browser.run("return document.documentElement.scrollWidth - document.documentElement.clientWidth;");
    assert!(wide.as_i64().unwrap() <= 0, "{path} is {wide} wider than its screen");
    if let Some(name) = picture.filter(|_| std::env::var_os("DARKLINE_PICTURES").is_some()) {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/picture");
        std::fs::write(folder.join(format!("page-{name}.webp")), browser.picture(1500)).unwrap();
    }
}

#[test]
fn the_whole_day_is_done_by_keyboard_while_readings_come_in() {
    let day = Day::begin();
    let browser = Browser::start(BENCH);
    looked_at(&day, &browser, "/sign-in", None);
    sign_in(&day, &browser, "j.alder");
    for path in [
        "/",
        "/orders",
        &format!("/order/{ORDER}"),
        &format!("/order/{ORDER}/run/R1"),
        &format!("/order/{ORDER}/run/R1/element"),
        "/quality",
    ] {
        looked_at(&day, &browser, path, None);
    }
    // The run is watched while another program brings readings; the page adds them by itself.
    let live = format!("/order/{ORDER}/run/R1");
    let table = day.measure(1);
    browser.go(&day.to(&live));
    day.import(&table, 1, 25);
    browser.wait("24 readings", || browser.has("#reading-24").then_some(()));
    let began = Instant::now();
    day.import(&table, 25, 50);
    browser.wait("49 readings", || browser.has("#reading-49").then_some(()));
    assert!(began.elapsed() < Duration::from_secs(30));
    assert!(browser.text("#heard").starts_with("25 new readings."), "{}", browser.text("#heard"));
    looked_at(&day, &browser, "", Some("run"));
    day.import(&table, 50, 1000);
    browser.wait("all readings", || browser.has("#reading-84").then_some(()));
    let stopping = day.stopping();
    assert!(!stopping.is_empty());
    browser.wait("the flags", || browser.has(&card(&stopping[0])).then_some(()));
    assert!(browser.text("#now").contains("stop"), "{}", browser.text("#now"));
    looked_at(&day, &browser, "", Some("flags"));
    let mut leg = 1;
    loop {
        let stopping = day.stopping();
        if stopping.is_empty() {
            break;
        }
        assert!(leg < 6, "{stopping:?}");
        for flag in &stopping {
            browser.go(&day.to(&live));
            // A flag about a reading: the reading is rejected and measured again.
            if let Some((_, reading)) = flag.split_once(":reading:") {
                decide(
                    &browser,
                    &format!("{} details:has(input[value=reject])", card(flag)),
                    "droplet left on the tip",
                );
                browser.wait("the rejection", || browser.text(".done").contains("Done").then_some(()));
                assert!(
                    browser.text(&format!("#reading-{}", reading.rsplit('/').next().unwrap())).contains("rejected")
                );
            }
            if browser.has(&format!("{} details:has(input[value=take-up])", card(flag))) {
                decide(&browser, &format!("{} details:has(input[value=take-up])", card(flag)), "as offered");
                browser.wait("the step", || browser.text(".done").contains("Done").then_some(()));
            }
        }
        browser.go(&day.to(&live));
        browser.tab_to("#extend-R1 button", ENTER);
        browser.wait("the leg", || browser.text(".done").contains("Done").then_some(()));
        leg += 1;
        let table = day.measure(leg);
        day.import(&table, 1, 1000);
    }
    browser.go(&day.to(&live));
    browser.wait("the end", || browser.text("#now").contains("nothing stops the report").then_some(()));
    looked_at(&day, &browser, &format!("/order/{ORDER}"), Some("order"));
    looked_at(&day, &browser, &format!("/order/{ORDER}/result/S09/Pb"), Some("result"));
    looked_at(&day, &browser, &format!("/order/{ORDER}/run/R1/reading/30"), None);
    looked_at(&day, &browser, &format!("/order/{ORDER}/run/R1/element"), Some("element"));
    sign(&day, &browser, "j.alder");
    sign_in(&day, &browser, "m.rowan");
    looked_at(&day, &browser, &format!("/order/{ORDER}/review"), Some("review"));
    sign(&day, &browser, "m.rowan");
    browser.go(&day.to(&format!("/order/{ORDER}/review")));
    browser.tab_to("#issue-name", "m.rowan");
    browser.tab_to("#issue-passphrase", passphrase("m.rowan"));
    browser.press(ENTER);
    browser.wait("the issue", || browser.text(".large").contains("It is issued").then_some(()));
    day.done(&format!("archive {ORDER} --as m.rowan -o out.zip"));
    day.done("verify out.zip");
    for path in [
        "/",
        "/trail",
        "/people",
        "/person/j.alder",
        "/account",
        "/handbook",
        "/handbook/Pb",
        "/rules",
        "/keys",
        "/quality",
        "/nothing",
    ] {
        looked_at(&day, &browser, path, (path == "/trail").then_some("trail"));
    }
    browser.go(&day.to(&format!("/order/{ORDER}")));
    assert!(browser.printed().starts_with(b"%PDF-"));
}

/// Opens a card's form and gives a reason, with keys alone.
fn decide(browser: &Browser, form: &str, reason: &str) {
    browser.tab_to(&format!("{form} summary"), ENTER);
    browser.tab_to(&format!("{form} input[name=reason]"), reason);
    browser.press(ENTER);
}

/// Ticks everything that was looked at and signs, with keys alone.
fn sign(day: &Day, browser: &Browser, name: &str) {
    browser.go(&day.to(&format!("/order/{ORDER}/review")));
    let n = browser.run("return document.querySelectorAll('#sign input[type=checkbox]').length;").as_u64().unwrap();
    assert!(n >= 3, "{n} items");
    for place in 0..n {
        browser.tab_to(&format!("#sign-looked-{place}"), SPACE);
    }
    browser.tab_to("#sign-name", name);
    browser.tab_to("#sign-passphrase", passphrase(name));
    browser.press(ENTER);
    browser.wait("the signature", || browser.text(".done").contains("Done").then_some(()));
}

#[test]
fn at_the_size_of_a_hand_and_without_scripts_everything_is_there() {
    let day = Day::begin();
    let table = day.measure(1);
    day.import(&table, 1, 1000);
    let hand = Browser::start(Screen { width: 390, height: 840, is_touched: true, runs_scripts: true });
    sign_in(&day, &hand, "j.alder");
    for (path, picture) in [
        ("/".to_owned(), Some("today-390")),
        ("/orders".to_owned(), None),
        (format!("/order/{ORDER}"), None),
        (format!("/order/{ORDER}/run/R1"), Some("run-390")),
        (format!("/order/{ORDER}/run/R1?scan=S03"), None),
        (format!("/order/{ORDER}/run/R1/element"), None),
        (format!("/order/{ORDER}/result/S03/Pb"), None),
        (format!("/order/{ORDER}/run/R1/reading/30"), None),
        (format!("/order/{ORDER}/review"), None),
        ("/trail".to_owned(), None),
        ("/people".to_owned(), None),
        ("/rules".to_owned(), None),
    ] {
        looked_at(&day, &hand, &path, picture);
    }
    drop(hand);
    let still = Browser::start(Screen { runs_scripts: false, ..BENCH });
    still.go(&day.to("/sign-in"));
    still.type_into("#sign-in-name", "j.alder");
    still.type_into("#sign-in-passphrase", &format!("{}{ENTER}", passphrase("j.alder")));
    still.wait("Today", || still.text("h1").contains("Today").then_some(()));
    still.go(&day.to(&format!("/order/{ORDER}/run/R1")));
    let flag = day.stopping().remove(0);
    assert!(still.has("#reading-84") && still.has(&card(&flag)));
    let n_rejected = still.text("#live-readings").matches("rejected").count();
    // Two touches and a reason, then the page comes back with what was done.
    still.go(&day.to(&format!("/order/{ORDER}/run/R1/reading/30")));
    still.touch("details.opens > summary");
    still.type_into("details.opens input[name=reason]", &format!("droplet left on the tip{ENTER}"));
    still.wait("the decision", || still.text(".done").contains("Done").then_some(()));
    still.go(&day.to(&format!("/order/{ORDER}/run/R1")));
    assert_eq!(still.text("#live-readings").matches("rejected").count(), n_rejected + 1);
    // A fault comes back filled in, with its summary.
    still.go(&day.to("/account"));
    still.touch("#passphrase button");
    still.wait("the faults", || still.text(".summary").contains("2 fields need another look").then_some(()));
}

#[test]
fn when_the_connection_is_gone_the_page_says_since_when_and_no_act_is_lost() {
    let mut day = Day::begin();
    let table = day.measure(1);
    day.import(&table, 1, 40);
    let browser = Browser::start(BENCH);
    sign_in(&day, &browser, "j.alder");
    browser.go(&day.to(&format!("/order/{ORDER}/run/R1?scan=standard+5")));
    browser.touch("details.opens > summary");
    browser.type_into("details.opens input[name=reason]", "droplet left on the tip");
    day.served.kill().unwrap();
    day.served.wait().unwrap();
    browser.wait("the pause", || browser.text("#paused").starts_with("Paused since ").then_some(()));
    browser.press(ENTER);
    browser.wait("what was not sent", || browser.text("#paused").starts_with("Not sent").then_some(()));
    let kept = browser.run("return document.querySelector('details.opens input[name=reason]').value;");
    assert_eq!(kept, "droplet left on the tip");
}
