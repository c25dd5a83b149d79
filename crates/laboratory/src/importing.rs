//! Importing: a table of readings, with its pulses, becomes readings of a run.

use std::collections::BTreeMap;

use darkline_audit_trail::keys::SigningKey;
use darkline_audit_trail::people::{Person, Verb};
use darkline_audit_trail::{BlobDigest, PersonId};
use darkline_evaluation::responses::response_of;
use darkline_exchange::fault::{Fault, Faults};
use darkline_exchange::instrument_file::mapping;
use darkline_exchange::instrument_file::taking::{self, Awaiting, Taken, Told, Traces};
use darkline_exchange::readings::{self, Came};
use darkline_record::canonical::Digest;
use darkline_record::identity::{OrderId, RunId};
use darkline_record::pulse::Pulse;

use crate::act::{Act, Attached, ReceivedFile};
use crate::laboratory::{Laboratory, LaboratoryError};

/// Pulses kept with one write to the disk: many enough that the disk is not waited for, few enough to be told apart.
const PULSES_A_WRITE: usize = 256;

/// What was imported.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Imported {
    /// The run.
    pub run: RunId,
    /// The entry; none where the same file is in the record already.
    pub entry: Option<u64>,
    /// Readings brought.
    pub n_readings: usize,
    /// Pulses brought.
    pub n_pulses: usize,
    /// Pulses of the file that no line of the table names.
    pub n_left_out: usize,
    /// Numbers of the first and last reading.
    pub numbers: Option<(u32, u32)>,
}

impl Laboratory {
    /// Takes readings of one run into the record. The same file again changes nothing.
    ///
    /// # Arguments
    /// * `table`: the name and text of the table.
    /// * `pulses`: the name of the file of pulses and what it holds, where the table names pulses.
    /// * `told`: gets, now and then, how many of the pulses of the file the work done so far amounts to.
    ///
    /// # Errors
    /// [`LaboratoryError::Faults`]: all faults of the table at once; nothing is appended then.
    pub fn import(
        &mut self,
        by: &PersonId,
        order: &OrderId,
        run: Option<&RunId>,
        table: Attached,
        pulses: Option<(&str, &BTreeMap<u32, Pulse>)>,
        told: &mut dyn FnMut(usize),
    ) -> Result<Imported, LaboratoryError> {
        self.import_signed(by, order, run, table, pulses, told, None, None)
    }

    /// The same, brought by a device with its key and nobody at the bench.
    ///
    /// # Errors
    /// As [`Laboratory::import`]; [`LaboratoryError::UnknownDevice`]: nobody here has this key.
    pub fn import_by_device(
        &mut self,
        key: &SigningKey,
        order: &OrderId,
        run: Option<&RunId>,
        table: Attached,
        pulses: Option<(&str, &BTreeMap<u32, Pulse>)>,
        told: &mut dyn FnMut(usize),
    ) -> Result<(PersonId, Imported), LaboratoryError> {
        let has_key = |person: &&Person| person.public_key == Some(key.public_key());
        let device = self.state().people.values().find(has_key).map(|person| person.id.clone());
        let device =
            device.ok_or(LaboratoryError::UnknownDevice { key: key.public_key().fingerprint().to_string() })?;
        let imported = self.import_signed(&device, order, run, table, pulses, told, Some(key), None)?;
        Ok((device, imported))
    }

    /// Takes a file of an instrument into the record, read through a column mapping. The same file again changes nothing.
    ///
    /// # Arguments
    /// * `file`: its name and bytes.
    /// * `mapping`: the name and text of the mapping.
    /// * `told`: what a person says beside the mapping.
    /// * `traces`: the traces beside it, read through the same mapping.
    ///
    /// Returns what was imported, and what became of each row of the file.
    ///
    /// # Errors
    /// [`LaboratoryError::Faults`]: a mapping with faults, or a file that it does not fit; nothing is appended then. Single rows
    /// that cannot be read are no error: they are set aside.
    #[allow(clippy::too_many_arguments, reason = "each is one thing a person gives")]
    pub fn import_instrument_file(
        &mut self,
        by: &PersonId,
        order: &OrderId,
        run: Option<&RunId>,
        file: (&str, &[u8]),
        mapping: Attached,
        told: &Told,
        traces: Option<&Traces<'_>>,
    ) -> Result<(Imported, Taken), LaboratoryError> {
        self.admit_now(by, Verb::Import, order)?;
        let run = self.run_of(order, run)?;
        let known = &self.state().runs[&run];
        let method = self.state().methods.get(&known.run.method).expect("a run is opened with its method");
        let (name, bytes) = file;
        let mapped = mapping::read(&mapping.file_name, &mapping.text)?;
        if mapped.response.kind != method.response.kind {
            let what = format!(
                "the mapping reads {}, the method wants {}",
                mapped.response.kind.words(),
                method.response.kind.words()
            );
            let hint = "name the column of what the method wants, or look whether it is the right method";
            return Err(Faults::one(Fault::of_file(&mapping.file_name, what, hint)).into());
        }
        let text = mapped.code_page.decode(name, bytes)?;
        let response = |pulse: &Pulse| response_of(pulse, method);
        let awaiting = Awaiting { run: &known.run, element: method.element.as_str(), response: &response };
        let taken = taking::take(name, &text, &mapped, &awaiting, told, traces)?;
        let nothing =
            Imported { run: run.clone(), entry: None, n_readings: 0, n_pulses: 0, n_left_out: 0, numbers: None };
        if taken.rows.is_empty() {
            return Ok((nothing, taken));
        }
        let received = ReceivedFile {
            file: Attached { file_name: name.to_owned(), text },
            bytes: Digest::of(bytes),
            mapping,
            day: told.day.map(|day| day.to_string()),
            told: told.rows.iter().map(|(line, row)| (*line, *row)).collect(),
            traces: traces.map_or_else(Vec::new, |traces| traces.received.files.clone()),
        };
        let table = Attached { file_name: name.to_owned(), text: readings::write(&taken.rows, mapped.response.kind) };
        let pulses = (!taken.pulses.is_empty()).then_some((name, &taken.pulses));
        let imported = self.import_signed(by, order, Some(&run), table, pulses, &mut |_| (), None, Some(received))?;
        Ok((imported, taken))
    }

