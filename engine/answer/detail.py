"""All that only explains an answer, made when somebody asks for it."""

from __future__ import annotations

from layette.engine.answer.outstanding import outstanding
from layette.engine.answer.parts.assessment import Detail
from layette.engine.answer.parts.context import Context
from layette.engine.answer.report import answers, choices, conclusions, not_evaluated, trace
from layette.engine.answer.resolved.due import due_items, wanted


def detail_of(context: Context) -> Detail:
    """Return how far everything is settled, what is open, and what became of every rule."""
    still_open = outstanding(context)
    return Detail(
        answers=tuple(answers(context)),
        steps=still_open.steps,
        due=due_items(wanted(context), context),
        cannot_evaluate=not_evaluated(context, still_open),
        conclusions=tuple(conclusions(context)),
        choices=tuple(choices(context)),
        notices=still_open.notices,
        trace=tuple(trace(context)),
    )
