"""Reading tables: every mistake at once, each with its file and line; and the safety checks of a supplied set."""

import itertools

import pytest
import yaml
from support.checkout import ROOT

from layette.engine.errors import PACK_CODES
from layette.engine.measures.thresholds import ThresholdSet
from layette.engine.tables.load import check_set, load_table

TABLES = ROOT / "rules/newborn/tables"
STEMS = sorted(path.stem for path in TABLES.glob("*.yaml"))
SITE = {
    "kind": "set",
    "label": "A site's own set",
    "issuer": "aap",
    "source": "aap-2022-hyperbilirubinemia",
    "status": "verified",
    "unit": "mg/dL",
    "beyond": "at_least",
    "gestations": [35, 36, 37, 38, 39, 40],
    "lines": ["phototherapy", "exchange"],
    "risks": ["none", "present"],
    "covers": [0, 336],
    "provenance": "invented for this test: straight lines to near the plateaus of the figures",
    "signed_off": [
        {"name": "A", "role": "pediatrician", "on": "2026-01-31"},
        {"name": "B", "role": "pharmacist", "on": "2026-02-01"},
    ],
}
ENDS = {35: 18.7, 36: 19.4, 37: 20.1, 38: 20.8, 39: 21.5, 40: 21.8}
KEYS = list(itertools.product(("phototherapy", "exchange"), ("none", "present"), ENDS))


def site_rows(change=None):
    """An invented set in the form that a site supplies; ``change`` edits the list of rows."""
    rows = []
    for line, risk, week in KEYS:
        end = ENDS[week] - (3 if risk == "present" else 0) + (5 if line == "exchange" else 0)
        rows += [[line, risk, week, 0, round(end - 12, 1)], [line, risk, week, 96, round(end, 1)]]
    if change:
        change(rows)
    head = "# invented\nline,risk,gestation_weeks,age_hours,value\n"
    return head + "\n".join(",".join(map(str, row)) for row in rows) + "\n"


def load(text, header=SITE, site_supplied=True):
    return load_table(header, text, "site/aap-2022.csv", site_supplied=site_supplied)


def codes(problems):
    return [(p.line, p.key, p.code) for p in problems]


@pytest.mark.parametrize("stem", STEMS)
def test_every_table_of_the_pack_loads_and_begins_with_its_source(stem, table):
    assert table(stem).name == stem
    text = (TABLES / f"{stem}.csv").read_text(encoding="utf-8")
    assert text.startswith("# ")
    assert "tatus" in "".join(line for line in text.splitlines() if line.startswith("#"))


def test_every_csv_has_a_header():
    assert sorted(path.stem for path in TABLES.glob("*.csv")) == STEMS


def test_what_is_not_a_threshold_says_so():
    for stem in (s for s in STEMS if s.endswith("sanity-only")):
        assert yaml.safe_load((TABLES / f"{stem}.yaml").read_text(encoding="utf-8"))["kind"] == "sanity"
        assert (TABLES / f"{stem}.csv").read_text(encoding="utf-8").startswith("# NOT THRESHOLDS")


def test_a_sites_set_loads_and_is_compared_with_the_figures(table):
    found, problems = load(site_rows())
    assert problems == []
    assert isinstance(found, ThresholdSet)
    assert found.signed_off == ("A, pediatrician, 2026-01-31", "B, pharmacist, 2026-02-01")
    figures = [table("aap-2022-plateau-sanity-only"), table("aap-2022-rough-points-sanity-only")]
    refused, look = check_set(found, "site/aap-2022.csv", figures)
    assert refused == []
    assert look
    assert {p.code for p in look} == {"threshold-set"}


def test_a_set_that_ends_far_from_the_plateau_is_refused(table):
    def lower(rows):
        rows[1][4] = 18.0

    supplied, problems = load(site_rows(lower))
    assert problems == []
    refused, _ = check_set(supplied, "site/aap-2022.csv", [table("aap-2022-plateau-sanity-only")])
    assert [(p.line, p.message) for p in refused] == [
        (
            4,
            "phototherapy of 35 weeks, risk none is 18 at 336 h; "
            "aap-2022-plateau-sanity-only gives about 18.7, and 0.5 is allowed",
        )
    ]


def test_figures_of_another_issuer_or_unit_are_not_compared(table):
    nice = table("nice-cg98")
    assert check_set(nice, "nice-cg98.csv", [table("aap-2022-plateau-sanity-only")]) == ([], [])


def test_lines_of_younger_babies_above_those_of_older_ask_for_a_second_look():
    def higher(rows):
        rows[1][4] = 19.6

    found, problems = load(site_rows(higher))
    assert problems == []
    _, look = check_set(found, "site/aap-2022.csv", [])
    assert [p.message for p in look] == ["phototherapy of 35 weeks lies above that of 36 weeks"]


def _falls(rows):
    rows.append(["phototherapy", "none", 35, 120, 18.6])


def _exchange_below(rows):
    rows[24][4] = 5


def _starts_late(rows):
    rows[0][3] = 1


def _ends_late(rows):
    rows[1][3] = 400


def _risk_above(rows):
    rows[13][4] = 19.0


@pytest.mark.parametrize(
    ("change", "line", "key", "says"),
    [
        (_falls, 51, "value", "falls with age"),
        (_exchange_below, 27, "value", "lies below phototherapy"),
        (_starts_late, 3, "covers", "does not begin at 0 h"),
        (_ends_late, 4, "covers", "points after 336 h"),
        (_risk_above, 15, "value", "lies above that without"),
    ],
)
def test_safety_of_a_set(change, line, key, says):
    found, problems = load(site_rows(change))
    assert found is None
    matching = [p for p in problems if says in p.message]
    assert [(p.file, p.key, p.code) for p in matching[:1]] == [("site/aap-2022.csv", key, "threshold-set")]
    assert line in {p.line for p in matching} or key == "value"


