"""Many visits in, many answers out: one after another, each as it would be answered alone."""

from layette.mapping.many.sources import Item, items
from layette.mapping.many.workers import Outcome, answers

__all__ = ["Item", "Outcome", "answers", "items"]
