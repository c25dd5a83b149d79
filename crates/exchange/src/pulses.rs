//! Files of pulses: Parquet, one row a moment, so that any engine reads them.
//!
//! Columns `reading` (number of the reading), `t_s`, `total` and `background`; each states its unit in its metadata. The rows
//! of a reading stand together, in the order of time. Channels sampled in turn leave the cell of the other one empty at each
//! moment; a file without the column `background` holds net absorbances. A column `middle` holds what was read at a middle field
//! strength; its cells are empty for readings that have none.
//!
//! [`read`] and [`write()`] hold all pulses of a run; [`crate::pulse_stream`] takes them one after the other, however many
//! there are.
//!
//! What the samples are worth is judged where they are reduced; here only what is no number is turned back.
//!
//! Invariant: the same pulses are the same bytes, and what [`write`] writes reads back bit for bit.

use std::borrow::Borrow;
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use arrow_array::cast::AsArray as _;
use arrow_array::types::{
    ArrowPrimitiveType, Float32Type, Float64Type, Int8Type, Int16Type, Int32Type, Int64Type, UInt8Type, UInt16Type,
    UInt32Type, UInt64Type,
};
use arrow_array::{Array, ArrayRef, Float32Array, Float64Array, RecordBatch, UInt32Array};
use arrow_schema::{DataType, Field, Schema};
use bytes::Bytes;
use darkline_record::pulse::Pulse;
use parquet::arrow::ArrowWriter;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::basic::{Compression, ZstdLevel};
use parquet::file::metadata::ParquetMetaData;
use parquet::file::properties::WriterProperties;
use parquet::file::reader::ChunkReader;

use crate::fault::{Fault, Faults, MOST_LISTED, quoted};
use crate::nearest::{meant, one_of};

/// The columns and their units; a file may lack the last.
const COLUMNS: [(&str, &str); 5] =
    [("reading", "1"), ("t_s", "s"), ("total", "1"), ("background", "1"), ("middle", "1")];

/// More moments than this are no file of a run: ten thousand readings of two thousand moments each.
const MOST_MOMENTS: i64 = 20_000_000;

/// Pulses that cannot be written.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PulseFault {
    /// A pulse without a sample would not be in the file at all.
    #[error("the pulse of reading {reading} has no moment")]
    NoMoment {
        /// The reading.
        reading: u32,
    },
    /// A sample that is no number.
    #[error("the pulse of reading {reading} has no number at moment {moment}")]
    NoNumber {
        /// The reading.
        reading: u32,
        /// The moment, from 1.
        moment: usize,
    },
    /// Pulses one after the other have two channels.
    #[error("the pulse of reading {reading} has a third channel, which a file written pulse by pulse does not hold")]
    ThreeChannels {
        /// The reading.
        reading: u32,
    },
    /// The writer of the format stopped.
    #[error("the pulses could not be written: {why}")]
    Writer {
        /// What it said.
        why: String,
    },
}

/// Writes pulses by the number of their reading.
///
/// # Errors
/// A pulse without samples, or with one that is no number.
pub fn write<P: Borrow<Pulse>>(pulses: &BTreeMap<u32, P>) -> Result<Vec<u8>, PulseFault> {
    let (mut readings, mut t_s, mut total, mut background) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let has_middle = pulses.values().any(|pulse| pulse.borrow().middle().is_some());
    let mut middle = Vec::new();
    for (&reading, pulse) in pulses {
        let pulse = pulse.borrow();
        check(reading, pulse)?;
        readings.extend(std::iter::repeat_n(reading, pulse.t_s().len()));
        t_s.extend_from_slice(pulse.t_s());
        total.extend_from_slice(pulse.total());
        background.extend_from_slice(pulse.background());
        match pulse.middle() {
            Some(values) => middle.extend_from_slice(values),
            None if has_middle => middle.extend(std::iter::repeat_n(f32::NAN, pulse.t_s().len())),
            None => {}
        }
    }
    let columns = columns(readings, t_s, &total, &background, has_middle.then_some(&middle));
    written(columns).map_err(|error| PulseFault::Writer { why: error.to_string() })
}

