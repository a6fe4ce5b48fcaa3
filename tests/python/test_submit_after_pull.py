"""The script that submits logs, over the real daemon."""

import re
import subprocess
import time
import unittest

from shop import DEMO, LOGS, PATIENCE_S, Shop, Watching


class SubmitAfterPull(unittest.TestCase):
    def setUp(self) -> None:
        self.shop = Shop()
        self.addCleanup(self.shop.close)

    def watch(self) -> Watching:
        watching = Watching(self.shop.script_words())
        self.addCleanup(watching.close)
        return watching

    def assert_whole(self) -> None:
        kinds = self.shop.kinds()
        self.assertEqual(kinds.count("pull_finished"), len(LOGS), kinds)
        pulls = self.shop.command("pull", "list", "plover-690")["pulls"]
        self.assertEqual(sorted(pull["source_name"] for pull in pulls), sorted(LOGS))

    def test_logs_become_pulls_and_a_proposal_once(self) -> None:
        """Broken, a folder that is gone through twice would count its logs twice: twice the proof."""
        self.shop.put(*LOGS)
        first = self.shop.run_once()
        self.assertEqual(first.returncode, 0, first.stdout + first.stderr)
        for number, name in enumerate(LOGS, 1):
            self.assertIn(f"{name}: recorded as jobs/plover-690/pulls/p{number}, ", first.stdout)
        self.assertIn("proposal jobs/plover-690/proposals/c1 against r0, from p1, p2, p3\n", first.stdout)
        self.assertIn("\ncaution: ", first.stdout)
        proposal = self.shop.command("proposal", "show", "plover-690/c1")
        changed = [node for node in proposal["nodes"] if node["after"] != node["before"]]
        rows = re.findall(r"^ *(\d+) +([\d.]+) +([\d.]+) +([\d.]+) +([+-][\d.]+) ", first.stdout, re.MULTILINE)
        self.assertGreater(len(rows), 5)
        self.assertEqual(
            [(float(row[0]), float(row[1]), float(row[3])) for row in rows],
            [(node["rpm"], node["plate_percent"], round(node["after"], 3)) for node in changed],
        )
        before = self.shop.kinds()
        second = self.shop.run_once()
        self.assertEqual(second.returncode, 0, second.stdout + second.stderr)
        self.assertEqual(second.stdout.count("known already"), len(LOGS))
        self.assertIn("proposal jobs/plover-690/proposals/c1 against r0", second.stdout)
        self.assertEqual(self.shop.kinds(), before)

    def test_a_watched_folder_outlives_a_killed_daemon(self) -> None:
        """Broken, a log that comes while the daemon is away would be lost, or the script would end."""
        watching = self.watch()
        self.shop.put(LOGS[0])
        watching.until(r"proposals/c1 against r0, from p1$")
        self.shop.kill()
        self.shop.put(LOGS[1])
        watching.until(r"no answer yet \(UNAVAILABLE\)")
        self.shop.start()
        watching.until(r"pull-2-sweeps\.csv: recorded as jobs/plover-690/pulls/p2")
        watching.until(r"proposals/c2 against r0, from p1, p2$")
        self.shop.put(LOGS[2])
        watching.until(r"proposals/c3 against r0, from p1, p2, p3$")
        self.assert_whole()

    def test_a_daemon_killed_at_any_moment_loses_and_doubles_nothing(self) -> None:
        """Broken, a daemon that dies between the append and the answer would leave a log lost or counted twice."""
        watching = self.watch()
        self.shop.put(*LOGS)
        for pause_s in (0.3, 0.5, 0.7, 0.9, 1.1):
            time.sleep(pause_s)
            self.shop.kill()
            self.shop.start()
        watching.until(r"from p1, p2, p3$")
        self.assert_whole()
        self.assertEqual(self.shop.kinds().count("proposal_made"), 1)
        self.assertTrue(self.shop.command("ledger", "verify")["intact"])

    def test_a_log_that_still_grows_waits(self) -> None:
        """Broken, half a log would be submitted while the logger writes the other half."""
        whole = (DEMO / LOGS[0]).read_bytes()
        watching = self.watch()
        half = len(whole) // 2
        path = self.shop.folder / LOGS[0]
        with path.open("wb") as log:
            for part in range(6):
                log.write(whole[half * part // 5 : half * (part + 1) // 5] if part < 5 else whole[half:])
                log.flush()
                time.sleep(0.1)
        watching.until(r"proposals/c1 against r0, from p1$")
        pull = self.shop.command("pull", "show", "plover-690/p1")
        self.assertEqual(pull["sample_count"], whole.count(b"\n") - 1)

    def test_a_refused_log_is_told_and_stops_nobody(self) -> None:
        """Broken, one unreadable file would hide its reason or keep the others from being submitted."""
        (self.shop.folder / "a-notes.csv").write_text("not,a\nlog,at all\n")
        self.shop.put(LOGS[0])
        said = self.shop.run_once()
        self.assertEqual(said.returncode, 1)
        self.assertRegex(said.stdout, r"a-notes\.csv: not taken, [A-Z_]+: \S")
        self.assertIn("pull-1-holds.csv: recorded as jobs/plover-690/pulls/p1", said.stdout)
        self.assertIn("proposals/c1 against r0, from p1\n", said.stdout)

    def test_an_unknown_job_is_refused_in_one_line(self) -> None:
        """Broken, a wrong name would end in a stack trace or be tried for ever."""
        self.shop.put(LOGS[0])
        words = [word if word != "plover-690" else "plover-691" for word in self.shop.script_words("--once")]
        said = subprocess.run(words, capture_output=True, text=True, check=False, timeout=PATIENCE_S)
        self.assertEqual(said.returncode, 1)
        self.assertRegex(said.stderr, r"\Arefused, JOB_UNKNOWN: \S.*\n\Z")


if __name__ == "__main__":
    unittest.main()
