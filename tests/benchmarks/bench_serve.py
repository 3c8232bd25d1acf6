"""`layette serve` under load: `$assess` with a Bundle of sixty entries, at 1, 8 and 32 connections, by `wrk`.

Run it on a quiet machine, with `wrk` installed (`apt-get install wrk`):
``python tests/benchmarks/bench_serve.py [--seconds 60] [--workers 2]``. The load comes from the same machine, by
loopback. *A core* is what one second of CPU time of the server and its workers answers, so that it holds on a busy
machine too; requests a second and latencies do not. The last line asks for more than the queue takes, and says how many
were told to come later (503 with Retry-After). *Failed* is any other refusal, and has to stay 0, as *lost* has. Tests
are never timed.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path
from typing import Any

import psutil

ROOT = Path(__file__).parents[2]
BUNDLE = ROOT / "examples/jaundiced-sleepy-day-4.json"
CONNECTIONS = (1, 8, 32)
QUEUE = 64
SCRIPT = """
local file = io.open("{bundle}", "rb")
wrk.method, wrk.body = "POST", file:read("*a")
wrk.headers["Content-Type"] = "application/fhir+json"
local threads = {{}}
function setup(thread) table.insert(threads, thread) end
function init(args) later, failed = 0, 0 end
function response(status, headers, body)
  if status == 503 and headers["retry-after"] then later = later + 1
  elseif status ~= 200 then failed = failed + 1 end
end
function done(summary, latency)
  local e, put_off, wrong = summary.errors, 0, 0
  for _, thread in ipairs(threads) do
    put_off, wrong = put_off + thread:get("later"), wrong + thread:get("failed")
  end
  local made = '{{"requests": %d, "us": %d, "p50": %.3f, "p99": %.3f, "lost": %d, "later": %d, "failed": %d}}\\n'
  io.write(string.format(made, summary.requests, summary.duration, latency:percentile(50) / 1000,
    latency:percentile(99) / 1000, e.connect + e.read + e.write + e.timeout, put_off, wrong))
end
"""


class Server:
    """The server under load, and what it costs."""

    def __init__(self, workers: int, folder: Path) -> None:
        """Begin it and wait until it answers."""
        command = [sys.executable, "-m", "layette.mapping.cli", "serve", "--port", "0", "--workers", str(workers)]
        log = folder / "log"
        self.process = subprocess.Popen([*command, "--queue", str(QUEUE)], stderr=log.open("w"))
        while not (said := re.search(r"http://[0-9.:]+", log.read_text())):
            if self.process.poll() is not None:
                raise SystemExit(log.read_text())
            time.sleep(0.1)
        self.url = said[0]

    def processes(self) -> list[psutil.Process]:
        """The server and all below it."""
        own = psutil.Process(self.process.pid)
        return [own, *own.children(recursive=True)]

    def cpu(self) -> float:
        """Seconds of CPU time, so far."""
        return sum(sum(process.cpu_times()[:2]) for process in self.processes())

    def memory(self) -> float:
        """Megabytes that it has for itself: what processes share is counted once."""
        return sum(process.memory_full_info().pss for process in self.processes()) / 1e6


def load(server: Server, connections: int, seconds: int, script: Path) -> dict[str, Any]:
    """Return the figures of one run."""
    began = server.cpu()
    url = f"{server.url}/fhir/$assess"
    command = ["wrk", "-t1", f"-c{connections}", f"-d{seconds}s", "--timeout", "60s", "-s", str(script), url]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    figures: dict[str, Any] = json.loads(told.splitlines()[-1])
    good = figures["requests"] - figures["later"] - figures["failed"]
    return figures | {"cpu": server.cpu() - began, "good": good, "a_second": good / (figures["us"] / 1e6)}


def warm(server: Server, times: int) -> None:
    """Ask a few times, so that what is made once is made."""
    for _ in range(times):
        head = {"Content-Type": "application/fhir+json"}
        asked = urllib.request.Request(f"{server.url}/fhir/$assess", BUNDLE.read_bytes(), head)
        urllib.request.urlopen(asked).read()


def main() -> None:
    """Print a line for each number of connections."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--seconds", type=int, default=60)
    options.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        script = folder / "load.lua"
        script.write_text(SCRIPT.format(bundle=BUNDLE))
        server = Server(chosen.workers, folder)
        try:
            warm(server, 10 * chosen.workers)
            run(server, chosen.seconds, script)
        finally:
            server.process.terminate()
            print(f"exit code after SIGTERM: {server.process.wait()}")


def run(server: Server, seconds: int, script: Path) -> None:
    """Load the server and print what it does."""
    print("connections  a second  a core   p50 ms   p99 ms  p99/p50  lost  failed  later   MB before   MB after")
    for connections in (*CONNECTIONS, 2 * QUEUE):
        before = server.memory()
        made = load(server, connections, seconds, script)
        print(
            f"{connections:11}  {made['a_second']:8.1f}  {made['good'] / made['cpu']:6.1f}  {made['p50']:7.1f}  "
            f"{made['p99']:7.1f}  {made['p99'] / made['p50']:7.1f}  {made['lost']:4}  {made['failed']:6}  "
            f"{made['later']:5}  "
            f"{before:10.0f}  {server.memory():9.0f}"
        )


if __name__ == "__main__":
    main()