/// Whether a pulse can be written and read again.
pub(crate) fn check(reading: u32, pulse: &Pulse) -> Result<(), PulseFault> {
    if pulse.t_s().is_empty() {
        return Err(PulseFault::NoMoment { reading });
    }
    let in_turn = takes_turns(pulse.total(), pulse.background());
    let is_number = |x: &f32| x.is_finite() || (in_turn && x.is_nan());
    let mut samples = pulse.t_s().iter().zip(pulse.total()).zip(pulse.background());
    let of_two = samples.position(|((t, a), b)| !(t.is_finite() && is_number(a) && is_number(b)));
    let of_middle = pulse.middle().and_then(|middle| middle.iter().position(|value| !value.is_finite()));
    match of_two.or(of_middle) {
        Some(moment) => Err(PulseFault::NoNumber { reading, moment: moment + 1 }),
        None => Ok(()),
    }
}

/// Whether the channels were sampled in turn: each moment has a number in one of the two, and they take turns.
pub(crate) fn takes_turns(total: &[f32], background: &[f32]) -> bool {
    darkline_signal::InTurn::is(total, background)
}

/// The columns of a file; a channel that was not sampled at a moment leaves its cell empty.
///
/// # Arguments
/// * `middle`: the third channel, no number where a reading has none; `None` for a file without it.
pub(crate) fn columns(
    readings: Vec<u32>,
    t_s: Vec<f64>,
    total: &[f32],
    background: &[f32],
    middle: Option<&Vec<f32>>,
) -> Vec<ArrayRef> {
    let cells =
        |values: &[f32]| -> Float32Array { values.iter().map(|value| (!value.is_nan()).then_some(*value)).collect() };
    let mut columns: Vec<ArrayRef> = vec![
        Arc::new(UInt32Array::from(readings)),
        Arc::new(Float64Array::from(t_s)),
        Arc::new(cells(total)),
        Arc::new(cells(background)),
    ];
    columns.extend(middle.map(|middle| -> ArrayRef { Arc::new(cells(middle)) }));
    columns
}

/// The schema of a file: names, types, units.
///
/// # Arguments
/// * `n_columns`: four, or five with the third channel.
/// * `may_be_empty`: whether cells of the absorbances may be.
pub(crate) fn schema(n_columns: usize, may_be_empty: bool) -> Arc<Schema> {
    let types = [DataType::UInt32, DataType::Float64, DataType::Float32, DataType::Float32, DataType::Float32];
    let fields: Vec<Field> = COLUMNS
        .iter()
        .zip(types)
        .take(n_columns)
        .enumerate()
        .map(|(place, ((name, unit), kind))| {
            Field::new(*name, kind, may_be_empty && place >= 2)
                .with_metadata(HashMap::from([("unit".to_owned(), (*unit).to_owned())]))
        })
        .collect();
    Arc::new(Schema::new(fields))
}

pub(crate) fn properties() -> Result<WriterProperties, parquet::errors::ParquetError> {
    Ok(WriterProperties::builder()
        // The name of the library would change the bytes with its version.
        .set_created_by("darkline".into())
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(3)?))
        .set_dictionary_enabled(true)
        .set_max_row_group_row_count(Some(1 << 20))
        .build())
}

fn written(columns: Vec<ArrayRef>) -> Result<Vec<u8>, parquet::errors::ParquetError> {
    let schema = schema(columns.len(), columns.iter().any(|column| column.null_count() > 0));
    let batch = RecordBatch::try_new(schema.clone(), columns)
        .map_err(|error| parquet::errors::ParquetError::General(error.to_string()))?;
    let mut writer = ArrowWriter::try_new(Vec::new(), schema, Some(properties()?))?;
    writer.write(&batch)?;
    writer.into_inner()
}

/// Reads pulses by the number of their reading.
///
/// Samples of absorbance may be single or double; double ones are taken to the nearest single.
///
/// # Errors
/// Bytes that are no Parquet, or not all of it; a column that is missing, unknown, of another type or in another unit; a cell
/// without a number; a reading whose moments do not stand together.
pub fn read(file_name: &str, bytes: Vec<u8>) -> Result<BTreeMap<u32, Pulse>, Faults> {
    let unreadable = |why: String| {
        Faults::one(Fault::of_file(
            file_name,
            format!("the file is damaged: {why}"),
            "fetch it again from the instrument",
        ))
    };
    if bytes.is_empty() {
        return Err(Faults::one(Fault::of_file(file_name, "the file is empty", "fetch it again from the instrument")));
    }
    if !bytes.starts_with(b"PAR1") {
        let hint = "a file of pulses begins with PAR1; look whether it is the file that is meant";
        return Err(Faults::one(Fault::of_file(file_name, "this is not a Parquet file", hint)));
    }
    if bytes.len() < 12 || !bytes.ends_with(b"PAR1") {
        let hint = "a Parquet file ends with PAR1; fetch it again from the instrument";
        return Err(Faults::one(Fault::of_file(file_name, "the end of the file is missing", hint)));
    }
    // The reader of the format is meant for files of good faith: damage deep inside may make it panic.
    let outcome = std::panic::catch_unwind(move || samples(file_name, bytes));
    match outcome {
        Ok(Ok(samples)) => samples,
        Ok(Err(why)) => Err(unreadable(why)),
        Err(_) => Err(unreadable(NOT_PARQUET.into())),
    }
}

