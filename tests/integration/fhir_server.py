"""A real FHIR R4 server for the tests: sekmet-fhir in its own environment, on the loopback interface only.

``python tests/integration/fhir_server.py FOLDER`` runs one by hand, on a free port, with its data under FOLDER.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

# Run by hand, the folder of the tests is not on the path.
if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from integration import tools

PACKAGE, VERSION = "sekmet-fhir", "0.1.1"
_START = "from sekmet.cli import app; app()"
_OPENER = urllib.request.build_opener(urllib.request.ProxyHandler({}))
_SECONDS = 30


@dataclass(frozen=True)
class Answered:
    """What the server answered: status, parsed body."""

    status: int
    body: dict[str, Any]


@dataclass
class Server:
    """One server over the data of one folder; stopped and started again, it has the same data."""

    folder: Path
    port: int = 0
    process: subprocess.Popen[bytes] | None = field(default=None, repr=False)

    @property
    def base(self) -> str:
        """The address of its FHIR endpoint."""
        return f"http://127.0.0.1:{self.port}/fhir"

    def start(self) -> None:
        """Start on a free port and wait until it answers."""
        self.port = self.port or free_port()
        self.folder.mkdir(parents=True, exist_ok=True)
        (self.folder / "settings.yaml").write_text(json.dumps(self._settings()), encoding="utf-8")
        words = [str(tools.python_with(PACKAGE, VERSION)), "-c", _START, "serve"]
        words += ["--host", "127.0.0.1", "--port", str(self.port)]
        kept = {name: value for name, value in os.environ.items() if not name.startswith(("SEKMET_", "PYTHON"))}
        with (self.folder / "log.txt").open("ab") as log:
            self.process = subprocess.Popen(words, cwd=self.folder, env=kept, stdout=log, stderr=log)
        self._wait()

    def _settings(self) -> dict[str, Any]:
        # JSON is YAML. The simulator would answer our draft requests by itself.
        return {
            "base_url": self.base, "host": "127.0.0.1", "port": self.port, "simulator": {"enabled": False},
            "validation": {"inbound": "strict"},
        }  # fmt: skip

    def _wait(self) -> None:
        end = time.monotonic() + _SECONDS
        while time.monotonic() < end:
            if self.process is None or self.process.poll() is not None:
                raise RuntimeError(f"the server ended at once: {self.log()}")
            try:
                if self.get("metadata").status == 200:
                    return
            except OSError:
                time.sleep(0.1)
        self.kill()
        raise RuntimeError(f"the server does not answer: {self.log()}")

    def log(self) -> str:
        """Return the end of what it printed."""
        return (self.folder / "log.txt").read_text(encoding="utf-8", errors="replace")[-2000:]

    def stop(self) -> None:
        """End it in good order."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """End it in the middle of whatever it does (SIGKILL)."""
        self._end(signal.SIGKILL)

    def empty(self) -> None:
        """Take away all data while it runs, as its own `sekmet reset` does; started again if it was killed."""
        if self.process is None:
            self.start()
        with closing(sqlite3.connect(self.folder / "data/sekmet.db", timeout=_SECONDS)) as data, data:
            for table in ("resources", "versions", "idx", "notifications", "traffic", "runs"):
                data.execute(f"DELETE FROM {table}")

    def _end(self, how: signal.Signals) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(how)
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        self.process = None

    def get(self, path: str, **search: str) -> Answered:
        """Read or search; a page link may be given whole."""
        where = path if path.startswith("http") else f"{self.base}/{path}"
        return self._ask("GET", f"{where}?{urllib.parse.urlencode(search)}" if search else where)

    def post(self, body: str | dict[str, Any], path: str = "") -> Answered:
        """Post a resource, or a transaction to the endpoint itself."""
        return self._ask("POST", f"{self.base}/{path}".rstrip("/"), _written(body))

    def put(self, resource: dict[str, Any]) -> Answered:
        """Update a resource under its id."""
        return self._ask("PUT", f"{self.base}/{resource['resourceType']}/{resource['id']}", _written(resource))

    def all(self, kind: str, **search: str) -> list[dict[str, Any]]:
        """Return every match of a search, page by page."""
        page = self.get(kind, _count="100", **search)
        found: list[dict[str, Any]] = []
        while True:
            assert page.status == 200, page.body
            found += [entry["resource"] for entry in page.body.get("entry", ())]
            more = next((link["url"] for link in page.body.get("link", ()) if link["relation"] == "next"), None)
            if more is None:
                return found
            page = self.get(more)

    def _ask(self, method: str, url: str, body: bytes | None = None) -> Answered:
        headers = {"Content-Type": "application/fhir+json", "Accept": "application/fhir+json"}
        request = urllib.request.Request(url, body, headers, method=method)
        try:
            with _OPENER.open(request, timeout=_SECONDS) as reply:
                return Answered(reply.status, json.loads(reply.read() or b"{}"))
        except urllib.error.HTTPError as error:
            with error:
                return Answered(error.code, json.loads(error.read() or b"{}"))


def _written(body: str | dict[str, Any]) -> bytes:
    return (body if isinstance(body, str) else json.dumps(body)).encode("utf-8")


def hold(server: Server, resources: list[dict[str, Any]]) -> None:
    """Put resources on the server under their ids, as the system that owns them does."""
    for resource in resources:
        assert server.put(resource).status in (200, 201)


def everything(server: Server, patient: str) -> list[dict[str, Any]]:
    """Return all that the server holds of a newborn, type by type."""
    kinds = ("Observation", "ServiceRequest", "CommunicationRequest", "Condition", "Encounter", "Immunization")
    found = [server.get(f"Patient/{patient}").body]
    for kind in (*kinds, "RelatedPerson", "Communication"):
        found += server.all(kind, patient=f"Patient/{patient}")
    return found


def free_port() -> int:
    """Return a port of the loopback interface that nobody uses."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def main(folder: str) -> None:
    """Run a server until it is interrupted."""
    server = Server(Path(folder).resolve())
    server.start()
    print(server.base)
    try:
        assert server.process is not None
        server.process.wait()
    except KeyboardInterrupt:
        server.stop()


if __name__ == "__main__":
    main(sys.argv[1])
