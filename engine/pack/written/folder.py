"""Finding and shape-checking the files of a pack, wherever it lies: a folder, a wheel, a zip."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from importlib.resources import files as package_files
from importlib.resources.abc import Traversable
from pathlib import Path as FilePath
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, StringConstraints, TypeAdapter, ValidationError

from layette.engine.errors import PackProblem
from layette.engine.pack.written.shape import Name
from layette.engine.pack.written.shapes import (
    Amount,
    Date,
    Days,
    Elapsed,
    FileName,
    Language,
    Offset,
    PackFile,
    RuleId,
    Slug,
)
from layette.engine.pack.written.yaml_nodes import Document, Path, parse
from layette.engine.shape_words import mistakes

Shaped = TypeVar("Shaped")

LISTED = ("findings", "targets", "decisions", "guidance", "tables", "cases", "translations")
DATA_ENDINGS = (".yaml", ".yml", ".csv")


def text_of(place: Traversable | FilePath, name: str, problems: list[PackProblem]) -> str | None:
    """Return the text of a file without its byte-order mark, or report that it is not text in UTF-8."""
    try:
        return place.read_text(encoding="utf-8").removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        problems.append(PackProblem(name, 1, "$", "yaml", f"not text in UTF-8: byte {error.start} cannot be read"))
        return None


def default_pack() -> Traversable:
    """Return the folder of the pack that ships with Layette."""
    return package_files("layette.rules") / "newborn"


class PackFolder:
    """The files of one pack, read once; gathers the problems found in them."""

    def __init__(self, root: Traversable | FilePath) -> None:
        """Open the pack in folder ``root``."""
        self.root = root
        self.problems: list[PackProblem] = []
        self.documents: dict[str, Document] = {}
        self.texts: dict[str, str] = {}
        self._hash = hashlib.sha256()

    def text(self, name: str) -> str | None:
        """Return the text of a file of the pack, or report that it is missing."""
        place = self.root
        for part in name.split("/"):
            place = place / part
        if not place.is_file():
            self.problems.append(PackProblem(name, 1, "$", "file-missing", f"the pack has no file '{name}'"))
            return None
        if self._leads_out(place):
            message = f"'{name}' is a link that leads out of the pack's folder; put the file itself there"
            self.problems.append(PackProblem(name, 1, "$", "file-missing", message))
            return None
        text = text_of(place, name, self.problems)
        if text is None:
            return None
        self.texts[name] = text
        self._hash.update(f"{name}\0{len(text)}\0".encode() + text.encode())
        return text

    def _leads_out(self, place: Traversable | FilePath) -> bool:
        """Whether a file lies elsewhere, by a link: what a pack says is what its folder holds, wherever it is taken."""
        if not isinstance(place, FilePath) or not isinstance(self.root, FilePath):
            return False
        return not place.resolve().is_relative_to(self.root.resolve())

    def document(self, name: str) -> Document | None:
        """Parse a YAML file of the pack; None where it is missing or not YAML."""
        text = self.text(name)
        if text is None:
            return None
        document = parse(text, name)
        self.documents[name] = document
        self.problems += document.problems
        return None if any(p.code == "yaml" for p in document.problems) else document

    def shaped(self, name: str, shape: type[Shaped]) -> Shaped | None:
        """Parse a file and check its shape; None where it is not usable."""
        document = self.document(name)
        return None if document is None else check_shape(document, document.data, (), shape, self.problems)

    @property
    def digest(self) -> str:
        """The SHA-256 of all that was read so far, names and contents."""
        return self._hash.hexdigest()

    def unlisted(self, pack: PackFile) -> Iterator[PackProblem]:
        """Yield a problem for each data file that `pack.yaml` does not list."""
        listed = {"pack.yaml", pack.settings, pack.sources, pack.measures}
        listed.update(name for name in (pack.values, pack.orders) if name)
        for kind in LISTED:
            listed.update(f"{kind}/{name}" for name in getattr(pack, kind))
        listed.update(f"cases/{name}" for name in pack.case_tables)
        tables = [name for name in listed if name.startswith("tables/")] + [
            f"cases/{name}" for name in pack.case_tables
        ]
        listed.update(name.removesuffix(".yaml") + ".csv" for name in tables)
        for name in _data_files(self.root, ""):
            if name not in listed:
                yield PackProblem("pack.yaml", 1, "$", "file-unlisted", f"'{name}' lies in the pack but is not listed")


def _data_files(folder: Traversable | FilePath, prefix: str) -> Iterator[str]:
    for place in sorted(folder.iterdir(), key=lambda p: p.name):
        if place.is_dir():
            if isinstance(place, FilePath) and place.is_symlink():
                continue  # it may lead anywhere, to a folder without end; what is listed is looked at by its name
            yield from _data_files(place, f"{prefix}{place.name}/")
        elif place.name.endswith(DATA_ENDINGS):
            yield prefix + place.name


def check_shape(
    document: Document, data: Any, path: Path, shape: type[Shaped], problems: list[PackProblem]
) -> Shaped | None:
    """Check ``data`` against a model or type; each mistake becomes a problem with its line."""
    try:
        if isinstance(shape, type) and issubclass(shape, BaseModel):
            return shape.model_validate(data)
        return TypeAdapter(shape).validate_python(data)
    except ValidationError as error:
        for place, message, is_priority in mistakes(error, data, shape, _BY_PATTERN):
            code = "unknown-priority" if is_priority else "shape"
            problems.append(document.problem((*path, *place), code, message))
        return None


_RIGHT = {
    "an amount of time such as '24 h' (s, min, h, d, wk or mo)": (Amount, Elapsed, Offset),
    "whole days such as '91 d'": (Days,),
    "a date such as 2026-01-31": (Date,),
    "a name of small letters, digits and _": (Name,),
    "a name of small letters and digits, joined by - or .": (Slug,),
    "an id such as 'file.what-it-says'": (RuleId,),
    "a file's name such as 'eyes.yaml', without a folder": (FileName,),
    "a language by its short code, such as 'en'": (Language,),
}
_BY_PATTERN = {
    str(rule.pattern): words
    for words, kinds in _RIGHT.items()
    for kind in kinds
    for rule in get_args(kind)[1:]
    if isinstance(rule, StringConstraints)
}