def test_who_signed_and_where_it_comes_from_must_be_said():
    header = SITE | {"provenance": " ", "signed_off": SITE["signed_off"][:1] * 2}
    found, problems = load(site_rows(), header)
    assert found is None
    assert [(p.file, p.key) for p in problems] == [
        ("site/aap-2022.yaml", "provenance"),
        ("site/aap-2022.yaml", "signed_off"),
    ]
    assert [p.key for p in load(site_rows(), header, site_supplied=False)[1]] == ["provenance"]


def test_hours_weeks_and_lines_that_a_set_must_have():
    _, problems = load(
        "line,gestation_weeks,age_hours,value\nphototherapy,38,0,5\nphototherapy,40,0,6\n",
        SITE | {"risks": [], "covers": [0, 96], "gestations": [38, 40], "lines": ["phototherapy"]},
    )
    assert [p.key for p in problems] == ["covers", "gestations", "lines"]


def test_rows_that_are_wrong_are_all_reported_with_their_lines():
    def spoil(rows):
        rows[0][4] = "high"
        rows[2] = ["phototherapy", "none", 34, 0, 5]
        rows[4] = list(rows[5])
        del rows[6:8]
        rows.append(["phototherapy", "none", 35])

    table, problems = load(site_rows(spoil))
    assert table is None
    assert set(codes(problems)) == {
        (3, "value", "table-value"),
        (5, "gestation_weeks", "table-value"),
        (8, "age_hours", "table-overlap"),
        (1, "rows", "table-gap"),
        (49, "columns", "shape"),
    }
    assert {p.code for p in problems} <= set(PACK_CODES)


def test_the_last_week_may_be_written_as_and_later():
    def and_later(rows):
        for row in rows:
            row[2] = ">=40" if row[2] == 40 else row[2]

    assert load(site_rows(and_later))[1] == []


@pytest.mark.parametrize(
    ("change", "keys"),
    [
        ({"kind": "rows"}, ["header"]),
        ({"beyond": "over", "units": "mg"}, ["beyond", "units"]),
        ({"source": []}, ["source"]),
        ({"axis": "age_hours"}, ["header"]),
        ({"lines": {"phototherapy": "p", "exchange": "e"}}, ["header"]),
    ],
)
def test_a_header_that_is_wrong(change, keys):
    found, problems = load(site_rows(), SITE | change)
    assert found is None
    assert sorted(p.key for p in problems) == keys
    assert {(p.file, p.code) for p in problems} == {("site/aap-2022.yaml", "shape")}


def reference(method, **more):
    return {
        "kind": "reference",
        "method": method,
        "label": "x",
        "source": "x",
        "status": "verified",
        "unit": "kg",
    } | more


LMS = reference("lms", axis="age_days", covers=[0, 1], restricted_beyond_3_sd=False)
STEPS = reference("steps", axis={"start": "a", "end": "b", "unit": "h"}, columns={"n": ["low", "high"]})
PERCENTILES = reference("percentiles", axis="gestation_days", covers=[168, 168], columns=["P3", "P50"])
PRINTED = reference("printed", keys=["k"], columns=["n"])


@pytest.mark.parametrize(
    ("header", "text", "expected"),
    [
        (
            LMS,
            "sex,age_days,L,M,S\nmale,0,1,3,0.1\nmale,0,1,-3,0.1\nboy,1,1,3,0.1\nfemale,7,x,3,0.1\n",
            {
                (3, "age_days", "table-overlap"),
                (3, "M", "table-value"),
                (4, "sex", "table-value"),
                (5, "L", "table-value"),
                (5, "age_days", "table-value"),
                (1, "age_days", "table-gap"),
            },
        ),
        (LMS, "sex,age_days,L,M,note\nmale,0,1,3,-\n", {(1, "S", "shape"), (1, "note", "shape")}),
        (PERCENTILES, "sex,gestation_days,P3,P50\nmale,168,1,2\nfemale,168,2,1\n", {(3, "P3", "table-value")}),
        (
            STEPS,
            "a,b,low,high\n0,24,1,2\n\n30,48,1,2\n40,60,3,2\n",
            {(4, "a", "table-gap"), (5, "a", "table-overlap"), (5, "low", "table-value")},
        ),
        (STEPS, "a,b,low,high\n24,24,1,2\n", {(2, "a", "table-value")}),
        (STEPS, "a,b,low,high\n0.5,24,1,2\n", {(2, "a", "table-value")}),
        (PRINTED, "k,n\na,1\na,2\nb,\nc,nan\n", {(3, "k", "table-overlap"), (5, "n", "table-value")}),
        (PRINTED, "k,n\na,0.1234567\nb,1000000\n", {(2, "n", "table-value"), (3, "n", "table-value")}),
        (PRINTED, "# nothing\n", {(1, "rows", "shape"), (1, "k", "shape"), (1, "n", "shape")}),
        (PRINTED, "k,k\na,1\n", {(1, "columns", "shape"), (1, "n", "shape")}),
    ],
)
def test_a_reference_that_is_wrong(header, text, expected):
    found, problems = load_table(header, text, "tables/x.csv")
    assert found is None
    assert set(codes(problems)) == expected


def test_sanity_points_that_are_wrong():
    header = {k: SITE[k] for k in ("label", "source", "status", "unit", "issuer")} | {"kind": "sanity"}
    text = "line,risk,gestation_weeks,age_hours,value,within,otherwise\nphototherapy,some,x,0,1,1,never\n"
    found, problems = load_table(header, text, "tables/x.csv")
    assert found is None
    assert {p.key for p in problems} == {"risk", "gestation_weeks", "otherwise"}
