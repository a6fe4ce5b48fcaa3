//! Is the wire: code generated from `proto/`.
