"""One running application for all tests that only ask it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from support.asked_service import Service, served

from layette.engine import load_pack


@pytest.fixture(scope="session")
def service() -> Iterator[Service]:
    """The application over the shipped pack, with one worker."""
    with served(load_pack()) as running:
        yield running
