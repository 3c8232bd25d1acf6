"""Whether the measures of a pack name functions, inputs and tables that exist, and do not depend on themselves."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping

from layette.engine.errors import PackProblem
from layette.engine.measures import REGISTRY
from layette.engine.pack.written.shapes import MeasureShape
from layette.engine.pack.written.yaml_nodes import Document
from layette.engine.states.measures import BINDINGS


def check_measures(
    measures: Mapping[str, MeasureShape], document: Document, known: Collection[str], tables: Iterable[str]
) -> Iterator[PackProblem]:
    """Yield measures whose function or inputs do not exist, and rings of measures."""
    names = set(tables)
    for name, shape in measures.items():
        if name in known:
            yield document.problem((name,), "duplicate-id", f"'{name}' is a finding already")
        binding = BINDINGS.get(shape.compute)
        if binding is None or shape.compute not in REGISTRY:
            yield document.problem(
                (name, "compute"), "unknown-function", f"the engine has no measure '{shape.compute}'"
            )
            continue
        given = dict(shape.model_extra or {})
        for key in given.keys() - {*binding.required, *binding.optional}:
            yield document.problem((name, str(key)), "unknown-function", f"'{shape.compute}' takes no '{key}'")
        for key in binding.required - given.keys():
            yield document.problem((name,), "unknown-function", f"'{shape.compute}' needs '{key}'")
        for key in given.keys() & binding.of_findings:
            subject = str(given[key]).split(".")[0]
            if subject not in known and subject not in measures:
                yield document.problem((name, str(key)), "unknown-finding", f"no finding or measure '{subject}'")
        if "table" in given and given["table"] not in names:
            yield document.problem((name, "table"), "file-missing", f"no table '{given['table']}' is listed")
    for name in ring(measures):
        yield document.problem((name,), "cycle", f"the measure '{name}' depends on itself")


def inputs_of(shape: MeasureShape) -> tuple[str, ...]:
    """Return the findings and measures that a measure is computed from."""
    binding = BINDINGS.get(shape.compute)
    given = dict(shape.model_extra or {})
    return tuple(str(v).split(".")[0] for key, v in given.items() if binding and key in binding.of_findings)


def ring(measures: Mapping[str, MeasureShape]) -> list[str]:
    """Return the measures that depend on themselves."""
    left = dict(measures)
    while True:
        free = [name for name, shape in left.items() if not any(i in left for i in inputs_of(shape))]
        if not free:
            return list(left)
        for name in free:
            del left[name]
