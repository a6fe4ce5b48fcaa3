//! Where objects are, and asking for them.

use std::future::{self, Future};
use std::io;
use std::sync::{Arc, mpsc};

use baytrim_ledger::{BlobId, StoreFault};
use futures_util::{StreamExt as _, TryStreamExt as _};
use object_store::path::Path;
use object_store::{ObjectMeta, ObjectStore};
use tokio::runtime::Runtime;

/// A bucket, or a folder of one, that holds blobs.
pub struct Bucket {
    objects: Arc<dyn ObjectStore>,
    folder: Path,
    /// Drives the requests; gone only while this is dropped.
    runtime: Option<Runtime>,
}

impl Bucket {
    /// Returns a folder of any object storage that lists in the order of names.
    ///
    /// # Errors
    /// When no thread can be started.
    pub fn over(objects: Arc<dyn ObjectStore>, folder: &str) -> io::Result<Self> {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .thread_name("ledger-objects")
            .enable_all()
            .build();
        Ok(Self {
            objects,
            folder: Path::from(folder).child("blobs"),
            runtime: Some(runtime?),
        })
    }

    /// Asks for one name, so that a wrong bucket or key is told before anything rests on it.
    ///
    /// # Errors
    /// The fault that whoever reads or writes would meet.
    pub fn probe(&self) -> Result<(), StoreFault> {
        self.list(None, 1).map(drop)
    }

    pub(crate) fn path(&self, id: &BlobId) -> Path {
        self.folder.child(id.to_string())
    }

    /// Returns how a message names the place of a blob.
    pub(crate) fn place(&self, id: &BlobId) -> String {
        format!("{}, {}", self.objects, self.path(id))
    }

    /// Asks on the bucket's own thread, and waits for the answer on this one.
    pub(crate) fn ask<T, F>(
        &self,
        ask: impl FnOnce(Arc<dyn ObjectStore>) -> F,
    ) -> object_store::Result<T>
    where
        T: Send + 'static,
        F: Future<Output = object_store::Result<T>> + Send + 'static,
    {
        let gone = || object_store::Error::Generic {
            store: "objects",
            source: "the bucket is closed".into(),
        };
        let (sender, receiver) = mpsc::sync_channel(1);
        let asked = ask(Arc::clone(&self.objects));
        let runtime = self.runtime.as_ref().ok_or_else(gone)?;
        runtime.spawn(async move {
            let _unheard = sender.send(asked.await);
        });
        receiver.recv().map_err(|_| gone())?
    }

    /// Returns the length of a blob; none where there is no such object.
    pub(crate) fn len(&self, id: &BlobId) -> Result<Option<u64>, StoreFault> {
        let path = self.path(id);
        match self.ask(|objects| async move { objects.head(&path).await }) {
            Ok(found) => Ok(Some(found.size)),
            Err(object_store::Error::NotFound { .. }) => Ok(None),
            Err(error) => Err(self.fault(&format!("looking for blob {id}"), error)),
        }
    }

    /// Returns at most `limit` blobs behind `after`, in the order of their names.
    pub(crate) fn list(
        &self,
        after: Option<&BlobId>,
        limit: usize,
    ) -> Result<Vec<(BlobId, u64)>, StoreFault> {
        let folder = self.folder.clone();
        let after = after.map_or_else(|| folder.clone(), |after| self.path(after));
        let inside = folder.clone();
        // What others keep there is passed over here: an empty page is the end of all.
        let blob = move |object: &ObjectMeta| {
            let id: BlobId = object.location.filename()?.parse().ok()?;
            (object.location == inside.child(id.to_string())).then_some((id, object.size))
        };
        let listed = self.ask(|objects| async move {
            let listed = objects.list_with_offset(Some(&folder), &after);
            let blobs = listed.try_filter_map(|object| future::ready(Ok(blob(&object))));
            blobs.take(limit).try_collect::<Vec<_>>().await
        });
        listed.map_err(|error| self.fault("listing blobs", error))
    }

    pub(crate) fn remove(&self, id: &BlobId) -> Result<(), StoreFault> {
        let path = self.path(id);
        match self.ask(|objects| async move { objects.delete(&path).await }) {
            Ok(()) | Err(object_store::Error::NotFound { .. }) => Ok(()),
            Err(error) => Err(self.fault(&format!("removing blob {id}"), error)),
        }
    }

    /// Returns what the caller of the store is told: a bucket or right that is not there stays so, everything else may pass.
    pub(crate) fn fault(&self, what: &str, error: object_store::Error) -> StoreFault {
        use object_store::Error as E;
        let what = format!("{what} in {}, {}", self.objects, self.folder);
        let is_lasting = matches!(
            error,
            E::NotFound { .. }
                | E::PermissionDenied { .. }
                | E::Unauthenticated { .. }
                | E::NotSupported { .. }
                | E::NotImplemented
        );
        let source = io::Error::other(error);
        if is_lasting {
            return StoreFault::from_io(what, source);
        }
        StoreFault::Away { what, source }
    }
}

impl Drop for Bucket {
    fn drop(&mut self) {
        if let Some(runtime) = self.runtime.take() {
            // Waiting for it would be wrong on a thread of another runtime, and there is nothing to wait for.
            runtime.shutdown_background();
        }
    }
}
