#!/usr/bin/env python3
"""Checks a checkpoint of a ledger, or a proof that it signed a job, written from docs/ledger-format.md alone.

    verify_checkpoint.py FILE KEY [ARCHIVE]

FILE is what `baytrim ledger checkpoint` or `baytrim ledger proof` wrote; KEY is the public key, as text. ARCHIVE is
what `baytrim job export` wrote: its records must be those that the proof names. Needs Python 3.9 and the package
`cryptography`; asks no server. Exit code 1 where something does not hold.
"""

import base64
import hashlib
import json
import sys
import tarfile

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey


class DoesNotHold(Exception):
    """Says what is wrong."""


def number(value, size):
    return value.to_bytes(size, "little")


def read_key(text):
    """Returns name, identifier and public key of `NAME+IDENTIFIER+KEY`."""
    name, identifier, rest = text.strip().split("+", 2)
    key = base64.b64decode(rest, validate=True)
    expected = hashlib.sha256(name.encode() + b"\n" + key).digest()[:4]
    if key[:1] != b"\x01" or len(key) != 33 or bytes.fromhex(identifier) != expected:
        raise DoesNotHold("this is no public key")
    return name, expected, Ed25519PublicKey.from_public_bytes(key[1:])


def open_note(note, key):
    """Returns the text of a signed note whose signature by `key` is good."""
    name, identifier, public = key
    text, _, signatures = note.rpartition("\n\n")
    text += "\n"
    for line in signatures.splitlines():
        mark, signer, signature = line.split(" ")
        signature = base64.b64decode(signature, validate=True)
        if (mark, signer, signature[:4]) == ("\u2014", name, identifier):
            try:
                public.verify(signature[4:], text.encode())
            except InvalidSignature:
                raise DoesNotHold("the signature does not fit the text") from None
            return text
    raise DoesNotHold("no signature is by this key")


def read_checkpoint(text):
    """Returns the fields of a checkpoint."""
    first, *lines = text.splitlines()
    fields = dict(line.split(" ", 1) for line in lines)
    if first != "baytrim checkpoint 1" or list(fields) != ["number", "time", "streams", "records", "root"]:
        raise DoesNotHold("this is no checkpoint")
    return fields


def root_of_path(leaf, index, count, path):
    """RFC 9162, section 2.1.3.2."""
    if index >= count:
        raise DoesNotHold("the leaf is outside of the tree")
    place, last, found = index, count - 1, leaf
    for beside in path:
        if last == 0:
            raise DoesNotHold("the path is too long")
        if place & 1 or place == last:
            found = hashlib.sha256(b"\x01" + beside + found).digest()
            while not place & 1 and place:
                place, last = place >> 1, last >> 1
        else:
            found = hashlib.sha256(b"\x01" + found + beside).digest()
        place, last = place >> 1, last >> 1
    if last:
        raise DoesNotHold("the path is too short")
    return found


def check_proof(proof, key):
    """Returns the checkpoint of a proof that holds."""
    if proof["form"] != "baytrim inclusion proof 1":
        raise DoesNotHold("this is no inclusion proof")
    checkpoint = read_checkpoint(open_note(proof["checkpoint"], key))
    stream = proof["stream"].encode()
    content = number(len(stream), 4) + stream + number(proof["record_count"], 8) + bytes.fromhex(proof["head"])
    leaf = hashlib.sha256(b"\x00" + content).digest()
    path = [bytes.fromhex(node) for node in proof["path"]]
    root = root_of_path(leaf, proof["leaf_index"], int(checkpoint["streams"]), path)
    if root != base64.b64decode(checkpoint["root"], validate=True):
        raise DoesNotHold(f"{proof['stream']} is not as the checkpoint signed it")
    return checkpoint


def check_archive(path, proof):
    """Chains the records of an exported job up to the count that the proof names."""
    stream, head = proof["stream"].encode(), bytes(32)
    with tarfile.open(path) as archive:
        for seq in range(proof["record_count"]):
            try:
                entry = archive.extractfile(f"records/{proof['stream']}/{seq:012}")
            except KeyError:
                raise DoesNotHold(f"the archive has no record {seq}") from None
            body = entry.read()
            head = hashlib.sha256(
                b"baytrim record\x01" + number(len(stream), 4) + stream + number(seq, 8) + head + number(len(body), 8) + body
            ).digest()
    if head.hex() != proof["head"]:
        raise DoesNotHold("the archive has other records than those that were signed")


def main(arguments):
    file, key, *archives = arguments
    with open(file, encoding="utf-8", newline="") as opened:
        content = opened.read()
    key = read_key(key)
    if not content.startswith("{"):
        checkpoint = read_checkpoint(open_note(content, key))
        return f"checkpoint {checkpoint['number']} of {checkpoint['time']} holds: {checkpoint['records']} records"
    proof = json.loads(content)
    checkpoint = check_proof(proof, key)
    for archive in archives:
        check_archive(archive, proof)
    said = f"checkpoint {checkpoint['number']} of {checkpoint['time']} signed {proof['stream']} with {proof['record_count']} records"
    return said + (", and the archive has them" if archives else "")


if __name__ == "__main__":
    if len(sys.argv) not in (3, 4):
        sys.exit(__doc__)
    try:
        print(main(sys.argv[1:]))
    except (DoesNotHold, ValueError, KeyError) as problem:
        sys.exit(f"it does NOT hold: {problem}")
