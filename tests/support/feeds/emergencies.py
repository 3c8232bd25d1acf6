"""Every rule of the pack that can bring `stat`, each with the smallest visit of a worked case in which it does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache, lru_cache

from support.feeds.flat import Flat, Item, Place, changed, places, taken_apart, without_each_part
from support.sweeps import every_case, standing

from layette.engine import Assessment, Pack, load_pack
from layette.engine.cases.cases import Case
from layette.engine.errors import InputError
from layette.engine.exact.units import convert, exact
from layette.engine.logic.conditions import Status
from layette.engine.pack.written.folder import PackFolder
from layette.engine.pack.written.shapes import listed
from layette.engine.tables.load import load_table

Where = tuple[str, str]
"""A target, and a side or nothing."""


@dataclass(frozen=True, eq=False)
class Emergency:
    """A rule (with its side) that brings `stat`, and the smallest visit in which it does."""

    rule: str
    number: int
    status: Status
    targets: tuple[Where, ...]
    case: str
    flat: Flat = field(repr=False)
    pack: Pack = field(repr=False)

    @property
    def places(self) -> list[Place]:
        """The recordings that are left; the rule falls without any one of them."""
        return list(places(self.flat, self.pack))

    def assess(self, flat: Flat) -> Assessment:
        """Return the answer of the reader `native`."""
        return self.pack.assess(flat, readers=["native"])

    def stands_in(self, flat: Flat) -> bool | None:
        """Whether the rule is what it is in its case; None where the visit cannot be read."""
        try:
            return self.pack.decide(self.pack.read_visit(flat), ["native"]).statuses[self.number] is self.status
        except InputError:
            return None


def stat_rules(pack: Pack) -> dict[int, tuple[Where, ...]]:
    """Return the rules that can bring `stat`, with the targets for which they do."""
    out: dict[int, tuple[Where, ...]] = {}
    for number, proposals in enumerate(pack.plan.proposals):
        found = [p for p in proposals if p.rank == 0 and p.verb in ("refer", "order", "recheck")]
        if found:
            out[number] = tuple((p.target, p.side) for p in found)
    return out


@lru_cache(maxsize=1)
def emergencies() -> tuple[Emergency, ...]:
    """Return an emergency for each rule that has a worked case in which it brings `stat`."""
    pack = load_pack()
    wanted, found = stat_rules(pack), dict[int, Emergency]()
    for case, rules in zip(every_case(), standing(), strict=True):
        if not case.shape.tables and rules.isdisjoint(wanted):
            continue
        with_tables = _pack_of(case, pack)
        try:
            decision = with_tables.decide(with_tables.read_visit(case.shape.given), ["native"])
        except InputError:
            continue
        for number in decision.standing:
            status = decision.statuses[number]
            if number in wanted and (number not in found or status is Status.FIRED is not found[number].status):
                flat = taken_apart(case.shape.given, with_tables)
                key = pack.instances[number].key
                whole = Emergency(key, number, status, wanted[number], case.shape.id, flat, with_tables)
                if "T" in flat["born"] and fires(whole, flat):
                    found[number] = replace(whole, flat=smallest(whole))
    return tuple(replace(found[number], targets=_lines(found[number])) for number in sorted(found))


def _lines(one: Emergency) -> tuple[Where, ...]:
    """Return where the rule is a reason for `stat`; a broader act may have joined the more particular one."""
    name = one.rule.split("@")[0]
    made = [r for r in one.assess(one.flat).recommendations if r.priority == "stat"]
    return tuple((r.target, r.side or "") for r in made if any(reason.rule == name for reason in r.reasons))


def without_case() -> list[str]:
    """Return the rules that can bring `stat` and do so in no worked case."""
    pack = load_pack()
    shown = {one.number for one in emergencies()}
    return [pack.instances[number].key for number in stat_rules(pack) if number not in shown]


@cache
def _tables(stem: str, folder: str) -> object:
    files = PackFolder(load_pack().folder)
    document, text = files.document(f"{folder}/{stem}.yaml"), files.text(f"{folder}/{stem}.csv")
    assert document is not None
    assert text is not None
    return load_table(document.data, text, f"{folder}/{stem}.csv")[0]


@cache
def _pack_with(tables: tuple[tuple[str, str], ...]) -> Pack:
    pack = load_pack()
    return replace(pack, tables={**pack.tables, **{choice: _tables(stem, "cases") for choice, stem in tables}})


def _pack_of(case: Case, pack: Pack) -> Pack:
    return _pack_with(tuple(case.shape.tables.items())) if case.shape.tables else pack


def fires(one: Emergency, flat: Flat) -> bool:
    """Whether the rule fires as in its case; one that asks whether something is on record, whether it is wanted now."""
    if not one.stands_in(flat):
        return False
    if one.number not in one.pack.plan.due_numbers:
        return True
    name = one.pack.instances[one.number].rule.shape.id
    return any(reason.rule == name for made in one.assess(flat).recommendations for reason in made.reasons)


def smallest(one: Emergency) -> Flat:
    """Take every part away without which the rule still fires."""
    flat = one.flat
    while True:
        less = next((smaller for smaller in without_each_part(flat) if fires(one, smaller)), None)
        if less is None:
            return flat
        flat = less


@cache
def other_values(one: Emergency, place: Place) -> tuple[list[Item], list[Item]]:
    """Return the other values of a recording with which the rule fires, and those with which it does not.

    Of named values the expected ones come first, of numbers the nearest.
    """
    fired, not_fired = [], []
    for value in _candidates(one, place):
        stands = one.stands_in(changed(one.flat, place, **value))
        if stands is not None:
            (fired if stands else not_fired).append(value)
    return fired, not_fired


def _candidates(one: Emergency, place: Place) -> Iterator[Item]:
    shape, item = one.pack.findings[place.finding], place.item(one.flat)
    if shape.number is None:
        values = dict.fromkeys([*listed(shape.expected), *(shape.values or ())])
        yield from ({"value": value} for value in values if value != item["value"])
        return
    now = convert(exact(item["value"]), item["unit"], shape.number.unit)
    step, (low, high) = exact(shape.number.resolution), map(exact, shape.number.plausible)
    numbers = {cut + k * step for cut in cut_points(one.pack, place.finding) for k in (-2, -1, 0, 1, 2)}
    numbers |= {now + k * (high - low) / 40 for k in range(-40, 41)} | {low, high}
    rounded = {round(number / step) * step for number in numbers}
    for number in sorted(rounded - {now}, key=lambda n: (abs(n - now), n)):
        if low <= number <= high:
            yield {"value": written(number), "unit": shape.number.unit}


def written(number: Fraction) -> int | float:
    """Return an exact decimal as JSON carries it."""
    return int(number) if number.denominator == 1 else float(number)


def cut_points(pack: Pack, finding: str) -> list[Fraction]:
    """Return the numbers at which the rules of the pack divide a finding."""
    table = pack.table
    looks = [var for var, e in enumerate(table.entries) if e.kind == "number" and e.view.what == "value"]
    return sorted({cut for var in looks if table.entries[var].view.subject == finding for cut in table.cuts(var)})
