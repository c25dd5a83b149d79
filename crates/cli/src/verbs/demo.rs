//! `darkline demo`: a whole order of the invented Millrace Laboratory, command by command.
//!
//! The demo does nothing that a reader could not repeat by hand: it writes the documents into a folder, then runs this
//! very program there and shows each command before its output.

use std::path::Path;
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::command_line::{Demo, Everywhere};
use crate::ending::{Ending, Failure};
use crate::talk;

/// The documents of the demo, as they stand in the folder `demo/`.
const DOCUMENTS: [(&str, &str); 6] = [
    ("order/order.toml", include_str!("../../../../demo/order.toml")),
    ("order/preparation.toml", include_str!("../../../../demo/preparation.toml")),
    ("order/method.toml", include_str!("../../../../demo/method.toml")),
    ("order/run.toml", include_str!("../../../../demo/run.toml")),
    ("order/run-order.csv", include_str!("../../../../demo/run-order.csv")),
    ("truth.toml", include_str!("../../../../demo/truth.toml")),
];

/// People of the invented laboratory with the passphrases they use in the demo, and nowhere else.
const PEOPLE: [(&str, &str); 3] =
    [("k.willow", "gathered by the weir"), ("j.alder", "catkins before leaves"), ("m.rowan", "red berries in autumn")];

const ORDER: &str = "2026-041";

/// A day at the bench with more legs than this is not settled by a demo.
const MOST_LEGS: u32 = 6;

pub fn run(everywhere: &Everywhere, options: &Demo) -> Result<Ending, Failure> {
    let folder = &options.folder;
    if folder.exists() {
        return Err(Failure::with_hint(
            format!("{} is there already", folder.display()),
            "move it away, or name another folder: darkline demo --folder NAME",
        ));
    }
    lay_out(folder).map_err(|error| Failure::told(format!("{}: {error}", folder.display())))?;
    let bench = Bench::new(everywhere, folder)?;
    bench.say(&format!(
        "The invented Millrace Laboratory, in {}: order {ORDER}, lead in twelve plant powders by graphite furnace.",
        folder.display()
    ));
    bench.say("Repeat any command by hand in that folder; passphrases stand in its folder keys, for the demo only.\n");

    bench.say("A record is begun: one file, one first person. Then the people who work in it are entered.");
    bench.done(&[
        "begin",
        "--as",
        "k.willow",
        "--full-name",
        "K. Willow",
        "--laboratory",
        "Millrace Laboratory (invented)",
        "--address",
        "1 Weir Lane, Millrace",
        "--passphrases-from-files",
        "--key-file",
        "keys/k.willow",
    ])?;
    bench.done(&[
        "people",
        "add",
        "j.alder",
        "--full-name",
        "J. Alder",
        "--role",
        "analyst",
        "--as",
        "k.willow",
        "--key-file",
        "keys/j.alder",
    ])?;
    bench.done(&[
        "people",
        "add",
        "m.rowan",
        "--full-name",
        "M. Rowan",
        "--role",
        "reviewer",
        "--role",
        "quality manager",
        "--as",
        "k.willow",
        "--key-file",
        "keys/m.rowan",
    ])?;

    bench.say("The order is opened with its documents, and its run order read.");
    bench.done(&["open", "order", "--as", "j.alder"])?;
    bench.done(&["plan", ORDER])?;

    bench.say("The virtual spectrometer measures; the truth stays in a file that no evaluation reads.");
    let mut ended = bench.measure(1, options.seed)?;
    for leg in 2..=MOST_LEGS {
        if ended == Some(0) {
            break;
        }
        bench.say(match leg {
            2 => "Flags stop the report. They are decided, the rows they ask for become a new leg, and the leg is measured.",
            _ => "The new readings raise another flag; it goes round once more.",
        });
        bench.decide_all()?;
        bench.done(&["plan", ORDER, "--extend", "--as", "j.alder"])?;
        ended = bench.measure(leg, options.seed)?;
    }
    if ended != Some(0) {
        bench.say(
            "This day at the bench has flags that the demo does not know how to settle; decide them by hand and go on.",
        );
        return Ok(Ending::Stopped);
    }
    bench.done(&["explain", ORDER, "S03"])?;

    bench.say("The analyst signs, then a reviewer who had no hand in it; then the report is issued.");
    bench.done(&["sign", ORDER, "--as", "j.alder", "--confirm", ORDER, "--key-file", "keys/j.alder"])?;
    bench.done(&["sign", ORDER, "--as", "m.rowan", "--confirm", ORDER, "--key-file", "keys/m.rowan"])?;
    bench.done(&[
        "issue",
        ORDER,
        "--as",
        "m.rowan",
        "--confirm",
        ORDER,
        "--key-file",
        "keys/m.rowan",
        "-o",
        "2026-041.pdf",
    ])?;

    bench.say("Everything the report rests on goes into one archive, which anybody can check with this program alone.");
    bench.done(&["archive", ORDER, "--as", "m.rowan", "-o", "2026-041.zip"])?;
    bench.done(&["verify", "2026-041.zip"])?;

    bench.say("What was reported, and beside it what was really in the vessels:");
    bench.done(&["evaluate", ORDER])?;
    bench.done(&["simulate", ORDER, "--truth", "truth.toml", "--judge"])?;
    talk::print(&format!("\nThe report: {}\n", folder.join("2026-041.pdf").display()))?;
    Ok(Ending::Done)
}

