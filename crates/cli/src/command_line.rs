//! The command line: every verb and its options, in one definition that help and reference are made from.
//!
//! Examples stand in `examples`; what is said about words that cannot be read, in `misread`.

mod examples;
mod misread;

use std::ffi::OsString;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::LazyLock;

use clap::error::ErrorKind;
use clap::{Args, CommandFactory, FromArgMatches, Parser, Subcommand};
use darkline_evaluation::procedure::EDITIONS;

use crate::talk;

/// The whole command line.
#[derive(Debug, Parser)]
#[command(
    name = "darkline",
    version,
    about = "Carry a trace-metals order from its documents and raw pulses to a signed, re-derivable report.",
    after_help = "The tool advises; a qualified person decides and signs. Local codes and licensed practice prevail.",
    disable_help_subcommand = true,
    arg_required_else_help = true
)]
struct CommandLine {
    #[command(flatten)]
    everywhere: Everywhere,
    #[command(subcommand)]
    verb: Verb,
}

const EVERYWHERE: &str = "Everywhere the same";

/// Options that mean the same for every verb.
#[derive(Clone, Debug, Args)]
pub struct Everywhere {
    /// The file of the record [default: DARKLINE_TRAIL, or laboratory.trail]
    #[arg(long, global = true, value_name = "PATH", help_heading = EVERYWHERE)]
    pub trail: Option<PathBuf>,
    /// Who acts [default: DARKLINE_PERSON]
    #[arg(long = "as", global = true, value_name = "NAME", help_heading = EVERYWHERE)]
    pub person: Option<String>,
    /// One JSON object a line, for programs
    #[arg(long, global = true, help_heading = EVERYWHERE)]
    pub json: bool,
    /// Say nothing but results and errors
    #[arg(short, long, global = true, help_heading = EVERYWHERE)]
    pub quiet: bool,
    /// Never ask; stop and name the option that answers
    #[arg(long, global = true, help_heading = EVERYWHERE)]
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
    Demo(Demo),
    /// Begin a record: one file, the key of this bench, and the first person, who keeps the others
    Begin(Begin),
    /// Enter people and see who may do what
    People(People),
    /// See what reports call the laboratory, or say it anew for reports to come
    #[command(after_help = "Reports that were issued keep what they say.")]
    Laboratory(Laboratory),
    /// Open an order: take its documents into the record
    #[command(
        after_help = "The folder holds order.toml, preparation*.toml, method*.toml and run*.toml with its run order."
    )]
    Open(Open),
    /// See the run order of an order, and add the rows that decisions ask for; or plan the day of a new one
    Plan(Plan),
    /// See the cautions and checks of an order before its first sample, and state that they were read
    #[command(
        after_help = "Reminders, no safety assessment. Local codes and the instructions delivered with the equipment prevail."
    )]
    Start(Start),
    /// Let the virtual spectrometer measure the rows that have no readings yet
    #[command(after_help = "The truth stays in its own file, which no evaluation reads.")]
    Simulate(Simulate),
    /// Take readings into the record
    #[command(
        after_help = "A table of pulses has its file of pulses beside it, under the same name with .parquet.\nThe same file again changes nothing."
    )]
    Import(Import),
    /// Watch a folder that the instrument writes into: readings and flags are shown as they come
    Watch(Watch),
    /// Lay the weighings of a balance's files into a preparation document, as a proposal to look at and open
    #[command(
        after_help = "Nothing is appended: `darkline open` takes the document into the record when somebody has looked at it."
    )]
    Weigh(Weigh),
    /// Work out the results of an order from its readings and decisions. Stores nothing
    Evaluate(Evaluate),
    /// Write results, readings or rows into a file for other programs: CSV, JSON Lines, pulses as Parquet
    Export(Export),
    /// Tell how a result came about: the derivation with its numbers, and the budget by source
    Explain(Explain),
    /// Decide about readings and flags, with a reason
    Decide(Decide),
    /// See how far orders have come, who signed what, and whether it still stands
    Orders(Orders),
    /// Sign the results of an order: the analyst first, then a reviewer who had no hand in them
    Sign(Sign),
    /// Hand an order back to the state it came from, with remarks item by item
    Return(Return),
    /// Issue the report of a signed order as PDF/A
    Issue(Issue),
    /// Write the data package of an issued order as one archive that needs nothing else to be checked
    Archive(Archive),
    /// Say until when an order has to be kept
    #[command(after_help = "The record itself is never deleted. The day can be put off, not brought forward.")]
    Keep(Keep),
    /// Erase whose order it was, where that was kept apart and its retention has ended
    EraseIdentity(EraseIdentity),
    /// Bring an archive back into a record that does not have its order
    Restore(Restore),
    /// Copy the whole record into a new folder, while others go on working
    Backup(Backup),
    /// Restore a copy aside, verify everything in it, and print a protocol
    Drill(Drill),
    /// Check an archive, or the whole record: hashes, root, signatures, and every digit of the report
    Verify(Verify),
    /// Give the newest checkpoint of the record: seven lines to be kept elsewhere until the next audit
    Checkpoint(Checkpoint),
    /// Hand over what this bench did on its own to the record of the laboratory
    #[command(
        after_help = "What was handed over stays in this record too. Where the line breaks, give the command again."
    )]
    HandOver(HandOver),
    /// Search the entries of the record: who, when, what, what stood there before, why
    #[command(
        after_help = "Kinds: archive, authorise, backup, clock, decide, document, drill, erase, import, issue, laboratory, leg,\nopen, passphrase, person, refused, restore, retention, return, review, sign, start, take-over, unlock, wrong-passphrase."
    )]
    Entries(Entries),
    /// Serve the pages at the bench: everything above in a browser, live while readings come in
    #[command(
        after_help = "For this machine alone unless another address is named, and that takes TLS: a certificate of the laboratory,\nor one made here whose fingerprint is shown. Ctrl-C ends it; everything acknowledged is kept."
    )]
    Serve(Serve),
    /// Look up an element, a line, or the limits of a matrix or a regulation, each figure with its source
    Handbook(Handbook),
    /// See which runs, orders and reports rest on a lot, and what they would say if it were other than believed
    #[command(
        after_help = "Runs name the lots of their standards in run.toml; what if works everything out again and stores nothing."
    )]
    Lots(Lots),
    /// Draft a method from the handbook: a complete document, every figure with where it comes from
    #[command(
        after_help = "The draft is a beginning: printed figures are those of other instruments. Read it, put in your own, validate it."
    )]
    Method(Method),
    /// Run published worked examples, or your own, through the functions that results come from
    #[command(
        after_help = "Without a folder or file, the cases that ship in the program.\nEnds with 0 when all agree, 1 when one disagrees or is of an unknown kind, 2 when a file is at fault."
    )]
    Qualify(Qualify),
    /// Print the reference of all commands as Markdown
    #[command(hide = true)]
    HelpReference,
    /// Print the reference of roles as Markdown
    #[command(hide = true)]
    HelpRoles,
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
    #[arg(long, value_name = "TEXT", value_parser = filled)]
    pub full_name: String,
    /// The laboratory's name on reports
    #[arg(long, value_name = "TEXT", value_parser = filled)]
    pub laboratory: String,
    /// A line of the laboratory's address on reports; more lines by naming the option again
    #[arg(long, value_name = "TEXT", required = true, value_parser = filled)]
    pub address: Vec<String>,
    /// The name of this bench's log
    #[arg(long, value_name = "NAME", default_value = "bench-1")]
    pub log: String,
    /// Keep the record in this database (postgresql://user@host/database) instead of a file; never with a password
    #[arg(long, value_name = "ADDRESS")]
    pub record: Option<String>,
    /// Keep the pulses in this folder, or this bucket (s3://…), instead of the database
    #[arg(long, value_name = "FOLDER", requires = "record")]
    pub pulses: Option<PathBuf>,
    /// Let signatures take passphrases from files: for a record that a program walks through; every signature says so
    #[arg(long)]
    pub passphrases_from_files: bool,
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
        #[arg(long, value_name = "TEXT", value_parser = filled)]
        full_name: String,
        /// analyst, reviewer, quality manager or administrator; several by naming the option again
        #[arg(long, value_name = "ROLE", required = true)]
        role: Vec<String>,
        /// By what the person was known: who saw which paper
        #[arg(long, value_name = "TEXT", value_parser = filled)]
        identity_seen: Option<String>,
        /// A file that only they may read whose first line is their passphrase
        #[arg(long, value_name = "FILE")]
        key_file: Option<PathBuf>,
        /// Where to put the new key of a device, which signs imports and nothing else; for the role device alone
        #[arg(long, value_name = "FILE", conflicts_with = "key_file")]
        device_key: Option<PathBuf>,
    },
    /// Change a person's printed name or their roles; what they signed keeps the name of then
    Change {
        /// The person
        name: String,
        /// The name printed from now on
        #[arg(long, value_name = "TEXT", value_parser = filled)]
        full_name: Option<String>,
        /// All roles from now on; several by naming the option again
        #[arg(long, value_name = "ROLE")]
        role: Vec<String>,
        /// Why
        #[arg(long, value_name = "TEXT")]
        reason: String,
    },
    /// Close an account; it is never removed, and its name never given to another
    Close {
        /// The person
        name: String,
        /// Why
        #[arg(long, value_name = "TEXT")]
        reason: String,
    },
    /// Open a closed account again
    Reopen {
        /// The person
        name: String,
        /// Why
        #[arg(long, value_name = "TEXT")]
        reason: String,
    },
    /// Change one's own passphrase
    Passphrase {
        /// A file that only you may read whose first line is the passphrase of today
        #[arg(long, value_name = "FILE")]
        key_file: Option<PathBuf>,
        /// A file that only you may read whose first line is the new passphrase
        #[arg(long, value_name = "FILE")]
        new_key_file: Option<PathBuf>,
    },
    /// Give a person who lost their passphrase a new key; it signs nothing until they have changed the passphrase
    Renew {
        /// The person
        name: String,
        /// Why
        #[arg(long, value_name = "TEXT")]
        reason: String,
        /// A file whose first line is the passphrase that serves once
        #[arg(long, value_name = "FILE")]
        key_file: Option<PathBuf>,
    },
    /// Open an account that waits or is locked after wrong passphrases
    Unlock {
        /// The person
        name: String,
        /// Why
        #[arg(long, value_name = "TEXT")]
        reason: String,
    },
    /// Authorise a person for a method up to a day, or withdraw it
    #[command(after_help = "From then on only authorised people import, decide and sign for this method.")]
    Authorise {
        /// The person
        name: String,
        /// The method
        #[arg(long, value_name = "METHOD")]
        method: String,
        /// The last day, as 2027-03-31
        #[arg(long, value_name = "DAY", required_unless_present = "withdraw")]
        until: Option<String>,
        /// No longer
        #[arg(long, conflicts_with = "until")]
        withdraw: bool,
        /// On what ground
        #[arg(long, value_name = "TEXT")]
        reason: String,
    },
}

