//! The Merkle tree of RFC 9162, section 2.1, with SHA-256: the same tree as that of RFC 6962.

use sha2::{Digest as _, Sha256};

/// Is a SHA-256 digest.
pub type Digest = [u8; 32];

/// Returns the hash of a leaf: SHA-256(0x00 ‖ content). RFC 9162, section 2.1.1.
pub fn leaf_hash(content: &[u8]) -> Digest {
    Sha256::new()
        .chain_update([0])
        .chain_update(content)
        .finalize()
        .into()
}

/// Returns the hash of an inner node: SHA-256(0x01 ‖ left ‖ right).
fn node_hash(left: &Digest, right: &Digest) -> Digest {
    let hasher = Sha256::new().chain_update([1]).chain_update(left);
    hasher.chain_update(right).finalize().into()
}

/// Returns the largest power of two below `count`, which is 2 or more: where a tree is divided.
fn split(count: usize) -> usize {
    let half = count.div_ceil(2).next_power_of_two();
    debug_assert!(half < count && count <= 2 * half);
    half
}

/// Returns the root over the hashes of leaves; that of no leaves is SHA-256 of nothing.
pub fn root(leaves: &[Digest]) -> Digest {
    match leaves {
        [] => Sha256::digest([]).into(),
        [leaf] => *leaf,
        _ => {
            let (left, right) = leaves.split_at(split(leaves.len()));
            node_hash(&root(left), &root(right))
        }
    }
}

/// Returns the proof that leaf `index` is in the tree, the node beside it first. RFC 9162, section 2.1.3.1.
///
/// # Panics
/// When there is no such leaf.
pub fn inclusion_path(leaves: &[Digest], index: usize) -> Vec<Digest> {
    assert!(index < leaves.len(), "no leaf {index}");
    if leaves.len() == 1 {
        return Vec::new();
    }
    let (left, right) = leaves.split_at(split(leaves.len()));
    let (mut path, beside) = if index < left.len() {
        (inclusion_path(left, index), root(right))
    } else {
        (inclusion_path(right, index - left.len()), root(left))
    };
    path.push(beside);
    path
}

/// Returns the root that a proof leads to; none where it has the wrong length. RFC 9162, section 2.1.3.2.
pub fn root_of_path(leaf: &Digest, index: u64, count: u64, path: &[Digest]) -> Option<Digest> {
    if index >= count {
        return None;
    }
    let (mut place, mut last) = (index, count - 1);
    let mut hash = *leaf;
    for beside in path {
        if last == 0 {
            return None;
        }
        if place & 1 == 1 || place == last {
            hash = node_hash(beside, &hash);
            while place & 1 == 0 && place != 0 {
                (place, last) = (place >> 1, last >> 1);
            }
        } else {
            hash = node_hash(&hash, beside);
        }
        (place, last) = (place >> 1, last >> 1);
    }
    (last == 0).then_some(hash)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hex(digest: &Digest) -> String {
        digest
            .iter()
            .fold(String::new(), |text, byte| text + &format!("{byte:02x}"))
    }

    /// Leaves and roots of the reference tests of certificate transparency logs (the tree of RFC 6962), as they
    /// are repeated in the tests of many implementations; written down from memory, which the sums bear out.
    const LEAVES: [&[u8]; 8] = [
        b"",
        b"\x00",
        b"\x10",
        b"\x20\x21",
        b"\x30\x31",
        b"\x40\x41\x42\x43",
        b"\x50\x51\x52\x53\x54\x55\x56\x57",
        b"\x60\x61\x62\x63\x64\x65\x66\x67\x68\x69\x6a\x6b\x6c\x6d\x6e\x6f",
    ];
    const ROOTS: [&str; 9] = [
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
        "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
        "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
        "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
        "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
    ];

    /// If this fails, the tree is another one than the standard's, and no other program finds our roots.
    #[test]
    fn roots_are_those_published() {
        let leaves: Vec<_> = LEAVES.iter().map(|leaf| leaf_hash(leaf)).collect();
        for (count, expected) in ROOTS.iter().enumerate() {
            assert_eq!(hex(&root(&leaves[..count])), *expected, "{count} leaves");
        }
    }

    /// If this fails, a stream that is in a checkpoint can't be proven, or one that is not can.
    #[test]
    fn paths_lead_to_the_root_and_nowhere_else() {
        let leaves: Vec<_> = (0..33u8).map(|number| leaf_hash(&[number])).collect();
        for count in 1..=leaves.len() {
            let tree = &leaves[..count];
            let root = root(tree);
            for index in 0..count {
                let path = inclusion_path(tree, index);
                let found = |leaf: &Digest, index: usize, count: usize, path: &[Digest]| {
                    root_of_path(leaf, index as u64, count as u64, path) == Some(root)
                };
                assert!(
                    found(&tree[index], index, count, &path),
                    "{index} of {count}"
                );
                assert!(!found(&leaf_hash(b"other"), index, count, &path));
                assert!(!found(&tree[index], index + 1, count, &path));
                assert!(!found(&tree[index], index, index, &path));
                let longer = [path.clone(), vec![root]].concat();
                assert!(!found(&tree[index], index, count, &longer));
                for broken in 0..path.len() {
                    let mut path = path.clone();
                    path[broken][7] ^= 1;
                    assert!(!found(&tree[index], index, count, &path));
                    path.remove(broken);
                    assert!(!found(&tree[index], index, count, &path));
                }
            }
        }
    }
}
