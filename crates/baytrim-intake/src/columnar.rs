//! Reads tables of columns: Apache Parquet and Arrow IPC.

mod arrays;
mod arrow;
mod guard;
mod numbers;
mod pages;
mod shapes;
mod thrift;

use std::io::Read;
use std::sync::Arc;

use arrow_array::RecordBatch;
use arrow_schema::{DataType, FieldRef, Fields, Schema, SchemaRef};
use baytrim_model::channel::{Channel, Unit};
use bytes::Bytes;
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::{
    ArrowReaderMetadata, ArrowReaderOptions, ParquetRecordBatchReaderBuilder,
};
use parquet::basic::Compression;

use crate::bytes::Gauge;
use crate::columns::{ColumnLog, Fetched, assemble_columns, check_names};
use crate::error::IntakeError;
use crate::limits::LogLimits;
use crate::read::LogJob;
use crate::report::{Alignment, Intake, LogFormat};
use crate::suggest::table::{CELLS_MAX, RawColumn, RawTable};
use arrays::is_read;
use numbers::{Column, TextColumn};
use pages::{check_description, check_pages};

/// A table of columns, with what went wrong in its library.
type Failure = Box<dyn std::error::Error + Send + Sync>;

/// Reads `bytes`, which begin as a table of `format` does.
pub(crate) fn read_columnar(
    bytes: impl Read,
    format: LogFormat,
    job: &LogJob<'_>,
) -> Result<Intake, IntakeError> {
    let mut opened = Opened::open(bytes, format, job.limits, job.gauge, job.source_name)?;
    let map = job.map;
    check_names(&opened.names, map, job.source_name)?;
    let time = map.time.column.as_deref().map(str::trim);
    let channels = map.channels.values().map(|channel| channel.column.trim());
    let wanted: Vec<&str> = channels.chain(time).collect();
    let mut table = opened.read(&wanted, usize::MAX)?;
    let times = match time {
        None => None,
        Some(column) => Some(table.times(column, map.time.unit, job.source_name)?),
    };
    let log = ColumnLog {
        format,
        names: std::mem::take(&mut opened.names),
        times,
        row_count: table.row_count,
        map,
    };
    assemble_columns(job, &log, |channel| table.fetch(channel, job.source_name))
}

/// Looks at `bytes`, which begin as a table of `format` does, without a channel map.
pub(crate) fn preview_columnar(
    bytes: impl Read,
    format: LogFormat,
    limits: &LogLimits,
    gauge: &Gauge,
    source_name: &str,
) -> Result<RawTable, IntakeError> {
    let opened = Opened::open(bytes, format, limits, gauge, source_name)?;
    let names = opened.names.clone();
    let wanted: Vec<&str> = names.iter().map(String::as_str).collect();
    let rows_max = (CELLS_MAX / names.len().max(1)).max(1);
    let table = opened.read(&wanted, rows_max)?;
    let columns = table
        .columns
        .into_iter()
        .map(|(name, column, _)| column.preview(name));
    let columns: Vec<RawColumn> = columns.collect();
    if table.row_count == 0 {
        return Err(IntakeError::NoRows {
            source_name: source_name.to_owned(),
            row: 0,
        });
    }
    Ok(RawTable {
        rows: (1..=table.row_count as u64).collect(),
        is_cut: table.is_cut,
        columns,
    })
}

/// What is wrong with a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum TableFault {
    /// It claims to unpack to more than it may.
    TooManyBytes,
    /// It claims more rows than it may.
    TooManyRows,
    /// It does not hold together.
    Damaged(&'static str),
}

/// A table in memory, of which only names are known.
struct Opened<'a> {
    bytes: Bytes,
    format: LogFormat,
    limits: &'a LogLimits,
    source_name: &'a str,
    names: Vec<String>,
    /// Of each column, whether its type is one that numbers are made of.
    is_read: Vec<bool>,
}