pub(crate) const NOT_PARQUET: &str = "it cannot be read as Parquet";

/// The columns of a file; the outer error is that of the format, the inner one ours.
fn samples(file_name: &str, bytes: Vec<u8>) -> Result<Result<BTreeMap<u32, Pulse>, Faults>, String> {
    let length = bytes.len();
    let builder = ParquetRecordBatchReaderBuilder::try_new(Bytes::from(bytes)).map_err(|_| NOT_PARQUET)?;
    let n_moments = builder.metadata().file_metadata().num_rows();
    if !(0..=MOST_MOMENTS).contains(&n_moments) {
        return Err(format!("it claims {n_moments} moments"));
    }
    if !lies_within(builder.metadata(), length) {
        return Err("a column lies outside of the file".into());
    }
    if let Some(name) = unknown_packing(builder.metadata()) {
        let hint = "write it with zstd, with snappy, or not packed at all";
        return Ok(Err(Faults::one(Fault::of_file(file_name, format!("its columns are packed with {name}"), hint))));
    }
    if let Some(faults) = faults_of_columns(file_name, builder.schema()) {
        return Ok(Err(faults));
    }
    let mut pulses = BTreeMap::new();
    let mut keep = |reading, pulse| {
        pulses.insert(reading, pulse);
    };
    let gathered = gather(file_name, builder, &mut keep)?;
    Ok(gathered.map(|_| pulses))
}

/// Gathers the rows of a file, batch by batch, into pulses, each handed on when its last row is read.
pub(crate) fn gather<R: ChunkReader + 'static>(
    file_name: &str,
    builder: ParquetRecordBatchReaderBuilder<R>,
    hand_on: &mut dyn FnMut(u32, Pulse),
) -> Result<Result<u64, Faults>, String> {
    let mut gathering = Gathering::new(file_name, hand_on);
    for batch in builder.build().map_err(|_| NOT_PARQUET)? {
        let batch = batch.map_err(|_| NOT_PARQUET)?;
        let column = |name: &str| batch.column_by_name(name).ok_or_else(|| format!("column {name} is gone"));
        let readings = whole_numbers(column("reading")?);
        let (t_s, total) = (numbers(column("t_s")?), numbers(column("total")?));
        // Without a background column the absorbance is a net one.
        let background = match batch.column_by_name("background") {
            Some(column) => numbers(column),
            None => vec![Some(0.0); batch.num_rows()],
        };
        let middle = match batch.column_by_name("middle") {
            Some(column) => numbers(column),
            None => vec![None; batch.num_rows()],
        };
        gathering.take(&readings, &t_s, &total, &background, &middle);
    }
    Ok(gathering.close())
}

/// Whether the columns lie where a file of this length can have them. The reader of the format takes their places on trust.
pub(crate) fn lies_within(metadata: &ParquetMetaData, length: usize) -> bool {
    let within = |from: i64, n: i64| {
        let end = from.checked_add(n).and_then(|end| usize::try_from(end).ok());
        from >= 0 && n >= 0 && end.is_some_and(|end| end <= length)
    };
    metadata.row_groups().iter().flat_map(|group| group.columns()).all(|column| {
        let from = column.dictionary_page_offset().unwrap_or(column.data_page_offset());
        within(column.data_page_offset(), 0)
            && within(from, column.compressed_size())
            && column.uncompressed_size() >= 0
    })
}

