"""A shop of its own for each test: the real daemon over a fresh directory, and scripts beside it."""

import json
import os
import pathlib
import queue
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time

ROOT = pathlib.Path(__file__).resolve().parents[2]
BIN = pathlib.Path(os.environ["BAYTRIM_BIN"])
DEMO = ROOT / "demo-data"
LOGS = ("pull-1-holds.csv", "pull-2-sweeps.csv", "pull-3-ride.csv")
EXAMPLES = ROOT / "docs/examples"
SCRIPT = EXAMPLES / "python/submit_after_pull.py"
PATIENCE_S = 60


class Shop:
    """A daemon over a directory that outlives it, the invented job, and a folder of logs."""

    def __init__(self) -> None:
        self.home = pathlib.Path(tempfile.mkdtemp(prefix="baytrim-python-"))
        self.folder = self.home / "logs"
        self.folder.mkdir()
        self.address = "127.0.0.1:0"
        self.daemon = None
        self.start()
        self.command("job", "open", str(DEMO / "job.toml"))

    def start(self, **settings: str) -> None:
        """Starts the daemon; `settings` are keys of its configuration, dots as two underscores."""
        environment = {f"BAYTRIM_{key.upper().replace('__', '_')}": value for key, value in settings.items()}
        words = [BIN / "baytrimd", "serve", "--data", self.home / "data", "--listen", self.address]
        self.daemon = subprocess.Popen([*words, "--log-level", "error"], stdout=subprocess.PIPE, text=True, env=os.environ | environment)
        for line in self.daemon.stdout:
            if found := re.fullmatch(r"listening on http://(\S+)\n", line):
                self.address = found[1]
                return
        raise AssertionError(f"the daemon ended with {self.daemon.wait()}")

    def kill(self) -> None:
        self.daemon.send_signal(signal.SIGKILL)
        self.daemon.wait()
        self.daemon.stdout.close()

    def close(self) -> None:
        self.kill()
        shutil.rmtree(self.home)

    def token(self) -> list:
        """Returns the options that show a token, where the daemon made one."""
        file = self.home / "data" / "owner.token"
        return ["--token-file", file] if file.exists() else []

    def command(self, *words: str):
        words = [BIN / "baytrim", "--server", f"http://{self.address}", *self.token(), "--json", *words]
        said = subprocess.run(words, capture_output=True, text=True, check=True, timeout=PATIENCE_S)
        return json.loads(said.stdout)

    def kinds(self) -> list[str]:
        """Returns the kinds of the job's records, oldest first."""
        return [record["kind"] for record in self.command("ledger", "log", "plover-690")["records"]]

    def script_words(self, *more: str) -> list:
        words = [sys.executable, SCRIPT, "--server", self.address, "--job", "plover-690", "--bay", "east"]
        return [*words, "--folder", self.folder, "--still-s", "0.2", *self.token(), *more]

    def run_once(self) -> subprocess.CompletedProcess:
        words = self.script_words("--once")
        return subprocess.run(words, capture_output=True, text=True, check=False, timeout=PATIENCE_S)

    def put(self, *names: str) -> None:
        for name in names:
            shutil.copy(DEMO / name, self.folder)


class Watching:
    """A script as it goes on, and what it says."""

    def __init__(self, words: list) -> None:
        self.process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
        self.lines = queue.Queue()
        threading.Thread(target=self.read, daemon=True).start()

    def read(self) -> None:
        for line in self.process.stdout:
            self.lines.put(line.rstrip("\n"))

    def until(self, pattern: str) -> str:
        """Returns the next line that `pattern` is found in."""
        heard, end = [], time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            try:
                heard.append(self.lines.get(timeout=1))
            except queue.Empty:
                continue
            if re.search(pattern, heard[-1]):
                return heard[-1]
        raise AssertionError(f"never said {pattern!r}, but {heard}")

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        self.process.stdout.close()