impl<'a> Opened<'a> {
    fn open(
        mut bytes: impl Read,
        format: LogFormat,
        limits: &'a LogLimits,
        gauge: &Gauge,
        source_name: &'a str,
    ) -> Result<Self, IntakeError> {
        let mut whole = Vec::new();
        let read = bytes.read_to_end(&mut whole);
        read.map_err(|error| gauge.explain(source_name, error))?;
        let mut opened = Self {
            bytes: Bytes::from(whole),
            format,
            limits,
            source_name,
            names: Vec::new(),
            is_read: Vec::new(),
        };
        let schema = opened.contained(|| match format {
            LogFormat::Parquet => Ok(Arc::clone(opened.parquet()?.schema())),
            _ => Ok(opened.arrow(None)?.schema()),
        })?;
        for field in schema.fields() {
            opened.names.push(field.name().trim().to_owned());
            opened.is_read.push(is_read(field.data_type()));
        }
        let mut sorted = opened.names.clone();
        sorted.sort();
        if let Some(pair) = sorted.windows(2).find(|pair| pair[0] == pair[1]) {
            let mut places = opened
                .names
                .iter()
                .enumerate()
                .filter(|(_, name)| **name == pair[0]);
            let mut place = || places.next().map_or(0, |(index, _)| index + 1);
            return Err(IntakeError::ColumnTwice {
                source_name: source_name.to_owned(),
                row: 0,
                column: pair[0].clone(),
                first: place(),
                second: place(),
            });
        }
        Ok(opened)
    }

    fn damaged(&self, error: impl Into<Failure>) -> IntakeError {
        IntakeError::Damaged {
            source_name: self.source_name.to_owned(),
            format: match self.format {
                LogFormat::Parquet => "Parquet",
                _ => "Arrow",
            },
            source: error.into(),
        }
    }

    /// Does `work` on a thread of its own, and takes its end by a panic for damage to the file.
    ///
    /// The libraries of both formats check less than they should: one altered copy of a good file in
    /// some thousands ends them by a panic ("Decoder for dict should have been set", a buffer that is
    /// not aligned), which must not reach the caller. They hold no state outside `work`, and what was
    /// in the making is dropped.
    fn contained<T: Send>(
        &self,
        work: impl FnOnce() -> Result<T, IntakeError> + Send,
    ) -> Result<T, IntakeError> {
        std::thread::scope(|scope| scope.spawn(work).join())
            .unwrap_or_else(|_| Err(self.damaged("its columns do not hold together")))
    }

    fn refused(&self, fault: TableFault) -> IntakeError {
        let source_name = self.source_name.to_owned();
        match fault {
            TableFault::TooManyBytes => IntakeError::TooManyBytes {
                source_name,
                bytes_max: self.limits.bytes_max,
            },
            TableFault::TooManyRows => IntakeError::TooManyRows {
                source_name,
                rows_max: self.limits.rows_max,
            },
            TableFault::Damaged(what) => self.damaged(what),
        }
    }

    fn parquet(&self) -> Result<ParquetRecordBatchReaderBuilder<Bytes>, IntakeError> {
        check_description(&self.bytes).map_err(|fault| self.refused(fault))?;
        let loaded = ArrowReaderMetadata::load(&self.bytes, ArrowReaderOptions::default());
        let loaded = loaded.map_err(|error| self.damaged(error))?;
        // A text that stands once and is meant by each of a million rows is not written out for each.
        let options = ArrowReaderOptions::new().with_schema(with_views(loaded.schema()));
        let viewed = ArrowReaderMetadata::try_new(Arc::clone(loaded.metadata()), options);
        let viewed = viewed.map_err(|error| self.damaged(error))?;
        Ok(ParquetRecordBatchReaderBuilder::new_with_metadata(
            self.bytes.clone(),
            viewed,
        ))
    }

    /// Reads the columns named `wanted`, at most `rows_max` rows of them.
    fn read(&self, wanted: &[&str], rows_max: usize) -> Result<Table, IntakeError> {
        let mut table = Table {
            row_count: 0,
            is_cut: false,
            columns: Vec::new(),
            read: Vec::new(),
        };
        let mut places = Vec::new();
        for (place, name) in self.names.iter().enumerate() {
            if wanted.contains(&name.as_str()) {
                let mut column = Column::Other;
                if self.is_read[place] {
                    column = Column::Empty;
                    table.read.push(table.columns.len());
                    places.push(place);
                }
                let use_count = wanted.iter().filter(|wanted| *wanted == name).count();
                table.columns.push((name.clone(), column, use_count));
            }
        }
        if self.format == LogFormat::Parquet {
            self.contained(|| {
                let builder = self.parquet()?;
                self.check_parquet(&builder, &places)?;
                let mask = ProjectionMask::roots(builder.parquet_schema(), places);
                let reader = builder.with_projection(mask).with_batch_size(8192).build();
                let reader = reader.map_err(|error| self.damaged(error))?;
                self.take(&mut table, reader, rows_max)
            })?;
        } else {
            self.contained(|| {
                let batches = self.arrow(Some(places))?;
                self.take(&mut table, batches, rows_max)
            })?;
        }
        Ok(table)
    }

