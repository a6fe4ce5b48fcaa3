//! A model of what a disk may hold after a power cut, given the changes that were asked for.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use crate::recording::Call;
use crate::support::Random;

/// Says what of the changes that were not synced is found after the cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Cut {
    /// Nothing.
    NothingUnsynced,
    /// Everything, as after a killed process.
    EverythingUnsynced,
    /// A random part: some writes, some of them torn, some directory changes.
    Some { seed: u64 },
}

#[derive(Clone, Default)]
struct Content {
    synced: Vec<u8>,
    unsynced: Vec<Change>,
}

#[derive(Clone)]
enum Change {
    Write { offset: u64, bytes: Vec<u8> },
    SetLen(u64),
}

#[derive(Clone)]
enum Entry {
    Add(PathBuf, usize),
    Remove(PathBuf),
    AddDir(PathBuf),
}

impl Entry {
    fn parent(&self) -> &Path {
        let (Self::Add(path, _) | Self::Remove(path) | Self::AddDir(path)) = self;
        path.parent().expect("below the root")
    }
}

#[derive(Clone, Default)]
struct Names {
    files: BTreeMap<PathBuf, usize>,
    dirs: BTreeSet<PathBuf>,
}

impl Names {
    fn apply(&mut self, entry: &Entry) {
        match entry {
            Entry::Add(path, file) => {
                self.files.insert(path.clone(), *file);
            }
            Entry::Remove(path) => {
                self.files.remove(path);
            }
            Entry::AddDir(path) => {
                self.dirs.insert(path.clone());
            }
        }
    }
}

/// Is a disk with a directory `root` on it.
#[derive(Clone)]
pub(crate) struct Disk {
    root: PathBuf,
    contents: Vec<Content>,
    current: Names,
    durable: Names,
    pending: Vec<Entry>,
}

impl Disk {
    pub(crate) fn new(root: &Path) -> Self {
        let mut names = Names::default();
        names.dirs.insert(root.to_owned());
        let durable = names.clone();
        Self {
            root: root.to_owned(),
            contents: Vec::new(),
            current: names,
            durable,
            pending: Vec::new(),
        }
    }

    /// Takes in one change; of a write only the first `len_max` bytes.
    pub(crate) fn apply(&mut self, call: &Call, len_max: usize) {
        match call {
            Call::Acknowledged(_) => {}
            Call::CreateDir(path) if self.current.dirs.contains(path) => {}
            Call::CreateDir(path) => self.enter(Entry::AddDir(path.clone())),
            Call::Create(path) => {
                if let Some(&file) = self.current.files.get(path) {
                    self.contents[file].unsynced.push(Change::SetLen(0));
                } else {
                    self.contents.push(Content::default());
                    self.enter(Entry::Add(path.clone(), self.contents.len() - 1));
                }
            }
            Call::Write {
                path,
                offset,
                bytes,
            } => {
                let bytes = bytes[..bytes.len().min(len_max)].to_vec();
                self.content(path).unsynced.push(Change::Write {
                    offset: *offset,
                    bytes,
                });
            }
            Call::SetLen { path, len } => self.content(path).unsynced.push(Change::SetLen(*len)),
            Call::SyncData(path) => {
                let content = self.content(path);
                for change in std::mem::take(&mut content.unsynced) {
                    change.apply(&mut content.synced);
                }
            }
            Call::Rename { from, to } => {
                let file = self.current.files[from];
                self.enter(Entry::Add(to.clone(), file));
                self.enter(Entry::Remove(from.clone()));
            }
            Call::Remove(path) => self.enter(Entry::Remove(path.clone())),
            Call::SyncDir(dir) => {
                let (synced, rest) = self
                    .pending
                    .drain(..)
                    .partition(|entry| entry.parent() == dir);
                self.pending = rest;
                let synced: Vec<Entry> = synced;
                for entry in &synced {
                    self.durable.apply(entry);
                }
            }
        }
    }

    fn enter(&mut self, entry: Entry) {
        self.current.apply(&entry);
        self.pending.push(entry);
    }

    fn content(&mut self, path: &Path) -> &mut Content {
        let file = self.current.files[path];
        &mut self.contents[file]
    }

    /// Tells whether some file that would survive a power cut holds `bytes`.
    pub(crate) fn holds_durably(&self, bytes: &[u8]) -> bool {
        let is_reachable = |path: &Path| {
            path.ancestors()
                .skip(1)
                .take_while(|dir| dir.starts_with(&self.root))
                .all(|dir| self.durable.dirs.contains(dir))
        };
        let mut files = self
            .durable
            .files
            .iter()
            .filter(|(path, _)| is_reachable(path));
        files.any(|(_, &file)| {
            self.contents[file]
                .synced
                .windows(bytes.len())
                .any(|window| window == bytes)
        })
    }

    /// Writes what the disk may hold after a cut into the directory `target`.
    pub(crate) fn write_image(&self, cut: Cut, target: &Path) {
        let mut random = Random::new(match cut {
            Cut::Some { seed } => seed,
            _ => 0,
        });
        let names = self.names_after(cut, &mut random);
        let moved =
            |path: &Path| target.join(path.strip_prefix(&self.root).expect("below the root"));
        for dir in &names.dirs {
            fs::create_dir_all(moved(dir)).expect("creates");
        }
        for (path, &file) in &names.files {
            if !names.dirs.contains(path.parent().expect("below the root")) {
                continue;
            }
            let content = &self.contents[file];
            let mut bytes = content.synced.clone();
            for change in &content.unsynced {
                match cut {
                    Cut::NothingUnsynced => {}
                    Cut::EverythingUnsynced => change.apply(&mut bytes),
                    Cut::Some { .. } => change.apply_partly(&mut bytes, &mut random),
                }
            }
            fs::write(moved(path), bytes).expect("writes");
        }
    }

    fn names_after(&self, cut: Cut, random: &mut Random) -> Names {
        match cut {
            Cut::NothingUnsynced => self.durable.clone(),
            Cut::EverythingUnsynced => self.current.clone(),
            Cut::Some { .. } => {
                let mut names = self.durable.clone();
                // File systems keep the order of their own journal.
                let count = random.below(self.pending.len() + 1);
                for entry in &self.pending[..count] {
                    names.apply(entry);
                }
                names
            }
        }
    }
}

impl Change {
    fn apply(&self, content: &mut Vec<u8>) {
        match self {
            Self::Write { offset, bytes } => {
                let start = usize::try_from(*offset).expect("small");
                if content.len() < start + bytes.len() {
                    content.resize(start + bytes.len(), 0);
                }
                content[start..start + bytes.len()].copy_from_slice(bytes);
            }
            Self::SetLen(len) => content.resize(usize::try_from(*len).expect("small"), 0),
        }
    }

    fn apply_partly(&self, content: &mut Vec<u8>, random: &mut Random) {
        match (random.below(4), self) {
            (0, _) => {}
            (1, Self::Write { offset, bytes }) => {
                let bytes = bytes[..random.below(bytes.len() + 1)].to_vec();
                Self::Write {
                    offset: *offset,
                    bytes,
                }
                .apply(content);
            }
            // The length is there, the content is not.
            (2, Self::Write { offset, bytes }) if random.below(2) == 0 => {
                let bytes = vec![0; bytes.len()];
                Self::Write {
                    offset: *offset,
                    bytes,
                }
                .apply(content);
            }
            _ => self.apply(content),
        }
    }
}
