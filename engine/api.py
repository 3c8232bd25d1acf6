"""A rule pack: loaded, checked, compiled; immutable and shared freely between threads.

`load_pack` reads the folder, gathers every mistake and raises them together as `PackError`; what it returns has none.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, fields
from datetime import datetime
from functools import cached_property, lru_cache
from importlib.resources.abc import Traversable
from pathlib import Path as FilePath
from typing import Any

from layette.engine.answer.assemble import assemble
from layette.engine.answer.emergencies import emergencies
from layette.engine.answer.parts.assessment import Assessment
from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.cases.cases import CaseReport, run_cases
from layette.engine.cohort.plan import CohortPlan
from layette.engine.errors import InputError, ReaderFailed, ReadersDisagree
from layette.engine.logic.program import Reader
from layette.engine.logic.readers import BUILDING, build, usual
from layette.engine.pack.compiled import CompiledPack
from layette.engine.pack.load import load_compiled
from layette.engine.pack.written.folder import default_pack
from layette.engine.pack.written.shapes import NormalShape
from layette.engine.states.decide import decide
from layette.engine.states.plan import StatesPlan
from layette.engine.visit.reader import VisitReader, reader_for
from layette.engine.visit.visit import Visit


@dataclass(frozen=True, eq=False, repr=False)
class Pack(CompiledPack):
    """A checked rule pack. Build it with `load_pack`; every attribute is read-only."""

    _readers: dict[str, Reader] = field(default_factory=dict, repr=False)

    def __getstate__(self) -> dict[str, Any]:
        """Give a pickle what was loaded; readers, the plan and what they remember are made anew on first use."""
        return {part.name: getattr(self, part.name) for part in fields(self)} | {"_readers": {}}

    def __repr__(self) -> str:
        """Say in a line which pack it is."""
        shape, rules = self.shape, len({rule.id.partition("@")[0] for rule in self.program.rules})
        return f"<Pack {shape.id} {shape.version} ({shape.jurisdiction}), {rules} rules, digest {self.digest[:8]}>"

    @property
    def normals(self) -> Mapping[str, NormalShape]:
        """What can be charted as normal for a whole system, by name."""
        return self.subjects.normals

    @cached_property
    def plan(self) -> AnswerPlan:
        """What is laid out once of this pack: how a visit fills its variables, what its rules lead to."""
        return AnswerPlan(StatesPlan(self))

    @cached_property
    def cohort(self) -> CohortPlan:
        """What is laid out once of this pack for many visits."""
        return CohortPlan(self.plan)

    def readers(self, names: Iterable[str] | None = None) -> tuple[Reader, ...]:
        """Return readers of the rules; by default two: `native`, and `rete` where durable-rules runs, else `closures`.

        `reference` is the specification itself, as slow as it is plain. Raises ValueError for a reader that does not
        exist or cannot run here.
        """
        return tuple(self._reader(name) for name in (usual() if names is None else names))

    def _reader(self, name: str) -> Reader:
        if name not in self._readers:
            with BUILDING.lock:
                if name not in self._readers:
                    self._readers[name] = self._built(name)
        return self._readers[name]

    def _built(self, name: str) -> Reader:
        try:
            return build(name, self.program, self.plan.states.known_variables)
        except ValueError:  # the caller named a reader that is not to be had here
            raise
        except Exception as error:
            raise ReaderFailed(name, type(error).__name__) from error

    def read_visit(self, flat: Mapping[str, Any], at: str | datetime | None = None) -> Visit:
        """Check a flat visit (`schemas/visit.md`) against the pack; raises `InputError` with every mistake."""
        return self.visit_reader().read(flat, at)

    def visit_reader(self) -> VisitReader:
        """Return a fresh reader of flat visits."""
        return reader_for(self)

    def assess(
        self, visit: Visit | Mapping[str, Any], at: str | datetime | None = None, readers: Iterable[str] | None = None
    ) -> Assessment:
        """Return what is owed to this newborn.

        Args:
            visit: a flat visit (times as text, or as `datetime` with an offset), or one that `read_visit` returned.
            at: the moment of the visit, a `datetime` or ISO 8601, with offset, instead of the one in the visit.
            readers: names of the readers to use; by default two, see `readers`.

        Raises:
            InputError: the visit cannot be used; all mistakes at once.
            ReadersDisagree: two readers gave different answers; nothing is proposed.
            ReaderFailed: a reader broke down; nothing is proposed.
            Each carries in ``urgent`` the emergencies that are decided in spite of it.
        """
        names = None if readers is None else tuple(readers)
        checked = visit if isinstance(visit, Visit) else self._checked(visit, at, names)
        try:
            return assemble(self.decide(checked, names), self.readers(["native"]))
        except (ReadersDisagree, ReaderFailed) as error:
            error.urgent = self._urgent(checked, names)
            raise

    def _checked(self, flat: Mapping[str, Any], at: str | datetime | None, readers: Iterable[str] | None) -> Visit:
        """Return the checked visit; of a faulty one, tell the emergencies that its usable rest already decides."""
        reader = self.visit_reader()
        visit, problems = reader.attempt(flat, at), reader.report.found
        if visit is None or any(problem.code == "age" for problem in problems):
            raise InputError(problems)
        if problems:
            raise InputError(problems, self._urgent(visit, readers))
        return visit

    def _urgent(self, visit: Visit, readers: Iterable[str] | None) -> tuple[str, ...]:
        """Return the emergencies that any reader alone finds: this is asked where something went wrong."""
        lines: dict[str, None] = {}
        for name in usual() if readers is None else readers:
            with suppress(ReaderFailed):
                found = assemble(self.decide(visit, [name]), self.readers(["native"]))
                lines.update(dict.fromkeys(emergencies(found)))
        return tuple(lines)

    def decide(self, visit: Visit, readers: Iterable[str] | None = None) -> Context:
        """Return the status of every rule on a checked visit, before anything is put into words."""
        plan = self.plan
        return Context(decide(plan.states, visit, self.readers(readers), plan.rule_priorities), plan)

    def run_cases(
        self,
        only: str | None = None,
        readers: Iterable[str] | None = None,
        processes: int = 1,
        *,
        seen: bool = True,
    ) -> CaseReport:
        """Run the pack's worked cases, or those of the area ``only``; see `engine.cases`.

        ``readers``: names of the readers to use; by default two, see `readers`.
        ``processes``: how many share the cases out among them.
        ``seen``: whether all cases are read for what they show of the rules of the area, and not its own alone.
        Raises `InputError` for an area that the pack does not have.
        """
        return run_cases(self.plan, self.readers(readers), only, processes, seen=seen)


def load_pack(path: str | FilePath | Traversable | None = None, site: str | FilePath | None = None) -> Pack:
    """Load and check a rule pack.

    Args:
        path: the pack's folder; the pack that ships with Layette where None.
        site: a site file (`schemas/site.schema.json`): settings, time zone, own tables.

    Raises:
        PackError: the pack or site file cannot be used; every mistake, with file, line and key.
    """
    if path is None and site is None:
        return default()
    return _load(path, site)


@lru_cache(maxsize=1)
def default() -> Pack:
    """Return the pack that ships with Layette, loaded once."""
    return _load(None, None)


def _load(path: str | FilePath | Traversable | None, site: str | FilePath | None) -> Pack:
    root = default_pack() if path is None else (FilePath(path) if isinstance(path, str) else path)
    return Pack(**vars(load_compiled(root, site)))