    /// Refuses a table whose columns in use claim more than a log may hold, or cannot be unpacked.
    fn check_parquet(
        &self,
        builder: &ParquetRecordBatchReaderBuilder<Bytes>,
        places: &[usize],
    ) -> Result<(), IntakeError> {
        let schema = builder.parquet_schema();
        let is_used = |leaf: usize| places.contains(&schema.get_column_root_idx(leaf));
        for group in builder.metadata().row_groups() {
            let columns = group.columns().iter().enumerate();
            let mut used = columns.filter(|(leaf, _)| is_used(*leaf));
            let is_unknown = |codec| matches!(codec, Compression::BROTLI(_) | Compression::LZO);
            if used.any(|(_, column)| is_unknown(column.compression())) {
                return Err(IntakeError::Unsuited {
                    source_name: self.source_name.to_owned(),
                    finding: "the Parquet file is packed with brotli or LZO".to_owned(),
                    remedy: "write it packed with snappy, zstd, gzip or lz4, or not packed",
                });
            }
        }
        let checked = check_pages(&self.bytes, builder.metadata(), is_used, self.limits);
        checked.map_err(|fault| self.refused(fault))
    }

    fn take(
        &self,
        table: &mut Table,
        batches: impl Iterator<Item = Result<RecordBatch, arrow_schema::ArrowError>>,
        rows_max: usize,
    ) -> Result<(), IntakeError> {
        for batch in batches {
            let batch = batch.map_err(|error| self.damaged(error))?;
            if table.row_count >= rows_max {
                table.is_cut = true;
                break;
            }
            table.row_count += batch.num_rows();
            if table.row_count > self.limits.rows_max {
                return Err(self.refused(TableFault::TooManyRows));
            }
            for (&index, array) in table.read.iter().zip(batch.columns()) {
                table.columns[index].1.take(array);
            }
        }
        Ok(())
    }
}

/// Returns `schema` with texts that may share their letters.
fn with_views(schema: &Schema) -> SchemaRef {
    let viewed = |field: &FieldRef| match field.data_type() {
        DataType::Utf8 | DataType::LargeUtf8 => {
            Arc::new(field.as_ref().clone().with_data_type(DataType::Utf8View))
        }
        _ => Arc::clone(field),
    };
    let fields: Fields = schema.fields().iter().map(viewed).collect();
    Arc::new(Schema::new_with_metadata(fields, schema.metadata().clone()))
}

/// The columns that were read.
struct Table {
    row_count: usize,
    is_cut: bool,
    /// Each with its name, and how often it is wanted.
    columns: Vec<(String, Column, usize)>,
    /// Which of them are read from the file, in its order.
    read: Vec<usize>,
}

impl Table {
    /// Hands a column over; one that is wanted again is copied.
    fn column(&mut self, name: &str) -> Column {
        let name = name.trim();
        let mut columns = self.columns.iter_mut();
        let Some((_, column, use_count)) = columns.find(|(known, _, _)| known == name) else {
            return Column::Other;
        };
        *use_count = use_count.saturating_sub(1);
        match use_count {
            0 => std::mem::replace(column, Column::Other),
            _ => column.clone(),
        }
    }

    /// Returns the times in `unit`.
    fn times(
        &mut self,
        name: &str,
        unit: Unit,
        source_name: &str,
    ) -> Result<Vec<f64>, IntakeError> {
        let times = self.column(name).times(unit);
        times.map_err(|fault| fault.at(source_name, name))
    }

    fn fetch(&mut self, channel: &Channel, source_name: &str) -> Result<Fetched, IntakeError> {
        let values = match self.column(&channel.column) {
            Column::Numbers(values) | Column::Seconds(values, _) => values,
            Column::Texts(texts) => TextColumn(&texts)
                .values(channel)
                .map_err(|fault| fault.at(source_name, &channel.column))?,
            Column::Empty => Vec::new(),
            Column::Other => {
                return Err(IntakeError::Unsuited {
                    source_name: source_name.to_owned(),
                    finding: format!("the column \"{}\" holds no numbers", channel.column.trim()),
                    remedy: "name a column of numbers in the channel map",
                });
            }
        };
        Ok(Fetched {
            values,
            alignment: Alignment::AsLogged,
        })
    }
}
