//! Where the files of traces are: folders and files, in the order of measuring.

use std::path::{Path, PathBuf};

use crate::fault::{Fault, Faults};
use crate::instrument_file::trace_mapping::TraceMapping;
use crate::instrument_file::traces::natural_order;

/// More files than this are no traces of a run.
const MOST_FILES: usize = 100_000;

/// The files of traces in folders, each folder in the order of its names, and single files as they are named.
///
/// # Errors
/// A folder that cannot be read; one with so many files that it holds more than a run.
pub fn files(places: &[PathBuf], of_traces: &TraceMapping) -> Result<Vec<PathBuf>, Faults> {
    let mut found = Vec::new();
    for place in places {
        if !place.is_dir() {
            found.push(place.clone());
            continue;
        }
        let listed = std::fs::read_dir(place).map_err(|error| {
            let what = format!("the folder of the traces cannot be read: {error}");
            Faults::one(Fault::of_file(&place.display().to_string(), what, "look whether it is there"))
        })?;
        let mut names: Vec<String> = listed
            .flatten()
            .filter_map(|entry| entry.file_name().into_string().ok())
            .filter(|name| of_traces.files.matches(name).is_some())
            .collect();
        names.sort_by(|one, other| natural_order(one, other));
        found.extend(names.into_iter().map(|name| place.join(name)));
        if found.len() > MOST_FILES {
            let what = format!("there are more than {MOST_FILES} files of traces");
            let hint = "name the folder of this run alone";
            return Err(Faults::one(Fault::of_file(&place.display().to_string(), what, hint)));
        }
    }
    Ok(found)
}

/// How a file is called in what is told: its name, and the folder where that is another one than the table's.
pub fn shown(path: &Path, beside: Option<&Path>) -> String {
    let within = beside.and_then(|folder| path.strip_prefix(folder).ok()).unwrap_or(path);
    within.display().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folders_are_taken_in_the_order_named_and_files_in_that_of_their_numbers() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["day-1/trace_9.txt", "day-1/trace_10.txt", "day-1/readings.csv", "day-2/trace_1.txt"] {
            let path = folder.path().join(name);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, "").unwrap();
        }
        let text = "\
format = \"darkline/mapping/1\"
id = \"furnace-2\"
[file]
code_page = \"utf-8\"
separator = \"comma\"
decimal_sign = \".\"
[columns]
sample = \"Name\"
at = \"At\"
firing = \"No\"
response = \"Area\"
[response]
kind = \"integrated absorbance\"
unit = \"absorbance\"
is = \"as measured\"
[time]
date_order = \"day month year\"
zone = \"+01:00\"
[traces]
files = \"trace_#.txt\"
moment = \"t\"
moment_unit = \"ms\"
net = \"AA\"
";
        let mapping = crate::instrument_file::mapping::read("mapping.toml", text).unwrap();
        let places = ["day-1", "day-2", "one.txt"].map(|name| folder.path().join(name));
        let found = files(&places, mapping.traces.as_ref().unwrap()).unwrap();
        let shown: Vec<String> = found.iter().map(|path| shown(path, Some(folder.path()))).collect();
        assert_eq!(shown, ["day-1/trace_9.txt", "day-1/trace_10.txt", "day-2/trace_1.txt", "one.txt"]);
    }
}
