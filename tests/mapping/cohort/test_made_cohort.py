"""An audit of a made cohort counts what was planted in it."""

from __future__ import annotations

import importlib
import json
from collections import Counter
from itertools import islice, product
from pathlib import Path
from random import Random
from statistics import median
from typing import Any, NamedTuple

import duckdb
import pytest
from support.made_cohort import SCRIPT, make

from layette.engine.api import load_pack
from layette.engine.terms import PRIORITIES
from layette.mapping.cohort.audit import Wanted, audit

Row = dict[str, Any]
OUTCOMES = ("in time", "late", "missed", "declined")


class Both(NamedTuple):
    """A made cohort, with its audit."""

    made: Path
    out: Path
    truth: list[Row]

    @property
    def whole(self) -> list[Row]:
        """What is true of the lines that can be read."""
        return [row for row in self.truth if row["broken"] is None]

    def line(self, number: int) -> Row:
        """Return the visit of a line, from 1."""
        made: Row = json.loads((self.made / "visits.ndjson").read_text(encoding="utf-8").splitlines()[number - 1])
        return made

    def asked(self, query: str) -> list[tuple[Any, ...]]:
        """Ask the tables of the audit; ``visits``, ``recommendations`` and ``rule_counts`` stand in the query."""
        with duckdb.connect() as db:
            for name in ("visits", "recommendations", "rule_counts"):
                db.execute(f"CREATE VIEW {name} AS SELECT * FROM '{self.out}/{name}/*.parquet'")
            return db.execute(query).fetchall()


def rows(place: Path) -> list[Row]:
    return [json.loads(line) for line in place.read_text(encoding="utf-8").splitlines()]


