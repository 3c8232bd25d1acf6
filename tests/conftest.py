"""The options of the whole test run."""

from __future__ import annotations

import gc

import pytest

gc.set_threshold(100_000, 20, 20)
"""Packs and collected tests stay: to look at them again after every 700 objects takes a fifth of a run."""


HEAVY = {
    "browser": "looks at pages in Chromium",
    "interop": "asks a FHIR server and a validator of others",
    "pythons": "installs what is built, for every Python",
    "spark": "reads a cohort in Spark or in Polars",
}
"""Marks of tests that a plain run leaves out: they are too heavy for a newcomer, and the README has a line for each."""


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what is heavy, and say so, unless its mark is named (``-m``)."""
    left_out = {mark: what for mark, what in HEAVY.items() if mark not in config.option.markexpr}
    for item in items:
        for mark, what in left_out.items():
            if item.get_closest_marker(mark) is not None:
                item.add_marker(pytest.mark.skip(reason=f"{what}: pytest -m {mark}"))


def pytest_collection_finish() -> None:
    """Leave what was collected out of garbage collection: it stays to the end."""
    gc.freeze()


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add what a run can be told beside pytest's own options."""
    parser.addoption(
        "--renew-examples",
        action="store_true",
        help="write examples/expected anew from what comes out today; what matters clinically is asserted all the same",
    )
    parser.addoption(
        "--whole-sweeps",
        action="store_true",
        help="run the long sweeps (every worked case, written out and checked) whole, where a plain run takes a sample",
    )
