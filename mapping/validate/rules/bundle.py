"""What a Bundle as a whole must keep to: what its type demands, how its entries are named and sent."""

from __future__ import annotations

import re
from collections.abc import Iterator

from layette.mapping.fhir.types import resource_types
from layette.mapping.validate.rules.coded import absolute
from layette.mapping.validate.rules.issue import At, Issue, issue
from layette.mapping.validate.rules.registry import Node, has, objects, rule, string

_REQUESTED = frozenset({"batch", "transaction", "history"})
_ANSWERED = frozenset({"batch-response", "transaction-response", "history"})
_OWN = frozenset({"search", "request", "response", "_search", "_request", "_response"})
_UUID = re.compile(r"urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}", re.I | re.ASCII)
_REST = re.compile(r"https?://\S+/([A-Z][A-Za-z]+)/([A-Za-z0-9.-]{1,64})", re.ASCII)


@rule("bdl-1", "Bundle", at="total")
def bdl_1(node: Node) -> str | None:
    """A total counts what was found."""
    if has(node, "total") and string(node, "type") not in {"searchset", "history"}:
        return "total is for a Bundle of type searchset or history."
    return None


@rule("bdl-9", "Bundle", at="identifier")
def bdl_9(node: Node) -> str | None:
    """A document has a lasting name."""
    names = list(objects(node, "identifier"))
    if string(node, "type") == "document" and not any(has(one, "system") and has(one, "value") for one in names):
        return "A document needs an identifier with system and value."
    return None


@rule("bdl-10", "Bundle", at="timestamp")
def bdl_10(node: Node) -> str | None:
    """A document has a date."""
    missing = string(node, "type") == "document" and not string(node, "timestamp")
    return "A document needs a timestamp." if missing else None


def _first_is(node: Node, kind: str, wanted: str) -> str | None:
    if string(node, "type") != kind:
        return None
    first = next(objects(node, "entry"), {})
    if any(inner.get("resourceType") == wanted for inner in objects(first, "resource")):
        return None
    return f"The first entry of a {kind} is a {wanted}."


@rule("bdl-11", "Bundle", at="entry")
def bdl_11(node: Node) -> str | None:
    """A document begins with its composition."""
    return _first_is(node, "document", "Composition")


@rule("bdl-12", "Bundle", at="entry")
def bdl_12(node: Node) -> str | None:
    """A message begins with its header."""
    return _first_is(node, "message", "MessageHeader")


def full_urls(bundle: Node) -> dict[str, str]:
    """Return fullUrl -> resource type of the entries of a Bundle."""
    found: dict[str, str] = {}
    for entry in objects(bundle, "entry"):
        kind = next((string(inner, "resourceType") for inner in objects(entry, "resource")), "")
        if string(entry, "fullUrl"):
            found.setdefault(string(entry, "fullUrl"), kind)
    return found


def plain_entries(bundle: Node) -> bool:
    """Return whether the entries surely keep to what ``entry_issues`` asks: those of a collection, each by its id."""
    if bundle.get("type") != "collection":
        return False
    seen: set[str] = set()
    for entry in bundle.get("entry", ()):
        url, inner = entry.get("fullUrl", ""), entry.get("resource")
        if inner is None or not _OWN.isdisjoint(entry) or "/_history/" in url or not _of_its_id(url, inner):
            return False
        seen.add(url)
    return len(seen) == len(bundle.get("entry", ()))


def _of_its_id(url: str, inner: Node) -> bool:
    if _UUID.fullmatch(url):
        return True
    found = _REST.fullmatch(url)
    return found is not None and found[1] == inner.get("resourceType") and found[2] == inner.get("id", found[2])


def entry_issues(bundle: Node, at: At) -> Iterator[Issue]:
    """Yield what is wrong with the entries of a Bundle, beside what is wrong inside their resources."""
    kind = string(bundle, "type")
    seen: set[tuple[str, str]] = set()
    entries = bundle.get("entry")
    for index, entry in enumerate(entries if isinstance(entries, list) else []):
        if isinstance(entry, dict):
            place: At = (at, "entry", index)
            yield from _fit_the_type(entry, kind, place)
            yield from _named(entry, kind, place, seen)
            yield from _sent(entry, kind, place)


