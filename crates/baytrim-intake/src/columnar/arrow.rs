//! The batches of an Arrow table, found along its stream or by the index at its end.

use std::io::Cursor;

use arrow_array::RecordBatch;
use arrow_ipc::reader::{FileReader, FileReaderBuilder, StreamReader};
use arrow_schema::{ArrowError, SchemaRef};
use bytes::Bytes;

use super::guard::{check_blocks, check_stream};
use super::{Opened, TableFault};
use crate::error::IntakeError;

/// First bytes of an Arrow file, its name and two zeros; a stream follows them, and an index.
const FILE_HEAD_BYTES: usize = 8;

/// The batches of an Arrow table.
pub(super) enum ArrowBatches {
    /// Along its stream.
    Stream(Box<StreamReader<Cursor<Bytes>>>),
    /// By the index at its end.
    Index(Box<FileReader<Cursor<Bytes>>>),
}

impl ArrowBatches {
    /// Returns the columns.
    pub(super) fn schema(&self) -> SchemaRef {
        match self {
            Self::Stream(reader) => reader.schema(),
            Self::Index(reader) => reader.schema(),
        }
    }
}

impl Iterator for ArrowBatches {
    type Item = Result<RecordBatch, ArrowError>;

    fn next(&mut self) -> Option<Self::Item> {
        match self {
            Self::Stream(reader) => reader.next(),
            Self::Index(reader) => reader.next(),
        }
    }
}

impl Opened<'_> {
    /// Opens the Arrow table, with the columns at `places` or with all.
    ///
    /// A file is read along its stream, so that one whose writing was cut short before the index is not lost.
    /// Some writers put between head and index what is no stream: then the index is gone by.
    pub(super) fn arrow(&self, places: Option<Vec<usize>>) -> Result<ArrowBatches, IntakeError> {
        let is_file = self.bytes.starts_with(b"ARROW1");
        let head = if is_file {
            FILE_HEAD_BYTES.min(self.bytes.len())
        } else {
            0
        };
        let stream = self.bytes.slice(head..);
        match check_stream(&stream, self.limits.bytes_max) {
            Ok(()) => {
                let reader = StreamReader::try_new(Cursor::new(stream), places);
                let reader = reader.map_err(|error| self.damaged(error))?;
                return Ok(ArrowBatches::Stream(Box::new(reader)));
            }
            Err(TableFault::Damaged(_)) if head > 0 => {}
            Err(fault) => return Err(self.refused(fault)),
        }
        check_blocks(&self.bytes, self.limits.bytes_max).map_err(|fault| self.refused(fault))?;
        let mut builder = FileReaderBuilder::new();
        if let Some(places) = places {
            builder = builder.with_projection(places);
        }
        let reader = builder.build(Cursor::new(self.bytes.clone()));
        let reader = reader.map_err(|error| self.damaged(error))?;
        Ok(ArrowBatches::Index(Box::new(reader)))
    }
}