/// The packing of a column that is not unpacked here.
pub(crate) fn unknown_packing(metadata: &ParquetMetaData) -> Option<&'static str> {
    metadata.row_groups().iter().flat_map(|group| group.columns()).find_map(|column| match column.compression() {
        Compression::UNCOMPRESSED | Compression::SNAPPY | Compression::ZSTD(_) => None,
        Compression::GZIP(_) => Some("gzip"),
        Compression::BROTLI(_) => Some("brotli"),
        Compression::LZ4 | Compression::LZ4_RAW => Some("LZ4"),
        Compression::LZO => Some("LZO"),
    })
}

fn is_whole(kind: &DataType) -> bool {
    matches!(
        kind,
        DataType::UInt8
            | DataType::UInt16
            | DataType::UInt32
            | DataType::UInt64
            | DataType::Int8
            | DataType::Int16
            | DataType::Int32
            | DataType::Int64
    )
}

pub(crate) fn faults_of_columns(file_name: &str, schema: &Schema) -> Option<Faults> {
    let names = COLUMNS.map(|(name, _)| name);
    let mut faults = Vec::new();
    for (name, unit) in COLUMNS {
        let Ok(field) = schema.field_with_name(name) else {
            if name == "background" || name == "middle" {
                continue;
            }
            let found: Vec<&str> = schema.fields().iter().map(|field| field.name().as_str()).take(20).collect();
            let hint = match found.as_slice() {
                [] => "it has no column at all".to_owned(),
                found => format!("it has {}", found.join(", ")),
            };
            faults.push(Fault::of_file(file_name, format!("there is no column \"{name}\""), hint));
            continue;
        };
        let (fits, wanted) = match name {
            "reading" => (is_whole(field.data_type()), "whole numbers"),
            _ => (
                matches!(field.data_type(), DataType::Float32 | DataType::Float64),
                "floating-point numbers of 4 or 8 bytes",
            ),
        };
        if !fits {
            let what = format!("column \"{name}\" holds values of type {}", field.data_type());
            faults.push(Fault::of_file(file_name, what, format!("it has to hold {wanted}")));
        }
        if let Some(found) = field.metadata().get("unit").filter(|found| *found != unit) {
            let what = format!("column \"{name}\" is in {}", quoted(found));
            faults.push(Fault::of_file(file_name, what, format!("it has to be in \"{unit}\"")));
        }
    }
    for field in schema.fields().iter().filter(|field| !names.contains(&field.name().as_str())) {
        let what = format!("the column {} is not known", quoted(field.name()));
        faults.push(Fault::of_file(file_name, what, meant(field.name(), &names)));
    }
    let twice = |name: &str| schema.fields().iter().filter(|field| field.name() == name).count() > 1;
    for name in names.into_iter().filter(|name| twice(name)) {
        faults.push(Fault::of_file(
            file_name,
            format!("column \"{name}\" stands here twice"),
            format!("keep one of each: {}", one_of(&names)),
        ));
    }
    Faults::new(faults)
}

fn cells<T: ArrowPrimitiveType, U>(column: &ArrayRef, cell: impl Fn(T::Native) -> Option<U>) -> Vec<Option<U>> {
    match column.as_primitive_opt::<T>() {
        Some(column) => column.iter().map(|value| value.and_then(&cell)).collect(),
        None => (0..column.len()).map(|_| None).collect(),
    }
}

fn whole_numbers(column: &ArrayRef) -> Vec<Option<u32>> {
    match column.data_type() {
        DataType::UInt8 => cells::<UInt8Type, _>(column, |n| Some(n.into())),
        DataType::UInt16 => cells::<UInt16Type, _>(column, |n| Some(n.into())),
        DataType::UInt64 => cells::<UInt64Type, _>(column, |n| n.try_into().ok()),
        DataType::Int8 => cells::<Int8Type, _>(column, |n| n.try_into().ok()),
        DataType::Int16 => cells::<Int16Type, _>(column, |n| n.try_into().ok()),
        DataType::Int32 => cells::<Int32Type, _>(column, |n| n.try_into().ok()),
        DataType::Int64 => cells::<Int64Type, _>(column, |n| n.try_into().ok()),
        _ => cells::<UInt32Type, _>(column, Some),
    }
}

fn numbers(column: &ArrayRef) -> Vec<Option<f64>> {
    match column.data_type() {
        DataType::Float32 => cells::<Float32Type, _>(column, |x| Some(f64::from(x))),
        _ => cells::<Float64Type, _>(column, Some),
    }
}

