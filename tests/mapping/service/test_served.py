"""`layette serve` as it runs: a process of its own on a real port, asked over the network, and stopped."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import httpx
import psutil
import pytest
from support.checkout import ROOT
from support.shipped_examples import EXAMPLES
from support.small_pack import FOLDER, visit

pytestmark = [pytest.mark.xdist_group("service"), pytest.mark.slow]

JAUNDICED = (EXAMPLES / "jaundiced-sleepy-day-4.json").read_bytes()
SMALL = ("--pack", str(FOLDER))
"""A pack of few rules, for what does not depend on the rules."""
FHIR = {"content-type": "application/fhir+json"}


class Running:
    """A server process: its address, and what it has written."""

    def __init__(self, process: subprocess.Popen[str], log: Path) -> None:
        self.process, self.log = process, log
        self.url = ""

    def children(self) -> list[psutil.Process]:
        """The processes below it."""
        return psutil.Process(self.process.pid).children(recursive=True)

    def stopped(self, by: signal.Signals) -> int:
        """Ask it to stop; returns its exit code."""
        self.process.send_signal(by)
        return self.process.wait(60)


@contextmanager
def running(folder: Path, *options: str) -> Iterator[Running]:
    log = folder / "log"
    command = [sys.executable, "-m", "layette.mapping.cli", "serve", "--port", "0", "--workers", "2", *options]
    with log.open("w") as written, subprocess.Popen(command, cwd=ROOT, stderr=written, text=True) as process:
        server = Running(process, log)
        try:
            while not (said := re.search(r"http://127\.0\.0\.1:\d+", log.read_text())):
                assert process.poll() is None, log.read_text()
                time.sleep(0.05)
            server.url = said[0]
            yield server
        finally:
            process.kill()


def test_it_answers_at_once_many_and_stops_clean(tmp_path: Path) -> None:
    with running(tmp_path) as server:
        assert "<html" in httpx.get(f"{server.url}/").text
        assert httpx.get(f"{server.url}/", headers={"host": "evil.example"}).status_code == 421

        def ask(_: int) -> httpx.Response:
            return httpx.post(f"{server.url}/fhir/$assess", content=JAUNDICED, headers=FHIR, timeout=120)

        with ThreadPoolExecutor(8) as threads:
            replies = list(threads.map(ask, range(16)))
        assert {reply.status_code for reply in replies} == {200}
        assert len({reply.content for reply in replies}) == 1
        below = server.children()
        assert len(below) >= 3
        assert server.stopped(signal.SIGTERM) == 0
        gone, alive = psutil.wait_procs(below, 30)
        assert (len(gone), alive) == (len(below), [])
    written = server.log.read_text()
    assert written.count("POST /fhir/$assess 200") == 16
    assert "Traceback" not in written
    assert "basil" not in written.lower()


def test_a_worker_that_is_killed_is_replaced_and_nothing_is_left_when_the_server_is(tmp_path: Path) -> None:
    with running(tmp_path, *SMALL) as server:
        workers = [child for child in server.children() if child.name() != "resource_tracker" and not child.children()]
        for child in workers:
            if "forkserver" in " ".join(child.cmdline()) and child.parent() != psutil.Process(server.process.pid):
                child.kill()
        statuses = {httpx.post(f"{server.url}/assess", json={}, timeout=120).status_code for _ in range(6)}
        assert 422 in statuses
        assert statuses <= {422, 500}
        found = httpx.post(f"{server.url}/assess", json=visit({"barlow.left": "positive"}), timeout=120)
        assert found.status_code == 200
        below = server.children()
        server.process.kill()
        server.process.wait(60)
        assert psutil.wait_procs(below, 60)[1] == [], "workers end with a server that was killed"


def test_a_port_that_is_taken_is_told(tmp_path: Path) -> None:
    with running(tmp_path, *SMALL) as server:
        port = server.url.rpartition(":")[2]
        again = subprocess.run(
            [sys.executable, "-m", "layette.mapping.cli", "serve", "--port", port, *SMALL],
            cwd=ROOT,
            capture_output=True,
            text=True,
        )
        assert again.returncode == 2
        assert f"127.0.0.1 port {port}" in again.stderr
        assert "Traceback" not in again.stderr
        assert server.stopped(signal.SIGINT) == 0
