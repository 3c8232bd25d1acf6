"""Fixtures: the pack's own tables, by name."""

from functools import cache
from pathlib import Path

import pytest
import yaml

from layette.engine.tables.load import load_table

TABLES = Path(__file__).parents[2] / "rules/newborn/tables"


@pytest.fixture(scope="session")
def table():
    @cache
    def load(name):
        header = yaml.safe_load((TABLES / f"{name}.yaml").read_text(encoding="utf-8"))
        loaded, problems = load_table(header, (TABLES / f"{name}.csv").read_text(encoding="utf-8"), f"{name}.csv")
        assert problems == []
        return loaded

    return load
