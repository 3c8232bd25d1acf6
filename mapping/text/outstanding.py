"""What is still open: to examine, results awaited, guidance owed."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from layette.engine.answer.parts.assessment import Assessment, Due, Question, Step
from layette.mapping.text.actions import marks, sources
from layette.mapping.text.layout import Clock, Page, sentence, shown

_MANY = 6
_STATES = ("overdue", "due", "later")


def write(page: Page, assessment: Assessment, clock: Clock, awaited: Collection[str]) -> None:
    """Write the three groups; ``awaited`` names the findings that are results rather than looks."""
    second = set() if page.full else _second(assessment)
    open_steps = [
        (step, [question for question in step.questions if id(question) not in second]) for step in assessment.steps
    ]
    steps = [line for step, asked in open_steps if (line := _step(step, asked, page, awaited))]
    results = [question for _, asked in open_steps for question in asked if _name(question) in awaited]
    waiting = _deadlines(page, assessment, clock) + _results(results, assessment)
    later = 0 if page.full else sum(due.state == "later" for due in assessment.due)
    guidance = [topic.label + (f", {topic.side}" if topic.side else "") for topic in assessment.guidance]
    page.heading("STILL OPEN" if steps or waiting or guidance or later else "NOTHING IS STILL OPEN")
    _group(page, "To examine", steps)
    _group(page, "Results awaited", waiting)
    if later:
        page.put(f"{_count(later, 'item falls', 'items fall')} due at a later age (--all)")
    if guidance:
        page.put("Guidance owed")
        page.put("; ".join(shown(guidance, _MANY, full=page.full)), "   - ")
    _answers(page, assessment)


def _second(assessment: Assessment) -> set[int]:
    """Return the questions that can wait: none settles a rule alone, and each rule has another that does.

    Whether a risk factor is there matters only once the bilirubin is known; the bilirubin is asked for first.
    """
    asked = [one for step in assessment.steps for one in step.questions]
    settled = {rule for one in asked for rule in one.settles}
    return {
        id(one) for one in asked if one.state == "not examined" and not one.settles and settled.issuperset(one.rules)
    }


def _group(page: Page, name: str, lines: list[str]) -> None:
    if lines:
        page.put(name)
        page.several(lines, _MANY, "   - ")


def _step(step: Step, asked: Sequence[Question], page: Page, awaited: Collection[str]) -> str | None:
    looks = [question for question in asked if _name(question) not in awaited]
    if not looks:
        return None
    rules = {rule for look in looks for rule in look.rules}
    pressing = {rule for look in looks for rule in look.emergencies}
    worst = f" (worst: {looks[0].worst})"
    if pressing:
        worst = f", {_count(len(pressing), 'emergency', 'emergencies')} among them"
    told = [_question(look) if page.full else _short(look) for look in looks]
    named = "; ".join(shown(told, 3, full=page.full))
    return f"{step.label}: {named}. Closes {_count(len(rules), 'question', 'questions')}{worst}"


def _short(one: Question) -> str:
    return one.label if one.state == "not examined" else _question(one)


def _name(question: Question) -> str:
    return question.finding.split(".")[0]


def _question(one: Question, unseen: str = "not examined") -> str:
    state = unseen if one.state == "not examined" else one.state
    return f"{one.label} ({state}{': ' + one.reason if one.reason else ''})"


def _deadlines(page: Page, assessment: Assessment, clock: Clock) -> list[str]:
    """Return what has a deadline, the latest first; cut short, without what is proposed above or lies ahead."""
    above = {reason.rule for one in assessment.recommendations for reason in one.reasons}
    found = sorted(assessment.due, key=lambda one: _STATES.index(one.state))
    if not page.full:
        found = [one for one in found if one.state != "later" and one.rule not in above]
    return [_due(one, clock, full=page.full) for one in found]


def _due(one: Due, clock: Clock, *, full: bool) -> str:
    when = clock.window(one.window)
    state = "" if one.state == "overdue" else f"{one.state}, "
    names = ", ".join([one.rule, *sources(one.sources, full=full)])
    return f"{one.label}: {state}{when} ({names}){marks(one.sources)}"


def _results(found: Sequence[Question], assessment: Assessment) -> list[str]:
    """Return the open results that no deadline names already."""
    named = {one.finding for one in assessment.due}
    return [
        f"{_question(one, unseen='no result')}: open for {_count(len(one.rules), 'rule', 'rules')} (worst: {one.worst})"
        for one in found
        if one.finding not in named
    ]


def _answers(page: Page, assessment: Assessment) -> None:
    unsettled = [one.label + (f", {one.side}" if one.side else "") for one in assessment.answers if not one.settled]
    not_needed = [one for one in assessment.answers if one.settled and one.certain is None]
    if not assessment.answers:
        return
    parts = [f"Settled as not needed: {len(not_needed)} of {len(assessment.answers)} targets"]
    if unsettled:
        named = f": {'; '.join(unsettled)}" if page.full or len(unsettled) <= _MANY else " (--all)"
        parts.append(f"Still open: {_count(len(unsettled), 'target', 'targets')}{named}")
    page.put(sentence(parts))


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
