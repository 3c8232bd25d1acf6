"""The command line."""

from layette.mapping.cli.command import main

__all__ = ["main"]