/// Options of `laboratory`.
#[derive(Debug, Args)]
pub struct Laboratory {
    /// The laboratory's name
    #[arg(long, value_name = "TEXT", value_parser = filled, requires = "address")]
    pub name: Option<String>,
    /// A line of its address; more lines by naming the option again
    #[arg(long, value_name = "TEXT", value_parser = filled, requires = "name")]
    pub address: Vec<String>,
    /// Whether signatures may take passphrases from files: for a record that a program walks through
    #[arg(long, value_name = "yes|no", value_parser = ["yes", "no"])]
    pub passphrases_from_files: Option<String>,
    /// What a signature commits to here, shown to everybody who signs
    #[arg(long, value_name = "TEXT", value_parser = filled)]
    pub statement: Option<String>,
    /// Reference and day of the certification that signatures here are meant as binding
    #[arg(long, value_name = "TEXT", value_parser = filled)]
    pub certification: Option<String>,
}

/// Options of `open`.
#[derive(Debug, Args)]
pub struct Open {
    /// The folder with the documents
    pub folder: PathBuf,
    /// Only look for faults; append nothing
    #[arg(short = 'n', long)]
    pub dry_run: bool,
    /// Keep customer, contact, purpose and descriptions beside the record, where they can be erased after retention
    #[arg(long)]
    pub identity_apart: bool,
}

