"""A rule pack: loaded, checked, compiled; immutable and shared freely between threads.

`load_pack` reads the folder, gathers every mistake and raises them together as `PackError`; what it returns has none.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from importlib.resources.abc import Traversable
from pathlib import Path as FilePath
from typing import Any

from layette.engine.answer.assemble import assess_visit
from layette.engine.answer.assessment import Assessment
from layette.engine.answer.plan import PackOutcomes
from layette.engine.cases.cases import CaseReport, run_cases
from layette.engine.errors import PackError
from layette.engine.logic.native import NativeReader
from layette.engine.logic.program import Reader
from layette.engine.logic.rete import ReteReader, rete_available
from layette.engine.pack.echoes import without_echoes
from layette.engine.pack.load import PackReader
from layette.engine.pack.site import read_site
from layette.engine.pack.written.folder import PackFolder, default_pack
from layette.engine.pack.written.shapes import NormalShape
from layette.engine.visit.reader import VisitReader
from layette.engine.visit.visit import Visit


@dataclass(frozen=True, eq=False)
class Pack(PackOutcomes):
    """A checked rule pack. Build it with `load_pack`; every attribute is read-only.

    ``findings``, ``measures``, ``settings``, ``sources``, ``targets`` are by name; ``areas`` are the findings files in
    exam order; ``instances[k]`` says what rule number k of ``program`` is.
    """

    _readers: dict[str, Reader] = field(default_factory=dict, repr=False)

    @property
    def id(self) -> str:
        """The pack's id."""
        return self.shape.id

    @property
    def version(self) -> str:
        """The pack's version."""
        return self.shape.version

    @property
    def normals(self) -> Mapping[str, NormalShape]:
        """What can be charted as normal for a whole system, by name."""
        return self.subjects.normals

    @cached_property
    def oldest_days(self) -> int:
        """The last day of life that the pack covers."""
        return int(self.shape.ages.to.split()[0])

    def readers(self, names: Iterable[str] | None = None) -> tuple[Reader, ...]:
        """Return the readers of the rules: `native`, and `rete` where durable-rules is installed.

        Raises ValueError for a reader that does not exist or cannot run here.
        """
        wanted = tuple(names) if names is not None else (("native", "rete") if rete_available() else ("native",))
        return tuple(self._reader(name) for name in wanted)

    def _reader(self, name: str) -> Reader:
        if name not in self._readers:
            if name == "native":
                self._readers[name] = NativeReader(self.program, self.known_variables)
            elif name == "rete" and rete_available():
                self._readers[name] = ReteReader(self.program)
            else:
                raise ValueError(f"no reader '{name}' here; 'rete' needs durable-rules (Python below 3.13)")
        return self._readers[name]

    def read_visit(self, flat: Mapping[str, Any], at: str | None = None) -> Visit:
        """Check a flat visit (`schemas/visit.md`) against the pack; raises `InputError` with every mistake."""
        return self.visit_reader().read(flat, at)

    def visit_reader(self) -> VisitReader:
        """Return a fresh reader of flat visits."""
        return VisitReader(self.subjects, self.oldest_days, self.site.timezone)

    def assess(
        self, visit: Visit | Mapping[str, Any], at: str | None = None, readers: Iterable[str] | None = None
    ) -> Assessment:
        """Return what is owed to this newborn.

        Args:
            visit: a flat visit, or one that `read_visit` returned.
            at: the moment of the visit, ISO 8601 with offset, instead of the one in the visit.
            readers: names of the readers to use; by default all that can run here.

        Raises:
            InputError: the visit cannot be used; all mistakes at once.
            ReadersDisagree: two readers gave different answers; nothing is proposed.
        """
        return assess_visit(self, visit, at, readers)

    def run_cases(self) -> CaseReport:
        """Run the pack's worked cases; see `engine.cases`."""
        return run_cases(self)


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
    folder = PackFolder(root)
    parts = PackReader(folder).load(read_site(site, folder.problems))
    if folder.problems or parts is None:
        raise PackError(without_echoes(folder.problems, folder.texts))
    return Pack(**vars(parts))
