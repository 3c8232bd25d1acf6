"""The report and the MeasureReports of a real audit: what they count is what the visits were made to show."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from support.browser import opened_browser

from layette.mapping.cli.command import main
from layette.mapping.cohort.audit import account_of
from layette.mapping.pages.audit.counted import counted
from layette.mapping.pages.audit.measures import measure_reports
from layette.mapping.pages.audit.page import Choice, audit_report
from layette.mapping.pages.audit.shown import NOT_SHOWN, shown
from layette.mapping.validate import validate

RULE = "eyes.red-reflex-abnormal"
MADE = {"North": (12, 12), "South": (12, 2), "Quay": (1, 3)}
"""Clinic: newborns with a white reflex that were referred in time, and that were not."""


def visits() -> list[dict[str, Any]]:
    made = []
    for clinic, (done, missed) in MADE.items():
        for place in range(done + missed):
            name = f"{clinic}-{place}"
            visit: dict[str, Any] = {
                "patient": f"Patient/{name}", "clinic": clinic, "born": "2026-05-01T08:00:00+00:00",
                "at": "2026-05-06T10:00:00+00:00", "findings": {"red_reflex.left": "white"},
            }  # fmt: skip
            if place < done:
                order = {"target": "ophthalmology", "status": "active", "reference": f"ServiceRequest/{name}"}
                visit["history"] = {"orders": [{**order, "time": "2026-05-06T10:30:00+00:00"}]}
            made.append(visit)
    return made


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("audit")
    lines = place / "visits.ndjson"
    lines.write_text("".join(json.dumps(one) + "\n" for one in visits()), encoding="utf-8")
    end = ["--record-end", "2026-06-30T00:00:00Z"]
    assert main(["audit", str(lines), "--out", str(place / "out"), "--workers", "1", *end]) == 0
    return place / "out"


def report(out: Path, **choice: Any) -> str:
    """The page without the words that a narrow screen shows instead of the heads of columns."""
    return re.sub(' data-head="[^"]*"', "", audit_report(out, account_of(out), Choice(**choice)))


def cells(page: str) -> str:
    """Return a page without what a cell of it is called on a narrow screen."""
    return re.sub(r' data-head="[^"]*"', "", page)


def test_the_counts_are_those_the_visits_were_made_with(out: Path) -> None:
    [rule] = [one for one in counted(out).rules if one.name == RULE]
    for clinic, (done, missed) in MADE.items():
        say = shown(rule, 1)
        assert [say.number("clinic", clinic, column) for column in ("due", "done", "missed")] == [
            done + missed, done, missed,
        ]  # fmt: skip
    assert str(shown(rule, 1).share()) == "25 of 42 = 60 % (44 to 73)"
    assert rule.priority in ("stat", "asap", "urgent")


def test_a_small_clinic_is_not_told_of(out: Path) -> None:
    """Four visits: no count of it is shown, not even a 0, and none follows from the others."""
    [rule] = [one for one in counted(out).rules if one.name == RULE]
    say = shown(rule, 11)
    assert set(say.row("clinic", "Quay")) == {NOT_SHOWN}
    assert say.number("all", "", "due") == 42
    assert sum(say.number("clinic", clinic, "due") is None for clinic in MADE) == 2


def test_a_period_without_a_visit_shows_none(out: Path) -> None:
    page = report(out, period=("2025-01", "2025-02"))
    assert "0 visits" in page
    assert RULE not in page
    assert "entry" not in measure_reports(out, account_of(out), Choice(period=("2025-01", "2025-02")))


def test_of_an_audit_too_small_no_count_is_shown(out: Path) -> None:
    page = report(out, least=43)
    assert "Too few visits to show any count" in page
    assert "Read: " not in page, "what was read less what was set aside is the number of visits"
    assert RULE not in page


def test_a_rule_that_asked_for_nothing_is_told_of_where_it_is_undecided(out: Path) -> None:
    undecided = cells(report(out)).partition("Undecided, because of what")[2]
    assert "<code>belly.lump</code></td><td>42</td><td>belly_mass 42" in undecided


@pytest.mark.browser
def test_nothing_is_cut_off_on_a_phone_or_on_paper(out: Path, tmp_path: Path) -> None:
    """At 360 pixels no count lies beyond the edge, and on paper no table: a figure is pushed sideways by itself."""
    page_of = tmp_path / "report.html"
    page_of.write_text(report(out, least=1), encoding="utf-8")
    with opened_browser() as browser:
        page = browser.new_page(viewport={"width": 360, "height": 800})
        page.set_default_timeout(180_000)
        page.goto(page_of.as_uri())
        assert page.evaluate(_BEYOND, 360) == []
        for fold in page.query_selector_all("summary"):
            fold.click()
        assert page.evaluate(_BEYOND, 360) == []
        page.set_viewport_size({"width": 680, "height": 1000})  # A4 between margins of 15 mm
        page.emulate_media(media="print")
        assert page.evaluate(_BEYOND, 680) == []
        assert page.evaluate("[...document.querySelectorAll('details.always table')].every(t => t.offsetHeight > 0)")


_BEYOND = """width => [...document.querySelectorAll('body *')].filter(e => !e.closest('figure, thead'))
  .filter(e => e.getBoundingClientRect().right > width + 1).map(e => e.outerHTML.slice(0, 80))"""


def test_values_that_a_person_judges_are_counted_by_target_and_clinic(tmp_path: Path) -> None:
    """A bilirubin just below its line, of a newborn of whom no risk factor is known."""
    visit = {
        "born": "2026-05-01T08:00:00+00:00", "at": "2026-05-05T10:00:00+00:00", "sex_at_birth": "female",
        "findings": {
            "serum_bilirubin": {"value": 18.0, "unit": "mg/dL"},
            "gestational_age": {"value": 39, "unit": "wk"},
        },
    }  # fmt: skip
    many = {"North": 13, "South": 12}
    lines = [json.dumps({**visit, "clinic": clinic}) + "\n" for clinic, n in many.items() for _ in range(n)]
    place = tmp_path / "visits.ndjson"
    place.write_text("".join(lines), encoding="utf-8")
    assert main(["audit", str(place), "--out", str(tmp_path / "out"), "--workers", "1"]) == 0
    [one] = [one for one in counted(tmp_path / "out").judge if one.name == "phototherapy"]
    assert [one.counts[key] for key in (("all", "", "number"), ("clinic", "North", "number"))] == [25, 13]
    told = cells(report(tmp_path / "out")).partition("For a person to judge")[2]
    assert "<td>Phototherapy</td><td>25</td><td>North 13, South 12</td>" in told


def test_targets_are_called_as_the_pack_of_the_audit_calls_them(out: Path) -> None:
    account = account_of(out)
    assert "Ophthalmologist" in audit_report(out, account, Choice())
    account["targets"] = account["targets"] | {"ophthalmology": "Eye clinic across the road"}
    assert "refer: Eye clinic across the road" in audit_report(out, account, Choice())
    assert "refer: ophthalmology" in audit_report(out, {**account, "targets": {}}, Choice())


def test_the_page_needs_nothing_else_and_names_nobody_unless_asked(out: Path) -> None:
    page = report(out)
    assert not re.findall(r"""(?:src|href)\s*=|url\(|@import""", page)
    assert "visits.ndjson" not in page
    assert "Patient/" not in page
    rows = report(out, rows=True)
    assert rows.count("visits.ndjson, line ") >= sum(missed for _, missed in MADE.values())
    for before in ("numerator", "denominator", "Excluded"):
        assert before in page


def test_figures_are_named_and_every_tag_is_closed(out: Path) -> None:
    page = report(out, least=1)
    found = re.findall(r"<svg .*?</svg>", page, re.DOTALL)
    assert any("funnel-" in one for one in found)
    names = [ElementTree.fromstring(one).attrib["aria-labelledby"].split()[0] for one in found]
    assert len(names) == len(set(names))
    assert _unclosed(page) == []


def test_the_measure_reports_are_valid_and_say_what_the_page_shows(out: Path) -> None:
    every = measure_reports(out, account_of(out), Choice(least=1))
    few = measure_reports(out, account_of(out), Choice())
    assert validate(every) == []
    assert validate(few) == []
    assert _clinics(every) == {"North", "South", "Quay"}
    assert "Quay" not in _clinics(few)
    assert all(
        count["count"] == 0 or count["count"] >= 11 for group in _groups(few) for count in group.get("population", ())
    )


def test_the_command_writes_both_for_its_owner_alone(out: Path) -> None:
    assert main(["audit", str(out), "--least", "1"]) == 0
    assert "Every count is shown" in (out / "report.html").read_text("utf-8")
    assert _clinics(json.loads((out / "measure_reports.json").read_text("utf-8"))) == set(MADE)
    assert {(out / name).stat().st_mode & 0o777 for name in ("report.html", "measure_reports.json")} == {0o600}


def test_a_smallest_count_of_nothing_is_refused(out: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["audit", str(out), "--least", "0"]) != 0
    assert "--least" in capsys.readouterr().err


def _groups(bundle: dict[str, Any]) -> list[dict[str, Any]]:
    groups = [group for entry in bundle["entry"] for group in entry["resource"]["group"]]
    return groups + [s for group in groups for by in group.get("stratifier", ()) for s in by["stratum"]]


def _clinics(bundle: dict[str, Any]) -> set[str]:
    [one] = [e["resource"] for e in bundle["entry"] if f"/{RULE}|" in e["resource"]["measure"]]
    return {
        stratum["value"]["text"]
        for by in one["group"][0].get("stratifier", ()) if by["code"][0]["text"] == "Clinic"
        for stratum in by["stratum"]
    }  # fmt: skip


def _unclosed(page: str) -> list[str]:
    """Return the tags that stand open at the end, or are closed out of turn."""
    stack: list[str] = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag: str, attrs: Any) -> None:
            if tag not in ("meta", "br"):
                stack.append(tag)

        def handle_endtag(self, tag: str) -> None:
            if stack and stack[-1] == tag:
                stack.pop()
            else:
                stack.append(f"/{tag}")

    Reader().feed(page)
    return stack
