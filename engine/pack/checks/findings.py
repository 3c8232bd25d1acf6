"""Whether the finding dictionary hangs together: values, numbers, guards, and the normals that spread over it."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from layette.engine.errors import PackProblem, near
from layette.engine.exact.units import MOLAR, UnitMismatchError, convert
from layette.engine.pack.checks.asked import check_left_out
from layette.engine.pack.checks.sources import check_codes
from layette.engine.pack.written.conditions import keys_in
from layette.engine.pack.written.shapes import FindingShape, NormalShape, NumberShape, listed
from layette.engine.pack.written.subjects import SEX, inputs_of
from layette.engine.pack.written.written_pack import WrittenPack
from layette.engine.pack.written.yaml_nodes import Document, Path


def check_findings(pack: WrittenPack) -> Iterator[PackProblem]:
    """Yield findings that are neither a category nor a number, or whose values do not hang together."""
    for name, shape in pack.findings.items():
        document, path = pack.finding_documents[name], ("findings", name)
        if (shape.values is None) == (shape.number is None):
            yield document.problem(path, "shape", f"'{name}' needs either 'values' or 'number'")
            continue
        yield from _check_codes(shape, document, path)
        if shape.number:
            yield from _check_number(name, shape.number, document, (*path, "number"))
        yield from _check_values(name, shape, document, path)
        yield from _check_lasting(name, shape, document, path)


def _check_codes(shape: FindingShape, document: Document, path: Path) -> Iterator[PackProblem]:
    yield from check_codes(shape.codes, document, (*path, "codes"))
    for key in ("part_codes", "side_codes", "means"):
        for word, codes in getattr(shape, key).items():
            yield from check_codes(codes, document, (*path, key, word))


def _check_number(name: str, number: NumberShape, document: Document, path: Path) -> Iterator[PackProblem]:
    if number.plausible[0] >= number.plausible[1]:
        yield document.problem(path, "shape", "'plausible' runs from a lower to a higher number")
    if number.substance is not None and number.substance not in MOLAR:
        message = f"'{name}': '{number.substance}' is no substance whose molar mass is known ({', '.join(MOLAR)})"
        yield document.problem((*path, "substance"), "unknown-value", message)
        return
    for unit in number.accepts:
        try:
            convert(Fraction(1), unit, number.unit, number.substance)
        except UnitMismatchError as error:
            yield document.problem((*path, "accepts"), "unknown-unit", f"'{name}': {error}")


def _check_values(name: str, shape: FindingShape, document: Document, path: Path) -> Iterator[PackProblem]:
    values = shape.values or []
    for value in dict.fromkeys(value for value in values if values.count(value) > 1):
        yield document.problem((*path, "values"), "duplicate-id", f"the value '{value}' stands there twice")
    if shape.values is None:
        return
    allowed = {*values, *shape.coarse, "abnormal"}
    for key, value in _named_values(shape):
        if value not in allowed:
            yield document.problem(
                (*path, key), "unknown-value", f"'{value}' is no value of '{name}'{near(value, allowed)}"
            )


def _check_lasting(name: str, shape: FindingShape, document: Document, path: Path) -> Iterator[PackProblem]:
    """Yield values that are none, events that are what is expected, and flags on what cannot carry them."""
    for key in ("event", "stands"):
        given = getattr(shape, key)
        if given and shape.number is not None:
            message = f"'{name}' is a number: '{key}' lists named values; for a number write a view such as .highest"
            yield document.problem((*path, key), "shape", message)
            continue
        for value in given:
            if value not in (shape.values or ()):
                known = ", ".join(shape.values or ())
                yield document.problem(
                    (*path, key),
                    "unknown-value",
                    f"'{value}' is no value of '{name}': {known}{near(value, shape.values or ())}",
                )
    for value in shape.event:
        if value in listed(shape.expected):
            message = f"'{value}' is what is expected of '{name}': an event is what should not have happened"
            yield document.problem((*path, "event"), "shape", message)
    if shape.stands and shape.carries_over:
        message = f"'{name}' carries over: an earlier value counts already, so nothing has to stand"
        yield document.problem((*path, "stands"), "shape", message)


def _named_values(shape: FindingShape) -> Iterator[tuple[str, str]]:
    """Yield the values that other keys of a finding name, each with its key."""
    yield from (("expected", value) for value in listed(shape.expected))
    yield from (("dose", value) for value in listed(shape.dose))
    yield from (("not_known", value) for value in listed(shape.not_known))
    yield from (("not_understood", value) for value in listed(shape.not_understood))
    yield from (("answers", value) for value in shape.answers)
    yield from (("asked", value) for value in shape.asked)
    yield from (("coarse", value) for values in shape.coarse.values() for value in values)
    yield from (("means", value) for value in shape.means)
    yield from (("variant", value) for value in shape.variant)


def check_guards(pack: WrittenPack) -> Iterator[PackProblem]:
    """Yield guards of findings that look at anything but settings, sex, age, and findings without a guard."""
    ages = [name for name, shape in pack.measures.items() if not inputs_of(shape)]
    free = {name for name, shape in pack.findings.items() if shape.applies_when is None}
    allowed = ({"setting", SEX, *ages} - pack.findings.keys()) | free
    for name, shape in pack.findings.items():
        for key in keys_in(shape.applies_when):
            if key.split(".")[0] not in allowed:
                words = "a setting, sex_at_birth, the age, or a finding without a guard"
                message = f"'{key}' cannot say who '{name}' is for; use {words}"
                yield pack.finding_documents[name].problem(("findings", name, "applies_when"), "cycle", message)


def check_normals(pack: WrittenPack) -> Iterator[PackProblem]:
    """Yield normals of a system that spread over a finding, or a value, that does not exist."""
    documents = pack.finding_documents
    for area in pack.areas:
        document = next((documents[name] for name in area.findings if name in documents), None)
        for name, shape in area.normal.items() if document else ():
            assert document is not None
            if name in pack.findings:
                yield document.problem(("normal", name), "duplicate-id", f"'{name}' is a finding already")
            yield from _check_spread(shape, pack, document, ("normal", name, "spreads"))
            yield from check_left_out(shape, pack, document, ("normal", name))


def _check_spread(shape: NormalShape, pack: WrittenPack, document: Document, path: Path) -> Iterator[PackProblem]:
    for finding, value in shape.spreads.items():
        if finding not in pack.findings:
            yield document.problem((*path, finding), "unknown-finding", f"no finding '{finding}' is defined")
        elif value not in listed(pack.findings[finding].expected):
            message = f"'{value}' is not what is expected of '{finding}', so it is no normal"
            yield document.problem((*path, finding), "unknown-value", message)
