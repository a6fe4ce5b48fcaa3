#!/usr/bin/env python3
"""Watches a folder, submits every finished log in it to a job, and prints the proposal that comes of it.

    pip install -r requirements.txt
    python make_stubs.py
    python submit_after_pull.py --job plover-690 --bay east --folder /logs/plover-690

Nothing is kept on this side. A log is sent under a request id made from its own bytes, and a proposal is asked
for under one made from the pulls that it rests on: whatever breaks in between, the same request is sent again
and recorded once at the most. Start it again, as often as you like: what is in is left alone.

A proposal is only a proposal. Nobody's table changes until a reviewer approves it, and what was approved is to be
driven with care, with lambda and exhaust temperature watched.
"""

import argparse
import hashlib
import pathlib
import sys
import time

import grpc
from google.rpc import error_details_pb2
from grpc_status import rpc_status

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent / "stubs"))
try:
    from baytrim.v1 import corrections_pb2, corrections_pb2_grpc, pulls_pb2, pulls_pb2_grpc
    from baytrim.v1 import tables_pb2, tables_pb2_grpc
except ImportError:
    sys.exit("the stubs are missing: run `python make_stubs.py` first")

CHUNK_BYTES = 512 * 1024  # The daemon takes 1 MiB at the most.
UPLOAD_DEADLINE_S = 600
COMPUTE_DEADLINE_S = 120
READ_DEADLINE_S = 30
PAUSES_S = (0.5, 1, 2, 5, 10)  # Between tries while no daemon answers; the last one goes on for ever.
UNFINISHED = (".tmp", ".part", ".partial")
# No answer came, or somebody else was first: with the same request id it is safe to ask again.
AGAIN = (grpc.StatusCode.UNAVAILABLE, grpc.StatusCode.DEADLINE_EXCEEDED, grpc.StatusCode.ABORTED)


def say(line: str) -> None:
    """Prints one line at once, also into a pipe."""
    print(line, flush=True)


def reason_of(error: grpc.RpcError) -> str:
    """Returns the reason in a refusal, `LOG_KNOWN` and the like (docs/errors.md); empty where there is none."""
    status = rpc_status.from_call(error)
    for detail in status.details if status else ():
        info = error_details_pb2.ErrorInfo()
        if detail.Is(info.DESCRIPTOR) and detail.Unpack(info):
            return info.reason
    return ""


def name_of(what: str, asked: str) -> str:
    """Returns the request id of what is asked: always the same for the same, within the 64 bytes of one."""
    return f"{what}-{hashlib.sha256(asked.encode()).hexdigest()[:48]}"


