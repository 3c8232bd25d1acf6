"""A small Spark on this machine, for tests of what runs there; without pyspark they are skipped, and fail under CI."""

from __future__ import annotations

import os
import shutil
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from layette.mapping.cohort.batches.spark import NEEDED

CORES = 2


def wanted() -> None:
    """Skip a test where there is no Spark, and fail it under CI."""
    missing = [name for name in NEEDED if find_spec(name) is None]
    missing += [name for name in ("java",) if shutil.which(name) is None]
    if missing:
        why = f"{' and '.join(missing)} not found: pip install -e '.[spark]', and a Java of the system"
        (pytest.fail if os.environ.get("CI") else pytest.skip)(why)


@contextmanager
def small(scratch: Path) -> Iterator[Any]:
    """Give a session of two cores that listens on loopback, shows no page and leaves nothing behind."""
    wanted()
    from pyspark.sql import SparkSession

    os.environ.setdefault("PYSPARK_PYTHON", sys.executable)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of libraries that pyspark looks at
        made = (
            SparkSession.builder.master(f"local[{CORES}]")
            .config("spark.ui.enabled", "false")
            .config("spark.driver.bindAddress", "127.0.0.1")
            .config("spark.driver.host", "127.0.0.1")
            .config("spark.local.dir", str(scratch))
            .config("spark.sql.warehouse.dir", str(scratch))
            .config("spark.driver.memory", "1g")
            .getOrCreate()
        )
    try:
        yield made
    finally:
        made.stop()
