//! Files of pulses, one pulse after the other: memory does not grow with their number.
//!
//! [`each`] hands on every pulse of a file as soon as its last row is read; [`PulseWriter`] takes pulses as they come. The
//! form of the file is that of [`crate::pulses`].
//!
//! Invariant: a file that [`crate::pulses::read`] takes gives the same pulses here, in the order of its rows.

use std::fs::File;
use std::io::Write;

use arrow_array::RecordBatch;
use darkline_record::pulse::Pulse;
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

use crate::fault::{Fault, Faults};
use crate::pulses::{self, PulseFault};

/// Rows that are read or written at a time: some two megabytes.
const ROWS: usize = 1 << 16;

/// Hands every pulse of a file on, in the order of its rows; gives their number.
///
/// # Arguments
/// * `file_name`: for faults.
/// * `hand_on`: takes the number of the reading and its pulse. After the first fault nothing more is handed on; the faults of
///   the whole file are told at the end.
///
/// # Errors
/// Those of [`crate::pulses::read`]. There is no upper limit to the number of moments.
pub fn each(file_name: &str, file: File, hand_on: &mut dyn FnMut(u32, Pulse)) -> Result<u64, Faults> {
    let damaged = |why: String| {
        let hint = "fetch it again from the instrument";
        Faults::one(Fault::of_file(file_name, format!("the file is damaged: {why}"), hint))
    };
    // The reader of the format is meant for files of good faith: damage deep inside may make it panic.
    let gathered = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| gather(file_name, file, hand_on)));
    match gathered {
        Ok(Ok(n)) => n,
        Ok(Err(why)) => Err(damaged(why)),
        Err(_) => Err(damaged(pulses::NOT_PARQUET.into())),
    }
}

fn gather(file_name: &str, file: File, hand_on: &mut dyn FnMut(u32, Pulse)) -> Result<Result<u64, Faults>, String> {
    let length = file.metadata().map_err(|error| error.to_string())?.len();
    let builder = ParquetRecordBatchReaderBuilder::try_new(file).map_err(|_| pulses::NOT_PARQUET)?;
    let length = usize::try_from(length).unwrap_or(usize::MAX);
    if !pulses::lies_within(builder.metadata(), length) {
        return Err("a column lies outside of the file".into());
    }
    if let Some(name) = pulses::unknown_packing(builder.metadata()) {
        let hint = "write it with zstd, with snappy, or not packed at all";
        return Ok(Err(Faults::one(Fault::of_file(file_name, format!("its columns are packed with {name}"), hint))));
    }
    if let Some(faults) = pulses::faults_of_columns(file_name, builder.schema()) {
        return Ok(Err(faults));
    }
    pulses::gather(file_name, builder.with_batch_size(ROWS), hand_on)
}

/// Writes pulses one after the other.
pub struct PulseWriter<W: Write + Send> {
    writer: ArrowWriter<W>,
    readings: Vec<u32>,
    t_s: Vec<f64>,
    total: Vec<f32>,
    background: Vec<f32>,
}

impl<W: Write + Send> PulseWriter<W> {
    /// A writer that begins a file.
    ///
    /// # Errors
    /// [`PulseFault::Writer`].
    pub fn new(out: W) -> Result<Self, PulseFault> {
        let writer = pulses::properties()
            .and_then(|properties| ArrowWriter::try_new(out, pulses::schema(4, true), Some(properties)));
        Ok(Self {
            writer: writer.map_err(stopped)?,
            readings: Vec::new(),
            t_s: Vec::new(),
            total: Vec::new(),
            background: Vec::new(),
        })
    }

    /// Appends the pulse of a reading.
    ///
    /// # Errors
    /// Those of [`crate::pulses::write()`].
    pub fn append(&mut self, reading: u32, pulse: &Pulse) -> Result<(), PulseFault> {
        pulses::check(reading, pulse)?;
        if pulse.middle().is_some() {
            return Err(PulseFault::ThreeChannels { reading });
        }
        self.readings.extend(std::iter::repeat_n(reading, pulse.t_s().len()));
        self.t_s.extend_from_slice(pulse.t_s());
        self.total.extend_from_slice(pulse.total());
        self.background.extend_from_slice(pulse.background());
        if self.readings.len() >= ROWS { self.flush() } else { Ok(()) }
    }

    fn flush(&mut self) -> Result<(), PulseFault> {
        let columns = pulses::columns(
            std::mem::take(&mut self.readings),
            std::mem::take(&mut self.t_s),
            &self.total,
            &self.background,
            None,
        );
        self.total.clear();
        self.background.clear();
        let batch = RecordBatch::try_new(pulses::schema(4, true), columns)
            .map_err(|error| PulseFault::Writer { why: error.to_string() })?;
        self.writer.write(&batch).map_err(stopped)
    }

    /// Ends the file.
    ///
    /// # Errors
    /// [`PulseFault::Writer`].
    pub fn finish(mut self) -> Result<(), PulseFault> {
        self.flush()?;
        self.writer.close().map(|_| ()).map_err(stopped)
    }
}

fn stopped(error: parquet::errors::ParquetError) -> PulseFault {
    PulseFault::Writer { why: error.to_string() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    fn pulse(n: u32, moments: usize) -> Pulse {
        let at = |i: usize| i as f64 * 0.01;
        let total = (0..moments).map(|i| (n as usize * 31 + i * 7) as f32 % 97.0 * 0.01).collect();
        Pulse::new((0..moments).map(at).collect(), total, vec![0.125; moments]).unwrap()
    }

    fn file_with(bytes: &[u8]) -> File {
        let mut file = tempfile::tempfile().unwrap();
        file.write_all(bytes).unwrap();
        file
    }

    #[test]
    fn what_is_written_pulse_by_pulse_is_read_pulse_by_pulse_and_at_once() {
        let mut bytes = Vec::new();
        let mut writer = PulseWriter::new(&mut bytes).unwrap();
        let pulses: BTreeMap<u32, Pulse> = (1..=300).map(|n| (n, pulse(n, 450 + n as usize % 7))).collect();
        for (n, pulse) in &pulses {
            writer.append(*n, pulse).unwrap();
        }
        writer.finish().unwrap();
        let mut seen = BTreeMap::new();
        let n = each("pulses.parquet", file_with(&bytes), &mut |n, pulse| {
            seen.insert(n, pulse);
        });
        assert_eq!(n.unwrap(), 300);
        assert_eq!(seen, pulses);
        assert_eq!(pulses::read("pulses.parquet", bytes).unwrap(), pulses);
    }

    #[test]
    fn a_file_written_at_once_gives_the_same_pulses() {
        let pulses = BTreeMap::from([(3, pulse(3, 20)), (7, pulse(7, 30))]);
        let bytes = pulses::write(&pulses).unwrap();
        let mut seen = Vec::new();
        each("pulses.parquet", file_with(&bytes), &mut |n, pulse| seen.push((n, pulse))).unwrap();
        assert_eq!(seen, pulses.into_iter().collect::<Vec<_>>());
    }

    #[test]
    fn what_is_no_file_of_pulses_is_told() {
        let mut hand_on = |_, _| ();
        let told = each("pulses.parquet", file_with(b"reading,t_s\n"), &mut hand_on).unwrap_err().to_string();
        assert!(told.contains("the file is damaged"), "{told}");
        let empty = Pulse::new(Vec::new(), Vec::new(), Vec::new()).unwrap();
        let mut writer = PulseWriter::new(Vec::new()).unwrap();
        assert_eq!(writer.append(4, &empty), Err(PulseFault::NoMoment { reading: 4 }));
    }
}
