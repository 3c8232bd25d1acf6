"""The entries of the input, one after another, and what a reference inside them points to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from layette.engine.errors import InputProblem
from layette.engine.visit.values import kind_of
from layette.mapping.read.bundle.parts import Resource, items, mapping, shown, text
from layette.mapping.read.bundle.result import Outcome
from layette.mapping.read.bundle.times import BadTimeError, parse

BUNDLES = ("collection", "searchset", "document", "message", "transaction", "batch")
"""The types of Bundle that carry resources to be read."""

_DEEPEST = 5
_KINDS = "a Bundle, a resource, or a list of these"


class Entry:
    """One resource of the input, where it stood, and what became of it.

    ``kind`` is the resource type, ``name`` is ``Type/id`` (empty without an id), ``origin`` the reference by which
    others point to it (a contained resource, which has a ``parent``, is known by that). ``panel`` is the code of the
    panel that it is a member of. ``aside``: a repeat or an older version, not looked at.
    """

    __slots__ = ("aside", "kind", "name", "origin", "outcome", "panel", "parent", "path", "resource", "url", "why")

    def __init__(self, resource: Resource, path: str, url: str = "", parent: Entry | None = None) -> None:
        """Take a resource at ``path``; ``url`` is its fullUrl."""
        self.resource, self.path, self.url, self.parent = resource, path, url, parent
        self.kind = text(resource.get("resourceType"))
        identity = text(resource.get("id"))
        self.name = f"{self.kind}/{identity}" if identity and parent is None else ""
        own: str = url if url.startswith("urn:") or not self.name else self.name
        self.origin: str = parent.origin if parent else own
        self.outcome, self.why, self.aside = Outcome.NOT_USED, "", False
        self.panel: object = None

    @property
    def contained(self) -> list[Any]:
        """The contained resources."""
        found = self.resource.get("contained")
        return found if isinstance(found, list) else []

    def mark(self, outcome: Outcome, why: str = "") -> None:
        """Note what became of the entry (or of the entry around it); the highest outcome stays."""
        owner = self.parent or self
        if outcome > owner.outcome or not owner.why:
            owner.outcome, owner.why = max(outcome, owner.outcome), why


@dataclass
class Inputs:
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
        named = self.by_url.get(reference)
        if named or "/" not in reference:
            return named
        namesakes = self.by_name.get("/".join(reference.split("/")[-2:]), [])
        if "://" in reference:
            namesakes = [namesake for namesake in namesakes if "://" not in namesake.url]
        elif len(namesakes) > 1 and entry:
            namesakes = [namesake for namesake in namesakes if _base(namesake) == _base(entry)]
        return namesakes[0] if len(namesakes) == 1 else None


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


def gather(content: object) -> Inputs:
    """Gather every resource of an input. Raises nothing: what cannot be read is among the problems of the inputs."""
    inputs = Inputs()
    if isinstance(content, list):
        for number, part in enumerate(content):
            _add(inputs, part, f"[{number}]", "", 0)
    else:
        _add(inputs, content, "", "", 0)
    for entry in inputs.entries:
        _file(inputs, entry)
    if inputs.pages and all(more for _, more in inputs.pages):
        inputs.notices.append(f"{inputs.pages[-1][0]}.link: it announces a next page, which is not in the input")
    return inputs


def _add(inputs: Inputs, content: object, path: str, url: str, depth: int) -> None:
    kind = content.get("resourceType") if isinstance(content, dict) else None
    if isinstance(content, dict) and kind == "Bundle":
        _open_bundle(inputs, content, f"{path}.Bundle" if path.startswith("[") else path or "Bundle", depth)
        return
    if isinstance(content, dict) and isinstance(kind, str) and kind:
        inputs.entries.append(Entry(content, path or kind, url))
        return
    what = "this has no resourceType" if isinstance(content, dict) else "this is no resource"
    problem = InputProblem(path or "input", "structure", what, _outline(content), _KINDS)
    inputs.problems.append(problem)
    if path:
        _add_empty(inputs, path, "", Outcome.REFUSED, what)


def _add_empty(inputs: Inputs, path: str, url: str, outcome: Outcome, why: str) -> None:
    entry = Entry({}, path, url)
    entry.mark(outcome, why)
    inputs.entries.append(entry)


def _outline(given: object) -> str:
    if isinstance(given, dict):
        return "an object with " + (shown(", ".join(map(str, list(given)[:5]))) or "nothing in it")
    return shown(given) if isinstance(given, (str, int, bool)) else kind_of(given)


def _open_bundle(inputs: Inputs, bundle: Resource, path: str, depth: int) -> None:
    kind = bundle.get("type")
    if kind not in BUNDLES:
        inputs.problems.append(
            InputProblem(
                f"{path}.type", "structure", "a Bundle of this type is not read", shown(kind), ", ".join(BUNDLES)
            )
        )
    if bundle.get("implicitRules"):
        rules = shown(bundle["implicitRules"])
        message = "rules that are not known here may change what the Bundle means"
        inputs.problems.append(InputProblem(f"{path}.implicitRules", "structure", message, rules, "a Bundle without"))
    if depth > _DEEPEST:
        inputs.problems.append(
            InputProblem(path, "structure", "Bundles inside Bundles, too deep", "", "a plain Bundle")
        )
        return
    if kind == "searchset":
        inputs.pages.append((path, any(link.get("relation") == "next" for link in items(bundle.get("link")))))
    entries = bundle.get("entry", [])
    if not isinstance(entries, list):
        inputs.problems.append(InputProblem(f"{path}.entry", "structure", "the entries are no list", "", "a list"))
        return
    for number, entry in enumerate(entries):
        _add_entry(inputs, entry, f"{path}.entry[{number}]", depth)


def _add_entry(inputs: Inputs, entry: object, path: str, depth: int) -> None:
    if not isinstance(entry, dict):
        inputs.problems.append(InputProblem(path, "structure", "an entry that is no object", shown(entry), "an object"))
        _add_empty(inputs, path, "", Outcome.REFUSED, "an entry that is no object")
    elif "resource" not in entry:
        _add_empty(inputs, path, text(entry.get("fullUrl")), Outcome.NOT_USED, "an entry without a resource")
    else:
        _add(inputs, entry["resource"], f"{path}.resource", text(entry.get("fullUrl")), depth + 1)


def _file(inputs: Inputs, entry: Entry) -> None:
    """Put one entry under its names; a repeat (a page sent twice) is set aside, an older version too."""
    namesakes = inputs.by_name.get(entry.name, []) if entry.name else []
    twin = inputs.by_url.get(entry.url) if entry.url else None
    if twin is None and namesakes:
        twin = next((namesake for namesake in namesakes if namesake.url == entry.url), None)
    if twin is not None and not _settle(inputs, twin, entry):
        return
    if entry.url:
        inputs.by_url[entry.url] = entry
    if entry.name:
        inputs.by_name[entry.name] = [*(namesake for namesake in namesakes if namesake is not twin), entry]


def _settle(inputs: Inputs, first: Entry, second: Entry) -> bool:
    """Whether ``second`` takes the place of ``first``, of the same url or name."""
    if first.resource == second.resource:
        _set_aside(second, "the same resource stands in the input already")
        return False
    old, new = _updated(first), _updated(second)
    if old and new and old != new:
        _set_aside(first if old < new else second, "a newer version of it is in the input")
        return old < new
    message = "two different resources under one address"
    inputs.problems.append(InputProblem(second.path, "contradiction", message, second.origin, "one version"))
    second.mark(Outcome.REFUSED, message)
    second.aside = True
    return False


def _set_aside(entry: Entry, why: str) -> None:
    entry.mark(Outcome.NOT_USED, why)
    entry.aside = True


def _updated(entry: Entry) -> datetime | None:
    try:
        found = parse(mapping(entry.resource.get("meta")).get("lastUpdated"))
    except BadTimeError:
        return None
    return found if isinstance(found, datetime) else None
