"""The rules engine: reads a rule pack over one visit. It knows no FHIR and names no finding.

`assess(visit)` is the short way, with the pack that ships with Layette; `load_pack` loads another.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from layette.engine.answer.assemble import engine_version
from layette.engine.answer.parts.assessment import Assessment
from layette.engine.api import Pack, load_pack
from layette.engine.errors import InputError, LayetteError, PackError, ReaderFailed, ReadersDisagree
from layette.engine.visit.visit import Visit

__version__ = engine_version()


def assess(visit: Visit | Mapping[str, Any], at: str | datetime | None = None) -> Assessment:
    """Return what is owed to this newborn, by the pack that ships with Layette. See `Pack.assess`."""
    return load_pack().assess(visit, at)


__all__ = [
    "Assessment",
    "InputError",
    "LayetteError",
    "Pack",
    "PackError",
    "ReaderFailed",
    "ReadersDisagree",
    "Visit",
    "__version__",
    "assess",
    "load_pack",
]