/// Moments, total and background absorbances of one reading, and those at the middle field.
type Samples = (Vec<f64>, Vec<f32>, Vec<f32>, Vec<Option<f32>>);

/// A pulse that is being gathered.
struct Open {
    reading: u32,
    samples: Samples,
    /// The first moment one of whose cells was empty, its row, and which.
    empty: Option<(usize, u64, &'static str)>,
}

/// What is gathered of a file: the open pulse, and the readings that were closed.
struct Gathering<'f> {
    file_name: &'f str,
    hand_on: &'f mut dyn FnMut(u32, Pulse),
    open: Option<Open>,
    /// With the number of their moments.
    closed: BTreeMap<u32, usize>,
    row: u64,
    faults: Vec<Fault>,
}

impl<'f> Gathering<'f> {
    fn new(file_name: &'f str, hand_on: &'f mut dyn FnMut(u32, Pulse)) -> Self {
        Self { file_name, hand_on, open: None, closed: BTreeMap::new(), row: 0, faults: Vec::new() }
    }

    fn fault(&mut self, what: String, hint: &str) {
        if self.faults.len() < MOST_LISTED {
            self.faults.push(Fault::of_file(self.file_name, what, hint));
        }
    }

    fn cell_fault(&mut self, moment: usize, reading: u32, row: u64, name: &str, what: &str) {
        self.fault(
            format!("moment {moment} of reading {reading} (row {row}): \"{name}\" {what}"),
            "every moment has a time and two absorbances, or one where channels take turns; leave out a reading that failed",
        );
    }

    fn take(
        &mut self,
        readings: &[Option<u32>],
        t_s: &[Option<f64>],
        total: &[Option<f64>],
        background: &[Option<f64>],
        middle: &[Option<f64>],
    ) {
        for ((((reading, t), a), b), m) in readings.iter().zip(t_s).zip(total).zip(background).zip(middle) {
            self.row += 1;
            let row = self.row;
            let Some(reading) = *reading else {
                self.fault(
                    format!("row {row} of column \"reading\" has no number of a reading"),
                    "a whole number from 0 to 4294967295 is wanted",
                );
                continue;
            };
            if self.open.as_ref().is_none_or(|open| open.reading != reading) {
                let before = self.open.as_ref().map_or(reading, |open| open.reading);
                self.close_open();
                if self.closed.contains_key(&reading) {
                    self.fault(
                        format!("reading {reading} goes on at row {row}, behind moments of reading {before}"),
                        "the moments of a reading stand together; sort the file by reading and t_s",
                    );
                }
                self.open = Some(Open { reading, samples: Samples::default(), empty: None });
            }
            let earlier = self.closed.get(&reading).copied().unwrap_or(0);
            let moment = self.open.as_ref().map_or(1, |open| earlier + open.samples.0.len() + 1);
            let mut empty = None;
            for (name, value) in [("t_s", t), ("total", a), ("background", b)] {
                let what = match value {
                    // The other channel's turn, if they take turns to the end.
                    None if name != "t_s" && a.is_some() != b.is_some() => {
                        empty = Some((moment, row, name));
                        continue;
                    }
                    None => "is empty",
                    // A double beyond the largest single is no absorbance either.
                    Some(value) if !value.is_finite() || (name != "t_s" && value.abs() > f64::from(f32::MAX)) => {
                        "is no number"
                    }
                    Some(_) => continue,
                };
                self.cell_fault(moment, reading, row, name, what);
            }
            if m.is_some_and(|m| !m.is_finite() || m.abs() > f64::from(f32::MAX)) {
                self.cell_fault(moment, reading, row, "middle", "is no number");
            }
            let Some(open) = &mut self.open else { continue };
            open.empty = open.empty.or(empty);
            open.samples.0.push(t.unwrap_or(0.0));
            // The nearest single: what the instrument's double holds beyond it is below its noise.
            open.samples.1.push(a.map_or(f32::NAN, |a| a as f32));
            open.samples.2.push(b.map_or(f32::NAN, |b| b as f32));
            open.samples.3.push(m.map(|m| m as f32));
        }
    }

