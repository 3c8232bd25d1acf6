"""The numbers that an invented cohort is drawn from, each with where it comes from.

Published means and spreads are named beside the number. `invented` means that nobody measured it: it only makes the
cohort look like one. What the rule pack prints already is read from there (`printed.py`). No figure of this cohort
says anything about real newborns.
"""

from __future__ import annotations

from typing import Final

CLINICS: Final = {
    # name: share of newborns, offset of its clock (h), times in UTC, share of the examination that is written down,
    # share of whole records, share of first visits that come late. All invented.
    "North (invented)": (0.40, -5, False, 0.95, 0.80, 0.05),
    "East (invented)": (0.30, -6, True, 0.85, 0.60, 0.10),
    "South (invented)": (0.20, 1, False, 0.70, 0.30, 0.25),
    "Quay (invented)": (0.10, 0, True, 0.50, 0.10, 0.40),
}
GESTATION_WEEKS: Final = {35: 0.02, 36: 0.04, 37: 0.10, 38: 0.20, 39: 0.32, 40: 0.24, 41: 0.08}
"""Invented shares of completed weeks, of those who are seen in an office and not in a ward."""

P90_IN_SPREADS: Final = 1.2816
"""How many standard deviations the 90th percentile of a normal distribution lies above its middle."""

CESAREAN: Final = 0.30  # invented
BREAST_ONLY: Final = 0.70  # invented; the others have formula
WEIGHT_LOSS_SPREAD_PCT: Final = 2.0  # Noel-Weiss 2008: standard deviation about 2
REGAIN_DAY: Final = {"vaginal": 9, "cesarean": 10}  # Paul 2016: day at which half have their birth weight again
GAIN_G_A_DAY: Final = (20, 35)  # Grey Bruce public health: from day 4 through the first months

TEMPERATURE_C: Final = (37.0, 0.2)  # mean and spread that keep 99 % in 36.5 to 37.5 (textbook table of vital signs)
HEART_RATE: Final = (127, 11)  # median at birth: Fleming 2011; the spread is invented
BREATHING_RATE: Final = (44, 5)  # median at birth: Fleming 2011; the spread is invented
HEAD_CM: Final = (35.0, 0.8)  # textbook table: typical 35, 33 to 37; the spread is invented
BILIRUBIN_MG_DL: Final = (6.0, 1.5)  # invented
UMOL_PER_MG_DL: Final = 17.1  # molar mass of bilirubin
GRAMS_PER_POUND: Final = 453.59237  # by definition

FIRST_VISIT_DAYS: Final = (3.0, 5.0)  # first office visit at 3 to 5 days of age, AAP schedule 2024
LATE_BY_DAYS: Final = (2.0, 3.9)  # invented
SECOND_VISIT_DAYS: Final = (12.0, 16.0)  # invented, about two weeks
THIRD_VISIT_DAYS: Final = (60.0, 66.0)  # invented, about two months, after the latest order
COMES_BACK: Final = 0.85  # invented: has a second visit
BIRTHS_OVER_DAYS: Final = 300  # invented

FAULTS: Final = {"duplicate": 0.02, "broken": 0.01, "corrected": 0.03, "two units": 0.10, "sex missing": 0.03}
"""Invented shares: of visits sent twice, lines that cannot be read, weights that were taken back, samples told in two
units, records that do not say the sex."""
WRONG_WEIGHT: Final = 0.8  # invented: the share of the weight that was first written, and taken back
