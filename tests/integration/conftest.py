"""A running server over an empty folder: one for all tests of a module, or one for each test."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from integration.fhir_server import Server


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server without data, on a free port."""
    running = Server(tmp_path_factory.mktemp("server"))
    running.start()
    yield running
    running.stop()


@pytest.fixture
def empty_server(tmp_path: Path) -> Iterator[Server]:
    """A server of its own for each test: what is there already decides what is new."""
    running = Server(tmp_path / "data")
    running.start()
    yield running
    running.stop()
