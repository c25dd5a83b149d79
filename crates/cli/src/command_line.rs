//! The command line: every verb, its options and examples, in one definition that help and reference are made from.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::error::{ContextKind, ContextValue, ErrorKind};
use clap::{Args, CommandFactory, Parser, Subcommand};

use crate::talk;

/// The whole command line.
#[derive(Debug, Parser)]
#[command(
    name = "darkline",
    version,
    about = "Carry a trace-metals order from its documents and raw pulses to a signed, re-derivable report.",
    after_help = "Begin with: darkline demo\n\nThe tool advises; a qualified person decides and signs. Local codes and licensed practice prevail.",
    disable_help_subcommand = true,
    arg_required_else_help = true
)]
struct CommandLine {
    #[command(flatten)]
    everywhere: Everywhere,
    #[command(subcommand)]
    verb: Verb,
}

/// Options that mean the same for every verb.
#[derive(Clone, Debug, Args)]
pub struct Everywhere {
    /// The file of the record [default: laboratory.trail]
    #[arg(long, global = true, env = "DARKLINE_TRAIL", value_name = "PATH", hide_env_values = true)]
    pub trail: Option<PathBuf>,
    /// Who acts
    #[arg(long = "as", global = true, env = "DARKLINE_PERSON", value_name = "NAME", hide_env_values = true)]
    pub person: Option<String>,
    /// One JSON object a line, for programs
    #[arg(long, global = true)]
    pub json: bool,
    /// Say nothing but results and errors
    #[arg(short, long, global = true)]
    pub quiet: bool,
    /// Never ask; stop and name the option that answers
    #[arg(long, global = true)]
    pub no_input: bool,
}

/// A parsed command.
#[derive(Debug)]
pub struct Command {
    /// Options that mean the same for every verb.
    pub everywhere: Everywhere,
    /// What to do.
    pub verb: Verb,
}