/// Options of `plan`.
#[derive(Debug, Args)]
pub struct Plan {
    /// The order; or the folder with order.toml, for --check and --write
    pub order: String,
    /// Add the steps that were taken up as a new leg
    #[arg(long)]
    pub extend: bool,
    /// Can we? Rank the techniques for each element of the order.toml in this folder against its limits
    #[arg(long, conflicts_with_all = ["extend", "run"])]
    pub check: bool,
    /// Plan the day of the order in this folder, from its order.toml, method*.toml and bench.toml: write preparation, run
    /// orders, bench sheet and labels beside them
    #[arg(long, conflicts_with_all = ["extend", "run", "check", "output"])]
    pub write: bool,
    /// When the work starts, RFC 3339 [default: now]
    #[arg(long, value_name = "TIME", requires = "write")]
    pub start: Option<String>,
    /// When the last reading must have ended, RFC 3339; where it cannot, nothing is written and what would fit is told
    #[arg(long, value_name = "TIME", requires = "write")]
    pub must_end_by: Option<String>,
    /// Another seed gives another order of samples between which nothing is carried over
    #[arg(long, value_name = "N", requires = "write", default_value_t = 1)]
    pub seed: u64,
    /// The run, where the order is measured in several
    #[arg(long, value_name = "RUN")]
    pub run: Option<String>,
    /// Write the run order as CSV into a file ("-" is standard output)
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
}

/// Options of `start`.
#[derive(Debug, Args)]
pub struct Start {
    /// The order
    pub order: String,
    /// State that you have read the cautions; this is an entry
    #[arg(long)]
    pub read: bool,
    /// State that you have looked at exhaust, trap, burner kind, leak test and eye protection: before a flame is lit
    #[arg(long, requires = "read")]
    pub looked_at: bool,
    /// Pressure of acetylene behind the regulator, in kPa above the air's
    #[arg(long, value_name = "KPA", value_parser = kilopascal)]
    pub acetylene: Option<f64>,
    /// Pressure of the acetylene cylinder, in kPa
    #[arg(long, value_name = "KPA", value_parser = kilopascal)]
    pub acetylene_cylinder: Option<f64>,
}

