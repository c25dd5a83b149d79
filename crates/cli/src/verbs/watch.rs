//! `darkline watch`: a folder that an instrument writes into is read, never touched; each reading and flag is shown as it comes.
//!
//! The folder is looked at again and again, since shares tell nobody that something changed. A file that is locked, half written,
//! replaced, or gone for a while is tried again; what was taken once is not taken twice.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime};

use darkline_audit_trail::PersonId;
use darkline_evaluation::outcome::Outcome;
use darkline_exchange::instrument_file::mapping::{self, Mapping};
use darkline_exchange::instrument_file::received::Aside;
use darkline_exchange::instrument_file::taking::{GrowingTrace, Told, Traces, WithoutTrace};
use darkline_exchange::instrument_file::trace_folder;
use darkline_exchange::instrument_file::trace_mapping::TraceMapping;
use darkline_exchange::instrument_file::traces::{self, ReceivedTraces};
use darkline_exchange::{pulses, text_file};
use darkline_laboratory::act::Attached;
use darkline_laboratory::{Imported, Laboratory};
use darkline_record::canonical::Digest;
use darkline_record::identity::{OrderId, RunId};
use darkline_record::run::{Reading, Run, Signal};
use serde::Serialize;

use super::evaluate::says;
use super::{count, run_id};
use crate::bench;
use crate::command_line::{Everywhere, Watch};
use crate::ending::{Ending, Failure};
use crate::talk;

/// Endings of files that may be tables of readings.
const TABLES: [&str; 8] = ["csv", "jsonl", "txt", "tsv", "tab", "prn", "dat", "asc"];

/// Between two looks at the folder, at least; a share whose look takes long is asked less often.
const BETWEEN_LOOKS: Duration = Duration::from_millis(20);

/// Between two looks at the folder, at most: a reading is shown within a second of being written.
const AT_MOST: Duration = Duration::from_millis(500);

/// A file at fault is told when it has stood unchanged for so long: before, it may still be growing.
const UNCHANGED_BEFORE_TOLD: Duration = Duration::from_secs(2);

/// What is known of a file.
#[derive(Default)]
struct Seen {
    /// Size and time of change when it was looked at last, of the file and of the pulses beside it.
    look: Option<Look>,
    /// When that look first appeared.
    since: Option<Instant>,
    /// The content that was taken last.
    taken: Option<Digest>,
    /// Whether its look has been dealt with.
    is_done: bool,
    /// The last thing told about it.
    told: Option<String>,
}

/// Size and time of change of a file.
type OfFile = (u64, Option<SystemTime>);

/// A table, and what lies beside it: its pulses, or the traces.
type Look = (OfFile, Vec<(PathBuf, OfFile)>);

#[derive(Serialize)]
#[serde(tag = "is", rename_all = "kebab-case")]
enum Line<'a> {
    Reading {
        schema: &'static str,
        reading: String,
        row: u32,
        name: &'a str,
        replicate: u8,
        response: Option<&'a str>,
        failed: Option<&'a str>,
    },
    Flag {
        schema: &'static str,
        id: String,
        says: String,
        stops: bool,
    },
    /// All readings and flags that an import brought stand above.
    Evaluated {
        schema: &'static str,
        readings: usize,
        flags: usize,
    },
}

struct Watcher<'a> {
    everywhere: &'a Everywhere,
    options: &'a Watch,
    by: PersonId,
    order: OrderId,
    run: Option<RunId>,
    mapping: Option<(Attached, Mapping)>,
    /// What was read of each file of traces, as long as it stands unchanged.
    traces: BTreeMap<PathBuf, (OfFile, ReceivedTraces)>,
    /// Readings that wait for their trace, by table.
    waiting: BTreeMap<PathBuf, Vec<Aside>>,
    files: BTreeMap<PathBuf, Seen>,
    flags: BTreeSet<String>,
    is_away: bool,
    /// The record, kept open: what others append is folded in before each import.
    laboratory: Option<Laboratory>,
}