/// The verbs, in the order of the job.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Walk a whole order of the invented Millrace Laboratory, naming each command
    #[command(after_help = "Examples:\n  darkline demo\n  darkline demo --folder try-it --seed 7")]
    Demo(Demo),
    /// Begin a record: one file, the key of this bench, and the first person, who keeps the others
    #[command(
        after_help = "Examples:\n  darkline begin --as k.willow --full-name \"K. Willow\" --laboratory \"Millrace Laboratory\"\n  darkline begin --trail millrace.trail --as k.willow --full-name \"K. Willow\" --key-file keys/k.willow"
    )]
    Begin(Begin),
    /// Enter people and see who may do what
    #[command(
        after_help = "Examples:\n  darkline people\n  darkline people add j.alder --full-name \"J. Alder\" --role analyst --as k.willow\n  darkline people add m.rowan --full-name \"M. Rowan\" --role reviewer --role \"quality manager\" --as k.willow"
    )]
    People(People),
    /// Open an order: take its documents into the record
    #[command(
        after_help = "The folder holds order.toml, preparation*.toml, method*.toml and run*.toml with its run order.\n\nExamples:\n  darkline open examples/cadmium-release --as j.alder\n  darkline open examples/cadmium-release --dry-run     only look for faults"
    )]
    Open(Open),
    /// See the run order of an order, and add the rows that decisions ask for
    #[command(
        after_help = "Examples:\n  darkline plan 2026-041                       the run order and what is still to be measured\n  darkline plan 2026-041 --extend --as j.alder add the steps that were taken up as a new leg\n  darkline plan 2026-041 -o run-order.csv"
    )]
    Plan(Plan),
    /// Let the virtual spectrometer measure the rows that have no readings yet
    #[command(
        after_help = "The truth stays in its own file, which no evaluation reads.\n\nExamples:\n  darkline simulate 2026-041 --truth truth.toml -o readings-1.csv\n  darkline simulate 2026-041 --truth truth.toml --judge    compare results with the truth"
    )]
    Simulate(Simulate),
    /// Take readings into the record
    #[command(
        after_help = "A table of pulses has its file of pulses beside it, under the same name with .parquet.\nThe same file again changes nothing.\n\nExamples:\n  darkline import 2026-014 examples/cadmium-release/readings.csv --as j.alder\n  darkline import 2026-041 readings-1.csv --pulses readings-1.parquet --as j.alder"
    )]
    Import(Import),
    /// Work out the results of an order from its readings and decisions. Stores nothing
    #[command(
        after_help = "Examples:\n  darkline evaluate 2026-041                a table for people\n  darkline evaluate 2026-041 --json         one JSON object a line, for programs\n  darkline evaluate 2026-041 -o out.csv     into a file (\"-\" is standard output)"
    )]
    Evaluate(Evaluate),
    /// Tell how a result came about: the derivation with its numbers, and the budget by source
    #[command(after_help = "Examples:\n  darkline explain 2026-014 dish-1\n  darkline explain 2026-041 S03 --element Pb --json")]
    Explain(Explain),
    /// Decide about readings and flags, with a reason
    #[command(
        after_help = "Examples:\n  darkline decide 2026-041 --reject R1/38 --reason \"droplet left on the tip\" --as j.alder\n  darkline decide 2026-041 --take-up over-range:row:R1/18 --reason \"dilute as offered\" --as j.alder\n  darkline decide 2026-041 --justify blank-above-limit:row:R1/9 --reason \"below a tenth of every sample\" --as j.alder"
    )]
    Decide(Decide),
    /// Sign the results of an order: the analyst first, then a reviewer who had no hand in them
    #[command(
        after_help = "Examples:\n  darkline sign 2026-041 --as j.alder\n  darkline sign 2026-041 --as m.rowan --confirm 2026-041 --key-file keys/m.rowan"
    )]
    Sign(Sign),
    /// Issue the report of a signed order as PDF/A
    #[command(after_help = "Examples:\n  darkline issue 2026-041 --as m.rowan -o 2026-041.pdf")]
    Issue(Issue),
    /// Write the data package of an issued order as one archive that needs nothing else to be checked
    #[command(after_help = "Examples:\n  darkline archive 2026-041 --as m.rowan -o 2026-041.zip")]
    Archive(Archive),
    /// Check an archive, or the whole record: hashes, root, signatures, and every digit of the report
    #[command(
        after_help = "Examples:\n  darkline verify 2026-041.zip      an archive, on any machine\n  darkline verify                   the record of this laboratory"
    )]
    Verify(Verify),
    /// List the entries of the record: who, when, what
    #[command(after_help = "Examples:\n  darkline entries\n  darkline entries 2026-041 --json")]
    Entries(Entries),
}

/// Options of `demo`.
#[derive(Debug, Args)]
pub struct Demo {
    /// The folder to make
    #[arg(long, value_name = "FOLDER", default_value = "millrace-demo")]
    pub folder: PathBuf,
    /// Another seed gives another day at the bench
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
}

/// Options of `begin`.
#[derive(Debug, Args)]
pub struct Begin {
    /// The name of the first person as printed beside their acts
    #[arg(long, value_name = "TEXT")]
    pub full_name: String,
    /// The laboratory's name on reports
    #[arg(long, value_name = "TEXT", default_value = "Laboratory")]
    pub laboratory: String,
    /// A line of the laboratory's address; more lines by naming the option again
    #[arg(long, value_name = "TEXT")]
    pub address: Vec<String>,
    /// The name of this bench's log
    #[arg(long, value_name = "NAME", default_value = "bench-1")]
    pub log: String,
    /// A file that only you may read whose first line is the passphrase
    #[arg(long, value_name = "FILE")]
    pub key_file: Option<PathBuf>,
}

/// Options of `people`.
#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true)]
pub struct People {
    /// What to do; without it people are listed
    #[command(subcommand)]
    pub what: Option<PeopleVerb>,
}