@pytest.fixture(scope="module", params=["flat", "bundle"])
def both(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Both:
    """Some 300 flat visits, or 120 Bundles, in which problems and faults are twelve times as frequent."""
    place = tmp_path_factory.mktemp("cohort")
    many, seed = ("130", "5") if request.param == "flat" else ("50", "11")
    made = make(place / "made", "--newborns", many, "--often", "12", "--seed", seed, "--form", request.param)
    pack = load_pack()
    audit(Wanted(str(made / "visits.ndjson"), place / "out", workers=2 if request.param == "flat" else 1), pack)
    return Both(made, place / "out", rows(made / "truth.ndjson"))


def planted(both: Both) -> Counter[tuple[Any, ...]]:
    return Counter(
        (row["line"], one["rule"], one["target"], one["side"], one["outcome"])
        for row in both.truth for one in row["planted"]
    )  # fmt: skip


def test_each_thing_that_was_planted_is_due_and_ends_as_it_did_and_nothing_else_is(both: Both) -> None:
    wanted = planted(both)
    rules = {(rule, target) for _, rule, target, *_ in wanted}
    found = both.asked("""SELECT line, rule, target, side, outcome FROM recommendations JOIN visits USING (visit)
                         WHERE status <> 'not on record'""")
    assert Counter(row for row in found if row[1:3] in rules) == wanted
    assert len(rules) >= 6
    assert {outcome for *_, outcome in wanted} == {*OUTCOMES}


def test_counts_by_rule_and_outcome_are_those_of_the_truth(both: Both) -> None:
    """Asked as TABLES.md asks, by rule and target."""
    wanted = Counter((rule, target, outcome) for _, rule, target, _, outcome in planted(both).elements())
    found = both.asked("""SELECT rule, target, outcome, count(DISTINCT visit) FROM recommendations
                          WHERE status <> 'not on record' GROUP BY ALL""")
    rules = {rule for rule, *_ in wanted}
    counts = {(rule, target, outcome): many for rule, target, outcome, many in found if rule in rules}
    assert {key: counts.get(key) for key in wanted} == wanted


def test_orders_of_each_priority_are_in_time_late_missed_and_declined(tmp_path: Path) -> None:
    """A cohort in which problems are as frequent as they may be: all 16 pairs are planted, and counted as planted."""
    made = make(tmp_path / "made", "--newborns", "80", "--often", "200", "--seed", "1")
    audit(Wanted(str(made / "visits.ndjson"), tmp_path / "out", workers=2), load_pack())
    found = Both(made, tmp_path / "out", rows(made / "truth.ndjson"))
    wanted = Counter(
        (row["line"], one["target"], one["side"], one["priority"], one["outcome"])
        for row in found.truth for one in row["planted"]
    )  # fmt: skip
    assert {(priority, outcome) for *_, priority, outcome in wanted} == {*product(PRIORITIES, OUTCOMES)}
    told = Counter(
        found.asked("""SELECT line, target, side, priority, outcome FROM recommendations
                                  JOIN visits USING (visit) WHERE status <> 'not on record' AND lead""")
    )
    assert {key: told[key] for key in wanted} == wanted
    orders = {(line["history"]["orders"][0]["priority"]) for row in found.whole
              for line in [found.line(row["line"])] if line.get("history", {}).get("orders")}  # fmt: skip
    assert orders == {*PRIORITIES}


def test_broken_lines_are_set_aside_and_no_others(both: Both) -> None:
    broken = [row["line"] for row in both.truth if row["broken"]]
    aside = [row["line"] for row in rows(both.out / "rejected.ndjson")]
    assert aside == broken != []
    totals = json.loads((both.out / "audit.json").read_text())["totals"]
    assert (totals["visits"], totals["rejected"]) == (len(both.whole), len(broken))


def test_denominators_are_those_of_the_truth(both: Both) -> None:
    """A rule for boys: surely of those who are recorded as boys, possibly of those whose sex is not recorded."""
    rule = "screens.vitamin-k-circumcision"
    boys, unknown = (sum(row["sex"] == sex for row in both.whole) for sex in ("male", None))
    ((eligible, may_be),) = both.asked(
        f"SELECT sum(eligible), sum(may_be_eligible) FROM rule_counts WHERE rule = '{rule}'"
    )
    assert (eligible, may_be) == (boys, boys + unknown)
    assert unknown > 0


def test_visits_by_clinic_are_those_of_the_truth(both: Both) -> None:
    found = dict(both.asked("SELECT clinic, count(*) FROM visits GROUP BY ALL"))
    assert found == Counter(row["clinic"] for row in both.whole)
    assert len(found) > 1


def test_a_loss_of_weight_counts_and_a_weight_that_was_taken_back_does_not(both: Both) -> None:
    lost = {row["line"] for row in both.whole if (row["loss_pct"] or 0) >= 10}
    found = both.asked("""SELECT DISTINCT line FROM recommendations JOIN visits USING (visit)
                          WHERE rule = 'growth.loss-10' AND status = 'fired'""")
    assert {line for (line,) in found} == lost != set()
    assert any("corrected" in row["marks"] and row["line"] not in lost for row in both.whole)


def test_one_sample_in_two_units_is_no_conflict_and_a_visit_sent_twice_counts_twice(both: Both) -> None:
    weighed = {line for (line,) in both.asked("SELECT line FROM visits WHERE added_worlds")}
    two_units = {row["line"] for row in both.whole if "two units" in row["marks"]}
    assert two_units - weighed == two_units != set()
    copies = {row["line"] for row in both.whole if row["copy_of"]}
    assert copies & {line for (line,) in both.asked("SELECT line FROM visits")} == copies != set()


def test_every_file_and_line_says_that_it_is_invented(both: Both) -> None:
    told = [line for file in both.made.glob("*.ndjson") for line in file.read_text(encoding="utf-8").splitlines()]
    assert [line for line in told if "invented" not in line] == []
    assert "Everything in this folder is invented" in (both.made / "INVENTED.txt").read_text(encoding="utf-8")
    assert {file.name for file in both.made.iterdir()} == {"INVENTED.txt", "visits.ndjson", "truth.ndjson"}


def test_the_same_seed_makes_the_same_bytes_and_another_one_others(tmp_path: Path) -> None:
    one, again, other = (make(tmp_path / name, "--newborns", "20", "--seed", name[-1]) for name in ("a1", "b1", "c2"))
    for file in ("visits.ndjson", "truth.ndjson"):
        assert (one / file).read_bytes() == (again / file).read_bytes() != (other / file).read_bytes()


def test_lines_are_made_as_they_are_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first lines of ten million newborns: all of them would take an hour, and many gigabytes."""
    monkeypatch.syspath_prepend(str(SCRIPT.parent))
    lines = importlib.import_module("cohort.lines")
    found = list(islice(lines.lines(lines.Asked(10_000_000)), 5))
    assert [one.truth["line"] for one in found] == [1, 2, 3, 4, 5]


def test_newborns_lose_weight_as_published(monkeypatch: pytest.MonkeyPatch) -> None:
    """Flaherman 2015: half of those fed at the breast had lost 7.1 % two days after a vaginal birth; of those born by
    cesarean more than a quarter had lost 10 % at three days."""
    monkeypatch.syspath_prepend(str(SCRIPT.parent))
    newborn = importlib.import_module("cohort.newborns").newborn
    drawn = [one for number in range(6000) if (one := newborn(number, 6000, Random(number))).feeding == "breast_only"]
    lost = {(one.delivery, hours): [] for one in drawn for hours in (48, 72)}
    for one in drawn:
        for hours in (48, 72):
            lost[one.delivery, hours].append(100 * (1 - one.weight_g(hours) / one.birth_g))
    assert median(lost["vaginal", 48]) == pytest.approx(7.1, abs=0.3)
    assert median(lost["cesarean", 72]) == pytest.approx(8.6, abs=0.3)
    severe = sum(loss >= 10 for loss in lost["cesarean", 72]) / len(lost["cesarean", 72])
    assert severe == pytest.approx(0.25, abs=0.04)


def test_every_order_of_the_truth_stands_in_a_later_visit(monkeypatch: pytest.MonkeyPatch) -> None:
    """By the limits that it is drawn within, and of three thousand newborns."""
    monkeypatch.syspath_prepend(str(SCRIPT.parent))
    numbers, problems = (importlib.import_module(f"cohort.{name}") for name in ("numbers", "problems"))
    latest = numbers.FIRST_VISIT_DAYS[1] + numbers.LATE_BY_DAYS[1] + max(one.late[1] for one in problems.PROBLEMS) / 24
    assert latest < numbers.THIRD_VISIT_DAYS[0]
    visits_of = importlib.import_module("cohort.visits").visits_of
    planted = told = 0
    for number in range(3000):
        first, *later = visits_of(number, 3000, 7, 12.0)
        orders = [order["target"] for one in later for order in one.visit.get("history", {}).get("orders", ())]
        wanted = [one.problem.target for one in first.planted if one.hours is not None]
        assert Counter(orders) == Counter(wanted)
        planted, told = planted + len(first.planted), told + len(orders)
    assert 0 < told < planted
