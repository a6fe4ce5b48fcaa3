"""Reads an archive with nothing but docs/ledger-format.md and Python's own library, and proves it.

    python3 second_reader.py FILE

Prints one line a stream, and ends with 1 where anything does not hold.
"""

import hashlib
import json
import struct
import sys
import tarfile


def record_hash(stream, seq, before, body):
    name = stream.encode()
    parts = [b"baytrim record", b"\x01", struct.pack("<I", len(name)), name, struct.pack("<Q", seq)]
    parts += [before, struct.pack("<Q", len(body)), body]
    return hashlib.sha256(b"".join(parts)).digest()


def read(path):
    with tarfile.open(path, "r:") as tar:
        members = iter(tar.getmembers())

        def entry(name):
            member = next(members)
            assert member.name == name, f"{member.name} stands where {name} belongs"
            return tar.extractfile(member).read(), member.offset

        manifest = json.loads(entry("manifest.json")[0])
        assert manifest["form"] == "baytrim archive 1"
        for blob in manifest["blobs"]:
            content, _ = entry("blobs/" + blob["sha256"])
            assert hashlib.sha256(content).hexdigest() == blob["sha256"]
            assert len(content) == blob["bytes"]
        for stream in manifest["streams"]:
            head = bytes(32)
            for seq in range(stream["record_count"]):
                body, _ = entry(f"records/{stream['name']}/{seq:012}")
                head = record_hash(stream["name"], seq, head, body)
            assert head.hex() == stream["head"], stream["name"]
            print(stream["name"], stream["record_count"], stream["head"])
        end, offset = entry("end.json")
        assert next(members, None) is None
    with open(path, "rb") as file:
        before = file.read(offset)
    assert hashlib.sha256(before).hexdigest() == json.loads(end)["sha256"]


if __name__ == "__main__":
    try:
        read(sys.argv[1])
    except (AssertionError, StopIteration, tarfile.TarError, KeyError, ValueError) as fault:
        sys.exit(f"this archive does not hold: {fault!r}")
