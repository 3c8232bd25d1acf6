"""Z-scores against the WHO Child Growth Standards 2006.

The 26 expected z-scores (two decimals, as the WHO reference macro gives them) lie beside this file with their source.
The table's own medians must give z = 0, and M (1 + z L S)^(1 / L) must give z back.
"""

import csv
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from layette.engine.exact.interval import Interval
from layette.engine.measures import table_rows
from layette.engine.measures.growth import centile, zscore

LINES = Path(__file__).with_name("who_zscore_test_cases.csv").read_text(encoding="utf-8").splitlines()
CASES = list(csv.DictReader(line for line in LINES if not line.startswith("#")))
NAMES = {
    "weight_kg": "who-2006-weight",
    "length_cm": "who-2006-length",
    "head_circumference_cm": "who-2006-head",
}
SEX = {"male": 0, "female": 1}


def exactly(*values):
    return Interval.of([(Fraction(v), Fraction(v)) for v in values])


def test_all_cases_are_read():
    assert len(CASES) == 26
    assert {case["measure"] for case in CASES} == set(NAMES)


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c['measure']}-{c['sex']}-{c['age_days']}-{c['value']}")
def test_expected_zscore(case, table):
    sex = np.array([SEX[case["sex"]]])
    found = zscore(exactly(case["value"]), sex, exactly(case["age_days"]), table(NAMES[case["measure"]]))
    ((low, high),) = found.spans()
    assert low == high
    assert float(low) == pytest.approx(float(case["expected_z"]), abs=0.01)


@pytest.mark.parametrize("name", NAMES.values())
def test_median_and_two_standard_deviations_of_every_day(name, table):
    lms = table(name)
    for sex in (0, 1):
        sexes, days = np.full(92, sex), exactly(*range(92))
        l, m, s = lms.lms[sex].T  # noqa: E741
        for z in (0, -2, 2):
            values = exactly(*(m * (1 + l * s * z) ** (1 / l)).tolist())
            found = [float(low) for low, _ in zscore(values, sexes, days, lms).spans()]
            assert found == pytest.approx([z] * 92, abs=1e-8)
        assert [low for low, _ in centile(exactly(*m.tolist()), sexes, days, lms).spans()] == [50] * 92


def test_unrestricted_beyond_three_for_length_restricted_for_weight(table):
    weight, length = table("who-2006-weight"), table("who-2006-length")
    assert weight.restricted
    assert not length.restricted
    l, m, s = weight.lms[0, 30]  # noqa: E741
    sd = {z: m * (1 + l * s * z) ** (1 / l) for z in (-3, -2, 2, 3)}
    step_up, step_down = sd[3] - sd[2], sd[-2] - sd[-3]
    values = exactly(sd[3] + step_up, sd[-3] - step_down)
    found = zscore(values, np.array([0, 0]), exactly(30, 30), weight).spans()
    assert [float(low) for low, _ in found] == pytest.approx([4, -4], abs=1e-8)


@pytest.mark.parametrize("together", [1, 200, 1 << 18])
@pytest.mark.parametrize("name", NAMES)
def test_all_cases_at_once_and_with_sex_or_day_unknown(name, together, table, monkeypatch):
    """An unknown sex gives the hull of both, an unknown day that of all days; the known ones stay as they are."""
    monkeypatch.setattr(table_rows, "TOGETHER", together)
    cases, lms = [case for case in CASES if case["measure"] == name] * 3, table(NAMES[name])
    third = len(cases) // 3
    values = exactly(*(case["value"] for case in cases))
    sexes = np.array([SEX[case["sex"]] for case in cases])
    sexes[third : 2 * third] = -1
    days = [(int(case["age_days"]),) * 2 for case in cases[: 2 * third]]
    days += [(max(0, int(case["age_days"]) - 9), int(case["age_days"])) for case in cases[2 * third :]]
    found = zscore(values, sexes, Interval.of([(Fraction(a), Fraction(b)) for a, b in days]), lms).spans()
    for case, (low, high) in zip(cases[:third], found[:third], strict=True):
        assert low == high
        assert float(low) == pytest.approx(float(case["expected_z"]), abs=0.01)
    for case, (low, high), sex, (first, last) in zip(cases, found, sexes.tolist(), days, strict=True):
        alone = [
            zscore(Interval.one(*(Fraction(case["value"]),) * 2), one, Interval.one(*(Fraction(day),) * 2), lms).span()
            for one in ((0, 1) if sex < 0 else (sex,))
            for day in range(first, last + 1)
        ]
        assert (low, high) == (min(a for a, _ in alone), max(b for _, b in alone))