/// What to do with people.
#[derive(Debug, Subcommand)]
pub enum PeopleVerb {
    /// Enter a person with a key of their own
    Add {
        /// The name they sign in with
        name: String,
        /// The name printed beside their signature
        #[arg(long, value_name = "TEXT")]
        full_name: String,
        /// analyst, reviewer, quality manager or administrator; several by naming the option again
        #[arg(long, value_name = "ROLE", required = true)]
        role: Vec<String>,
        /// A file that only they may read whose first line is their passphrase
        #[arg(long, value_name = "FILE")]
        key_file: Option<PathBuf>,
    },
}

/// Options of `open`.
#[derive(Debug, Args)]
pub struct Open {
    /// The folder with the documents
    pub folder: PathBuf,
    /// Only look for faults; append nothing
    #[arg(short = 'n', long)]
    pub dry_run: bool,
}

/// Options of `plan`.
#[derive(Debug, Args)]
pub struct Plan {
    /// The order
    pub order: String,
    /// Add the steps that were taken up as a new leg
    #[arg(long)]
    pub extend: bool,
    /// The run, where the order is measured in several
    #[arg(long, value_name = "RUN")]
    pub run: Option<String>,
    /// Write the run order as CSV into a file ("-" is standard output)
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
}

/// Options of `simulate`.
#[derive(Debug, Args)]
pub struct Simulate {
    /// The order
    pub order: String,
    /// What is really in the vessels
    #[arg(long, value_name = "FILE")]
    pub truth: PathBuf,
    /// Another seed gives another day at the bench
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// The run, where the order is measured in several
    #[arg(long, value_name = "RUN")]
    pub run: Option<String>,
    /// When the first firing starts, RFC 3339; after the last reading where absent
    #[arg(long, value_name = "TIME")]
    pub started: Option<String>,
    /// The table of readings; the pulses go beside it with .parquet
    #[arg(short, long, value_name = "FILE", required_unless_present = "judge")]
    pub output: Option<PathBuf>,
    /// Compare the results as they stand with the truth
    #[arg(long)]
    pub judge: bool,
}

/// Options of `import`.
#[derive(Debug, Args)]
pub struct Import {
    /// The order
    pub order: String,
    /// The table of readings
    pub table: PathBuf,
    /// The file of pulses
    #[arg(long, value_name = "FILE")]
    pub pulses: Option<PathBuf>,
    /// The run, where the order is measured in several
    #[arg(long, value_name = "RUN")]
    pub run: Option<String>,
}

/// Options of `evaluate`.
#[derive(Debug, Args)]
pub struct Evaluate {
    /// The order
    pub order: String,
    /// Write results as CSV into a file ("-" is standard output)
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// Show calibration, controls and readings too
    #[arg(long)]
    pub details: bool,
}

/// Options of `explain`.
#[derive(Debug, Args)]
pub struct Explain {
    /// The order
    pub order: String,
    /// The sample
    pub sample: String,
    /// The element, where several are determined
    #[arg(long, value_name = "SYMBOL")]
    pub element: Option<String>,
}

/// Options of `decide`.
#[derive(Debug, Args)]
pub struct Decide {
    /// The order
    pub order: String,
    /// A reading that shall not count, as RUN/NUMBER or NUMBER
    #[arg(long, value_name = "READING")]
    pub reject: Vec<String>,
    /// A rejected reading that shall count again
    #[arg(long, value_name = "READING")]
    pub reinstate: Vec<String>,
    /// A flag that is explained
    #[arg(long, value_name = "FLAG")]
    pub justify: Vec<String>,
    /// A flag whose next step is taken up
    #[arg(long, value_name = "FLAG")]
    pub take_up: Vec<String>,
    /// Dilute by this factor instead of the one offered
    #[arg(long, value_name = "FACTOR", requires = "take_up")]
    pub dilute_by: Option<u32>,
    /// Why
    #[arg(long, value_name = "TEXT")]
    pub reason: String,
}

