"""The options of the whole test run."""

from __future__ import annotations

import pytest


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
