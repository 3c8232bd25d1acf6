"""All that only explains an answer, each part made when somebody asks for it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import Any

from layette.engine.answer.outstanding import Outstanding
from layette.engine.answer.parts.context import Context
from layette.engine.answer.report import answers, choices, conclusions, not_evaluated, trace
from layette.engine.answer.resolved.due import due_items, wanted
from layette.engine.answer.shapes.detail import Traced


def makers_of(context: Context, still_open: Callable[[], Outstanding]) -> Mapping[str, Callable[[], tuple[Any, ...]]]:
    """Return what makes each part of `Detail`; ``still_open`` gives what is open, worked out once."""
    return {
        "answers": lambda: tuple(answers(context)),
        "steps": lambda: still_open().steps,
        "due": lambda: due_items(wanted(context), context),
        "cannot_evaluate": lambda: not_evaluated(context, still_open()),
        "conclusions": lambda: tuple(conclusions(context)),
        "choices": lambda: tuple(choices(context)),
        "notices": lambda: still_open().notices,
        "trace": lambda: tuple(trace(context, range(len(context.statuses)))),
    }


def trace_of(context: Context, rules: Collection[str]) -> tuple[Traced, ...]:
    """Return what became of some rules, by their names in the trace."""
    numbers = context.plan.numbers
    return tuple(trace(context, sorted(numbers[rule] for rule in rules if rule in numbers)))