fn lay_out(folder: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(folder.join("order"))?;
    std::fs::create_dir_all(folder.join("keys"))?;
    for (name, text) in DOCUMENTS {
        std::fs::write(folder.join(name), text)?;
    }
    for (name, passphrase) in PEOPLE {
        let path = folder.join("keys").join(name);
        std::fs::write(&path, format!("{passphrase}\n"))?;
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600))?;
        }
    }
    Ok(())
}

/// This program, at work in the folder of the demo.
struct Bench<'a> {
    program: std::path::PathBuf,
    folder: &'a Path,
    quiet: bool,
}

impl<'a> Bench<'a> {
    fn new(everywhere: &Everywhere, folder: &'a Path) -> Result<Self, Failure> {
        Ok(Self { program: std::env::current_exe()?, folder, quiet: everywhere.quiet })
    }

    fn say(&self, text: &str) {
        if !self.quiet {
            let _ = talk::print(&format!("{text}\n"));
        }
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(&self.program);
        command.args(arguments).current_dir(self.folder).stdin(Stdio::null()).arg("--no-input");
        // The demo is about its own record, whatever the surroundings say.
        command.env_remove("DARKLINE_TRAIL").env_remove("DARKLINE_PERSON");
        command
    }

    /// Shows a command, runs it with its output in view, and gives its exit code.
    fn shown(&self, arguments: &[&str]) -> Result<Option<i32>, Failure> {
        let words: Vec<String> = arguments.iter().map(|word| quoted(word)).collect();
        self.say(&format!("$ darkline {}", words.join(" ")));
        let mut command = self.command(arguments);
        if self.quiet {
            command.stdout(Stdio::null()).arg("--quiet");
        }
        let status = command.status()?;
        self.say("");
        Ok(status.code())
    }

    /// The same, and it has to be done.
    fn done(&self, arguments: &[&str]) -> Result<(), Failure> {
        match self.shown(arguments)? {
            Some(0) => Ok(()),
            code => {
                Err(Failure::told(format!("darkline {} ended with {code:?}; the demo stops here", arguments.join(" "))))
            }
        }
    }

    /// Measures the rows that wait, imports the readings, and evaluates; gives the exit code of the last.
    fn measure(&self, leg: u32, seed: Option<u64>) -> Result<Option<i32>, Failure> {
        let (table, seed) = (format!("readings-{leg}.csv"), seed.map(|seed| seed.to_string()));
        let mut simulate = vec!["simulate", ORDER, "--truth", "truth.toml", "-o", &table];
        simulate.extend(seed.iter().flat_map(|seed| ["--seed", seed.as_str()]));
        self.done(&simulate)?;
        self.done(&["import", ORDER, &table, "--as", "j.alder"])?;
        self.shown(&["evaluate", ORDER])
    }

    /// Decides every flag that stops the report by the step it offers; an outlying reading is rejected with it.
    fn decide_all(&self) -> Result<(), Failure> {
        let output = self.command(&["evaluate", ORDER, "--json"]).output()?;
        let mut rejected = std::collections::BTreeSet::new();
        for line in String::from_utf8_lossy(&output.stdout).lines() {
            let Ok(line) = serde_json::from_str::<Value>(line) else { continue };
            if line["line"] != "flag" || line["stops"] != true {
                continue;
            }
            let flag = line["id"].as_str().unwrap_or_default();
            match flag.split_once(":reading:") {
                // Two flags about one reading: with the reading gone, both are.
                Some((_, reading)) if !rejected.insert(reading.to_owned()) => {}
                Some((_, reading)) => self.done(&[
                    "decide",
                    ORDER,
                    "--reject",
                    reading,
                    "--take-up",
                    flag,
                    "--reason",
                    "droplet left on the tip, seen at the bench",
                    "--as",
                    "j.alder",
                ])?,
                None => self.done(&[
                    "decide",
                    ORDER,
                    "--take-up",
                    flag,
                    "--reason",
                    "diluted as offered",
                    "--as",
                    "j.alder",
                ])?,
            }
        }
        Ok(())
    }
}

/// A word as a shell reads it.
fn quoted(word: &str) -> String {
    if word.contains([' ', '(', ')']) { format!("\"{word}\"") } else { word.to_owned() }
}
