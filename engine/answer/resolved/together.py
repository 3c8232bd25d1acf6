"""What doubts bring only together: an emergency that hangs on two recordings, each of which was recorded twice.

Each doubt is decided by itself (`worlds.py`), which cannot show what needs a certain outcome of several. To decide
every combination would take too long, so each test of a rule is asked for itself whether it holds in one of the worlds
that were decided. That finds what a combination would bring, and now and then more; and it is only put to a person.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from layette.engine.answer.parts.context import Context
from layette.engine.answer.resolved.doubtful import LOOK_AGAIN, Doubt, Doubtful
from layette.engine.answer.resolved.due import wanted, wanted_now
from layette.engine.answer.resolved.resolve import gather
from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, State, Status, variables
from layette.engine.logic.program import YES
from layette.engine.pack.written.subjects import inputs_of

WHY = "Several recordings are in doubt, and it hangs on more than one of them."


def together(context: Context, about: Sequence[Doubtful], worlds: Sequence[Context]) -> Iterator[Doubt]:
    """Yield what presses if several doubts come out in a certain way.

    Args:
        context: the visit as it is read.
        about: everything that is doubtful in it.
        worlds: what was decided for these doubts.
    """
    numbers = tuple(_that_could_hold(context, [context, *worlds]))
    statuses = list(context.statuses)
    for number in numbers:
        statuses[number] = Status.PROVISIONAL
    held = Context(replace(context.decision, statuses=tuple(statuses), standing=numbers), context.plan)
    for place, reasons in gather(held, wanted_now(wanted(held), held)).items():
        for ground in reasons if place[0] not in ("reassure", "guide") else ():
            behind = _behind(tested(ground.number, context), about)
            if len(behind) > 1 and ground.rank <= min(one.least for one in behind):
                readings = tuple(reading for one in behind for reading in one.readings)
                yield Doubt(ground, Doubtful(readings, (), WHY, LOOK_AGAIN, either=False))


def _behind(findings: set[str], about: Sequence[Doubtful]) -> list[Doubtful]:
    return [one for one in about if not one.readings or any(r.finding in findings for r in one.readings)]


def _that_could_hold(context: Context, worlds: Sequence[Context]) -> Iterator[int]:
    """Yield the rules, not standing as things are read, each of whose tests holds where it must in some world."""
    known = [world.states for world in worlds]
    concluded: set[int] = set()
    for number, rule in enumerate(context.pack.program.rules):
        if _could_hold(AllOf((rule.applies, rule.when)), known, concluded):
            concluded.update(rule.concludes)
            if number not in context.standing:
                yield number


def _could_hold(node: Node, known: Sequence[Sequence[State]], concluded: set[int]) -> bool:
    match node:
        case Among(var, mask):
            return any(states[var] & ~mask == 0 for states in known) or (var in concluded and YES & ~mask == 0)
        case AllOf(parts):
            return all(_could_hold(part, known, concluded) for part in parts)
        case AnyOf(parts):
            return any(_could_hold(part, known, concluded) for part in parts)
        case _:
            raise AssertionError("a condition in normal form has no negation but in its tests")


def tested(number: int, context: Context) -> set[str]:
    """Return the findings that a rule tests, by way of conclusions and measures too."""
    table, concluders, measures = context.pack.table, context.plan.states.concluders, context.pack.measures
    found: set[str] = set()
    rules = [context.pack.program.rules[number]]
    while rules:
        rule = rules.pop()
        names = [table.entries[var].view.subject for var in (*variables(rule.applies), *variables(rule.when))]
        while names:
            name = names.pop()
            if name not in found:
                found.add(name)
                rules += concluders.get(name, ())
                names += inputs_of(measures[name]) if name in measures else ()
    return found