/// Options of `sign`.
#[derive(Debug, Args)]
pub struct Sign {
    /// The order
    pub order: String,
    /// Confirm by naming the order
    #[arg(long, value_name = "ORDER")]
    pub confirm: Option<String>,
    /// A file that only you may read whose first line is your passphrase
    #[arg(long, value_name = "FILE")]
    pub key_file: Option<PathBuf>,
}

/// Options of `issue`.
#[derive(Debug, Args)]
pub struct Issue {
    /// The order
    pub order: String,
    /// The file of the report [default: REPORT.pdf]
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// Confirm by naming the order
    #[arg(long, value_name = "ORDER")]
    pub confirm: Option<String>,
    /// A file that only you may read whose first line is your passphrase
    #[arg(long, value_name = "FILE")]
    pub key_file: Option<PathBuf>,
}

/// Options of `archive`.
#[derive(Debug, Args)]
pub struct Archive {
    /// The order
    pub order: String,
    /// The file of the archive [default: ORDER.zip]
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
}

/// Options of `verify`.
#[derive(Debug, Args)]
pub struct Verify {
    /// The archive; the record itself where absent
    pub archive: Option<PathBuf>,
}

/// Options of `entries`.
#[derive(Debug, Args)]
pub struct Entries {
    /// Only entries that name this order
    pub order: Option<String>,
}

/// What came of reading the command line.
pub enum Parsed {
    /// Something to do.
    Run(Box<Command>),
    /// Help was shown, or a fault was told.
    Told(ExitCode),
}

/// Reads the command line.
pub fn parse() -> Parsed {
    match CommandLine::try_parse() {
        Ok(CommandLine { everywhere, verb }) => {
            if everywhere.quiet {
                talk::be_quiet();
            }
            Parsed::Run(Box::new(Command { everywhere, verb }))
        }
        Err(error) => match error.kind() {
            ErrorKind::DisplayHelp | ErrorKind::DisplayVersion => {
                let _ = talk::print(&error.render().to_string());
                Parsed::Told(ExitCode::SUCCESS)
            }
            ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand => {
                talk::say(&error.render().to_string());
                Parsed::Told(ExitCode::from(2))
            }
            _ => {
                talk::say(&in_our_words(&error));
                Parsed::Told(ExitCode::from(2))
            }
        },
    }
}

/// A fault of the command line, in the words of the house.
fn in_our_words(error: &clap::Error) -> String {
    let text = |kind| match error.get(kind) {
        Some(ContextValue::String(text)) => Some(text.clone()),
        Some(ContextValue::Strings(texts)) => Some(texts.join(", ")),
        _ => None,
    };
    let meant = |kind| text(kind).map_or(String::new(), |meant| format!("\n  did you mean {meant}?"));
    let found = || text(ContextKind::InvalidArg).unwrap_or_default();
    let value = || text(ContextKind::InvalidValue).unwrap_or_default();
    match error.kind() {
        ErrorKind::InvalidSubcommand => {
            let verb = text(ContextKind::InvalidSubcommand).unwrap_or_default();
            format!("error: darkline has no command \"{verb}\"{}", meant(ContextKind::SuggestedSubcommand))
        }
        ErrorKind::UnknownArgument => {
            format!("error: there is no option {}{}", found(), meant(ContextKind::SuggestedArg))
        }
        ErrorKind::MissingRequiredArgument => {
            format!("error: {} is missing\n  darkline COMMAND --help shows how it is written", found())
        }
        ErrorKind::InvalidValue if value().is_empty() => format!("error: {} has no value", found()),
        ErrorKind::InvalidValue | ErrorKind::ValueValidation => {
            format!("error: \"{}\" is no value for {}", value(), found())
        }
        ErrorKind::ArgumentConflict => format!("error: {} does not go with the other options", found()),
        ErrorKind::MissingSubcommand => "error: a command is missing\n  darkline --help lists them".into(),
        _ => format!("error: {}", error.render().to_string().trim_start_matches("error: ").trim_end()),
    }
}

/// The definition, for the reference page.
pub fn definition() -> clap::Command {
    CommandLine::command()
}
