"""The pack that was loaded last: the same files under another site are neither read nor compiled anew."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources.abc import Traversable
from pathlib import Path as FilePath
from typing import NamedTuple

from layette.engine.pack.compiled import Compiled
from layette.engine.pack.written.folder import PackFolder
from layette.engine.pack.written.subjects import Subjects
from layette.engine.pack.written.written import SetGuards, Written
from layette.engine.pack.written.written_pack import WrittenPack


class _Read(NamedTuple):
    """A sound pack as its files say it: their names in the order in which they were read, and the digest of all."""

    names: tuple[str, ...]
    digest: str
    written: WrittenPack


class _Compiled(NamedTuple):
    """Sound rules, compiled, with all that compiling looks at."""

    rules: tuple[Written, ...]
    subjects: Subjects
    guards: SetGuards
    compiled: Compiled


@dataclass
class Last:
    """What is kept of the last sound pack. Each part is set at once, so that threads may load side by side."""

    _read: _Read | None = None
    _compiled: _Compiled | None = None

    def read(self, root: Traversable | FilePath) -> tuple[PackFolder, WrittenPack] | None:
        """Return what was read last, with the folder ``root`` opened anew; None unless it holds the very same files."""
        last = self._read
        if last is None:
            return None
        folder = PackFolder(root)
        if any(folder.text(name) is None for name in last.names) or folder.digest != last.digest:
            return None
        folder.problems += folder.unlisted(last.written.shape)
        folder.documents |= last.written.documents
        return None if folder.problems else (folder, last.written)

    def keep(self, folder: PackFolder, written: WrittenPack) -> None:
        """Keep what was read of a folder without a mistake."""
        self._read = _Read(tuple(folder.texts), folder.digest, written)

    def compiled(self, rules: tuple[Written, ...], subjects: Subjects, guards: SetGuards) -> Compiled | None:
        """Return the program of the last sound pack; None unless all that goes into it is the same."""
        last = self._compiled
        return last.compiled if last is not None and last[:3] == (rules, subjects, guards) else None

    def sound(self, rules: tuple[Written, ...], subjects: Subjects) -> bool:
        """Whether these rules were compiled last, without a mistake, against these names."""
        last = self._compiled
        return last is not None and last[:2] == (rules, subjects)

    def keep_compiled(
        self, rules: tuple[Written, ...], subjects: Subjects, guards: SetGuards, compiled: Compiled
    ) -> None:
        """Keep a program in which no mistake was found."""
        self._compiled = _Compiled(rules, subjects, guards, compiled)


LAST = Last()