/// A pressure in kilopascal.
fn kilopascal(text: &str) -> Result<f64, String> {
    match text.trim().trim_end_matches("kPa").trim_end().replace(',', ".").parse::<f64>() {
        Ok(pressure) if (0.0..=30_000.0).contains(&pressure) => Ok(pressure),
        _ => Err("write a pressure in kPa, such as 90".into()),
    }
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
    /// Something that goes wrong, by its name and row: NAME@ROW, NAME@ROW.REPLICATE, either with =SIZE behind it. May be
    /// given several times; a name that is none lists them all
    #[arg(long = "fault", value_name = "FAULT")]
    pub faults: Vec<String>,
    /// Write the readings of each row when its time has come, a file a row; 60 lets an hour pass in a minute
    #[arg(long, value_name = "FACTOR", conflicts_with = "judge")]
    pub speed: Option<f64>,
    /// The run, where the order is measured in several
    #[arg(long, value_name = "RUN")]
    pub run: Option<String>,
    /// When the first firing starts, RFC 3339; after the last reading where absent
    #[arg(long, value_name = "TIME")]
    pub started: Option<String>,
    /// The table of readings; the pulses go beside it with .parquet
    #[arg(short, long, value_name = "FILE", required_unless_present = "judge")]
    pub output: Option<PathBuf>,
    /// Compare the results as they stand with the truth, and the flags with the faults
    #[arg(long)]
    pub judge: bool,
}

/// Options of `import`.
#[derive(Debug, Args)]
pub struct Import {
    /// The order
    #[arg(required_unless_present = "propose")]
    pub order: Option<String>,
    /// The table of readings, or a file of the instrument where --mapping says how to read it
    #[arg(required_unless_present = "propose")]
    pub table: Option<PathBuf>,
    /// The file of pulses
    #[arg(long, value_name = "FILE", conflicts_with = "mapping")]
    pub pulses: Option<PathBuf>,
    /// The key file of a device that brings them without anybody at the bench; it is then the device that acts
    #[arg(long, value_name = "FILE", conflicts_with_all = ["person", "mapping"])]
    pub device_key: Option<PathBuf>,
    /// The run, where the order is measured in several
    #[arg(long, value_name = "RUN")]
    pub run: Option<String>,
    /// The column mapping of the instrument that wrote the file
    #[arg(long, value_name = "FILE")]
    pub mapping: Option<PathBuf>,
    /// The day of the first reading, where the file writes times alone
    #[arg(long, value_name = "DATE", value_parser = day, requires = "mapping")]
    pub day: Option<jiff::civil::Date>,
    /// What a person has seen: the reading on this line of the file, and those with it, are of this row of the run order
    #[arg(long = "row", value_name = "LINE=ROW", value_parser = line_and_row, requires = "mapping")]
    pub rows: Vec<(usize, u32)>,
    /// Where the traces are that the mapping tells of, in the order of measuring: folders or files. Without it, the folder of
    /// the table
    #[arg(long, value_name = "PATH", requires = "mapping")]
    pub traces: Vec<PathBuf>,
    /// Take what the instrument printed for readings whose trace is missing; without it, they wait
    #[arg(long, requires = "mapping")]
    pub without_traces: bool,
    /// Look at a file of an instrument and write the first draft of a mapping for it, with the evidence for each line
    #[arg(long, value_name = "FILE", conflicts_with_all = ["order", "table", "mapping"])]
    pub propose: Option<PathBuf>,
    /// The name the instrument gets in the draft
    #[arg(long, value_name = "NAME", requires = "propose", value_parser = filled)]
    pub instrument: Option<String>,
    /// Where the draft goes ("-" is standard output)
    #[arg(short, long, value_name = "FILE", requires = "propose")]
    pub output: Option<PathBuf>,
}

/// Options of `watch`.
#[derive(Debug, Args)]
pub struct Watch {
    /// The folder or share that the instrument writes into
    pub folder: PathBuf,
    /// The order, where several wait for readings
    #[arg(long, value_name = "ORDER")]
    pub order: Option<String>,
    /// The run, where the order is measured in several
    #[arg(long, value_name = "RUN")]
    pub run: Option<String>,
    /// The column mapping of the instrument; without it, tables of our own with their pulses beside them
    #[arg(long, value_name = "FILE")]
    pub mapping: Option<PathBuf>,
    /// The day of the first reading, where files write times alone
    #[arg(long, value_name = "DATE", value_parser = day, requires = "mapping")]
    pub day: Option<jiff::civil::Date>,
    /// End when nothing new has come for so many seconds
    #[arg(long, value_name = "SECONDS", value_parser = seconds)]
    pub until_quiet: Option<f64>,
}

