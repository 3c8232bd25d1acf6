"""Who may talk to the server: the names that it goes by, and pages of its own only.

A browser tells the name that it asked for (`Host`) and the page that asks (`Origin`). A foreign site that points a name
of its own at this machine shows up in the first, a foreign page that sends something here in the second.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Set

from layette.mapping.service.reply import Refusal

LOOPBACK = frozenset({"localhost", "127.0.0.1", "::1"})

_HOST = re.compile(r"(?:\[([0-9a-fA-F:.]+)\]|([A-Za-z0-9_.-]+))(?::\d{1,5})?", re.ASCII)
_ORIGIN = re.compile(r"https?://([^/?#@\s]+)", re.ASCII)
_SAME = {"same-origin", "none"}


def check_names(headers: Mapping[str, str], method: str, names: Set[str]) -> None:
    """Raise `Refusal` for a request under a foreign name, or from a page of another origin.

    ``headers`` by lower-case name. A request without `Origin` is from no page, or a page is merely opened.
    """
    host = headers.get("host", "")
    if name_in(host) not in names:
        known = " or ".join(sorted(names))
        raise Refusal("host", "this server does not go by that name", host[:80], f"Host: {known}")
    origin = headers.get("origin")
    if origin is not None:
        found = _ORIGIN.fullmatch(origin)
        if found is None or _with_port(found[1]) != _with_port(host):
            raise Refusal("origin", "a page of another origin may not ask this server", origin[:80], "its own page")
    elif method not in ("GET", "HEAD") and headers.get("sec-fetch-site", "none") not in _SAME:
        raise Refusal("origin", "a page of another origin may not ask this server", expected="its own page")


def name_in(host: str) -> str | None:
    """Return the name in a `Host` header, without port and brackets; None where it is no host."""
    found = _HOST.fullmatch(host)
    return (found[1] or found[2]).lower().rstrip(".") if found else None


def _with_port(host: str) -> str:
    """Return a host as it is compared: lower case, without the ports that go without saying."""
    return host.lower().removesuffix(":80").removesuffix(":443")
