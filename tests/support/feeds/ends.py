"""How a changed visit ends for an emergency, and a count of all ways over all rules.

Run it for the table: `PYTHONPATH=tests .venv/bin/python -m support.feeds.ends`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import NamedTuple

import support.feeds.normals  # (both enter their ways)
import support.feeds.orders  # noqa: F401
from support.feeds.emergencies import Emergency, Where, emergencies, without_case
from support.feeds.flat import Flat
from support.feeds.ways import CHASE, GONE, HELD, JUDGE, NOW, PROVISIONAL, WAYS, Way

from layette.engine import Assessment
from layette.engine.answer.shapes.proposed import Recommendation


class End(NamedTuple):
    """One rule and one way: where it ended, for the worst of its targets and recordings."""

    rule: str
    way: Way
    end: str
    flat: Flat

    @property
    def lost(self) -> bool:
        """Whether it ended where no law lets it end."""
        return self.end not in self.way.ends


WORST_LAST = (NOW, PROVISIONAL, CHASE, JUDGE, HELD, GONE)


def end_of(found: Assessment, one: Emergency) -> str:
    """Return where the emergency is to be found in an answer, for the worst of its targets."""
    return max((_end_of(found, one, where) for where in one.targets), key=WORST_LAST.index)


def _end_of(found: Assessment, one: Emergency, where: Where) -> str:
    made = [r for r in found.recommendations if r.priority == "stat" and _is_that(r, one, where)]
    if made:
        return NOW if any(r.certain == "stat" for r in made) else PROVISIONAL
    if any(_is_that(r, one, where) for r in found.to_chase):
        return CHASE
    name = one.rule.split("@")[0]
    if any(j.priority == "stat" and (_at(j.target, j.side, where) or name in j.rules) for j in found.to_judge):
        return JUDGE
    held = [r for r in found.standing if r.priority == "stat" and r.placed and _is_that(r, one, where)]
    return HELD if held else GONE


def _is_that(made: Recommendation, one: Emergency, where: Where) -> bool:
    """Whether a line is for the target; or for an act that does it too, or that it does, with the rule as a reason."""
    targets, name = one.pack.targets, one.rule.split("@")[0]
    acts = {where[0], *targets[where[0]].met_by, *(t for t, shape in targets.items() if where[0] in shape.met_by)}
    joined = made.target in acts and any(reason.rule == name for reason in made.reasons)
    return joined or _at(made.target, made.side, where)


def _at(target: str, side: str | None, where: Where) -> bool:
    return target == where[0] and (not where[1] or side in (None, where[1]))


def ends(every_recording: bool, rules: Iterable[Emergency] | None = None) -> Iterator[End]:
    """Yield where each way ends for each rule; of a rule with several recordings the first that can be changed so."""
    for one in emergencies() if rules is None else rules:
        for way in WAYS:
            worst: End | None = None
            for place in one.places:
                flat = way.make(one, place)
                if flat is None:
                    continue
                end = End(one.rule, way, end_of(one.assess(flat), one), flat)
                if worst is None or WORST_LAST.index(end.end) > WORST_LAST.index(worst.end):
                    worst = end
                if way.of_orders or not every_recording:
                    break
            if worst is not None:
                yield worst


def table(found: Iterable[End]) -> str:
    """Print how many pairs ended where, by way."""
    pairs = list(found)
    counts = Counter((end.way.name, end.end) for end in pairs)
    lines = [f"{len(pairs)} pairs of a rule and a way; " + _sums(Counter(end.end for end in pairs))]
    for way in WAYS:
        of_way = Counter({end: counts[way.name, end] for end in WORST_LAST})
        lost = sum(end.lost for end in pairs if end.way is way)
        lines.append(
            f"{way.law}  {way.name}: {sum(of_way.values())} = {_sums(of_way)}{f'; {lost} LOST' if lost else ''}"
        )
    lines += [f"LOST  {end.rule}, {end.way.name}: {end.end}" for end in pairs if end.lost]
    return "\n".join(lines)


def _sums(counts: Counter[str]) -> str:
    return ", ".join(f"{counts[end]} {end}" for end in WORST_LAST if counts[end])


if __name__ == "__main__":
    print(table(ends(every_recording=True)))
    print("without a worked case:", *without_case())