/// Options of `serve`.
#[derive(Debug, Args)]
pub struct Serve {
    /// Address and port to listen on; port 0 takes a free one
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:7878")]
    pub address: std::net::SocketAddr,
    /// A name that browsers ask these pages under; more names by naming the option again
    #[arg(long, value_name = "HOST")]
    pub name: Vec<String>,
    /// The certificate with its chain, in PEM form
    #[arg(long, value_name = "FILE", requires = "certificate_key")]
    pub certificate: Option<PathBuf>,
    /// The private key of the certificate, in PEM form
    #[arg(long, value_name = "FILE", requires = "certificate")]
    pub certificate_key: Option<PathBuf>,
    /// Make a certificate of this bench's own, kept beside the record, and show its fingerprint
    #[arg(long, conflicts_with = "certificate")]
    pub own_certificate: bool,
    /// A sign-in ends after so many minutes without use
    #[arg(long, value_name = "MINUTES", default_value_t = 15, value_parser = clap::value_parser!(u64).range(1..=60))]
    pub idle_minutes: u64,
    /// A sign-in ends after so many hours whatever happens
    #[arg(long, value_name = "HOURS", default_value_t = 12, value_parser = clap::value_parser!(u64).range(1..=24))]
    pub whole_hours: u64,
}

/// A number of seconds.
fn seconds(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(seconds) if (0.0..=86_400.0).contains(&seconds) => Ok(seconds),
        _ => Err("write a number of seconds up to a day, such as 30".into()),
    }
}

/// A line of a file and a row of the run order.
fn line_and_row(text: &str) -> Result<(usize, u32), String> {
    let parts =
        text.split_once('=').and_then(|(line, row)| Some((line.trim().parse().ok()?, row.trim().parse().ok()?)));
    parts.ok_or_else(|| "write the line of the file and the row of the run order, such as 14=7".to_owned())
}

/// Options of `weigh`.
#[derive(Debug, Args)]
pub struct Weigh {
    /// The preparation document
    pub preparation: PathBuf,
    /// The folder that the balance writes into, or one of its files; only read
    pub place: PathBuf,
    /// How the balance writes: a small document with its columns
    #[arg(long, value_name = "FILE")]
    pub mapping: PathBuf,
    /// Where the document with the masses goes ("-" is standard output)
    #[arg(short, long, value_name = "FILE")]
    pub output: PathBuf,
    /// Look again and again, show each weighing as it comes, and end when nothing new has come for so many seconds
    #[arg(long, value_name = "SECONDS", value_parser = seconds)]
    pub until_quiet: Option<f64>,
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
    /// Hold every result against Monte Carlo, with so many trials or as many as the method says
    #[arg(long, value_name = "TRIALS", num_args = 0..=1, value_parser = clap::value_parser!(u32).range(10_000..=10_000_000))]
    pub monte_carlo: Option<Option<u32>>,
    /// Work it out by another edition of the arithmetic than the one the order was opened with
    #[arg(long, value_name = "N")]
    pub edition: Option<u32>,
}

/// What `export` writes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Exported {
    /// The results with their uncertainty
    Results,
    /// The readings of a run, pulses as Parquet beside them
    Readings,
    /// The rows of a run
    RunOrder,
}

/// Options of `export`.
#[derive(Debug, Args)]
pub struct Export {
    /// The order
    pub order: String,
    /// What is written
    #[arg(long, value_enum, default_value = "results")]
    pub what: Exported,
    /// The run, where the order is measured in several
    #[arg(long, value_name = "RUN")]
    pub run: Option<String>,
    /// Where it goes; .csv and .jsonl say the form ("-" is standard output, CSV)
    #[arg(short, long, value_name = "FILE")]
    pub output: PathBuf,
    /// The decimal sign of the place; with a comma, cells of CSV are parted by semicolons
    #[arg(long, value_name = "SIGN", env = "DARKLINE_DECIMAL_SIGN", default_value = ".", value_parser = [".", ","])]
    pub decimal_sign: String,
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
    /// A calibration function that the method allows, whatever the evidence chose, as in the method
    #[arg(long, value_name = "WORDS")]
    pub model: Option<String>,
    /// The run of --model, where the order has several
    #[arg(long, value_name = "RUN", requires = "model")]
    pub run: Option<String>,
    /// Dilute by this factor instead of the one offered
    #[arg(long, value_name = "FACTOR", requires = "take_up")]
    pub dilute_by: Option<u32>,
    /// Why; where the method has a list of reasons, a code of it
    #[arg(long, value_name = "TEXT")]
    pub reason: String,
    /// What else is to be said about the reason
    #[arg(long, value_name = "TEXT")]
    pub remark: Option<String>,
}

/// Options of `orders`.
#[derive(Debug, Args)]
pub struct Orders {
    /// Only this order, with its signatures, returns and reports
    pub order: Option<String>,
}