class Daemon:
    """One daemon, one job, and who asks."""

    def __init__(self, options: argparse.Namespace) -> None:
        self.job = f"jobs/{options.job}"
        self.bay = options.bay
        self.revision = options.revision
        self.channel_map = options.channel_map.read_text("utf-8") if options.channel_map else ""
        self.metadata = [("baytrim-actor", options.actor)] if options.actor else []
        if options.token_file:
            token = options.token_file.read_text("ascii").strip()
            self.metadata.append(("authorization", f"Bearer {token}"))
        settings = [("grpc.max_reconnect_backoff_ms", 2000), ("grpc.keepalive_time_ms", 20_000)]
        if options.ca_file:
            trusted = grpc.ssl_channel_credentials(options.ca_file.read_bytes())
            channel = grpc.secure_channel(options.server, trusted, options=settings)
        else:
            channel = grpc.insecure_channel(options.server, options=settings)
        self.pulls = pulls_pb2_grpc.PullServiceStub(channel)
        self.corrections = corrections_pb2_grpc.CorrectionServiceStub(channel)
        self.tables = tables_pb2_grpc.TableServiceStub(channel)

    def ask(self, method, make_request, deadline_s: float):
        """Asks until somebody answers; what `make_request` returns must be the same request every time."""
        for attempt in range(sys.maxsize):
            try:
                return method(make_request(), timeout=deadline_s, metadata=self.metadata)
            except grpc.RpcError as error:
                if error.code() not in AGAIN and reason_of(error) != "BUSY":
                    raise
                pause_s = PAUSES_S[min(attempt, len(PAUSES_S) - 1)]
                say(f"no answer yet ({error.code().name}), the same again in {pause_s} s")
                time.sleep(pause_s)

    def known_logs(self) -> dict[str, str]:
        """Returns the pulls of the job by the SHA-256 of their logs."""
        known, token = {}, ""
        while True:
            page = pulls_pb2.ListPullsRequest(parent=self.job, page_size=200, page_token=token)
            answer = self.ask(self.pulls.ListPulls, lambda page=page: page, READ_DEADLINE_S)
            known.update((pull.log_sha256, pull.name) for pull in answer.pulls)
            token = answer.next_page_token
            if not token:
                return known

    def submit(self, name: str, log: bytes, digest: str):
        """Uploads one log; returns its pull."""
        # The request id names what is asked: these bytes, for this job, from this bay, read this way.
        asked = "\n".join((self.job, self.bay, self.revision, self.channel_map, digest))
        request_id = name_of("log", asked)

        def messages():
            what = pulls_pb2.OpenUpload(
                parent=self.job,
                bay=self.bay,
                revision=self.revision,
                source_name=name,
                channel_map=self.channel_map,
                request_id=request_id,
            )
            yield pulls_pb2.UploadPullRequest(open=what)
            for start in range(0, len(log), CHUNK_BYTES):
                yield pulls_pb2.UploadPullRequest(chunk=log[start : start + CHUNK_BYTES])

        return self.ask(self.pulls.UploadPull, messages, UPLOAD_DEADLINE_S).pull

    def propose(self):
        """Has a proposal computed from all pulls of the job; returns it."""
        in_force = tables_pb2.GetRevisionRequest(name=f"{self.job}/revisions/-")
        revision = self.ask(self.tables.GetRevision, lambda: in_force, READ_DEADLINE_S).revision.name
        # The same pulls against the same table are the same proposal, however often it is asked for.
        rests_on = "\n".join([revision, *sorted(self.known_logs().values())])
        request = corrections_pb2.CreateProposalRequest(
            parent=self.job,
            request_id=name_of("proposal", rests_on),
        )
        return self.ask(self.corrections.CreateProposal, lambda: request, COMPUTE_DEADLINE_S).proposal


class Folder:
    """A folder of logs; a log counts as finished once it has stood still for a while."""

    def __init__(self, path: pathlib.Path, pattern: str, still_s: float) -> None:
        self.path, self.pattern, self.still_s = path, pattern, still_s
        self.seen = {}  # path: (size and time of change, since when they stand)
        self.done = {}  # path: size and time of change when it was dealt with

    def finished(self) -> tuple[list[pathlib.Path], bool]:
        """Returns the logs that are finished and new, and whether others are still being written."""
        ready, waiting = [], False
        for path in sorted(self.path.glob(self.pattern)):
            if path.name.startswith(".") or path.suffix in UNFINISHED or not path.is_file():
                continue
            stat = path.stat()
            mark = (stat.st_size, stat.st_mtime_ns)
            if self.done.get(path) == mark:
                continue
            now = time.monotonic()
            before, since = self.seen.get(path, (None, now))
            if before != mark:
                since = now
            self.seen[path] = (mark, since)
            if stat.st_size > 0 and now - since >= self.still_s:
                ready.append(path)
            else:
                waiting = waiting or stat.st_size > 0
        return ready, waiting

    def mark_done(self, path: pathlib.Path) -> None:
        """Remembers that a log was dealt with, until it changes."""
        self.done[path] = self.seen[path][0]


def take(daemon: Daemon, path: pathlib.Path, known: dict[str, str]) -> bool:
    """Submits one log unless the job has it; returns whether the job has it now."""
    log = path.read_bytes()
    digest = hashlib.sha256(log).hexdigest()
    if digest in known:
        say(f"{path.name}: known already, {known[digest]}")
        return True
    try:
        pull = daemon.submit(path.name, log, digest)
    except grpc.RpcError as error:
        if reason_of(error) == "LOG_KNOWN":
            say(f"{path.name}: known already, {error.details()}")
            return True
        say(f"{path.name}: not taken, {reason_of(error) or error.code().name}: {error.details()}")
        return False
    say(f"{path.name}: recorded as {pull.name}, {pull.accepted_s:.0f} of {pull.duration_s:.0f} s accepted")
    for warning in pull.warnings:
        say(f"{path.name}: warning {warning.code}: {warning.message}")
    return True