def _fit_the_type(entry: Node, kind: str, at: At) -> Iterator[Issue]:
    if kind and has(entry, "search") and kind != "searchset":
        yield issue((at, "search", -1), "bdl-2", "search is for entries of a searchset.")
    if kind and has(entry, "request") != (kind in _REQUESTED):
        yield _with_or_without(at, "request", "bdl-3", kind, kind in _REQUESTED)
    if kind and has(entry, "response") != (kind in _ANSWERED):
        yield _with_or_without(at, "response", "bdl-4", kind, kind in _ANSWERED)


def _with_or_without(at: At, name: str, key: str, kind: str, due: bool) -> Issue:
    return issue((at, name, -1), key, f"An entry of a {kind} {'needs a' if due else 'has no'} {name}.")


def _named(entry: Node, kind: str, at: At, seen: set[tuple[str, str]]) -> Iterator[Issue]:
    """Check the fullUrl: unique (in one version), absolute, not a version's own, in step with the id."""
    url, place = string(entry, "fullUrl"), (at, "fullUrl", -1)
    if not url:
        return
    inner = next(objects(entry, "resource"), {})
    version = next((string(meta, "versionId") for meta in objects(inner, "meta")), "")
    if kind != "history" and (url, version) in seen:
        yield issue(place, "bdl-7", "This fullUrl is given twice; each entry has its own.")
    seen.add((url, version))
    if "/_history/" in url:
        yield issue(place, "bdl-8", "A fullUrl names no version; leave out /_history/ and what follows.")
    if not absolute(url):
        yield issue(place, "full-url", "A fullUrl is absolute: http://server/Type/id, or urn:uuid: and a UUID.")
    elif url.startswith("urn:uuid:") and not _UUID.fullmatch(url):
        yield issue(place, "full-url", "After urn:uuid: a UUID is due, 8-4-4-4-12 hexadecimal digits.")
    yield from _in_step(url, inner, place)


def _in_step(url: str, inner: Node, at: At) -> Iterator[Issue]:
    found = _REST.fullmatch(url)
    if not found or found[1] not in resource_types() or not inner:
        return
    kind, own = string(inner, "resourceType"), string(inner, "id")
    if kind and found[1] != kind:
        yield issue(at, "full-url", f"This fullUrl names a {found[1]}, the resource is a {kind}; they must agree.")
    elif own and found[2] != own:
        yield issue(at, "full-url", "This fullUrl ends in another id than the resource has; they must agree.")


def _sent(entry: Node, kind: str, at: At) -> Iterator[Issue]:
    """Check the request of a batch or transaction entry against the resource that it sends."""
    if kind not in {"batch", "transaction"}:
        return
    for request in objects(entry, "request"):
        method, url = string(request, "method"), string(request, "url")
        inner = next(objects(entry, "resource"), None)
        place: At = (at, "request", -1)
        if method in {"POST", "PUT"} and inner is None and "$" not in url:
            yield issue(place, "entry-request", f"{method} sends a resource, which this entry lacks.")
        if method in {"GET", "HEAD", "DELETE"} and inner is not None:
            yield issue(place, "entry-request", f"{method} sends no resource; leave it out.")
        if method in {"POST", "PUT"} and inner is not None:
            yield from _url_fits(method, url, inner, (place, "url", -1))
        if has(request, "ifNoneExist") and method != "POST":
            yield issue((place, "ifNoneExist", -1), "entry-request", "ifNoneExist is for POST.")


def _url_fits(method: str, url: str, inner: Node, at: At) -> Iterator[Issue]:
    path, _, query = url.partition("?")
    parts = path.strip("/").split("/")
    if absolute(url) or "$" in url or parts[-1] == "_search" or not url:
        return
    kind, own = string(inner, "resourceType"), string(inner, "id")
    if kind and parts[0] != kind:
        yield issue(at, "entry-request", f"The url begins with {parts[0]}, the resource is a {kind}; they must agree.")
    elif method == "PUT" and len(parts) < 2 and not query:
        yield issue(at, "entry-request", f"PUT needs an id or a condition: {kind}/id or {kind}?identifier=...")
    elif method == "PUT" and len(parts) >= 2 and own != parts[1]:
        yield issue(at, "entry-request", "The url names another id than the resource has; they must agree.")
    elif method == "POST" and len(parts) > 1:
        yield issue(at, "entry-request", f"POST creates under an id of the server's choice; the url is {kind}.")