/// Options of `return`.
#[derive(Debug, Args)]
pub struct Return {
    /// The order
    pub order: String,
    /// What a remark is about: order, sample:NAME, reading:RUN/NUMBER, row:RUN/NUMBER, run:NAME, batch:NAME
    #[arg(long, value_name = "ITEM")]
    pub on: Vec<String>,
    /// The remark about the item named before it; as many as items
    #[arg(long, value_name = "TEXT")]
    pub remark: Vec<String>,
    /// Why, as a whole
    #[arg(long, value_name = "TEXT")]
    pub reason: String,
}

/// Options of `sign`.
#[derive(Debug, Args)]
pub struct Sign {
    /// The order
    pub order: String,
    /// What it means: "responsible for the measurement", "reviewed" or "approved" [default: what comes next, but never approved]
    #[arg(long, value_name = "MEANING")]
    pub meaning: Option<String>,
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
    /// Why it supersedes the report before, where there is one; it stands on the report
    #[arg(long, value_name = "TEXT")]
    pub because: Option<String>,
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

/// Options of `keep`.
#[derive(Debug, Args)]
pub struct Keep {
    /// The order
    pub order: String,
    /// The last day on which it has to be there, as 2037-03-31
    #[arg(long, value_name = "DAY")]
    pub until: String,
    /// On what ground
    #[arg(long, value_name = "TEXT")]
    pub reason: String,
}

/// Options of `erase-identity`.
#[derive(Debug, Args)]
pub struct EraseIdentity {
    /// The order
    pub order: String,
    /// Why
    #[arg(long, value_name = "TEXT")]
    pub reason: String,
    /// Confirm by naming the order
    #[arg(long, value_name = "ORDER")]
    pub confirm: Option<String>,
}

/// Options of `restore`.
#[derive(Debug, Args)]
pub struct Restore {
    /// The archive
    pub archive: PathBuf,
}

/// Options of `backup`.
#[derive(Debug, Args)]
pub struct Backup {
    /// The folder to make
    pub folder: PathBuf,
}

/// Options of `drill`.
#[derive(Debug, Args)]
pub struct Drill {
    /// The folder that `backup` made
    pub folder: PathBuf,
}

/// Options of `verify`.
#[derive(Debug, Args)]
pub struct Verify {
    /// The archive; the record itself where absent
    pub archive: Option<PathBuf>,
    /// The bench key that the laboratory publishes, as printed: the archive must be signed by it
    #[arg(long, value_name = "KEY", requires = "archive")]
    pub bench_key: Option<String>,
    /// The report in hand: the archive must hold this very file
    #[arg(long, value_name = "PDF", requires = "archive")]
    pub report: Option<PathBuf>,
    /// A checkpoint kept from an earlier audit: everything it covers must stand as it was
    #[arg(long, value_name = "CHECKPOINT")]
    pub since: Option<PathBuf>,
    /// Write the proof of it into a file, for whoever kept the checkpoint ("-" is standard output)
    #[arg(long, value_name = "FILE", requires = "since", conflicts_with = "archive")]
    pub proof: Option<PathBuf>,
}

/// Options of `hand-over`.
#[derive(Debug, Args)]
pub struct HandOver {
    /// The file that leads to the laboratory's record, with the key of its log beside it
    #[arg(long, value_name = "PATH")]
    pub to: PathBuf,
}

/// Options of `checkpoint`.
#[derive(Debug, Args)]
pub struct Checkpoint {
    /// Write it into a file ("-" is standard output)
    #[arg(short, long, value_name = "FILE", default_value = "-")]
    pub output: PathBuf,
}

/// Options of `entries`.
#[derive(Debug, Args)]
pub struct Entries {
    /// Only entries that concern this order
    pub order: Option<String>,
    /// The same, as an option
    #[arg(long = "order", value_name = "ORDER", conflicts_with = "order")]
    pub of_order: Option<String>,
    /// Only what brought this reading and what was decided about it or its row
    #[arg(long, value_name = "RUN/NUMBER")]
    pub reading: Option<String>,
    /// Only entries by this person or about them
    #[arg(long = "person", value_name = "NAME")]
    pub whose: Option<String>,
    /// Only entries of this kind; several by naming the option again
    #[arg(long, value_name = "KIND")]
    pub what: Vec<String>,
    /// Not before this moment or day
    #[arg(long, value_name = "TIME")]
    pub from: Option<String>,
    /// Not after this moment or day
    #[arg(long, value_name = "TIME")]
    pub to: Option<String>,
    /// Only what changed something that stood there before
    #[arg(long)]
    pub changes: bool,
    /// With what stood there before, what stands there now, and why
    #[arg(long)]
    pub details: bool,
    /// Write them as CSV into a file ("-" is standard output)
    #[arg(short, long, value_name = "FILE")]
    pub output: Option<PathBuf>,
    /// State that these entries were reviewed, and what was found; this is an entry itself
    #[arg(long, value_name = "TEXT")]
    pub reviewed: Option<String>,
}

/// Options of `handbook`.
#[derive(Debug, Args)]
pub struct Handbook {
    /// The element by symbol or name; a list of all where neither it nor an option is given
    pub element: Option<String>,
    /// Only the line at this wavelength, in nanometres; without an element, which elements have a line there
    #[arg(long, value_name = "NM", value_parser = wavelength)]
    pub line: Option<f64>,
    /// Limits whose matrix has these words
    #[arg(long, value_name = "WORDS", value_parser = filled)]
    pub matrix: Option<String>,
    /// Limits whose regulation has these words
    #[arg(long, value_name = "WORDS", value_parser = filled)]
    pub regulation: Option<String>,
    /// Limits in force on this day, today where absent
    #[arg(long, value_name = "DATE", value_parser = day)]
    pub on: Option<jiff::civil::Date>,
}

/// Options of `lots`.
#[derive(Debug, Args)]
pub struct Lots {
    /// Only this lot
    pub lot: Option<String>,
    /// Work out again all that rests on the lot, as if it held so much more or less: -2%
    #[arg(long, value_name = "CHANGE", requires = "lot", allow_hyphen_values = true, value_parser = change)]
    pub what_if: Option<f64>,
}

/// A relative change in per cent.
fn change(text: &str) -> Result<f64, String> {
    let figure = text.trim().trim_end_matches('%').trim_end().replace('−', "-").replace(',', ".");
    match figure.parse::<f64>() {
        Ok(percent) if percent > -100.0 && percent < 1000.0 => Ok(percent / 100.0),
        _ => Err("write a change in per cent above -100, such as -2%".into()),
    }
}

/// Options of `method`.
#[derive(Debug, Args)]
pub struct Method {
    /// The element by symbol or name
    pub element: String,
    /// In what, in words; they also find the limits of the handbook that are in force
    #[arg(long, value_name = "WORDS", value_parser = filled)]
    pub matrix: String,
    /// The limit it has to serve, such as "10 µg/L" or "0.20 mg/kg" [default: the lowest in force for the matrix]
    #[arg(long, value_name = "FIGURE")]
    pub limit: Option<String>,
    /// Only limits whose regulation has these words
    #[arg(long, value_name = "WORDS", value_parser = filled)]
    pub regulation: Option<String>,
    /// flame, furnace, reduced-field or solid [default: the one that ranks first]
    #[arg(long, value_name = "WORD")]
    pub technique: Option<String>,
    /// The identity of the method [default: made of element, matrix and technique]
    #[arg(long, value_name = "ID")]
    pub id: Option<String>,
    /// Limits in force on this day, today where absent
    #[arg(long, value_name = "DATE", value_parser = day)]
    pub on: Option<jiff::civil::Date>,
    /// Show how the draft differs from this method instead of writing it
    #[arg(long, value_name = "FILE", conflicts_with = "output")]
    pub compare: Option<PathBuf>,
    /// Write it into a file ("-" is standard output)
    #[arg(short, long, value_name = "FILE", default_value = "-")]
    pub output: PathBuf,
}

/// Options of `qualify`.
#[derive(Debug, Args)]
pub struct Qualify {
    /// Folders of case files, or single ones
    #[arg(value_name = "FOLDER or FILE")]
    pub paths: Vec<PathBuf>,
    /// Write a qualification protocol to sign, as PDF/A with every figure attached
    #[arg(long, value_name = "PDF", requires = "date")]
    pub protocol: Option<PathBuf>,
    /// The date of the protocol, such as 2026-03-14
    #[arg(long, value_name = "DATE", value_parser = day, requires = "protocol")]
    pub date: Option<jiff::civil::Date>,
    /// The laboratory, as the protocol names it
    #[arg(long, value_name = "TEXT", value_parser = filled, requires = "protocol")]
    pub laboratory: Option<String>,
    /// The machine, as the protocol names it [default: its system and processor]
    #[arg(long, value_name = "TEXT", value_parser = filled, requires = "protocol")]
    pub machine: Option<String>,
}

/// A wavelength in nanometres, with a point or a comma.
fn wavelength(text: &str) -> Result<f64, String> {
    let figure = text.trim().trim_end_matches("nm").trim_end().replace(',', ".");
    match figure.parse::<f64>() {
        Ok(nm) if (100.0..=1200.0).contains(&nm) => Ok(nm),
        _ => Err("a wavelength is a figure between 100 and 1200 in nanometres, such as 283.3".into()),
    }
}

/// A day as ISO 8601 writes it.
fn day(text: &str) -> Result<jiff::civil::Date, String> {
    text.parse().map_err(|_| "a day is written as year-month-day, such as 2026-11-25".to_owned())
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
    match read(std::env::args_os()) {
        Ok(command) => {
            if command.everywhere.quiet {
                talk::be_quiet();
            }
            Parsed::Run(Box::new(command))
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
                let words = std::env::args_os().skip(1).map(|word| word.to_string_lossy().into_owned());
                let words: Vec<String> = words.collect();
                talk::say(&misread::in_our_words(&error, &words, &definition()));
                Parsed::Told(ExitCode::from(2))
            }
        },
    }
}

