"""Asking again never moves a deadline later (danger law 15).

A draft of ours on record is the same request asked before. What is proposed today is never later than it was, and never
presses less: where today asks for nothing more, the draft's own answer stands, with its key and its window. Once its
end is past, the answer says since when it was proposed and that nobody ordered it; that is one answer from then on,
whenever it is asked for. A draft that somebody changed is held to the same: what they wrote earlier or more pressing
stays, and what they wrote later is asked for once more, as it was. It is answered when something of its kind was done
since: an order completed, the finding looked at again, a result on record.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from layette.engine.answer.parts.context import Context
from layette.engine.answer.resolved.grounds import FAR
from layette.engine.answer.resolved.orders import DRAFT, in_force, rank_of
from layette.engine.answer.resolved.recommend import by_urgency
from layette.engine.answer.resolved.resolve import answer_key, same_codes
from layette.engine.answer.shapes.proposed import Recommendation, Window
from layette.engine.exact.times import moment, stamp
from layette.engine.pack.written.rule_shapes import TargetShape
from layette.engine.pack.written.shapes import FindingShape, listed
from layette.engine.terms import ASKED, PRIORITIES
from layette.engine.visit.visit import PlacedOrder

Drafts = dict[str, list[PlacedOrder]]
"""Drafts of ours by their request key."""


def kept(made: Sequence[Recommendation], context: Context) -> list[Recommendation]:
    """Return what is proposed, with the keys and the ends that it had when it was proposed before."""
    drafts = _open_drafts(context)
    if not drafts:
        return list(made)
    taken = {one.request_key for one in made}
    out = []
    for one in made:
        before = _asked_before(one, drafts, taken, context) if one.kind in ASKED else []
        taken |= {draft.request_key for draft in before}
        out.append(_held(one, before, context) if before else one)
    return by_urgency(out, context)


def proposed_until(target: str, side: str, context: Context) -> int | None:
    """Return the earliest second by which a draft of ours asked for a target and side; None where none did."""
    drafts = (draft for ours in _open_drafts(context).values() for draft in ours)
    ends = (_end(draft) for draft in drafts if draft.target == target and draft.side in ("", side))
    return min((end for end in ends if end < FAR), default=None)


def newest(made: Recommendation, context: Context) -> int | None:
    """Return the second of the newest value behind a recommendation; None where none has a time."""
    times = [used.time for reason in made.reasons for used in reason.values if used.time]
    exact = [_second(text, context) for text in times if not text.startswith(("age ", "some "))]
    return max(exact, default=None)


def _open_drafts(context: Context) -> Drafts:
    """Return the proposals of ours that nothing has answered since."""
    found: Drafts = {}
    for order in in_force(context):
        ours = order.status == DRAFT and order.request_key and order.answer_key and order.time is not None
        if ours and not _answered(order, context):
            found.setdefault(order.request_key, []).append(order)
    return {request: sorted(ours, key=_written) for request, ours in found.items()}


def _written(draft: PlacedOrder) -> tuple[int, str]:
    return draft.time.lo if draft.time else 0, draft.answer_key


def _answered(draft: PlacedOrder, context: Context) -> bool:
    """Whether what a draft asks for was done after it was written: an order completed, or a value recorded."""
    since = draft.time.hi if draft.time else 0
    done = (o for o in context.visit.orders if o.status == "completed" and o.target == draft.target)
    if any(o.side in ("", draft.side) and o.time is not None and o.time.lo > since for o in done):
        return True
    target = context.pack.targets.get(draft.target)
    looked_at = set(_looked_at(target, context.pack.findings)) if target else set()
    return any(
        reading.possible is not None and reading.time.lo > since
        and reading.finding in looked_at and reading.side in ("", draft.side)
        for reading in context.visit.readings
    )  # fmt: skip


def _looked_at(target: TargetShape, findings: Mapping[str, FindingShape]) -> Iterator[str]:
    """Yield the findings that answer a target: what a recheck looks at, and the result under an order's own code."""
    yield from target.recheck_of
    asked = {(system, code) for system, codes in target.codes.items() for code in listed(codes)}
    for name, finding in findings.items():
        if asked & {(system, code) for system, codes in finding.codes.items() for code in listed(codes)}:
            yield name


def _asked_before(one: Recommendation, drafts: Drafts, taken: set[str], context: Context) -> list[PlacedOrder]:
    """Return the drafts that asked for the same request.

    That is by their key; else, for the same target and side, one of another visit to which nothing newer is added:
    a request is another one only if something was found since.
    """
    if one.request_key in drafts:
        return drafts[one.request_key]
    since = newest(one, context)
    for request in sorted(drafts.keys() - taken, key=lambda name: min(map(_press, drafts[name]))):
        first = drafts[request][0]
        last = max(draft.time.hi for draft in drafts[request] if draft.time)
        same = first.target == one.target and first.side in ("", one.side or "")
        if same and (since is None or since <= last):
            return drafts[request]
    return []


def _held(one: Recommendation, before: Sequence[PlacedOrder], context: Context) -> Recommendation:
    """Return what is asked today as pressing and as early as it was asked before; if it is no more, the same answer."""
    rank = min(rank_of(one.priority), *(rank_of(draft.priority) for draft in before))
    end = min(_end_today(one, context), *map(_end, before))
    alike = [draft for draft in before if _press(draft) == (rank, end) and same_codes(draft.answer_key, one.answer_key)]
    window = _window(one, before, end, context)
    if alike and not window.overdue and alike[0].start is not None:
        window = window.model_copy(update={"start": stamp(alike[0].start.lo, context.visit.zone)})
    priority, request = PRIORITIES[rank], before[0].request_key
    # What was written when its end was past already is the chase itself: it is not chased once more.
    chase = [d for d in before if d.time and d.time.lo > _end(d) and rank_of(d.priority) <= rank]
    stands = chase if window.overdue else alike
    codes = context.plan.code_digits[one.target]
    answer = stands[0].answer_key if stands else answer_key(request, priority, window, codes)
    possible = PRIORITIES[min(rank, rank_of(one.possible))]
    update = {"priority": priority, "possible": possible, "window": window, "request_key": request}
    return one.model_copy(update=update | {"answer_key": answer})


def _window(one: Recommendation, before: Sequence[PlacedOrder], end: int, context: Context) -> Window:
    """Return the window of today with the earlier end; of what is past, since when it was proposed in vain."""
    in_time = any(draft.time and draft.time.lo <= end for draft in before)
    if end == _end_today(one, context) and not (one.window.overdue and in_time):
        return one.window
    first, until = _first(before), stamp(end, context.visit.zone)
    if end < context.visit.at.lo:
        words = f"proposed on {first}, never ordered: order now"
        return Window(until=until, text=words, overdue=True, proposed=first)
    words = f"{one.window.text}, as proposed on {first}"
    return one.window.model_copy(update={"until": until, "text": words, "overdue": False, "proposed": first})


def _first(before: Sequence[PlacedOrder]) -> str:
    """Return when something was proposed first, as it is written."""
    return min((draft.time for draft in before if draft.time), key=lambda time: time.lo).text


def _end_today(one: Recommendation, context: Context) -> int:
    return FAR if one.window.until is None else _second(one.window.until, context)


def _press(draft: PlacedOrder) -> tuple[int, int]:
    return rank_of(draft.priority), _end(draft)


def _end(draft: PlacedOrder) -> int:
    return FAR if draft.until is None else draft.until.hi


def _second(text: str, context: Context) -> int:
    return moment(text, context.visit.zone).lo
