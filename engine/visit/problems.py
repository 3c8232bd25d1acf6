"""Where the mistakes of one flat visit gather, whoever reads a part of it; every mistake is told, not the first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import tzinfo
from typing import Any

from layette.engine.errors import InputProblem, near
from layette.engine.exact.times import Moment, moment
from layette.engine.visit.values import kind_of, shown

_HINTS, _LONGEST_NAME = 10, 60


@dataclass
class Problems:
    """What is wrong with a visit (``found``), and what is only worth a word (``warnings``).

    ``told``: the parts that are missing because of a problem that was told already; they are not asked for once more.
    """

    found: list[InputProblem] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    told: set[str] = field(default_factory=set)
    hinted: int = 0
    _moments: dict[tuple[str, tzinfo], Moment] = field(default_factory=dict)

    def add(self, path: str, code: str, message: str, found: Any = "", expected: str = "") -> None:
        """Add a mistake."""
        if path not in self.told:
            self.found.append(InputProblem(path, code, message, shown(found), expected))

    def hint(self, name: object, known: Iterable[str]) -> str:
        """Return "; did you mean 'x'?" for a name that is none; for the first few alone, since to look is slow."""
        self.hinted += 1
        return near(str(name), known) if self.hinted <= _HINTS and len(str(name)) <= _LONGEST_NAME else ""

    def listed(self, written: Any, path: str) -> Iterator[Mapping[str, Any]]:
        """Yield the mappings of a list; report what is neither."""
        if written is None:
            return
        if not isinstance(written, list | tuple):
            self.add(path, "structure", "a list is due here", kind_of(written), "a list of mappings")
            return
        for k, item in enumerate(written):
            if isinstance(item, Mapping):
                yield item
            else:
                self.add(f"{path}[{k}]", "structure", "a mapping is due here", kind_of(item), "a mapping")

    def moment_at(self, written: Any, path: str, zone: tzinfo, code: str = "time") -> Moment | None:
        """Read a moment; None, with a problem of code ``code``, where it is missing or wrong."""
        if not isinstance(written, str):
            self.add(
                path,
                code,
                "a date, or a date and time with offset, is missing",
                written or "",
                "such as 2026-11-24T10:00:00-06:00",
            )
            return None
        known = self._moments.get((written, zone))  # most of a visit was found at one time
        if known is not None:
            return known
        try:
            known = self._moments[written, zone] = moment(written, zone)
            return known
        except ValueError as error:
            self.add(path, code, str(error), written, "a date, or a date and time with offset")
            return None
