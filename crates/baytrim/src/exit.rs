//! The six ways in which a command ends.

use std::process::ExitCode;

/// How a command ended; its number is the exit code of the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// 0: it is done.
    Done,
    /// 1: it failed for a reason that has no code of its own.
    Failed,
    /// 2: it was called wrongly.
    Usage,
    /// 3: the server's state refuses it: stale, decided, taken or in conflict.
    Refused,
    /// 4: whoever asks may not.
    NotPermitted,
    /// 5: no server answers.
    Unreachable,
}

impl Exit {
    /// Returns the exit code, 0 to 5.
    pub fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::Failed => 1,
            Self::Usage => 2,
            Self::Refused => 3,
            Self::NotPermitted => 4,
            Self::Unreachable => 5,
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit.code())
    }
}