    #[allow(clippy::too_many_arguments, reason = "the door of import, with and without a device")]
    fn import_signed(
        &mut self,
        by: &PersonId,
        order: &OrderId,
        run: Option<&RunId>,
        table: Attached,
        pulses: Option<(&str, &BTreeMap<u32, Pulse>)>,
        told: &mut dyn FnMut(usize),
        device: Option<&SigningKey>,
        received: Option<ReceivedFile>,
    ) -> Result<Imported, LaboratoryError> {
        self.admit_now(by, Verb::Import, order)?;
        let run = self.run_of(order, run)?;
        let known = &self.state().runs[&run];
        let none = BTreeMap::new();
        let brought = pulses.map_or(&none, |(_, pulses)| pulses);
        // Half of the work is to digest the pulses, half to keep them.
        let digested = brought.iter().enumerate().map(|(place, (number, pulse))| {
            told(place / 2);
            (*number, pulse.digest())
        });
        let all_digests = digested.collect::<BTreeMap<_, _>>();
        if known.tables.iter().any(|(seen, named)| seen.text == table.text && are_among(named, &all_digests)) {
            return Ok(Imported { run, entry: None, n_readings: 0, n_pulses: 0, n_left_out: 0, numbers: None });
        }
        // The door has seen that the method of every run is there.
        let method = self.state().methods.get(&known.run.method).expect("a run is opened with its method");
        let rows = readings::read(&table.file_name, &table.text, &known.run, &method.response)?;
        let mut digests = BTreeMap::new();
        let mut missing = Vec::new();
        for row in &rows {
            let Came::Pulse(number) = row.came else { continue };
            match all_digests.get(&number) {
                Some(digest) => {
                    digests.insert(number, *digest);
                }
                None => missing.push(missing_pulse(&table.file_name, row.line, number, pulses.map(|(name, _)| name))),
            }
        }
        if let Some(faults) = Faults::new(missing) {
            return Err(faults.into());
        }
        let first = known.run.readings.iter().map(|reading| reading.number).max().unwrap_or(0).saturating_add(1);
        let n_readings = rows.len();
        // Pulses first: a pulse that no entry names harms nobody, an entry that names a lost pulse does.
        let numbers: Vec<u32> = digests.keys().copied().collect();
        for (place, together) in numbers.chunks(PULSES_A_WRITE).enumerate() {
            told((brought.len() + place * PULSES_A_WRITE) / 2);
            let bytes: Vec<Vec<u8>> = together.iter().map(|number| brought[number].canonical_bytes()).collect();
            let kept = self.store_mut().put_blobs(&bytes.iter().map(Vec::as_slice).collect::<Vec<_>>())?;
            let same =
                |(blob, number): (&BlobDigest, &u32)| *blob == BlobDigest::from_bytes(*digests[number].as_bytes());
            debug_assert!(kept.iter().zip(together).all(same));
        }
        let n_pulses = digests.len();
        let n_left_out = brought.len() - n_pulses;
        let at = self.now();
        let pulses: Vec<(u32, Digest)> = digests.into_iter().collect();
        let device =
            device.map(|key| key.sign(import_text(by, at.as_str(), &run, &table, &pulses).as_bytes()).to_string());
        let act = Act::Import { run: run.clone(), table, first, pulses, device, received };
        let entry = self.append(by, &at, &[act])?.first().copied();
        let last = first + u32::try_from(n_readings).unwrap_or(u32::MAX).saturating_sub(1);
        Ok(Imported {
            run,
            entry,
            n_readings,
            n_pulses,
            n_left_out,
            numbers: (n_readings > 0).then_some((first, last)),
        })
    }
}

/// The text that a device signs: one fact a line, each with its end.
pub(crate) fn import_text(by: &PersonId, at: &str, run: &RunId, table: &Attached, pulses: &[(u32, Digest)]) -> String {
    let pulses: String = pulses.iter().map(|(number, digest)| format!("{number} {digest}\n")).collect();
    let table = Digest::of(table.text.as_bytes());
    format!("darkline/import/1\n{by}\n{at}\n{run}\n{table}\n{pulses}")
}

/// Whether the pulses that a table in the record names came again, sample by sample.
fn are_among(named: &BTreeMap<u32, Digest>, brought: &BTreeMap<u32, Digest>) -> bool {
    named.iter().all(|(number, digest)| brought.get(number) == Some(digest))
}

fn missing_pulse(file_name: &str, line: usize, number: u32, pulses: Option<&str>) -> Fault {
    let (what, hint) = match pulses {
        Some(pulses) => (
            format!("line {line} names pulse {number}, which {pulses} does not hold"),
            "write the number of the reading in the file of pulses".to_owned(),
        ),
        None => (
            format!("line {line} names pulse {number}, and no file of pulses came with the table"),
            "put the file of pulses beside it under the same name with .parquet, or name it with --pulses".to_owned(),
        ),
    };
    Fault::of_file(file_name, what, hint)
}
