"""The inputs of an audit: lines of visits, a folder of files, Bulk Data, or a table of findings."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from pathlib import Path

from layette.engine.api import Pack
from layette.mapping.cohort.bulk import bulk_files, visits
from layette.mapping.cohort.findings import ENDINGS, table_visits
from layette.mapping.many.sources import Item, items


def inputs(name: str, pack: Pack, columns: str | None, scratch: Path) -> Iterator[Item]:
    """Yield the inputs that a name stands for.

    ``columns``: the file that says what the columns of a table mean. ``scratch``: a folder for what does not fit into
    memory. Raises `InputError` where the columns do not fit, OSError where nothing can be read.
    """
    place = Path(name)
    if name != "-" and not place.exists():
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), name)
    if place.suffix.lower() in ENDINGS:
        return table_visits(place, columns, pack, scratch)
    files = bulk_files(place) if place.is_dir() else []
    return visits(files, pack.oldest_days, scratch) if files else items(name)
