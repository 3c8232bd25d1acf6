"""A real browser and a real server, for tests of pages; without Chromium they are skipped, and fail under CI."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import httpx
import psutil
import pytest
from support.checkout import ROOT

if TYPE_CHECKING:  # of the extra `browser`, and this is imported by every run
    from playwright.sync_api import Browser, Page

_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
MISSING = "no Chromium on the PATH: install the distribution's (Debian, Ubuntu: `apt-get install chromium`)"
_PATIENCE = 180


def chromium() -> str:
    """Return where the browser is; skips the test where there is none, and fails it under CI."""
    found = next((path for name in _NAMES if (path := shutil.which(name))), None)
    if found is None and os.environ.get("CI"):
        pytest.fail(MISSING)
    return found or pytest.skip(MISSING)


@contextmanager
def opened_browser() -> Iterator[Browser]:
    """Run a browser without a window."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])
        yield started
        started.close()


def against_accessibility(page: Page) -> list[tuple[str, str]]:
    """Return which of axe's rules of accessibility a page breaks, each with the first place where it does."""
    from axe_playwright_python.sync_playwright import Axe

    return [(one["id"], one["nodes"][0]["html"]) for one in Axe().run(page).response["violations"]]


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


class Server:
    """`layette serve` as a process of its own, that can be killed and started again on its port."""

    def __init__(self, folder: Path, *options: str) -> None:
        self.port, self.folder, self.options = free_port(), folder, options
        self.url = f"http://127.0.0.1:{self.port}"
        self._process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        """Start it and wait until it answers."""
        command = [sys.executable, "-m", "layette.mapping.cli", "serve", "--port", str(self.port), "--workers", "2"]
        with (self.folder / "log").open("a") as log:
            self._process = subprocess.Popen([*command, *self.options], cwd=ROOT, stderr=log, text=True)
        ends = time.monotonic() + _PATIENCE
        while not self._answers():
            assert self._process.poll() is None, (self.folder / "log").read_text()
            assert time.monotonic() < ends, "the server does not answer"
            time.sleep(0.2)

    def _answers(self) -> bool:
        try:
            return httpx.get(f"{self.url}/health", timeout=10).status_code == httpx.codes.OK
        except httpx.HTTPError:
            return False

    def process(self) -> psutil.Process:
        """Return the running server, with its workers as its children."""
        assert self._process is not None
        return psutil.Process(self._process.pid)

    def kill(self) -> None:
        """End it at once, as a power cut would."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(60)
            self._process = None


@contextmanager
def serving(folder: Path, *options: str) -> Iterator[Server]:
    """Run a server while the test lasts."""
    server = Server(folder, *options)
    server.start()
    try:
        yield server
    finally:
        server.kill()
