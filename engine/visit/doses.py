"""A dose on record (`history.immunizations`) counts as what the dictionary says that a dose of it states.

A finding whose ``dose`` names one of its values is met by a dose: by the finding's own name, or by a code that stands
under that value in ``means``. A published code that no finding has is kept and reported; any other name is a mistake.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from difflib import get_close_matches

from layette.engine.exact.times import Moment
from layette.engine.pack.written.shapes import FindingShape, listed
from layette.engine.pack.written.subjects import Subjects
from layette.engine.visit.problems import Problems
from layette.engine.visit.visit import GivenTopic, Recorded


def doses_as_findings(
    doses: Iterable[GivenTopic],
    recorded: Iterable[Recorded],
    subjects: Subjects,
    born: Moment,
    at: Moment,
    to: Problems,
) -> Iterator[Recorded]:
    """Yield a recording for each dose that no recording of its finding tells already.

    Args:
        doses: what the history lists; a dose without a time was given at some time since birth.
        recorded: the recordings of the visit and its history.
        subjects: the dictionary.
        born, at: birth, and the moment of the visit.
        to: where a dose that is not known is told.
    """
    known, by_code = _given(subjects)
    told = {(r.finding, r.possible, r.time.lo, r.time.hi) for r in recorded if r.finding in known}
    for k, dose in enumerate(doses):
        name, path = by_code.get(dose.name, dose.name), f"history.immunizations[{k}]"
        shape = known.get(name)
        if shape is None:
            _not_known(dose.name, path, known, to)
            continue
        value = str(shape.dose)
        time = dose.time or Moment(born.lo, at.hi, "some time since birth")
        if (name, frozenset({value}), time.lo, time.hi) not in told:
            yield _recording(name, value, time, dose.reference, path)


def _given(subjects: Subjects) -> tuple[dict[str, FindingShape], dict[str, str]]:
    """Return the findings that a dose meets, and their names by the codes of a dose."""
    if "doses" not in subjects.derived:
        known = {name: shape for name, shape in subjects.findings.items() if shape.dose is not None}
        by_code = {code: name for name, shape in known.items() for code in _codes(shape)}
        subjects.derived["doses"] = known, by_code
    made: tuple[dict[str, FindingShape], dict[str, str]] = subjects.derived["doses"]
    return made


def _codes(shape: FindingShape) -> Iterator[str]:
    for system, codes in shape.means.get(str(shape.dose), {}).items():
        yield from (f"{system}:{code}" for code in listed(codes))


def _not_known(name: str, path: str, known: Iterable[str], to: Problems) -> None:
    names = sorted(known)
    if ":" in name:
        to.warnings.append(f"{path}: kept, not understood: no finding of this pack is a dose of {name}")
        return
    close = get_close_matches(name, names, 1, 0.5)
    expected = (f"did you mean {close[0]}? " if close else "") + f"one of {', '.join(names)}, or a code such as cvx:08"
    to.add(f"{path}.code", "unknown-finding", "the pack knows no such dose", name, expected)


def _recording(name: str, value: str, time: Moment, reference: str, path: str) -> Recorded:
    return Recorded(
        finding=name,
        side="",
        part="",
        time=time,
        possible=frozenset({value}),
        absent="",
        status="final",
        here=False,
        given=value,
        converted="",
        qualifiers=(),
        origin=reference,
        path=path,
        reported=False,
    )
