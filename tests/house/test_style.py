"""Linter, formatter and type checker find nothing, so that the README's one test command covers them."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from support.checkout import done
from support.type_checked import checked

RUFF = Path(sys.executable).with_name("ruff")


def test_ruff_finds_nothing():
    done(RUFF, "check", "--no-cache")


def test_the_code_is_formatted():
    done(RUFF, "format", "--check", "--no-cache")


@pytest.mark.slow
@pytest.mark.xdist_group("mypy")
def test_mypy_strict_finds_nothing():
    assert checked().errors == []
