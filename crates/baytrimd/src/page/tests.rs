//! What the pages say.
