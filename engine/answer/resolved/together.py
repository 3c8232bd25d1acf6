"""What doubts bring only together: an emergency that hangs on two recordings, each of which was recorded twice.

Each doubt is decided by itself (`worlds.py`), which cannot show what needs a certain outcome of several. To decide
every combination would take too long, so each test of a rule is asked for itself whether it holds in one of the worlds
that were decided. That finds what a combination would bring, and now and then more; and it is only put to a person.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from dataclasses import replace

from layette.engine.answer.parts.context import Context
from layette.engine.answer.resolved.doubtful import LOOK_AGAIN, Doubt, Doubtful
from layette.engine.answer.resolved.due import wanted, wanted_now
from layette.engine.answer.resolved.resolve import gather
from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, State, Status
from layette.engine.logic.program import YES
from layette.engine.terms import PRIORITIES

WHY = "Several recordings are in doubt, and it hangs on more than one of them."


def together(context: Context, about: Sequence[Doubtful], worlds: Sequence[Context]) -> Iterator[Doubt]:
    """Yield what presses if several doubts come out in a certain way.

    Args:
        context: the visit as it is read.
        about: everything that is doubtful in it.
        worlds: what was decided for these doubts.
    """
    hang = {number: behind for number in _pressing(context) if len(behind := _behind(number, about, context)) > 1}
    numbers = tuple(_that_could_hold(hang, context, [context, *worlds])) if hang else ()
    if not numbers:
        return
    statuses = list(context.statuses)
    for number in numbers:
        statuses[number] = Status.PROVISIONAL
    held = Context(replace(context.decision, statuses=tuple(statuses), standing=numbers), context.plan)
    for place, reasons in gather(held, wanted_now(wanted(held, proposed=True), held)).items():
        for ground in reasons if place[0] not in ("reassure", "guide") else ():
            behind = hang[ground.number]
            if ground.rank <= min(one.least for one in behind):
                readings = tuple(reading for one in behind for reading in one.readings)
                yield Doubt(ground, Doubtful(readings, (), WHY, LOOK_AGAIN, either=False))


def _pressing(context: Context) -> Iterator[int]:
    """Yield the rules that can press and do not stand as things are read."""
    for number, priority in enumerate(context.plan.rule_priorities):
        if priority in ("stat", "asap") and number not in context.standing:
            yield number


def _behind(number: int, about: Sequence[Doubtful], context: Context) -> list[Doubtful]:
    names = context.plan.tested[number] | context.plan.sparing[number]
    rank = PRIORITIES.index(context.plan.rule_priorities[number] or "routine")
    return [one for one in about if rank <= one.least and not names.isdisjoint(one.names)]


def _that_could_hold(numbers: Container[int], context: Context, worlds: Sequence[Context]) -> Iterator[int]:
    """Yield those of ``numbers`` of which each test holds, where it must, in some world."""
    known = [world.states for world in worlds]
    concluded: set[int] = set()
    for number, rule in enumerate(context.pack.program.rules):
        asked = number in numbers
        if (asked or rule.concludes) and _could_hold(AllOf((rule.applies, rule.when)), known, concluded):
            concluded.update(rule.concludes)
            if asked:
                yield number


def _could_hold(node: Node, known: Sequence[Sequence[State]], concluded: Container[int]) -> bool:
    match node:
        case Among(var, mask):
            return any(states[var] & ~mask == 0 for states in known) or (var in concluded and YES & ~mask == 0)
        case AllOf(parts):
            return all(_could_hold(part, known, concluded) for part in parts)
        case AnyOf(parts):
            return any(_could_hold(part, known, concluded) for part in parts)
        case _:
            raise AssertionError("a condition in normal form has no negation but in its tests")
