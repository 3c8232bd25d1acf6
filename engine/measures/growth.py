"""Z-scores and centiles for age by the LMS method.

z = ((x / M) ** L - 1) / (L S), with L, M, S of the completed day of age and the sex (Cole and Green, Stat Med
1992;11:1305-19; WHO Child Growth Standards 2006). For weight WHO restricts this to -3..3: beyond, z goes on in steps of
the distance between 2 and 3 standard deviations at that age (WHO 2006, chapter 7); length and head are not restricted.

The standards are of babies born at term: of one born before 37 weeks they are read by the age from 40 weeks, once that
is reached, and say nothing before (Outpatient care of the premature infant, Am Fam Physician 2025, abstract: growth by
corrected age).

A power is not a rational number, so here alone floats are computed: float64, then rounded to a thousand-millionth,
which is far finer than the tables' four decimals and gives one visit and a cohort the same number. Rounding keeps
order, so the interval of a narrower input still lies within that of a wider one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layette.engine.exact.arithmetic import add
from layette.engine.exact.interval import Interval, Ratio, floats, unknown_like
from layette.engine.exact.one_or_many import Bools, Floats, Integers, chosen, not_, some
from layette.engine.measures.ages import BEFORE_TERM
from layette.engine.measures.input_kinds import OF_TABLE, AgeAt, Of, Sex, Table
from layette.engine.measures.registry import measure
from layette.engine.measures.table_rows import TableRows

_STEPS = 10**9
_WHO = "WHO Child Growth Standards 2006; Cole and Green, Stat Med 1992;11:1305-19"


@dataclass(frozen=True, slots=True)
class LmsTable:
    """L, M, S by sex and day: ``lms`` has shape (2 sexes, days, 3), float64; M in ``unit``; ``covers`` in days.

    ``restricted`` is the WHO rule for weight beyond 3 standard deviations.
    """

    name: str
    label: str
    unit: str
    covers: tuple[int, int]
    restricted: bool
    lms: NDArray[np.float64]
    source: tuple[str, ...]
    status: str


_INPUTS = (Of("of", OF_TABLE), Sex(), AgeAt("of", "d"), Table("table", LmsTable))
_EARLY_INPUTS = (Of("of", OF_TABLE), Sex(), AgeAt("of", "d"), Of("gestation", "d"), Table("table", LmsTable))
AT_TERM = 259
"""Days of gestation from which a baby is born at term (37 weeks)."""


@measure("zscore", inputs=_INPUTS, unit="{SD}", says="standard deviations from the median", source=_WHO)
def zscore(of: Interval, sex: Integers, age_days: Interval, table: LmsTable) -> Interval:
    """Return standard deviations from the median for age and sex, shape (n,).

    ``of`` in the table's unit; ``sex``: 0 male, 1 female, -1 unknown; ``age_days`` in days, of which completed days
    count. What is uncertain gives the hull; an age that may lie outside the table gives no answer.
    """
    if of.blank:
        return unknown_like(of, age_days)
    return _rounded(*_scores(of, sex, age_days, table))


@measure("centile", inputs=_INPUTS, unit="{centile}", says="centile, 0 to 100", source=_WHO)
def centile(of: Interval, sex: Integers, age_days: Interval, table: LmsTable) -> Interval:
    """Return the centile for age and sex, 0 to 100, from the normal distribution of z; else as ``zscore``.

    An end that is not known stays unbounded, not 0 or 100: no test may hold because nobody measured.
    """
    if of.blank:
        return unknown_like(of, age_days)
    return _as_centiles(*_scores(of, sex, age_days, table))


@measure(
    "zscore_from_term",
    inputs=_EARLY_INPUTS,
    unit="{SD}",
    says="of a baby born before 37 weeks: standard deviations from the median, by the age from 40 weeks",
    source=_WHO,
    basis="born before 37 weeks, age from 40 weeks",
)
def zscore_from_term(
    of: Interval, sex: Integers, age_days: Interval, gestation_days: Interval, table: LmsTable
) -> Interval:
    """Return ``zscore`` by the age from 40 weeks, shape (n,); no answer before, nor of a baby perhaps born at term."""
    if of.blank:
        return unknown_like(of, age_days)
    return _rounded(*_early_scores(of, sex, age_days, gestation_days, table))


@measure(
    "centile_from_term",
    inputs=_EARLY_INPUTS,
    unit="{centile}",
    says="of a baby born before 37 weeks: centile, 0 to 100, by the age from 40 weeks",
    source=_WHO,
    basis="born before 37 weeks, age from 40 weeks",
)
def centile_from_term(
    of: Interval, sex: Integers, age_days: Interval, gestation_days: Interval, table: LmsTable
) -> Interval:
    """Return ``centile`` by the age from 40 weeks, shape (n,); no answer before, nor of a baby perhaps born at term."""
    if of.blank:
        return unknown_like(of, age_days)
    return _as_centiles(*_early_scores(of, sex, age_days, gestation_days, table))


def _as_centiles(lo: Floats, hi: Floats) -> Interval:
    low = _normal(lo)
    return _rounded(low, low if hi is lo else _normal(hi))


def _early_scores(
    of: Interval, sex: Integers, age_days: Interval, gestation_days: Interval, table: LmsTable
) -> tuple[Floats, Floats]:
    lo, hi = _scores(of, sex, add(add(age_days, gestation_days), BEFORE_TERM), table)
    at_term = not_(floats(gestation_days.hi) < AT_TERM)
    if some(at_term):
        return chosen(at_term, -math.inf, lo), chosen(at_term, math.inf, hi)
    return lo, hi


def _scores(of: Interval, sex: Integers, age_days: Interval, table: LmsTable) -> tuple[Floats, Floats]:
    rows = TableRows.of(sex, age_days, table.covers)
    low = floats(of.lo)
    lo, hi = rows.extremes(_restricted if table.restricted else _z, low, low if of.exact else floats(of.hi), table.lms)
    if some(rows.outside):
        return chosen(rows.outside, -math.inf, lo), chosen(rows.outside, math.inf, hi)
    return lo, hi


def _z(x: Any, rows: Any) -> Any:
    l, m, s = _columns(rows)  # noqa: E741 - the method's own letters
    nothing, no_power = x <= 0, l == 0
    ratio = (chosen(nothing, m, x) if some(nothing) else x) / m
    power = chosen(no_power, 1, l) if some(no_power) else l
    z = (ratio**power - 1) / (power * s)
    if power is not l:
        z = chosen(no_power, _log(ratio) / s, z)
    return chosen(nothing, -math.inf, z) if some(nothing) else z


def _columns(rows: Any) -> Any:
    """Return L, M, S: of one row three numbers, of several three arrays."""
    return rows if isinstance(rows, list) else rows.T


def _log(x: Any) -> Any:
    return math.log(x) if isinstance(x, float) else np.log(x)


def _exp(x: Any) -> Any:
    return math.exp(x) if isinstance(x, float) else np.exp(x)


def _power(base: Any, exponent: Any) -> Any:
    """Return the real power, nan where there is none; Python alone would answer with a complex number."""
    return math.nan if isinstance(base, float) and base < 0 else base**exponent


def _restricted(x: Any, rows: Any) -> Any:
    z = _z(x, rows)
    if not some(((z > 3) | (z < -3)) & _finite(z)):
        return z
    above = 3 + (x - _at(3, rows)) / (_at(3, rows) - _at(2, rows))
    under = -3 + (x - _at(-3, rows)) / (_at(-2, rows) - _at(-3, rows))
    return chosen(z > 3, above, chosen((z < -3) & (x > 0), under, z))


def _at(z: int, rows: Any) -> Any:
    l, m, s = _columns(rows)  # noqa: E741 - the method's own letters
    power = chosen(l == 0, 1, l)
    return m * chosen(l == 0, _exp(s * z), _power(1 + power * s * z, 1 / power))


def _normal(z: Floats) -> Floats:
    if isinstance(z, float):
        return 50 * math.erfc(-z / math.sqrt(2)) if math.isfinite(z) else z
    return np.array([_normal(x) for x in z.tolist()])


def _rounded(lo: Floats, hi: Floats) -> Interval:
    low = _end(lo, -1)
    return Interval(low, low if hi is lo and not some(not_(_finite(lo))) else _end(hi, 1))


def _finite(z: Floats) -> Bools:
    return math.isfinite(z) if isinstance(z, float) else np.isfinite(z)


def _end(z: Floats, sign: int) -> Ratio:
    if isinstance(z, float):
        return Ratio(round(min(max(z, -1e8), 1e8) * _STEPS), _STEPS) if math.isfinite(z) else Ratio(sign, 0)
    finite = np.isfinite(z)
    whole = np.rint(np.where(finite, z, 0).clip(-1e8, 1e8) * _STEPS).astype(np.int64)
    return Ratio(np.where(finite, whole, sign), np.where(finite, _STEPS, 0))
