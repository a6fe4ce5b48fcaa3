//! Decides, one request at a time, what happens to a job.
