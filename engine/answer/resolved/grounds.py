"""One rule's reason for one target, and the ends of its window."""

from __future__ import annotations

from typing import NamedTuple

from layette.engine.answer.laid.proposals import Proposal
from layette.engine.answer.laid.windows import RealWindow
from layette.engine.answer.parts.context import Context
from layette.engine.logic.conditions import Status
from layette.engine.pack.written.written import Instance

FAR = 1 << 62


class Ground(NamedTuple):
    """One rule's reason for one target: how pressing (``rank``, 0 for stat), when, fired or provisional.

    ``world`` is where it holds if not in the base world (`worlds.py`); ``unless`` and ``since`` say on what that hangs.
    """

    number: int
    instance: Instance
    proposal: Proposal
    status: Status
    window: RealWindow
    rank: int
    world: Context | None = None
    unless: tuple[str, ...] = ()
    since: str = ""

    @property
    def side(self) -> str:
        """The side that the rule is about, empty for none."""
        return self.proposal.side

    @property
    def order(self) -> tuple[int, int, int, str, str]:
        """The canonical place among the reasons for one target."""
        until = FAR if self.window.until is None else self.window.until
        return (self.rank, until, self.window.start or 0, self.instance.key, self.proposal.verb)


def ends_of(ground: Ground) -> tuple[int, int]:
    """Return the ends of a window; one whose anchor is not known pulls no other window."""
    if ground.window.missing:
        return 0, FAR
    start, until = ground.window.start, ground.window.until
    return (0 if start is None else start), (FAR if until is None else until)
