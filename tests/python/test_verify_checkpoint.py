"""The checker of checkpoints, written from the page of the format alone, over files of the real daemon."""

import json
import subprocess
import sys
import unittest

from shop import EXAMPLES, LOGS, PATIENCE_S, Shop

CHECKER = EXAMPLES / "checkpoint/verify_checkpoint.py"


class VerifyCheckpoint(unittest.TestCase):
    def setUp(self) -> None:
        self.shop = Shop()
        self.addCleanup(self.shop.close)
        self.shop.put(*LOGS[:1])
        self.assertEqual(self.shop.run_once().returncode, 0)
        self.file = self.shop.home / "checkpoint.txt"
        self.proof = self.shop.home / "proof.json"
        self.archive = self.shop.home / "job.tar"
        made = self.shop.command("ledger", "checkpoint", "--output", str(self.file))
        self.key = made["key"]
        self.shop.command("ledger", "proof", "plover-690", "--output", str(self.proof))
        self.shop.command("job", "export", "plover-690", "--output", str(self.archive))

    def check(self, *words: object) -> subprocess.CompletedProcess:
        words = [sys.executable, CHECKER, *words]
        return subprocess.run(words, capture_output=True, text=True, check=False, timeout=PATIENCE_S)

    def test_what_the_daemon_signed_holds_for_a_stranger(self) -> None:
        """Broken, the page of the format says something else than what the daemon writes."""
        said = self.check(self.file, self.key)
        self.assertEqual(said.returncode, 0, said.stderr)
        self.assertRegex(said.stdout, r"^checkpoint 1 of \S+ holds: \d+ records$")
        said = self.check(self.proof, self.key, self.archive)
        self.assertEqual(said.returncode, 0, said.stderr)
        self.assertRegex(said.stdout, r"signed job/plover-690 with \d+ records, and the archive has them$")

    def test_what_was_changed_does_not_hold(self) -> None:
        """Broken, a stranger would take a forged file for what the shop signed."""
        content = self.file.read_text(encoding="utf-8")
        other = self.shop.home / "other.txt"
        for old, new in (("number 1", "number 2"), ("records ", "records 9"), ("baytrim checkpoint 1", "baytrim checkpoint 2")):
            self.assertIn(old, content)
            other.write_text(content.replace(old, new, 1), encoding="utf-8")
            self.assertEqual(self.check(other, self.key).returncode, 1, old)
        proof = json.loads(self.proof.read_text(encoding="utf-8"))
        for change in ({"record_count": proof["record_count"] + 1}, {"head": "00" * 32}, {"leaf_index": proof["leaf_index"] + 1}):
            other.write_text(json.dumps(proof | change), encoding="utf-8")
            self.assertEqual(self.check(other, self.key).returncode, 1, change)
        archive = self.archive.read_bytes()
        at = archive.index(b"plover-690", archive.index(b"000000000000"))
        broken = self.shop.home / "broken.tar"
        broken.write_bytes(archive[:at] + b"q" + archive[at + 1 :])
        self.assertEqual(self.check(self.proof, self.key, broken).returncode, 1)


if __name__ == "__main__":
    unittest.main()
