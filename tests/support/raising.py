"""Raising an error where it is sent to: a process of a pool can call only what it can import."""

from __future__ import annotations


def raised(error: Exception) -> None:
    """Raise ``error``."""
    raise error
