#!/usr/bin/env python3
"""Receives the daemon's messages, checks that they are the daemon's, and prints a line for each.

    pip install standardwebhooks
    python receive_messages.py --secret-file /var/lib/baytrim/webhook.secret --listen 127.0.0.1:9000

with `webhook.url = "http://127.0.0.1:9000/"` in the daemon's configuration. On another machine put it behind
something that speaks TLS. Where the line is printed, call what your shop uses: a message to a phone, a lamp.

A message may come twice, under the same id: it is printed once.
"""

import argparse
import collections
import http.server
import json
import pathlib

from standardwebhooks.webhooks import Webhook, WebhookVerificationError

BODY_BYTES_MAX = 64 * 1024
IDS_KEPT = 1000


def line_of(message: dict) -> str:
    """Returns what a person wants to read."""
    data = message["data"]
    if message["type"] == "proposal.waiting":
        off = data["off_target_percent"]
        told = "" if off is None else f", {off:.1f} % off target"
        return f"{data['proposal']} waits: {data['change_count']} nodes{told}"
    return f"{data['proposal']} waits no longer: {data['state']}"


def handler(webhook: Webhook) -> type:
    """Returns the handler that takes messages signed by the secret of `webhook`."""
    seen: collections.OrderedDict = collections.OrderedDict()

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_POST(self) -> None:  # noqa: N802, the name is the library's
            length = int(self.headers.get("content-length", 0))
            if length > BODY_BYTES_MAX:
                return self.answer(413)
            body = self.rfile.read(length)
            try:
                webhook.verify(body, dict(self.headers))
            except WebhookVerificationError:
                return self.answer(401)
            name = self.headers["webhook-id"]
            if name not in seen:
                seen[name] = True
                if len(seen) > IDS_KEPT:
                    seen.popitem(last=False)
                print(line_of(json.loads(body)), flush=True)
            return self.answer(204)

        def answer(self, status: int) -> None:
            self.send_response(status)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            """Keeps the terminal to the messages."""

    return Handler


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--secret-file", type=pathlib.Path, required=True, help="the daemon's webhook.secret")
    parser.add_argument("--listen", default="127.0.0.1:9000", help="address and port (default: %(default)s)")
    args = parser.parse_args()
    host, _, port = args.listen.rpartition(":")
    webhook = Webhook(args.secret_file.read_text(encoding="ascii").strip())
    server = http.server.ThreadingHTTPServer((host, int(port)), handler(webhook))
    print(f"listening on http://{host}:{server.server_port}/", flush=True)
    server.serve_forever()


if __name__ == "__main__":
    main()
