//! How much a log may ask of the machine.

use baytrim_model::samples::SAMPLES_MAX;

/// How much a log may ask of the machine; every number can be lowered, or raised by a caller that
/// knows its machine.
#[derive(Debug, Clone, PartialEq)]
pub struct LogLimits {
    /// Most bytes of a log, counted after decompression. 512 MiB: ten hours at 100 Hz in fourteen
    /// columns of ten characters come to 504 MB. What does not fit is refused while it is read, so
    /// that a small file that unpacks without end costs no more than this.
    pub bytes_max: u64,
    /// Most rows of samples. The most that one pull may hold.
    pub rows_max: usize,
    /// Most columns of a table. 2000: a logger that records everything writes some hundreds.
    pub columns_max: usize,
    /// Most bytes of one row. 256 KiB: 2000 columns of 128 characters; a quotation mark that is
    /// never closed would else draw the whole file into one cell.
    pub row_bytes_max: usize,
    /// Most bytes above and with the header row, within which it is looked for. 256 KiB, as above.
    pub head_bytes_max: usize,
    /// Longest time between first and last row in seconds. A week: a clock that runs further has
    /// jumped, or its unit is wrong.
    pub duration_s_max: f64,
}

impl Default for LogLimits {
    fn default() -> Self {
        Self {
            bytes_max: 512 * 1024 * 1024,
            rows_max: SAMPLES_MAX,
            columns_max: 2000,
            row_bytes_max: 256 * 1024,
            head_bytes_max: 256 * 1024,
            duration_s_max: 7.0 * 86_400.0,
        }
    }
}
