//! Names everything the domain can say.
