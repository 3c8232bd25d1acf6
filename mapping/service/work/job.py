"""One job for a worker."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from layette.mapping.service.reply import JSON


@dataclass(frozen=True, slots=True)
class Job:
    """What a worker is asked: the task by name, the body as it came, what the caller chose, the form of the reply."""

    task: str
    body: bytes = field(default=b"", repr=False)
    chosen: Mapping[str, str] = field(default_factory=dict, repr=False)
    form: str = JSON
