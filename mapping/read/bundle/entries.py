"""The entries of the input, one after another, and what a reference inside them points to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from layette.engine.errors import InputProblem
from layette.mapping.read.bundle.parts import Resource, items, mapping, shown, text
from layette.mapping.read.bundle.result import Fate
from layette.mapping.read.bundle.times import BadTimeError, parse

BUNDLES = ("collection", "searchset", "document", "message", "transaction", "batch")
"""The types of Bundle that carry resources to be read."""

_DEEPEST = 5
_KINDS = "a Bundle, a resource, or a list of these"


class Entry:
    """One resource of the input, where it stood, and what became of it.

    ``kind`` is the resource type, ``name`` is ``Type/id`` (empty without an id), ``origin`` the reference by which
    others point to it (a contained resource, which has a ``parent``, is known by that). ``aside``: a repeat or an
    older version, not looked at.
    """

    __slots__ = ("aside", "fate", "kind", "name", "origin", "parent", "path", "resource", "url", "why")

    def __init__(self, resource: Resource, path: str, url: str = "", parent: Entry | None = None) -> None:
        """Take a resource at ``path``; ``url`` is its fullUrl."""
        self.resource, self.path, self.url, self.parent = resource, path, url, parent
        self.kind = text(resource.get("resourceType"))
        identity = text(resource.get("id"))
        self.name = f"{self.kind}/{identity}" if identity and parent is None else ""
        own: str = url if url.startswith("urn:") or not self.name else self.name
        self.origin: str = parent.origin if parent else own
        self.fate, self.why, self.aside = Fate.NOT_USED, "", False

    @property
    def contained(self) -> list[Any]:
        """The contained resources."""
        found = self.resource.get("contained")
        return found if isinstance(found, list) else []

    def mark(self, fate: Fate, why: str = "") -> None:
        """Note what became of the entry (or of the entry around it); the highest fate stays."""
        owner = self.parent or self
        if fate > owner.fate or not owner.why:
            owner.fate, owner.why = max(fate, owner.fate), why


@dataclass
class Shelf:
    """All entries, by url and by name. ``problems`` and ``notices`` are those of the envelope.

    ``pages`` are the searchsets: their paths, and whether a further page is announced.
    """

    entries: list[Entry] = field(default_factory=list)
    problems: list[InputProblem] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    pages: list[tuple[str, bool]] = field(default_factory=list)
    by_url: dict[str, Entry] = field(default_factory=dict)
    by_name: dict[str, list[Entry]] = field(default_factory=dict)

    def of(self, kind: str) -> Iterator[Entry]:
        """Yield the entries of a type that are not repeats."""
        return (entry for entry in self.entries if entry.kind == kind and not entry.aside)

    def resolve(self, reference: str, entry: Entry | None = None) -> Entry | None:
        """Return what a reference inside ``entry`` points to, or None if it is not in the input."""
        if reference.startswith("#"):
            return _contained(reference[1:], entry)
        reference = reference.split("/_history/")[0]
        found = self.by_url.get(reference)
        if found or "/" not in reference:
            return found
        here = self.by_name.get("/".join(reference.split("/")[-2:]), [])
        if "://" in reference:
            here = [one for one in here if "://" not in one.url]
        elif len(here) > 1 and entry:
            here = [one for one in here if _base(one) == _base(entry)]
        return here[0] if len(here) == 1 else None


def _base(entry: Entry) -> str:
    return "/".join((entry.parent or entry).url.split("/")[:-2])


def _contained(identity: str, entry: Entry | None) -> Entry | None:
    owner = entry.parent or entry if entry else None
    if owner is None:
        return None
    for number, one in enumerate(owner.contained):
        if isinstance(one, dict) and one.get("id") == identity:
            return Entry(one, f"{owner.path}.contained[{number}]", parent=owner)
    return None


def shelve(given: object) -> Shelf:
    """Put every resource of the input on a shelf. Raises nothing: what cannot be read is a problem of the shelf."""
    shelf = Shelf()
    if isinstance(given, list):
        for number, one in enumerate(given):
            _add(shelf, one, f"[{number}]", "", 0)
    else:
        _add(shelf, given, "", "", 0)
    for entry in shelf.entries:
        _file(shelf, entry)
    if shelf.pages and all(more for _, more in shelf.pages):
        shelf.notices.append(f"{shelf.pages[-1][0]}.link: it announces a next page, which is not in the input")
    return shelf


def _add(shelf: Shelf, given: object, path: str, url: str, depth: int) -> None:
    kind = given.get("resourceType") if isinstance(given, dict) else None
    if isinstance(given, dict) and kind == "Bundle":
        _open_bundle(shelf, given, f"{path}.Bundle" if path.startswith("[") else path or "Bundle", depth)
        return
    if isinstance(given, dict) and isinstance(kind, str) and kind:
        shelf.entries.append(Entry(given, path or kind, url))
        return
    what = "this has no resourceType" if isinstance(given, dict) else "this is no resource"
    problem = InputProblem(path or "input", "structure", what, _outline(given), _KINDS)
    shelf.problems.append(problem)
    if path:
        _add_empty(shelf, path, "", Fate.REFUSED, what)


def _add_empty(shelf: Shelf, path: str, url: str, fate: Fate, why: str) -> None:
    entry = Entry({}, path, url)
    entry.mark(fate, why)
    shelf.entries.append(entry)


def _outline(given: object) -> str:
    if isinstance(given, dict):
        return "an object with " + (shown(", ".join(map(str, list(given)[:5]))) or "nothing in it")
    return shown(given) if isinstance(given, (str, int, bool)) else type(given).__name__


def _open_bundle(shelf: Shelf, bundle: Resource, path: str, depth: int) -> None:
    kind = bundle.get("type")
    if kind not in BUNDLES:
        shelf.problems.append(
            InputProblem(
                f"{path}.type", "structure", "a Bundle of this type is not read", shown(kind), ", ".join(BUNDLES)
            )
        )
    if depth > _DEEPEST:
        shelf.problems.append(InputProblem(path, "structure", "Bundles inside Bundles, too deep", "", "a plain Bundle"))
        return
    if kind == "searchset":
        shelf.pages.append((path, any(link.get("relation") == "next" for link in items(bundle.get("link")))))
    entries = bundle.get("entry", [])
    if not isinstance(entries, list):
        shelf.problems.append(InputProblem(f"{path}.entry", "structure", "the entries are no list", "", "a list"))
        return
    for number, entry in enumerate(entries):
        _add_entry(shelf, entry, f"{path}.entry[{number}]", depth)


def _add_entry(shelf: Shelf, entry: object, path: str, depth: int) -> None:
    if not isinstance(entry, dict):
        shelf.problems.append(InputProblem(path, "structure", "an entry that is no object", shown(entry), "an object"))
        _add_empty(shelf, path, "", Fate.REFUSED, "an entry that is no object")
    elif "resource" not in entry:
        _add_empty(shelf, path, text(entry.get("fullUrl")), Fate.NOT_USED, "an entry without a resource")
    else:
        _add(shelf, entry["resource"], f"{path}.resource", text(entry.get("fullUrl")), depth + 1)


def _file(shelf: Shelf, entry: Entry) -> None:
    """Put one entry under its names; a repeat (a page sent twice) is set aside, an older version too."""
    namesakes = shelf.by_name.get(entry.name, []) if entry.name else []
    twin = shelf.by_url.get(entry.url) if entry.url else None
    if twin is None and namesakes:
        twin = next((one for one in namesakes if one.url == entry.url), None)
    if twin is not None and not _settle(shelf, twin, entry):
        return
    if entry.url:
        shelf.by_url[entry.url] = entry
    if entry.name:
        shelf.by_name[entry.name] = [*(one for one in namesakes if one is not twin), entry]


def _settle(shelf: Shelf, first: Entry, second: Entry) -> bool:
    """Whether ``second`` takes the place of ``first``, of the same url or name."""
    if first.resource == second.resource:
        _set_aside(second, "the same resource stands in the input already")
        return False
    old, new = _updated(first), _updated(second)
    if old and new and old != new:
        _set_aside(first if old < new else second, "a newer version of it is in the input")
        return old < new
    message = "two different resources under one address"
    shelf.problems.append(InputProblem(second.path, "contradiction", message, second.origin, "one version"))
    second.mark(Fate.REFUSED, message)
    second.aside = True
    return False


def _set_aside(entry: Entry, why: str) -> None:
    entry.mark(Fate.NOT_USED, why)
    entry.aside = True


def _updated(entry: Entry) -> datetime | None:
    try:
        found = parse(mapping(entry.resource.get("meta")).get("lastUpdated"))
    except BadTimeError:
        return None
    return found if isinstance(found, datetime) else None
