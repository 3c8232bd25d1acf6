"""Measures: pure functions from intervals to intervals, each declared once and registered by name in ``REGISTRY``.

=================  =====================================================================
``registry``       the functions a pack may bind, each with its declaration
``input_kinds``    what a measure can be given
``ages``           age, calendar age, corrected and postmenstrual age, time between two
``change``         percent lost, gain a day, difference, change an hour
``growth``         z-score and centile (WHO, LMS)
``birth_size``     size for gestation (INTERGROWTH-21st, printed percentiles)
``thresholds``     treatment lines: where they lie, what lies beyond
``steps``          look-up by steps of age: diaper counts, feed volumes
``table_rows``     the rows of a table that an uncertain sex or day leaves possible
=================  =====================================================================
"""

from layette.engine.exact.interval import Interval, Ratio, Span
from layette.engine.measures import ages, birth_size, change, growth, steps, thresholds
from layette.engine.measures.registry import REGISTRY, MeasureFunction, measure

__all__ = [
    "REGISTRY",
    "Interval",
    "MeasureFunction",
    "Ratio",
    "Span",
    "ages",
    "birth_size",
    "change",
    "growth",
    "measure",
    "steps",
    "thresholds",
]
