//! Signed notes (the open form of that name in the C2SP collection): a text, an empty line, a signature a line.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;

use crate::error::CheckpointError;
use crate::key::{Signer, Verifier};

/// What a signature's line begins with: an em dash and a space.
const MARK: &str = "\u{2014} ";
/// Longest note, in bytes: a checkpoint has a few hundred.
const BYTES_MAX: usize = 64 << 10;

/// Returns the note of `text`, which ends with a line feed.
pub(crate) fn seal(text: &str, signer: &Signer) -> String {
    debug_assert!(text.ends_with('\n'));
    let verifier = signer.verifier();
    let signature = [&verifier.id()[..], &signer.sign(text.as_bytes())].concat();
    let (name, signature) = (verifier.name(), BASE64.encode(signature));
    format!("{text}\n{MARK}{name} {signature}\n")
}

/// Returns the text of a note once its signature by `verifier` is found good; others' are passed over.
///
/// # Errors
/// When it is no note, has no signature by that key, or one that is wrong.
pub fn open<'a>(note: &'a str, verifier: &Verifier) -> Result<&'a str, CheckpointError> {
    let mut others = Vec::new();
    let (text, signatures) = parts(note)?;
    for (name, signature) in signatures {
        let (id, signature) = signature.split_at(4);
        if name == verifier.name() && id == verifier.id() {
            let is_good = verifier.is_signed(text.as_bytes(), signature);
            return is_good.then_some(text).ok_or(CheckpointError::Signature);
        }
        let id = id.iter().fold(0, |id, &byte| id << 8 | u32::from(byte));
        others.push(format!("{name}+{id:08x}"));
    }
    Err(CheckpointError::OtherKey {
        key: verifier.label(),
        found: others.join(", "),
    })
}

/// The name of a key, and the key's four bytes of identifier with the signature after them.
type Signature<'a> = (&'a str, Vec<u8>);

/// Returns the text and the signatures, each with its key's name and four bytes of identifier before it.
pub(crate) fn parts(note: &str) -> Result<(&str, Vec<Signature<'_>>), CheckpointError> {
    let refuse = |problem: &str| CheckpointError::form("signed note", problem);
    if note.len() > BYTES_MAX {
        return Err(refuse("it is too long"));
    }
    let is_odd = |letter: char| letter.is_control() && letter != '\n';
    if note.contains(is_odd) {
        return Err(refuse("it has control characters"));
    }
    let end = note
        .rfind("\n\n")
        .ok_or_else(|| refuse("it has no signature"))?;
    let (text, tail) = (&note[..=end], &note[end + 2..]);
    let tail = tail.strip_suffix('\n');
    let tail = tail.ok_or_else(|| refuse("its last line does not end"))?;
    let line = |line: &'static str| refuse(line);
    let mut signatures = Vec::new();
    for found in tail.split('\n') {
        let found = found
            .strip_prefix(MARK)
            .and_then(|rest| rest.split_once(' '));
        let (name, signature) = found.ok_or_else(|| line("a line is no signature"))?;
        let signature = BASE64
            .decode(signature)
            .ok()
            .filter(|bytes| bytes.len() > 4);
        let signature = signature.ok_or_else(|| line("a signature can't be read"))?;
        signatures.push((name, signature));
    }
    Ok((text, signatures))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example in the documentation of the Go project's package for signed notes; written down from memory,
    /// which the signature bears out.
    const KEY: &str = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW";
    const NOTE: &str = "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n\n— PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM=\n";

    /// If this fails, our notes are no signed notes, and other readers of the open form can't check them.
    #[test]
    fn opens_the_published_example() {
        let key = KEY.parse().expect("a key");
        let text = open(NOTE, &key).expect("a good signature");
        assert!(text.ends_with("what your problem is.\n"));
    }

    /// If this fails, a changed note is believed, or one that somebody else signed.
    #[test]
    fn any_flipped_byte_is_found() {
        let signer = Signer::new("shop", &[7; 32]);
        let note = seal("one\ntwo\n", &signer);
        assert_eq!(open(&note, signer.verifier()), Ok("one\ntwo\n"));
        for at in 0..note.len() {
            for bit in 0..8 {
                let mut broken = note.clone().into_bytes();
                broken[at] ^= 1 << bit;
                let Ok(broken) = String::from_utf8(broken) else {
                    continue;
                };
                assert!(
                    open(&broken, signer.verifier()).is_err(),
                    "byte {at}: {broken}"
                );
            }
            assert!(
                note.get(..at)
                    .is_none_or(|cut| open(cut, signer.verifier()).is_err())
            );
        }
        let other = Signer::new("shop", &[8; 32]);
        let refused = open(&note, other.verifier());
        assert!(
            matches!(refused, Err(CheckpointError::OtherKey { .. })),
            "{refused:?}"
        );
    }
}
