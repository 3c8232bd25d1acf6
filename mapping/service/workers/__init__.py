"""Worker processes: the engine runs there, so that no visit blocks another, and one that overruns can be stopped."""

from layette.mapping.service.workers.pool import Pool

__all__ = ["Pool"]
