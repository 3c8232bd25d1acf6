"""Invented visits, and what is true of them, as the shipped script makes them."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from support.checkout import ROOT

SCRIPT = ROOT / "examples/make_cohort.py"


def make(out: Path, *words: str) -> Path:
    """Write a cohort by the script's own options below ``out``, and return that folder."""
    subprocess.run([sys.executable, SCRIPT, "--out", out, *words], check=True, capture_output=True)
    return out
