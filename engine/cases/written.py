"""Worked cases as they are written in `cases/`: a visit, and what is expected of its answer."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import Field

from layette.engine.errors import PackProblem, near
from layette.engine.pack.compiled import CompiledPack
from layette.engine.pack.written.folder import PackFolder, check_shape
from layette.engine.pack.written.shape import Shape
from layette.engine.pack.written.shapes import listed
from layette.engine.pack.written.yaml_nodes import Document
from layette.engine.terms import Priority


class Expected(Shape):
    """One recommendation that a case expects."""

    target: str
    priority: Priority | None = None
    side: str | None = None
    rule: str | None = None
    status: Literal["fired", "provisional"] | None = None

    @property
    def said(self) -> str:
        """What is expected, in a row: target, priority, side, by which rule and how sure."""
        reason = " ".join(part for part in (self.rule, self.status) if part)
        return " ".join(part for part in (self.target, self.priority, self.side, reason and f"by {reason}") if part)


class Expect(Shape):
    """What a case expects. ``none``: targets that must not be proposed; ``settled``: those whose answer is settled.

    ``to_judge``: targets of values that a person is to read; ``not_to_judge``: targets that no value is to be read for.
    ``to_chase``: targets whose order presses and is overdue.
    """

    recommend: list[Expected] = Field(default_factory=list)
    provisional: list[str] = Field(default_factory=list)
    undecided: list[str] = Field(default_factory=list)
    ruled_out: list[str] = Field(default_factory=list)
    not_applicable: list[str] = Field(default_factory=list)
    cannot_evaluate: list[str] = Field(default_factory=list)
    measures: dict[str, str | float | int] = Field(default_factory=dict)
    conclusions: dict[str, Literal["yes", "no", "open"]] = Field(default_factory=dict)
    due: dict[str, Literal["later", "due", "overdue"]] = Field(default_factory=dict)
    none: list[str] = Field(default_factory=list)
    to_judge: list[str] = Field(default_factory=list)
    not_to_judge: list[str] = Field(default_factory=list)
    to_chase: list[str] = Field(default_factory=list)
    settled: list[str] = Field(default_factory=list)

    @property
    def rules(self) -> list[str]:
        """The rules of which a status is expected, by id, some with a side."""
        return [*self.undecided, *self.ruled_out, *self.not_applicable, *self.cannot_evaluate, *self.due]

    @property
    def reasons(self) -> list[str]:
        """The rules that are expected to be the reason of a recommendation."""
        return [one.rule for one in self.recommend if one.rule]

    @property
    def targets(self) -> list[str]:
        """The targets that are expected to be proposed, or not."""
        return [
            *self.none,
            *self.provisional,
            *self.settled,
            *self.to_judge,
            *self.not_to_judge,
            *self.to_chase,
            *(r.target for r in self.recommend),
        ]


class CaseShape(Shape):
    """A worked case of `cases/`. ``published`` marks one whose answer comes from the cited source itself.

    ``tables`` puts an invented table of `cases/` in the place of one that only a site can supply: choice -> file stem.
    """

    id: str
    title: str
    source: str | list[str]
    published: bool = False
    tables: dict[str, str] = Field(default_factory=dict)
    given: dict[str, Any]
    expect: Expect


@dataclass(frozen=True)
class Case:
    """A case as it stands in a file."""

    shape: CaseShape
    place: str

    @property
    def label(self) -> str:
        """The case with its place, as a report names it."""
        return f"{self.shape.id} ({self.place})"

    @property
    def file(self) -> str:
        """The name of its file, without folder and ending."""
        return self.place.removeprefix("cases/").partition(".yaml:")[0]


def read_cases(pack: CompiledPack) -> tuple[list[Case], list[PackProblem]]:
    """Read the pack's case files; mistakes of shape, doubled ids and unknown rules or targets come back as problems."""
    folder = PackFolder(pack.folder)
    out: list[Case] = []
    seen: dict[str, str] = {}
    for file in pack.shape.cases:
        document = folder.document(f"cases/{file}")
        if document is None:
            continue
        if not isinstance(document.data, list) or not document.data:
            message = "a file of cases is a list of them, with one at least: fill it, or take it off the list"
            folder.problems.append(document.problem((), "shape", message))
            continue
        for k, entry in enumerate(document.data):
            made = check_shape(document, entry, (k,), CaseShape, folder.problems)
            if made is not None:
                place = f"{document.file}:{document.line((k,))}"
                folder.problems += _names(pack, made, document, k, seen)
                seen[made.id] = place
                out.append(Case(made, place))
    return out, folder.problems


def _names(
    pack: CompiledPack, case: CaseShape, document: Document, k: int, seen: Mapping[str, str]
) -> Iterator[PackProblem]:
    if case.id in seen:
        yield document.problem((k, "id"), "duplicate-id", f"the case '{case.id}' stands already at {seen[case.id]}")
    expect = case.expect
    known: list[tuple[str, str, str, Iterable[str], Collection[str]]] = [
        ("target", "unknown-target", "expect", expect.targets, pack.targets),
        ("measure", "unknown-finding", "expect", expect.measures, pack.measures),
        ("source", "unknown-source", "source", listed(case.source), pack.sources),
        ("setting", "unknown-setting", "tables", case.tables, _choices(pack)),
    ]
    if not pack.site.rules_off:  # a rule that a site has cut is no mistake of the case
        conclusions = pack.subjects.conclusions
        known.append(("rule", "unknown-rule", "expect", [*expect.rules, *expect.reasons], pack.rules))
        known.append(("conclusion", "unknown-finding", "expect", expect.conclusions, conclusions))
    for what, code, key, names, among in known:
        for name in names:
            if name.partition("@")[0] not in among:
                message = f"there is no {what} '{name}'{near(name.partition('@')[0], among)}"
                yield document.problem((k, key), code, message)


def _choices(pack: CompiledPack) -> list[str]:
    return [choice for setting in pack.settings.values() for choice in setting.choices]
