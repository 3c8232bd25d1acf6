"""One invented newborn: clinic, birth, growth. Each is drawn by a seed of its own, in any order."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise
from random import Random

from cohort import numbers, printed

FIRST_BIRTH = datetime(2025, 1, 1, tzinfo=UTC)
DAY_H = 24
FADES_H = 96
"""From this age on what a newborn loses more or less than others fades, to nothing when the weight is back."""


@dataclass(frozen=True)
class Newborn:
    """An invented newborn. ``whole``: its record tells the birth; ``written``: share of an examination written down."""

    number: int
    clinic: str
    zone: timezone
    utc: bool
    written: float
    whole: bool
    born: datetime
    sex: str
    weeks: int
    delivery: str
    feeding: str
    birth_g: int
    loss_pct: float
    gain_g: float

    def weight_g(self, hours: float) -> int:
        """Return the weight at an age, which falls, comes back at about the day that is published, and then grows."""
        back = numbers.REGAIN_DAY[self.delivery] * DAY_H
        if hours >= back:
            return round(self.birth_g + (hours - back) / DAY_H * self.gain_g)
        curve = printed.weight_loss_pct()[self.feeding, self.delivery]
        loss = max(
            0.0, _between((*curve, (back, 0.0)), hours) + self.loss_pct * min(1.0, (back - hours) / (back - FADES_H))
        )
        return round(self.birth_g * (1 - loss / 100))

    def clock(self, hours: float, own: bool = False) -> str:
        """Return a moment after birth as the record writes it: in UTC where the server does, but of a birth."""
        moment = self.born + timedelta(hours=hours)
        return moment.astimezone(UTC if self.utc and not own else self.zone).isoformat(timespec="seconds")


def newborn(number: int, of: int, rng: Random) -> Newborn:
    """Draw the newborn of a number, of so many in all; births lie evenly over the period."""
    clinic = rng.choices([*numbers.CLINICS], [share for share, *_ in numbers.CLINICS.values()])[0]
    _, offset, utc, written, whole, _ = numbers.CLINICS[clinic]
    weeks = rng.choices([*numbers.GESTATION_WEEKS], [*numbers.GESTATION_WEEKS.values()])[0]
    sex = rng.choice(("female", "male"))
    low, middle, high = printed.birth_weight_kg()[sex, weeks]
    return Newborn(
        number=number, clinic=clinic, zone=timezone(timedelta(hours=offset)), utc=utc, written=written,
        whole=rng.random() < whole,
        born=FIRST_BIRTH + timedelta(minutes=round(number / of * numbers.BIRTHS_OVER_DAYS * DAY_H * 60)),
        sex=sex, weeks=weeks, delivery="cesarean" if rng.random() < numbers.CESAREAN else "vaginal",
        feeding="breast_only" if rng.random() < numbers.BREAST_ONLY else "formula_only",
        birth_g=round(1000 * rng.gauss(middle, (high - low) / 2 / numbers.P90_IN_SPREADS)),
        loss_pct=rng.gauss(0, numbers.WEIGHT_LOSS_SPREAD_PCT), gain_g=rng.uniform(*numbers.GAIN_G_A_DAY),
    )  # fmt: skip


def _between(curve: tuple[tuple[float, float], ...], at: float) -> float:
    """Return the height of a curve between its points."""
    for (left, low), (right, high) in pairwise(curve):
        if at <= right:
            return low + (high - low) * (at - left) / (right - left)
    return curve[-1][1]
