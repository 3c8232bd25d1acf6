"""FHIR that nobody here wrote, read in place: it is not part of the checkout."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from support.checkout import ROOT

FOLDER = Path(os.environ.get("LAYETTE_FOREIGN_FHIR") or ROOT.parent / "shared/reference/fhir/foreign")


def foreign(name: str) -> bytes:
    """Return the bytes of one file; where the folder is not there, the test is skipped, and fails in CI."""
    if not FOLDER.is_dir():
        missing = f"{FOLDER} is not there: LAYETTE_FOREIGN_FHIR names the folder of records by others"
        (pytest.fail if os.environ.get("CI") == "true" else pytest.skip)(missing)
    return (FOLDER / name).read_bytes()
