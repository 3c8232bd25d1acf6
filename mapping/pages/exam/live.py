"""The answer as the page shows it beside the examination: what presses, in words; what is open, by step and finding.

It is the engine's answer, made short. What was asked alone is marked `private`, so that it is shown in its room only.
"""

from __future__ import annotations

from typing import Any

from layette.engine.answer.parts.assessment import Assessment, ComeBack, DoGroup, Measured
from layette.engine.answer.parts.judged_at_once import by_value
from layette.engine.answer.shapes.proposed import Citation, Due, Recommendation, ToJudge
from layette.engine.api import Pack
from layette.mapping.pages.exam.model import measures_asked
from layette.mapping.pages.exam.privacy import Room, room
from layette.mapping.text.about import About
from layette.mapping.text.clock import Clock
from layette.mapping.text.labels import asked, listed, named
from layette.mapping.text.layout import sentence
from layette.mapping.text.reasons import brief
from layette.mapping.text.values import found, measured, units

Part = dict[str, Any]


def live(assessment: Assessment, pack: Pack) -> Part:
    """Return the short answer as plain data: a few kilobytes, of which every line is the engine's."""
    clock, private, asked_of = Clock.of(assessment.at), room(pack), measures_asked(pack)
    about, later = About.of(pack, None), [due for due in assessment.due if due.state == "later"]
    return {
        "at": assessment.at,
        "age": units(assessment.age),
        "verdict": _verdict(assessment),
        "groups": [_group(group, assessment, clock, private) for group in assessment.do],
        "chase": [_act(one, assessment, clock, private) for one in assessment.to_chase],
        "judge": [_judge(together, clock, private) for together in by_value(assessment.to_judge)],
        "avoid": [{"label": named(one), "private": private.holds(one)} for one in assessment.avoid],
        "visits": [_visit(one, clock, private, later, about) for one in assessment.come_back],
        "normal": listed(one.label for one in assessment.reassurance),
        "measures": [_measure(one) for one in assessment.measures if one.headline and one.low is not None],
        "values": {
            one.id: [one.low, one.high] for one in assessment.measures if one.id in asked_of and one.low is not None
        },
        "warnings": [units(text) for text in assessment.warnings],
        "open": _open(assessment),
    }


def _verdict(assessment: Assessment) -> Part:
    """Return the numbers of the verdict, which the page says in its own language; its text names what is private."""
    one = assessment.verdict
    unread = one.unread + len(one.unknown)
    return {
        "pressing": one.pressing, "now": one.now, "tomorrow": one.by_tomorrow, "judge": one.to_judge, "unread": unread,
    }  # fmt: skip


def _group(group: DoGroup, assessment: Assessment, clock: Clock, private: Room) -> Part:
    items = [_act(one, assessment, clock, private) for one in group.items]
    return {"deadline": group.deadline, "until": group.until, "items": items}


def _act(made: Recommendation, assessment: Assessment, clock: Clock, private: Room) -> Part:
    reason = made.reasons[0]
    line: Part = {
        "key": f"{made.target}.{made.side or ''}.{made.episode}", "label": asked(made), "priority": made.priority,
        "when": clock.window(made.window), "why": brief(made, assessment, clock), "do": list(made.do),
        "rule": reason.rule, "sources": [_cited(one) for one in reason.sources],
    }  # fmt: skip
    if made.certain != made.priority and reason.unless:
        line["unless"] = list(reason.unless)
    return line | ({"private": True} if private.holds(made) else {})


def _cited(one: Citation) -> str:
    return one.id if one.id == one.kind else f"{one.id} ({one.kind})"


def _judge(together: list[ToJudge], clock: Clock, private: Room) -> Part:
    """Return one value that a person reads before they leave, with all that hangs on it."""
    values = listed(found(used, clock) for one in together for used in one.values)
    why = sentence([*listed(one.why for one in together), *listed(one.settles for one in together)])
    return {
        "key": ".".join(sorted({one.answer_key for one in together})), "label": "; ".join(values), "why": why,
        "hangs": listed(named(one) for one in together), "private": any(private.holds(one) for one in together),
        "priority": together[0].priority,
    }  # fmt: skip


def _visit(one: ComeBack, clock: Clock, private: Room, later: list[Due], about: About) -> Part:
    """Return a visit to come by the acts that it is for; what is asked alone there is not named."""
    open_to_all = [due for due in later if not private.holds(due) and not private.names(due.label)]
    told = (item for item in one.items if item.target not in private.targets and not private.names(item.label))
    items = listed(name for item in told for name in about.visit_names(item, one, open_to_all))
    return {"when": clock.span(one.start, one.until), "items": items}


def _measure(one: Measured) -> list[str]:
    return list(measured(one))


def _open(assessment: Assessment) -> dict[str, Part]:
    """Return what is open: by finding, the sides that are, whether it could be an emergency, why it is open still."""
    found: dict[str, Part] = {}
    for question in (question for step in assessment.steps for question in step.questions):
        one = found.setdefault(question.finding, {"sides": []})
        one["sides"] += [question.side] if question.side else []
        if question.emergencies:
            one["emergency"] = True
        if question.state != "not examined":
            one["state"] = question.state
    return found
