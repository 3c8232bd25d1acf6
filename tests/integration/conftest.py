"""A running server without data: one for all tests, emptied for each module or for each test."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from integration.fhir_server import Server


@pytest.fixture(scope="session", name="running")
def _running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The server on a free port; to start one takes longer than most tests that use it."""
    running = Server(tmp_path_factory.mktemp("server"))
    running.start()
    yield running
    running.stop()


@pytest.fixture(scope="module")
def server(running: Server) -> Server:
    """The server without data when a module begins."""
    running.empty()
    return running


@pytest.fixture
def empty_server(running: Server) -> Server:
    """The server without data for each test: what is there already decides what is new."""
    running.empty()
    return running