    /// Hands the open pulse on, unless something was wrong so far.
    fn close_open(&mut self) {
        let Some(Open { reading, samples: (t_s, total, background, middle), empty }) = self.open.take() else { return };
        *self.closed.entry(reading).or_default() += t_s.len();
        if let Some((moment, row, name)) = empty.filter(|_| !takes_turns(&total, &background)) {
            self.cell_fault(moment, reading, row, name, "is empty");
        }
        let n_middle = middle.iter().flatten().count();
        if n_middle > 0
            && let Some(place) = middle.iter().position(Option::is_none)
        {
            self.cell_fault(
                place + 1,
                reading,
                self.row,
                "middle",
                "is empty, and other moments of the reading have it",
            );
        }
        if self.faults.is_empty() {
            let pulse = Pulse::new(t_s, total, background).expect("each moment gave one sample of each");
            let pulse = if n_middle > 0 {
                let middle = middle.into_iter().flatten().collect();
                pulse.with_middle(middle).expect("each moment gave one sample of the third channel")
            } else {
                pulse
            };
            (self.hand_on)(reading, pulse);
        }
    }

    /// The number of pulses.
    fn close(mut self) -> Result<u64, Faults> {
        self.close_open();
        match Faults::new(self.faults) {
            Some(faults) => Err(faults),
            None => Ok(self.closed.len() as u64),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn two() -> BTreeMap<u32, Pulse> {
        let pulse = |shift: f32| {
            Pulse::new(vec![-0.1, 0.0, 0.1, 0.2], vec![0.001, 0.2 + shift, 0.1, 0.0], vec![0.0, 0.01, -0.01, 0.0])
                .unwrap()
        };
        BTreeMap::from([(3, pulse(0.0)), (7, pulse(0.125))])
    }

    fn file_of(columns: Vec<(&str, ArrayRef)>) -> Vec<u8> {
        let batch = RecordBatch::try_from_iter(columns).unwrap();
        let mut writer = ArrowWriter::try_new(Vec::new(), batch.schema(), None).unwrap();
        writer.write(&batch).unwrap();
        writer.into_inner().unwrap()
    }

    fn told(bytes: Vec<u8>) -> String {
        read("pulses.parquet", bytes).unwrap_err().to_string()
    }

    #[test]
    fn every_column_states_its_unit() {
        let bytes = write(&two()).unwrap();
        let builder = ParquetRecordBatchReaderBuilder::try_new(Bytes::from(bytes)).unwrap();
        let units: Vec<_> = builder.schema().fields().iter().map(|field| field.metadata()["unit"].clone()).collect();
        assert_eq!(units, ["1", "s", "1", "1"]);
    }

    #[test]
    fn equal_pulses_are_equal_bytes_and_no_pulses_are_a_file_too() {
        assert_eq!(write(&two()).unwrap(), write(&two()).unwrap());
        let none: BTreeMap<u32, Pulse> = BTreeMap::new();
        assert_eq!(read("pulses.parquet", write(&none).unwrap()).unwrap(), none);
    }

    #[test]
    fn doubles_and_other_whole_numbers_are_read() {
        let bytes = file_of(vec![
            ("background", Arc::new(Float64Array::from(vec![0.0, 0.5]))),
            ("total", Arc::new(Float64Array::from(vec![0.25, 1.5]))),
            ("t_s", Arc::new(Float32Array::from(vec![0.0, 0.5]))),
            ("reading", Arc::new(arrow_array::Int64Array::from(vec![9, 9]))),
        ]);
        let pulses = read("pulses.parquet", bytes).unwrap();
        assert_eq!(pulses[&9], Pulse::new(vec![0.0, 0.5], vec![0.25, 1.5], vec![0.0, 0.5]).unwrap());
    }

    #[test]
    fn files_packed_by_other_programs_are_read_or_told_by_what() {
        let columns = || -> [ArrayRef; 4] {
            let samples = || Arc::new(Float64Array::from(vec![0.0, 0.5]));
            [Arc::new(UInt32Array::from(vec![9, 9])), samples(), samples(), samples()]
        };
        let packed = |compression: Compression| {
            let named = COLUMNS.iter().map(|(name, _)| *name).zip(columns());
            let batch = RecordBatch::try_from_iter(named).unwrap();
            let properties = WriterProperties::builder().set_compression(compression).build();
            let mut writer = ArrowWriter::try_new(Vec::new(), batch.schema(), Some(properties)).unwrap();
            writer.write(&batch).unwrap();
            writer.into_inner().unwrap()
        };
        for compression in [Compression::UNCOMPRESSED, Compression::SNAPPY, Compression::ZSTD(ZstdLevel::default())] {
            assert_eq!(read("pulses.parquet", packed(compression)).unwrap().len(), 1);
        }
        // We cannot write such a file either: the name of the packing in a sound one is changed (Thrift: 1 is snappy, 2 gzip).
        let sound = packed(Compression::SNAPPY);
        let told_as_gzip = (4..sound.len() - 8).any(|place| {
            let mut other = sound.clone();
            other[place] = other[place].wrapping_add(2);
            read("pulses.parquet", other).is_err_and(|faults| faults.to_string().contains("packed with gzip"))
        });
        assert!(told_as_gzip);
    }

    #[test]
    fn a_third_channel_is_kept_where_a_reading_has_it() {
        let mut pulses = two();
        let three = pulses[&7].clone().with_middle(vec![0.0, 0.1, 0.05, 0.0]).unwrap();
        pulses.insert(7, three);
        assert_eq!(read("pulses.parquet", write(&pulses).unwrap()).unwrap(), pulses);
        let cells = |middle: Vec<Option<f64>>| {
            let numbers = || Arc::new(Float64Array::from(vec![0.0, 0.5])) as ArrayRef;
            file_of(vec![
                ("reading", Arc::new(UInt32Array::from(vec![9, 9])) as ArrayRef),
                ("t_s", numbers()),
                ("total", numbers()),
                ("background", numbers()),
                ("middle", Arc::new(Float64Array::from(middle))),
            ])
        };
        assert!(told(cells(vec![Some(0.1), None])).contains("moment 2 of reading 9 (row 2): \"middle\" is empty"));
        assert!(told(cells(vec![Some(0.1), Some(f64::NAN)])).contains("\"middle\" is no number"));
        assert_eq!(read("pulses.parquet", cells(vec![None, None])).unwrap()[&9].middle(), None);
    }

    #[test]
    fn what_is_no_file_of_pulses_is_told() {
        assert!(told(Vec::new()).contains("the file is empty"));
        assert!(told(b"reading,t_s\n".to_vec()).contains("this is not a Parquet file"));
        let bytes = write(&two()).unwrap();
        assert!(told(bytes[..bytes.len() - 1].to_vec()).contains("the end of the file is missing"));
        let whole: ArrayRef = Arc::new(UInt32Array::from(vec![1]));
        let text = told(file_of(vec![
            ("reading", Arc::new(Float64Array::from(vec![1.0]))),
            ("t", Arc::new(Float64Array::from(vec![1.0]))),
            ("total", whole.clone()),
            ("background", whole),
        ]));
        for what in [
            "column \"reading\" holds values of type Float64",
            "there is no column \"t_s\"",
            "column \"total\" holds values of type UInt32",
            "the column \"t\" is not known",
            "5 faults in pulses.parquet",
        ] {
            assert!(text.contains(what), "{what} in\n{text}");
        }
    }

    #[test]
    fn moments_out_of_place_and_samples_that_are_no_number_are_told_with_their_row() {
        let text = told(file_of(vec![
            ("reading", Arc::new(arrow_array::Int32Array::from(vec![Some(1), Some(2), Some(1), Some(-4), None]))),
            ("t_s", Arc::new(Float64Array::from(vec![Some(0.0), None, Some(0.2), Some(0.3), Some(0.4)]))),
            ("total", Arc::new(Float64Array::from(vec![f64::NAN, 0.0, 0.0, 0.0, 0.0]))),
            ("background", Arc::new(Float64Array::from(vec![0.0, 1e300, f64::NEG_INFINITY, 0.0, 0.0]))),
        ]));
        for what in [
            "moment 1 of reading 1 (row 1): \"total\" is no number",
            "moment 1 of reading 2 (row 2): \"t_s\" is empty",
            "moment 1 of reading 2 (row 2): \"background\" is no number",
            "reading 1 goes on at row 3, behind moments of reading 2",
            "moment 2 of reading 1 (row 3): \"background\" is no number",
            "row 4 of column \"reading\" has no number",
            "row 5 of column \"reading\" has no number",
        ] {
            assert!(text.contains(what), "{what} in\n{text}");
        }
    }

    #[test]
    fn pulses_that_could_not_be_read_again_are_not_written() {
        let empty = Pulse::new(Vec::new(), Vec::new(), Vec::new()).unwrap();
        assert_eq!(write(&BTreeMap::from([(4, empty)])), Err(PulseFault::NoMoment { reading: 4 }));
        let odd = Pulse::new(vec![0.0, 0.1], vec![0.0, f32::NAN], vec![0.0, 0.0]).unwrap();
        assert_eq!(write(&BTreeMap::from([(4, odd)])), Err(PulseFault::NoNumber { reading: 4, moment: 2 }));
    }

    #[test]
    fn channels_sampled_in_turn_leave_the_other_cell_empty_and_read_back() {
        let nan = f32::NAN;
        let in_turn = Pulse::new(vec![0.0, 0.1, 0.2], vec![0.3, nan, 0.4], vec![nan, 0.1, nan]).unwrap();
        let pulses = BTreeMap::from([(4, in_turn.clone())]);
        let again = read("pulses.parquet", write(&pulses).unwrap()).unwrap();
        assert_eq!(again[&4].digest(), in_turn.digest());
        let samples = |values: Vec<Option<f32>>| -> ArrayRef { Arc::new(Float32Array::from(values)) };
        let text = told(file_of(vec![
            ("reading", Arc::new(UInt32Array::from(vec![1, 1, 1, 2]))),
            ("t_s", Arc::new(Float64Array::from(vec![0.0, 0.1, 0.2, 0.0]))),
            ("total", samples(vec![Some(0.1), None, Some(0.1), None])),
            ("background", samples(vec![None, Some(0.1), Some(0.0), None])),
        ]));
        for what in [
            "moment 1 of reading 1 (row 1): \"background\" is empty",
            "moment 1 of reading 2 (row 4): \"total\" is empty",
            "moment 1 of reading 2 (row 4): \"background\" is empty",
        ] {
            assert!(text.contains(what), "{what} in\n{text}");
        }
    }

    #[test]
    fn a_file_without_background_holds_net_absorbance() {
        let bytes = file_of(vec![
            ("reading", Arc::new(UInt32Array::from(vec![1, 1]))),
            ("t_s", Arc::new(Float64Array::from(vec![0.0, 0.1]))),
            ("total", Arc::new(Float64Array::from(vec![0.25, 0.5]))),
        ]);
        let pulses = read("pulses.parquet", bytes).unwrap();
        assert_eq!(pulses[&1], Pulse::new(vec![0.0, 0.1], vec![0.25, 0.5], vec![0.0, 0.0]).unwrap());
    }

    proptest! {
        #[test]
        fn pulses_read_back_bit_for_bit(
            samples in proptest::collection::btree_map(any::<u32>(), proptest::collection::vec(
                (proptest::num::f64::NORMAL | proptest::num::f64::ZERO, proptest::num::f32::NORMAL | proptest::num::f32::SUBNORMAL | proptest::num::f32::ZERO, -2.0..3.0_f32), 1..20), 0..5)
        ) {
            let pulses: BTreeMap<u32, Pulse> = samples.into_iter().map(|(reading, samples)| {
                let pulse = Pulse::new(samples.iter().map(|s| s.0).collect(), samples.iter().map(|s| s.1).collect(), samples.iter().map(|s| s.2).collect());
                (reading, pulse.unwrap())
            }).collect();
            let again = read("pulses.parquet", write(&pulses).unwrap()).unwrap();
            prop_assert_eq!(again.keys().collect::<Vec<_>>(), pulses.keys().collect::<Vec<_>>());
            for (reading, pulse) in &pulses {
                prop_assert_eq!(again[reading].canonical_bytes(), pulse.canonical_bytes());
            }
        }

        #[test]
        fn any_bytes_are_pulses_or_told(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
            let _ = read("pulses.parquet", [&b"PAR1"[..], &bytes, b"PAR1"].concat());
            let _ = read("pulses.parquet", bytes);
        }
    }

    // Every byte of a file changed in turn: what comes of it is a fault, or pulses (samples carry no check sum here; the archive
    // and the digests of the pulses guard them), never the end of the program.
    #[test]
    fn a_damaged_file_ends_no_program() {
        let bytes = write(&two()).unwrap();
        for place in 4..bytes.len() - 4 {
            for flip in [0x01, 0x7f, 0xff] {
                let mut damaged = bytes.clone();
                damaged[place] ^= flip;
                let _ = read("pulses.parquet", damaged);
            }
        }
        for length in 0..bytes.len() {
            let _ = read("pulses.parquet", [&bytes[..length], b"PAR1"].concat());
        }
    }
}