pub fn run(everywhere: &Everywhere, options: &Watch) -> Result<Ending, Failure> {
    let by = bench::person(everywhere)?;
    let laboratory = bench::write(everywhere)?;
    let order = match &options.order {
        Some(text) => super::order(text)?,
        None => only_open_order(&laboratory)?,
    };
    let run = run_id(options.run.as_deref())?;
    let watched = laboratory.run_of(&order, run.as_ref())?;
    let mapping = match &options.mapping {
        Some(path) => {
            let text = text_file::read(path)?;
            let file_name =
                path.file_name().map_or_else(|| "mapping".into(), |name| name.to_string_lossy().into_owned());
            // A mapping at fault is told now, not with the first file.
            let mapped = mapping::read(&path.display().to_string(), &text)?;
            Some((Attached { file_name, text }, mapped))
        }
        None => None,
    };
    let flags = laboratory.evaluate(&order).map(|evaluated| flag_names(&evaluated.outcome)).unwrap_or_default();
    drop(laboratory);
    talk::tell(&format!(
        "watching {} for readings of run {watched}, order {order}; nothing in it is changed; Ctrl-C ends it",
        options.folder.display()
    ));
    let (files, traces, waiting) = (BTreeMap::new(), BTreeMap::new(), BTreeMap::new());
    let mut watcher = Watcher {
        everywhere,
        options,
        by,
        order,
        run,
        mapping,
        traces,
        waiting,
        files,
        flags,
        is_away: false,
        laboratory: None,
    };
    let mut last_news = Instant::now();
    loop {
        let began = Instant::now();
        let is_news = watcher.look()?;
        let took = began.elapsed();
        if is_news {
            last_news = Instant::now();
        }
        if let Some(quiet) = options.until_quiet
            && last_news.elapsed() >= Duration::from_secs_f64(quiet)
        {
            return watcher.end();
        }
        // Nine tenths of the time the folder is left alone; what a new reading costs does not count.
        let rest = if is_news { BETWEEN_LOOKS } else { (9 * took).clamp(BETWEEN_LOOKS, AT_MOST) };
        std::thread::sleep(rest);
    }
}

/// The order to watch for, where there is no choice.
fn only_open_order(laboratory: &Laboratory) -> Result<OrderId, Failure> {
    let open: Vec<&OrderId> =
        laboratory.state().orders.iter().filter(|(_, state)| state.issues.is_empty()).map(|(order, _)| order).collect();
    match open.as_slice() {
        [only] => Ok((*only).clone()),
        [] => Err(Failure::with_hint("no order waits for readings", "open one: darkline open FOLDER")),
        several => {
            let names: Vec<&str> = several.iter().map(|order| order.as_str()).collect();
            Err(Failure::with_hint(
                format!("several orders wait for readings: {}", names.join(", ")),
                "write the one that is measured behind --order",
            ))
        }
    }
}

fn flag_names(outcome: &Outcome) -> BTreeSet<String> {
    outcome.flags.iter().map(|flag| flag.flag.id.to_string()).collect()
}

