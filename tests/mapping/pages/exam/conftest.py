"""One browser and one server for the tests of the exam page."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import pytest
from support.browser import Server, opened_browser, serving
from support.exam_desk import Desk

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A browser without a window."""
    with opened_browser() as started:
        yield started


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory, browser: Browser) -> Iterator[Server]:
    """The service over the shipped pack; not started where there is no browser to look at it."""
    with serving(tmp_path_factory.mktemp("served")) as running:
        yield running


@pytest.fixture
def open_desk(browser: Browser, server: Server) -> Iterator[Callable[..., Desk]]:
    """Open pages, each in a context of its own; they are closed at the end, and no script of theirs went wrong."""
    desks: list[Desk] = []

    def opened(**options: Any) -> Desk:
        desks.append(Desk(browser, server.url, **options))
        return desks[-1]

    yield opened
    for desk in desks:
        desk.close()


@pytest.fixture
def desk(open_desk: Callable[..., Desk]) -> Desk:
    """One page at 1280 pixels."""
    return open_desk()
