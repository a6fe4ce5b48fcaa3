//! The one suite of behaviours that every store must pass.
//!
//! A store's tests call [`conformance_tests!`](crate::conformance_tests) with a closure that makes a fresh [`Fixture`].
#![expect(
    clippy::missing_panics_doc,
    reason = "a failed check is a panic, as in every test"
)]

mod blobs;
mod model;
mod race;
mod records;
mod snapshots;
mod spools;

use std::sync::Arc;

pub use blobs::{blobs_are_named_by_content, blobs_list_in_order, dropped_blob_leaves_nothing};
pub use model::behaves_as_the_plain_model;
pub use race::{race_has_one_winner_per_position, spool_race_has_one_winner_per_position};
pub use records::{
    append_is_all_or_none, append_returns_the_chain, bodies_of_every_kind_come_back,
    conflict_tells_the_head, limits_are_held, reads_stop_early_by_bytes, streams_list_by_prefix,
};
pub use snapshots::snapshots_belong_to_a_past;
pub use spools::{chunks_are_appended_together, spools_are_dropped_whole, spools_keep_their_order};

use crate::name::StreamName;
use crate::record::{Head, Record};
use crate::store::Store;

/// Holds a store under test.
pub trait Fixture {
    /// Returns the store.
    fn store(&self) -> Arc<dyn Store>;

    /// Closes the store and opens it again on what it kept; a store that keeps nothing goes on as it is.
    fn reopen(&mut self);
}

/// Makes one `#[test]` of each behaviour, each on a fresh fixture.
#[macro_export]
macro_rules! conformance_tests {
    ($fresh:expr) => {
        $crate::conformance_tests!(@each $fresh;
            append_returns_the_chain,
            append_is_all_or_none,
            conflict_tells_the_head,
            limits_are_held,
            bodies_of_every_kind_come_back,
            reads_stop_early_by_bytes,
            streams_list_by_prefix,
            race_has_one_winner_per_position,
            spool_race_has_one_winner_per_position,
            blobs_are_named_by_content,
            blobs_list_in_order,
            dropped_blob_leaves_nothing,
            spools_keep_their_order,
            spools_are_dropped_whole,
            chunks_are_appended_together,
            snapshots_belong_to_a_past,
        );
        /// If this fails, the store differs from a plain list somewhere in a random history.
        #[test]
        fn behaves_as_the_plain_model() {
            $crate::conformance::behaves_as_the_plain_model($fresh);
        }
    };
    (@each $fresh:expr; $($behaviour:ident),* $(,)?) => {
        $(
            /// If this fails, the store breaks the behaviour of that name in the suite for all stores.
            #[test]
            fn $behaviour() {
                $crate::conformance::$behaviour(&mut ($fresh)());
            }
        )*
    };
}

fn name(text: &str) -> StreamName {
    text.parse().expect("a good name")
}

fn bodies(texts: &[&str]) -> Vec<Vec<u8>> {
    texts.iter().map(|text| text.as_bytes().to_vec()).collect()
}

/// Reads a whole stream, in as many reads as it takes, checking its chain.
fn read_all(store: &dyn Store, stream: &StreamName) -> Vec<Record> {
    let mut head = Head::EMPTY;
    let mut all = Vec::new();
    loop {
        let part = store.read(stream, head.next_seq, 100).expect("reads");
        if part.is_empty() {
            assert_eq!(store.head(stream).expect("has a head"), head);
            return all;
        }
        for record in part {
            assert_eq!(&record.stream, stream);
            head = crate::chain::check(&head, &record).expect("a sound chain");
            all.push(record);
        }
    }
}

fn assert_sound(store: &dyn Store) {
    let report = store.verify(&mut |_| ()).expect("looks");
    assert!(report.is_sound(), "{report:?}");
}
