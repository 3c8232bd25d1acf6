"""An audit of many visits says of each what `assess` says, and matches orders as one would by hand.

The visits: a made cohort, and those of the danger laws: every rule that can bring `stat`, in every way in which a feed
adds data. A plain run takes some of them; `--whole-sweeps` takes all of these, and in all 10,000.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from itertools import cycle, islice
from pathlib import Path
from typing import Any, NamedTuple

import pyarrow.parquet as pq
import pytest
from support.asked_again import again, drafts, timed
from support.feeds.emergencies import emergencies
from support.feeds.flat import Flat
from support.feeds.ways import WAYS
from support.held_to_assess import differences
from support.made_cohort import make
from support.matched_by_hand import newborns
from support.sweeps import cases_that_show_each_rule, every_case, whole

from layette.engine.api import Pack, load_pack
from layette.engine.errors import InputError
from layette.engine.forked import shared_out
from layette.mapping.cohort.audit import Wanted, audit
from layette.mapping.cohort.one_visit import Auditor
from layette.mapping.cores import cores

pytestmark = pytest.mark.xdist_group("emergencies")  # to find them takes long: one worker does it

ALL, SOME = 10_000, 40
"""How many visits there are in all in a whole sweep, and how many of a made cohort are in a plain run."""


class Given(NamedTuple):
    """A visit by name, with the pack that reads it: one of its own where the case brings a table."""

    name: str
    flat: Flat
    pack: Pack


ORDERED_BEFORE: Flat = {
    "born": "2026-05-01T08:00:00+00:00", "at": "2026-05-06T10:00:00+00:00",
    "findings": {"inguinal_hernia.left": {"value": "reducible", "time": "2026-05-04T10:00:00+00:00"}},
    "history": {"orders": [{"target": "pediatric_surgery", "side": "left", "status": "active", "priority": "urgent",
                            "time": "2026-05-05T10:00:00+00:00", "reference": "ServiceRequest/1"}]},
}  # fmt: skip
"""What was found was ordered a day ago: the order stands."""


@pytest.fixture(scope="module")
def visits(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[Given]:
    found = [Given("ordered before", ORDERED_BEFORE, load_pack()), *_fed(whole(request))]
    made = _made(tmp_path_factory.mktemp("made"), 2600 if whole(request) else 30)
    return [*found, *islice(made, max(0, ALL - len(found)) if whole(request) else SOME)]


def _fed(every: bool) -> Iterator[Given]:
    for one in emergencies() if every else emergencies()[5::120]:
        for way in WAYS:
            places = one.places if every and not way.of_orders else one.places[:1]
            for k, place in enumerate(places):
                flat = way.make(one, place)
                if flat is not None and _is_read(flat, one.pack):
                    yield Given(f"{one.rule}, {way.name}, {k}", flat, one.pack)


def _is_read(flat: Flat, pack: Pack) -> bool:
    try:
        pack.read_visit(flat)
    except InputError:
        return False
    return True


def _made(place: Path, newborns: int) -> Iterator[Given]:
    make(place, "--newborns", str(newborns), "--often", "12", "--seed", "7")
    lines = (place / "visits.ndjson").read_text(encoding="utf-8").splitlines()
    for row in map(json.loads, (place / "truth.ndjson").read_text(encoding="utf-8").splitlines()):
        if row["broken"] is None:
            yield Given(f"made, line {row['line']}", json.loads(lines[row["line"] - 1]), load_pack())


def test_each_visit_is_due_what_assess_says_of_it(request: pytest.FixtureRequest, visits: list[Given]) -> None:
    auditors = {id(one.pack): Auditor(one.pack) for one in visits}
    parts = [*_read_together(visits)]

    def told(number: int) -> list[str]:
        part = parts[number]
        pack = part[0].pack
        found = differences([one.flat for one in part], auditors[id(pack)], pack)
        return [f"{one.name}: {line}" for one, lines in zip(part, found, strict=True) for line in lines]

    found = shared_out(told, range(len(parts)), _processes(request))
    print(f"{len(visits)} visits, {sum(one.name.startswith('made') for one in visits)} of them of a made cohort")
    assert [line for lines in found for line in lines] == []


def _read_together(visits: list[Given]) -> Iterator[list[Given]]:
    """Yield visits of one pack in parts of any size, since what is told of one must not hang on the others."""
    by_pack: dict[int, list[Given]] = {}
    for one in visits:
        by_pack.setdefault(id(one.pack), []).append(one)
    for several in by_pack.values():
        left, sizes = iter(several), cycle((1, 7, 40))
        while part := [*islice(left, next(sizes))]:
            yield part


def _processes(request: pytest.FixtureRequest) -> int:
    return cores() if whole(request) else 1


def test_what_we_proposed_before_is_due_as_assess_says(request: pytest.FixtureRequest) -> None:
    """Asked again later, with our own drafts on record: their deadlines stay."""
    pack, auditor = load_pack(), Auditor(load_pack())
    cases = every_case() if whole(request) else cases_that_show_each_rule()[1::24]

    def told(number: int) -> tuple[int, list[str]]:
        kept, lines = 0, list[str]()
        flat = timed(cases[number].shape.given)
        first = drafts(pack.assess(flat, readers=["native"])) if _is_read(flat, pack) else []
        for later in ({"minutes": 10}, {"days": 2}):
            asked = again(flat, first, **later)
            if first and _is_read(asked, pack):
                lines += differences([asked], auditor, pack)[0]
                kept += any(one.window.proposed for one in pack.assess(asked, readers=["native"]).recommendations)
        return kept, [f"{cases[number].label}: {line}" for line in lines]

    found = shared_out(told, range(len(cases)), _processes(request))
    print(f"{len(cases)} cases asked again twice, {sum(kept for kept, _ in found)} with a deadline that was kept")
    assert [line for _, lines in found for line in lines] == []
    assert sum(kept for kept, _ in found)


def test_orders_are_matched_as_by_hand(request: pytest.FixtureRequest, visits: list[Given], tmp_path: Path) -> None:
    flats = [one.flat for one in visits if one.pack is load_pack()]
    place, out = tmp_path / "visits.ndjson", tmp_path / "out"
    place.write_text("".join(json.dumps(flat) + "\n" for flat in flats), encoding="utf-8")
    progress = audit(Wanted(str(place), out, _processes(request)), load_pack())
    assert (progress.totals.visits, progress.totals.rejected) == (len(flats), 0)
    read = [load_pack().read_visit(flat) for flat in flats]
    of, differ, seen = newborns(read, load_pack()), list[Any](), Counter[str | None]()
    stood = {(row["visit"], row["episode"]): row["stood"] for row in rows(out, "due")}
    for row in rows(out, "recommendations"):
        number = row["visit"]
        told = row | {"stood": stood[number, row["episode"]], "window_until": _second(row["window_until"])}
        wanted = of[number].outcome(told, read[number].at.lo, progress.totals.record_end)
        seen[wanted[0]] += 1
        if wanted != (row["outcome"], row["act"]):
            differ.append((flats[number].get("patient"), row["rule"], wanted, row["outcome"], row["act"]))
    print(f"{len(flats)} visits, {sum(seen.values())} rows: {dict(seen)}")
    assert differ == []
    assert {"in time", "stood already", "late", "declined", "missed"} <= {*seen}


def _second(time: datetime | None) -> int | None:
    return None if time is None else int(time.timestamp())


def rows(out: Path, table: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = pq.read_table(out / table).to_pylist()
    return found
