"""Measures: pure functions from intervals to intervals, registered by name in ``REGISTRY``.

=================  =====================================================================
``elements``       one number or an array of them, in the same words
``interval``       exact intervals
``arithmetic``     their arithmetic and comparison
``registry``       the functions a pack may bind, with what each takes and gives
``ages``           age, calendar age, corrected and postmenstrual age, time between two
``change``         percent lost, gain a day, difference, change an hour
``growth``         z-score and centile (WHO, LMS)
``birth_size``     size for gestation (INTERGROWTH-21st, printed percentiles)
``thresholds``     treatment lines: where they lie, what lies beyond
``set_safety``     what a set of treatment lines must satisfy before it is used
``steps``          look-up by steps of age: diaper counts, feed volumes
``candidates``     the rows of a table that an uncertain sex or day leaves possible
``sheet``          a CSV's rows with their lines, and the mistakes in them
``from_sheet``     from rows to the tables above (``layette.engine.tables`` reads the headers)
=================  =====================================================================
"""

from layette.engine.exact.interval import Interval, Ratio, Span
from layette.engine.measures import ages, birth_size, change, growth, steps, thresholds
from layette.engine.measures.registry import REGISTRY, Kind, MeasureFunction, Parameter, measure

__all__ = [
    "REGISTRY",
    "Interval",
    "Kind",
    "MeasureFunction",
    "Parameter",
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
