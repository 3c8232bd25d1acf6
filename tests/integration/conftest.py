"""One running server for all tests of a module, over an empty folder."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from integration.fhir_server import Server


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server without data, on a free port."""
    running = Server(tmp_path_factory.mktemp("server"))
    running.start()
    yield running
    running.stop()