fn read<W: Into<OsString> + Clone>(words: impl IntoIterator<Item = W>) -> Result<Command, clap::Error> {
    let matches = definition().try_get_matches_from(words)?;
    let CommandLine { everywhere, verb } = CommandLine::from_arg_matches(&matches)?;
    Ok(Command { everywhere, verb })
}

/// A text that says something.
fn filled(text: &str) -> Result<String, &'static str> {
    if text.trim().is_empty() { Err("nothing stands there") } else { Ok(text.trim().to_owned()) }
}

/// The definition that the command line is read by, and help and reference are made from.
pub fn definition() -> clap::Command {
    static VERSION: LazyLock<String> = LazyLock::new(|| {
        let editions: Vec<String> = EDITIONS.iter().map(|procedure| procedure.edition.to_string()).collect();
        format!("{}, editions of the arithmetic: {}", env!("CARGO_PKG_VERSION"), editions.join(", "))
    });
    described(CommandLine::command(), "").long_version(VERSION.as_str())
}

/// First what it does, then examples; options follow.
fn template(about: &str) -> String {
    format!("{about}\n\n{{before-help}}{{usage-heading}} {{usage}}\n\n{{all-args}}{{after-help}}")
}

/// What a command does, as a sentence.
pub fn sentence(command: &clap::Command) -> String {
    let about = command.get_about().map_or_else(String::new, ToString::to_string);
    if about.ends_with('.') { about } else { format!("{about}.") }
}