def show(proposal) -> None:
    """Prints a proposal: what it rests on, every node that changes, and the cautions."""
    say(f"proposal {proposal.name} against {proposal.base_revision}, from {', '.join(proposal.pulls)}")
    say(f"off target by {proposal.fit.off_target_percent:.1f} %, {proposal.change_count} nodes change")
    if proposal.done.node_count:
        say(f"chance that all is within {proposal.done.tolerance_percent:g} % already: {proposal.done.probability:.2f}")
    changes = [node for node in proposal.nodes if node.after != node.before]
    if changes:
        say(f"{'rpm':>7} {'plate %':>8} {'before':>9} {'after':>9} {'fuel %':>7} {'± %':>5}  held back by")
    for node in changes:
        say(
            f"{node.rpm:7g} {node.plate_percent:8g} {node.before:9.3f} {node.after:9.3f} "
            f"{node.proposed_percent:+7.2f} {node.standard_error_percent:5.2f}  {', '.join(node.limited_by)}".rstrip()
        )
    for caution in proposal.cautions:
        say(f"caution: {caution}")


def round_of(daemon: Daemon, folder: Folder, paths: list[pathlib.Path]) -> bool:
    """Submits what is finished and prints the proposal; returns whether every log was taken."""
    known = daemon.known_logs()
    taken = []
    for path in paths:
        taken.append(take(daemon, path, known))
        folder.mark_done(path)
    if any(taken):
        try:
            show(daemon.propose())
        except grpc.RpcError as error:
            say(f"no proposal, {reason_of(error) or error.code().name}: {error.details()}")
            return False
    return all(taken)


def read_options() -> argparse.Namespace:
    file = {"type": pathlib.Path, "metavar": "FILE"}
    parser = argparse.ArgumentParser(description="Submits finished logs of a folder and prints the proposal.")
    parser.add_argument("--job", required=True, help="the job's name, for example plover-690")
    parser.add_argument("--bay", required=True, help="the bay, as the job names it")
    parser.add_argument("--folder", required=True, type=pathlib.Path, help="where the logger writes")
    parser.add_argument("--pattern", default="*", help="which files are logs [*]")
    parser.add_argument("--server", default="127.0.0.1:7411", help="HOST:PORT of the daemon [127.0.0.1:7411]")
    parser.add_argument("--revision", default="", help="table revision loaded in the vehicle [the one in force]")
    parser.add_argument("--channel-map", help="channel map to read the logs with [the job's or the bay's]", **file)
    parser.add_argument("--token-file", help="file with the token to show; never the token itself", **file)
    parser.add_argument("--ca-file", help="certificate authority, PEM; the connection is then TLS", **file)
    parser.add_argument("--as", dest="actor", default="", metavar="NAME", help="who asks, for the record")
    parser.add_argument("--still-s", type=float, default=5.0, help="seconds a finished log has not grown [5]")
    parser.add_argument("--once", action="store_true", help="end once every log that is there was dealt with")
    return parser.parse_args()


def main() -> int:
    options = read_options()
    if not options.folder.is_dir():
        sys.exit(f"{options.folder} is no folder: name the one that the logger writes to")
    daemon = Daemon(options)
    folder = Folder(options.folder, options.pattern, options.still_s)
    well = True
    while True:
        ready, waiting = folder.finished()
        if ready:
            well = round_of(daemon, folder, ready) and well
        elif options.once and not waiting:
            return 0 if well else 1
        time.sleep(min(1.0, max(0.05, options.still_s / 4)))


if __name__ == "__main__":
    try:
        sys.exit(main())
    except grpc.RpcError as failure:
        sys.exit(f"refused, {reason_of(failure) or failure.code().name}: {failure.details()}")
    except KeyboardInterrupt:
        sys.exit(130)
