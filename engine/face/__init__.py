"""Layette: coded findings of a newborn's first visits in; referrals, orders, rechecks and guidance out.

`assess(visit)` answers a flat visit by the pack that ships with Layette; `load_pack(path, site)` loads another pack.
`layette.engine` holds the engine, `layette.mapping` FHIR both ways, the page of text and the command. Everything is
imported when it is first asked for, so that a command starts fast.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from layette.engine import __version__, assess, load_pack

__all__ = ["__version__", "assess", "load_pack"]
PARTS = ("engine", "mapping")


def __getattr__(name: str) -> Any:
    """Return one of the public names of the engine, imported now."""
    if name in PARTS:
        return import_module(f"layette.{name}")
    if name not in __all__:
        raise AttributeError(f"module 'layette' has no attribute '{name}'; it has {', '.join(__all__)}")
    return getattr(import_module("layette.engine"), name)


def __dir__() -> list[str]:
    """Return the public names."""
    return [*__all__, *PARTS]