fn described(command: clap::Command, path: &str) -> clap::Command {
    let template = template(&sentence(&command));
    let mut command = command.help_template(template).before_help(examples::text(path)).disable_help_subcommand(true);
    let inner: Vec<String> = command.get_subcommands().map(|inner| inner.get_name().to_owned()).collect();
    for name in inner {
        let path = if path.is_empty() { name.clone() } else { format!("{path} {name}") };
        command = command.mut_subcommand(name, |inner| described(inner, &path));
    }
    command
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The words of a line as a shell gives them: parted at blanks, quotes taken off.
    fn words(line: &str) -> Vec<String> {
        let (mut words, mut word, mut within) = (Vec::new(), String::new(), false);
        for c in line.chars() {
            match c {
                '"' => within = !within,
                ' ' if !within => words.extend(Some(std::mem::take(&mut word)).filter(|word| !word.is_empty())),
                c => word.push(c),
            }
        }
        words.extend(Some(word).filter(|word| !word.is_empty()));
        words
    }

    #[test]
    fn the_definition_holds_together() {
        definition().debug_assert();
    }

    /// The examples as they stand in the help of every command, not as they stand in the source.
    #[test]
    fn every_command_opens_with_a_sentence_and_examples_that_are_read() {
        fn look(command: &mut clap::Command, path: &str, n_read: &mut usize) {
            let help = command.render_help().to_string();
            let mut lines = help.lines();
            let first = lines.next().unwrap();
            assert!(first.ends_with('.') && first.chars().next().unwrap().is_uppercase(), "{path}: {first}");
            let second = lines.find(|line| !line.is_empty() && line.starts_with("  darkline")).unwrap_or("");
            assert!(!second.is_empty(), "{path} has no example:\n{help}");
            let examples =
                help.lines().skip_while(|line| !line.starts_with("  darkline")).take_while(|line| !line.is_empty());
            for example in examples {
                assert!(example.chars().count() <= 100, "{example}");
                let line = example.trim_start();
                let line = line.split("  ").next().unwrap();
                match read(words(line)) {
                    Ok(_) => *n_read += 1,
                    Err(error) if error.kind() == ErrorKind::DisplayHelp => *n_read += 1,
                    Err(error) => panic!("{path}: {line}: {error}"),
                }
            }
            let usage = help.find("Usage:").unwrap();
            assert!(help.find("  darkline").unwrap() < usage, "{path}: options follow the examples");
            let inner: Vec<String> = command.get_subcommands().map(|inner| inner.get_name().to_owned()).collect();
            for name in inner {
                let path = format!("{path} {name}");
                look(command.find_subcommand_mut(&name).unwrap(), &path, n_read);
            }
        }
        let mut n_read = 0;
        let mut whole = definition();
        whole.build();
        look(&mut whole, "darkline", &mut n_read);
        assert!(n_read >= 30, "{n_read}");
    }

    #[test]
    fn every_example_belongs_to_a_command() {
        let whole = definition();
        for path in examples::paths() {
            let found = path
                .split(' ')
                .filter(|name| !name.is_empty())
                .try_fold(&whole, |command, name| command.find_subcommand(name));
            assert!(found.is_some(), "{path}");
        }
    }
}
