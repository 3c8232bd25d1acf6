"""What every published resource of a pack shares: its address, its version, its standing, the caution."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from layette.engine.api import Pack
from layette.engine.pack.written.shapes import Words
from layette.engine.pack.written.spoken import filled, said
from layette.mapping.codes import OWN_BASE

Resource = dict[str, Any]

LONGEST_ID = 64
_TERMS = "Codes of LOINC, SNOMED CT, ICD-10-CM and CVX keep the terms of use of their owners."
_UNREVIEWED = ("PlanDefinition", "ActivityDefinition", "Library")
"""What gives clinical advice. It has not been tried in clinical use, so it goes out as experimental."""


@dataclass(frozen=True)
class Publication:
    """A pack about to be published under a canonical base."""

    pack: Pack
    base: str = OWN_BASE

    def url(self, kind: str, name: str) -> str:
        """Return the canonical URL of a resource by its type and id."""
        return f"{self.base.rstrip('/')}/{kind}/{name}"

    def system(self, path: str) -> str:
        """Return the URI of one of our own systems, given as `codes.OWN` gives it."""
        return f"{self.base.rstrip('/')}/{path}"

    def canonical(self, kind: str, name: str) -> str:
        """Return the canonical URL with the pack's version."""
        return f"{self.url(kind, name)}|{self.pack.version}"

    @cached_property
    def standing(self) -> str:
        """What a reader of any of the resources must know: the caution, and what a site has changed."""
        return " ".join([self.pack.shape.caution.strip(), *self.pack.site.notices()])

    def head(self, kind: str, name: str, title: str, about: str) -> Resource:
        """Return the elements with which a canonical resource begins; ``about`` is one sentence."""
        return {
            "resourceType": kind,
            "id": name,
            "url": self.url(kind, name),
            "version": self.pack.version,
            "name": computer_name(name),
            "title": title,
            "status": "draft",
            "experimental": kind in _UNREVIEWED,
            "date": self.pack.shape.valid_from,
            "description": f"{about} {self.standing}",
            "jurisdiction": [self._jurisdiction()],
            "copyright": f"{_TERMS} {self.pack.shape.caution.strip()}",
        }

    def _jurisdiction(self) -> Resource:
        where = self.pack.shape.jurisdiction
        if not re.fullmatch(r"[A-Z]{2}", where):
            return {"text": where}
        return {"coding": [{"system": "urn:iso:std:iso:3166", "code": where}], "text": where}


def legal_id(name: str) -> str:
    """Return a name as a FHIR id, which knows no underscore; a name that is too long keeps a digest of itself."""
    plain = name.replace("_", "-")
    if len(plain) <= LONGEST_ID:
        return plain
    return f"{plain[: LONGEST_ID - 9]}-{hashlib.sha256(name.encode()).hexdigest()[:8]}"


def computer_name(name: str) -> str:
    """Return a name as programs like it: ``red-reflex`` is ``RedReflex``."""
    found = "".join(word[:1].upper() + word[1:] for word in re.split(r"[^A-Za-z0-9]+", name))
    return found if found[:1].isalpha() else f"N{found}"


def plain_words(plain: Words, pack: Pack) -> str:
    """Return the English words for the family of a target, under the site's choices; empty where it has none."""
    given = said(plain, "en")
    return "" if given is None else filled(given, "en", pack.settings, pack.site.choices(pack.settings)).text