impl Watcher<'_> {
    /// Looks at the folder once. Returns whether anything was new.
    fn look(&mut self) -> Result<bool, Failure> {
        let listed = match std::fs::read_dir(&self.options.folder) {
            Ok(listed) => listed,
            Err(error) => {
                if !self.is_away {
                    talk::say(&format!(
                        "paused: {} cannot be read ({error}); trying again",
                        self.options.folder.display()
                    ));
                    self.is_away = true;
                }
                return Ok(false);
            }
        };
        if self.is_away {
            talk::say(&format!("{} is there again", self.options.folder.display()));
            self.is_away = false;
        }
        let mut paths: Vec<PathBuf> =
            listed.filter_map(|entry| Some(entry.ok()?.path())).filter(|path| is_table(path)).collect();
        paths.sort();
        let traces = match self.of_traces() {
            Some(of_traces) => {
                paths.retain(|path| !is_trace(path, of_traces));
                trace_folder::files(std::slice::from_ref(&self.options.folder), of_traces)?
            }
            None => Vec::new(),
        };
        let mut is_news = false;
        for path in paths {
            is_news |= self.file(&path, &traces)?;
        }
        Ok(is_news)
    }

    /// The part of the mapping that is about traces.
    fn of_traces(&self) -> Option<&TraceMapping> {
        self.mapping.as_ref()?.1.traces.as_ref()
    }

    /// Looks at one file.
    fn file(&mut self, path: &Path, traces: &[PathBuf]) -> Result<bool, Failure> {
        let Some(of_table) = look_at(path) else { return Ok(false) };
        let beside: Vec<PathBuf> = match self.mapping {
            Some(_) => traces.to_vec(),
            None => vec![path.with_extension("parquet")],
        };
        let beside: Vec<(PathBuf, OfFile)> =
            beside.into_iter().filter_map(|path| Some((path.clone(), look_at(&path)?))).collect();
        let seen = self.files.entry(path.to_owned()).or_default();
        let is_same = seen.look.as_ref().is_some_and(|(before, others)| *before == of_table && *others == beside);
        if !is_same {
            (seen.look, seen.since, seen.is_done) = (Some((of_table, beside.clone())), Some(Instant::now()), false);
        }
        if seen.is_done || of_table.0 == 0 {
            return Ok(false);
        }
        let stands = seen.since.map_or(Duration::ZERO, |since| since.elapsed());
        let bytes = match text_file::read_bytes(path, &path.display().to_string(), text_file::LARGEST) {
            Ok(bytes) => bytes,
            // Locked or on its way: again with the next look.
            Err(faults) => {
                if stands >= UNCHANGED_BEFORE_TOLD {
                    self.tell_once(path, &faults.to_string());
                }
                return Ok(false);
            }
        };
        let digest = Digest::of(&bytes);
        let is_alone = self.mapping.is_some() && beside.is_empty();
        if self.files.get(path).is_some_and(|seen| seen.taken == Some(digest)) && is_alone {
            self.done(path, digest);
            return Ok(false);
        }
        match self.take(path, &bytes, &beside) {
            Ok(is_news) => {
                self.done(path, digest);
                Ok(is_news)
            }
            Err(Failure::Faults(faults)) => {
                if stands >= UNCHANGED_BEFORE_TOLD {
                    self.tell_once(path, &faults.to_string());
                    // Until it changes there is nothing more to say about it.
                    self.files.entry(path.to_owned()).or_default().is_done = true;
                }
                Ok(false)
            }
            // The record moved on under our hands; what is new is looked at with the next look.
            Err(Failure::Told { what, .. }) if what.contains("entries") => Ok(false),
            Err(other) => Err(other),
        }
    }

    fn done(&mut self, path: &Path, digest: Digest) {
        let seen = self.files.entry(path.to_owned()).or_default();
        (seen.taken, seen.is_done, seen.told) = (Some(digest), true, None);
    }

    fn tell_once(&mut self, path: &Path, text: &str) {
        let seen = self.files.entry(path.to_owned()).or_default();
        if seen.told.as_deref() != Some(text) {
            talk::say(text);
            seen.told = Some(text.to_owned());
        }
    }

    /// Takes what a file holds, and shows what it brought.
    fn take(&mut self, path: &Path, bytes: &[u8], beside: &[(PathBuf, OfFile)]) -> Result<bool, Failure> {
        // A line to a database may have broken since; it is opened anew then.
        let kept = self.laboratory.take().and_then(|mut kept| kept.catch_up().is_ok().then_some(kept));
        let mut laboratory = match kept {
            Some(kept) => kept,
            None => bench::write(self.everywhere)?,
        };
        let came = self.take_into(&mut laboratory, path, bytes, beside);
        if matches!(came, Ok(_) | Err(Failure::Faults(_))) {
            self.laboratory = Some(laboratory);
        }
        came
    }

    fn take_into(
        &mut self,
        laboratory: &mut Laboratory,
        path: &Path,
        bytes: &[u8],
        beside: &[(PathBuf, OfFile)],
    ) -> Result<bool, Failure> {
        let name = path.file_name().map_or_else(|| "readings".into(), |name| name.to_string_lossy().into_owned());
        let imported = match self.mapping.clone() {
            Some((mapping, mapped)) => {
                let received = mapped.traces.is_some().then(|| self.read_traces(&mapped, beside));
                let traces = received.as_ref().map(|received| Traces {
                    received,
                    without: WithoutTrace::Waits,
                    growing: GrowingTrace::Waits,
                });
                let told = Told { day: self.options.day, rows: BTreeMap::new() };
                let (imported, taken) = laboratory.import_instrument_file(
                    &self.by,
                    &self.order,
                    self.run.as_ref(),
                    (&name, bytes),
                    mapping,
                    &told,
                    traces.as_ref(),
                )?;
                self.waiting.insert(path.to_owned(), taken.waiting.clone());
                for (aside, why) in taken
                    .aside
                    .iter()
                    .map(|aside| (aside, "set aside"))
                    .chain(taken.doubtful.iter().map(|(aside, _)| (aside, "waits for a person")))
                {
                    self.tell_line(path, &format!("{name} line {}: {why}: {}; {}", aside.line, aside.row, aside.why));
                }
                for note in &taken.notes {
                    self.tell_line(path, &format!("{name}: {note}"));
                }
                imported
            }
            None => {
                let text = text_file::decode(&name, bytes.to_vec())?;
                let beside = path.with_extension("parquet");
                let brought = match beside.is_file() {
                    true => {
                        let shown = beside.display().to_string();
                        Some((shown.clone(), pulses::read(&shown, text_file::read_bytes(&beside, &shown, 4 << 30)?)?))
                    }
                    false => None,
                };
                let pulses = brought.as_ref().map(|(name, pulses)| (name.as_str(), pulses));
                let table = Attached { file_name: name.clone(), text };
                laboratory.import(&self.by, &self.order, self.run.as_ref(), table, pulses, &mut |_| ())?
            }
        };
        self.show(laboratory, &imported)?;
        Ok(imported.entry.is_some())
    }

    /// The traces beside a table; those of files that stand unchanged are not read again.
    fn read_traces(&mut self, mapped: &Mapping, beside: &[(PathBuf, OfFile)]) -> ReceivedTraces {
        for (path, look) in beside {
            if self.traces.get(path).is_some_and(|(before, _)| before == look) {
                continue;
            }
            // One that is locked is not there yet.
            if let Ok(bytes) = text_file::read_bytes(path, &path.display().to_string(), text_file::LARGEST) {
                let shown = trace_folder::shown(path, Some(&self.options.folder));
                self.traces.insert(path.clone(), (*look, traces::read_one(&shown, &bytes, mapped)));
            }
        }
        traces::joined(beside.iter().filter_map(|(path, _)| Some(&self.traces.get(path)?.1)))
    }

    /// A line about a file that is shown once, although the file is read again and again while it grows.
    fn tell_line(&mut self, path: &Path, line: &str) {
        // What is said of a file that still grows is not worth a line.
        if line.contains("is not finished and was left for the next time") {
            return;
        }
        let seen = self.files.entry(path.to_owned()).or_default();
        let told = seen.told.get_or_insert_default();
        if !told.contains(line) {
            talk::say(line);
            told.push_str(line);
            told.push('\n');
        }
    }

    fn show(&mut self, laboratory: &Laboratory, imported: &Imported) -> Result<(), Failure> {
        let Some((first, last)) = imported.numbers else { return Ok(()) };
        let known = &laboratory.state().runs[&imported.run].run;
        for reading in known.readings.iter().filter(|reading| (first..=last).contains(&reading.number)) {
            self.show_reading(known, reading)?;
        }
        let evaluated = match laboratory.evaluate(&self.order) {
            Ok(evaluated) => evaluated,
            // Another run of the order may be without its documents still; readings are kept all the same.
            Err(_) => return Ok(()),
        };
        for flag in &evaluated.outcome.flags {
            let id = flag.flag.id.to_string();
            if !self.flags.insert(id.clone()) {
                continue;
            }
            let (says, stops) = (says(flag), flag.stops());
            if self.everywhere.json {
                talk::print_json(&Line::Flag { schema: "darkline/watch/1", id, says, stops })?;
            } else {
                let mark = if stops { "flag" } else { "note" };
                talk::print(&format!("{mark:>8}  {id}\n{}", crate::paragraph::indented(&says, 10)))?;
            }
        }
        let now = flag_names(&evaluated.outcome);
        for gone in self.flags.difference(&now) {
            if !self.everywhere.json {
                talk::print(&format!("          {gone} no longer stands\n"))?;
            }
        }
        self.flags = now;
        if self.everywhere.json {
            let (readings, flags) = (known.readings.len(), self.flags.len());
            talk::print_json(&Line::Evaluated { schema: "darkline/watch/1", readings, flags })?;
        }
        Ok(())
    }

    fn show_reading(&self, run: &Run, reading: &Reading) -> Result<(), Failure> {
        let name = run.row(reading.row).map_or("", |row| row.name.as_str());
        let (response, failed) = match &reading.signal {
            Signal::Bare(response) => (Some(response.digits()), None),
            Signal::Failed { why } => (None, Some(why.as_str())),
            Signal::Pulse(_) => (None, None),
        };
        if self.everywhere.json {
            return talk::print_json(&Line::Reading {
                schema: "darkline/watch/1",
                reading: run.reading_id(reading.number).to_string(),
                row: reading.row,
                name,
                replicate: reading.replicate,
                response,
                failed,
            });
        }
        let came = match (response, failed) {
            (Some(response), _) => response.to_owned(),
            (None, Some(why)) => why.to_owned(),
            (None, None) => "pulse".to_owned(),
        };
        talk::print(&format!(
            "{:>8}  row {:>3}  {name:<20}  replicate {}  {came}\n",
            run.reading_id(reading.number).to_string(),
            reading.row,
            reading.replicate
        ))
    }

    fn end(&self) -> Result<Ending, Failure> {
        for (path, waiting) in &self.waiting {
            for aside in waiting {
                talk::say(&format!("{} line {}: {} waits: {}", path.display(), aside.line, aside.row, aside.why));
            }
        }
        let laboratory = bench::read(self.everywhere)?;
        let n = laboratory
            .run_of(&self.order, self.run.as_ref())
            .map(|run| laboratory.state().runs[&run].run.readings.len())?;
        talk::tell(&format!(
            "nothing new for a while; {} in the run. Next: darkline evaluate {}",
            count(n, "reading"),
            self.order
        ));
        Ok(Ending::Done)
    }
}

fn look_at(path: &Path) -> Option<OfFile> {
    std::fs::metadata(path).ok().map(|known| (known.len(), known.modified().ok()))
}

fn is_trace(path: &Path, of_traces: &TraceMapping) -> bool {
    path.file_name().is_some_and(|name| of_traces.files.matches(&name.to_string_lossy()).is_some())
}

fn is_table(path: &Path) -> bool {
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
    let is_hidden = path.file_name().is_some_and(|name| name.to_string_lossy().starts_with(['.', '~']));
    !is_hidden && ending.is_some_and(|ending| TABLES.contains(&ending.as_str()))
}
