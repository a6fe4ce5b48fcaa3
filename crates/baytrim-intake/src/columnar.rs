//! Reads tables of columns: Apache Parquet and Arrow IPC.

mod guard;
mod numbers;

use std::io::{Cursor, Read};

use arrow_array::RecordBatch;
use arrow_ipc::reader::StreamReader;
use baytrim_model::channel::{Channel, Unit};
use bytes::Bytes;
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

use crate::bytes::Gauge;
use crate::columns::{ColumnLog, Fetched, assemble_columns, check_names};
use crate::error::IntakeError;
use crate::limits::LogLimits;
use crate::read::LogJob;
use crate::report::{Alignment, Intake, LogFormat};
use crate::suggest::table::{CELLS_MAX, RawColumn, RawTable};
use numbers::{Column, TextColumn};

/// First bytes of an Arrow file; what follows them is a stream and an index, which is not needed.
const ARROW_FILE_HEAD_BYTES: usize = 8;

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
    let table = opened.read(&wanted, usize::MAX)?;
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
        .map(|(name, column)| column.preview(name));
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

/// A table in memory, of which only names are known.
struct Opened<'a> {
    bytes: Bytes,
    format: LogFormat,
    limits: &'a LogLimits,
    source_name: &'a str,
    names: Vec<String>,
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
        };
        opened.names = match format {
            LogFormat::Parquet => opened.contained(|| opened.parquet_names())?,
            _ => opened.contained(|| opened.arrow_names())?,
        };
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

    fn too_many_bytes(&self) -> IntakeError {
        IntakeError::TooManyBytes {
            source_name: self.source_name.to_owned(),
            bytes_max: self.limits.bytes_max,
        }
    }

    fn parquet(&self) -> Result<ParquetRecordBatchReaderBuilder<Bytes>, IntakeError> {
        let opened = ParquetRecordBatchReaderBuilder::try_new(self.bytes.clone());
        opened.map_err(|error| self.damaged(error))
    }

    fn parquet_names(&self) -> Result<Vec<String>, IntakeError> {
        let builder = self.parquet()?;
        let fields = builder.schema().fields().iter();
        Ok(fields.map(|field| field.name().trim().to_owned()).collect())
    }

    /// The bytes of the stream inside an Arrow file, or of the stream that the file is.
    fn stream(&self) -> Bytes {
        if self.bytes.starts_with(b"ARROW1") {
            let head = ARROW_FILE_HEAD_BYTES.min(self.bytes.len());
            self.bytes.slice(head..)
        } else {
            self.bytes.clone()
        }
    }

    fn arrow_names(&self) -> Result<Vec<String>, IntakeError> {
        let stream = self.stream();
        match guard::check_stream(&stream, self.limits.bytes_max) {
            Ok(()) => {}
            Err(guard::StreamFault::TooManyBytes) => return Err(self.too_many_bytes()),
            Err(guard::StreamFault::Damaged(what)) => return Err(self.damaged(what)),
        }
        let reader = StreamReader::try_new(Cursor::new(stream), None);
        let schema = reader.map_err(|error| self.damaged(error))?.schema();
        Ok(schema
            .fields()
            .iter()
            .map(|field| field.name().trim().to_owned())
            .collect())
    }

    /// Reads the columns named `wanted`, at most `rows_max` rows of them.
    fn read(&self, wanted: &[&str], rows_max: usize) -> Result<Table, IntakeError> {
        let places: Vec<usize> = self
            .names
            .iter()
            .enumerate()
            .filter(|(_, name)| wanted.contains(&name.as_str()))
            .map(|(place, _)| place)
            .collect();
        let mut table = Table {
            row_count: 0,
            is_cut: false,
            columns: Vec::new(),
        };
        for &place in &places {
            table
                .columns
                .push((self.names[place].clone(), Column::default()));
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
                let reader = StreamReader::try_new(Cursor::new(self.stream()), Some(places));
                let reader = reader.map_err(|error| self.damaged(error))?;
                self.take(&mut table, reader, rows_max)
            })?;
        }
        Ok(table)
    }

    /// Refuses a table whose columns in use claim more than a log may hold.
    fn check_parquet(
        &self,
        builder: &ParquetRecordBatchReaderBuilder<Bytes>,
        places: &[usize],
    ) -> Result<(), IntakeError> {
        let metadata = builder.metadata();
        let schema = builder.parquet_schema();
        let rows = metadata.file_metadata().num_rows();
        if usize::try_from(rows).is_ok_and(|rows| rows > self.limits.rows_max) {
            return Err(IntakeError::TooManyRows {
                source_name: self.source_name.to_owned(),
                rows_max: self.limits.rows_max,
            });
        }
        let mut claimed = 0_u64;
        for group in metadata.row_groups() {
            for (leaf, column) in group.columns().iter().enumerate() {
                if places.contains(&schema.get_column_root_idx(leaf)) {
                    let Ok(bytes) = u64::try_from(column.uncompressed_size()) else {
                        return Err(self.damaged("a column of negative size"));
                    };
                    claimed = claimed.saturating_add(bytes);
                }
            }
        }
        if claimed > self.limits.bytes_max {
            return Err(self.too_many_bytes());
        }
        Ok(())
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
                return Err(IntakeError::TooManyRows {
                    source_name: self.source_name.to_owned(),
                    rows_max: self.limits.rows_max,
                });
            }
            for ((_, column), array) in table.columns.iter_mut().zip(batch.columns()) {
                column.take(array);
            }
        }
        Ok(())
    }
}

/// The columns that were read.
struct Table {
    row_count: usize,
    is_cut: bool,
    columns: Vec<(String, Column)>,
}

impl Table {
    fn column(&self, name: &str) -> Option<&Column> {
        let mut columns = self.columns.iter();
        columns
            .find(|(known, _)| known == name.trim())
            .map(|(_, column)| column)
    }

    /// Returns the times in `unit`.
    fn times(&self, name: &str, unit: Unit, source_name: &str) -> Result<Vec<f64>, IntakeError> {
        let column = self.column(name).unwrap_or(&Column::Other);
        column
            .times(unit)
            .map_err(|fault| fault.at(source_name, name))
    }

    fn fetch(&self, channel: &Channel, source_name: &str) -> Result<Fetched, IntakeError> {
        let column = self.column(&channel.column).unwrap_or(&Column::Other);
        let values = match column {
            Column::Numbers(values) | Column::Seconds(values) => values.clone(),
            Column::Texts(texts) => TextColumn(texts)
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
