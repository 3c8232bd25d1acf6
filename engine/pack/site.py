"""The site file: what one practice sets for itself, outside the pack, each change with its reason, name and date.

A site chooses settings, names its time zone, supplies its own licensed tables, switches rules off, makes deadlines
earlier, and may have what rests on memory judged. It cannot loosen a deadline, and every output prints the differences.
What it changes in the rules is applied by `site_rules.py`; the page for authors is `rules/SITE.md`.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path as FilePath
from typing import Annotated

from pydantic import Field, StringConstraints, model_validator

from layette.engine.errors import PackProblem, near
from layette.engine.exact.times import named_zone
from layette.engine.measures.thresholds import ThresholdSet
from layette.engine.pack.site_codes import LocalCode, read_codes
from layette.engine.pack.written.folder import check_shape, text_of
from layette.engine.pack.written.shape import Name, Shape
from layette.engine.pack.written.shapes import Amount, Date, Offset, RuleId, SettingShape, Words
from layette.engine.pack.written.yaml_nodes import Document, parse
from layette.engine.tables.load import Table, check_set, load_table
from layette.engine.tables.set_safety import SanityTable

_BASE = re.compile(r"https?://[^\s<>\"{}|\\^`?#]+|urn:[A-Za-z0-9][^\s<>\"]+", re.ASCII)
Said = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)]


class Signed(Shape):
    """Why something was changed, by whom (a role or name) and when."""

    reason: Said
    by: Said
    on: Date


class Off(Signed):
    """A rule that this site does not use."""

    rule: RuleId


class Tightened(Signed):
    """A deadline that this site makes earlier: ``within`` counts from the visit, ``until`` from where the rule counts.

    ``target``: of a rule with several consequences, the one that is meant; all of them where it is left out.
    """

    rule: RuleId
    target: Name | None = None
    within: Amount | None = None
    until: Offset | None = None

    @model_validator(mode="after")
    def _one_end(self) -> Tightened:
        if (self.within is None) == (self.until is None):
            raise ValueError("give 'within' (from the visit) or 'until' (from where the rule counts), one of the two")
        return self

    @property
    def named(self) -> str:
        """The rule, with the target that is meant."""
        return f"{self.rule} ({self.target})" if self.target else self.rule

    @property
    def said(self) -> str:
        """What it says, as in the file."""
        return f"within {self.within}" if self.within else f"until {self.until}, counted as the rule counts,"


OWN = "site"
"""The choice of a setting for which a site has words of its own."""


class OwnWords(Shape):
    """Words of the site's own for a setting that texts for families name, such as a telephone number."""

    words: Annotated[Words, Field(min_length=1)]


class SiteShape(Shape):
    """`site.yaml` as it is written.

    ``from_memory_to_judge``: what rules from memory ask for is shown to be judged, and not proposed.
    """

    site: str
    settings: dict[str, str | OwnWords] = Field(default_factory=dict)
    timezone: str | None = None
    contacts: dict[str, str] = Field(default_factory=dict)
    canonical: str | None = None
    codes: str | None = None
    tables: dict[str, str] = Field(default_factory=dict)
    rules_off: list[Off] = Field(default_factory=list)
    windows: list[Tightened] = Field(default_factory=list)
    from_memory_to_judge: Signed | None = None


@dataclass(frozen=True)
class Site:
    """A site file, read; empty where there is none."""

    shape: SiteShape | None = None
    document: Document | None = None
    tables: Mapping[str, Table] = field(default_factory=dict)
    text: str = ""
    looks: tuple[str, ...] = ()
    codes: tuple[LocalCode, ...] = ()

    @property
    def timezone(self) -> str | None:
        """The site's time zone by IANA name."""
        return self.shape.timezone if self.shape else None

    @property
    def canonical(self) -> str | None:
        """The base of the site's own code systems."""
        return self.shape.canonical if self.shape else None

    @property
    def rules_off(self) -> frozenset[str]:
        """The rules that the site does not use."""
        return frozenset(off.rule for off in self.shape.rules_off) if self.shape else frozenset()

    @property
    def contacts(self) -> Mapping[str, str]:
        """Whom to call at this site, by what for."""
        return self.shape.contacts if self.shape else {}

    def digest_with(self, digest: str) -> str:
        """Return the digest of the pack together with what the site changes."""
        if not self.text:
            return digest
        return hashlib.sha256(f"{digest}\0{self.text}".encode()).hexdigest()

    def check_choices(self, settings: Mapping[str, SettingShape]) -> Iterator[PackProblem]:
        """Yield choices of settings that the pack does not have; the others are applied at each visit."""
        if self.shape is None or self.document is None:
            return
        for name, choice in self.shape.settings.items():
            if isinstance(choice, OwnWords) and name in settings:
                continue
            if name not in settings:
                hint = near(name, settings) or f"; it has {', '.join(settings)}"
                message = f"the pack has no setting '{name}'{hint}"
                yield self.document.problem(("settings", name), "unknown-setting", message)
            elif choice not in settings[name].choices:
                known = settings[name].choices
                given = "words" if isinstance(choice, OwnWords) else f"'{choice}'"
                message = f"{given} is no choice of '{name}': {', '.join(known)}{near(str(choice), known)}"
                yield self.document.problem(("settings", name), "unknown-setting", message)

    def choices(self, settings: Mapping[str, SettingShape]) -> dict[str, str]:
        """Return the choice in force for every setting."""
        chosen = self.shape.settings if self.shape else {}
        named = {name: OWN if isinstance(choice, OwnWords) else choice for name, choice in chosen.items()}
        return {name: named.get(name, shape.default) for name, shape in settings.items()}

    def notices(self) -> tuple[str, ...]:
        """Return one line for each thing that this site changes in the rules."""
        if self.shape is None:
            return ()
        off = [f"rule {o.rule} is switched off at this site: {o.reason} ({o.by}, {o.on})" for o in self.shape.rules_off]
        tight = [
            f"rule {w.named} is due {w.said} at this site: {w.reason} ({w.by}, {w.on})" for w in self.shape.windows
        ]
        memory = [
            f"what rules from memory ask for is to be judged at this site: {m.reason} ({m.by}, {m.on})"
            for m in [self.shape.from_memory_to_judge]
            if m is not None
        ]
        supplied = [f"table {name} is supplied by this site{_signers(table)}" for name, table in self.tables.items()]
        return (*off, *tight, *memory, *supplied, *self.looks)


def _signers(table: Table) -> str:
    names = getattr(table, "signed_off", ())
    return f", signed off by {'; '.join(names)}" if names else ""


def read_site(path: str | FilePath | None, problems: list[PackProblem]) -> Site:
    """Read a site file and the tables that it names; mistakes go to ``problems``."""
    if path is None:
        return Site()
    place = FilePath(path)
    if not place.is_file():
        problems.append(PackProblem(f"site file {path}", 1, "$", "file-missing", f"there is no site file '{path}'"))
        return Site()
    text = text_of(place, f"site file {path}", problems)
    if text is None:
        return Site()
    document = parse(text, f"site file {path}")
    problems += document.problems
    if document.data is None and document.problems:
        return Site()  # it is no YAML, and that nothing is in it is no further mistake
    shape = check_shape(document, document.data, (), SiteShape, problems)
    return Site() if shape is None else _site(shape, document, text, place, problems)


def _site(shape: SiteShape, document: Document, text: str, place: FilePath, problems: list[PackProblem]) -> Site:
    """Read the files that a site file names; its text and theirs make the digest."""
    _check_zone(shape, document, problems)
    _check_canonical(shape, document, problems)
    tables: dict[str, Table] = {}
    for name, file in shape.tables.items():
        text += _site_table(name, place.parent / file, document, tables, problems)
    codes: tuple[LocalCode, ...] = ()
    if shape.codes is not None and not (place.parent / shape.codes).is_file():
        message = f"there is no file '{shape.codes}' beside the site file"
        problems.append(document.problem(("codes",), "file-missing", message))
    elif shape.codes is not None:
        codes, written = read_codes(place.parent / shape.codes, problems)
        text += written
    return Site(shape, document, tables, text, codes=codes)


def _check_zone(shape: SiteShape, document: Document, problems: list[PackProblem]) -> None:
    if shape.timezone is not None:
        try:
            named_zone(shape.timezone)
        except ValueError as error:
            problems.append(document.problem(("timezone",), "site", str(error)))


def _check_canonical(shape: SiteShape, document: Document, problems: list[PackProblem]) -> None:
    if shape.canonical is not None and not _BASE.fullmatch(shape.canonical):
        right = "an absolute URL, such as https://clinic.example/fhir"
        message = f"'{shape.canonical}' is no base of code systems; write {right}"
        problems.append(document.problem(("canonical",), "site", message))


def _site_table(
    name: str, place: FilePath, document: Document, tables: dict[str, Table], problems: list[PackProblem]
) -> str:
    header_place = place.with_suffix(".yaml")
    if not place.is_file() or not header_place.is_file():
        message = f"a site's table needs '{place.name}' and its header '{header_place.name}' beside the site file"
        problems.append(document.problem(("tables", name), "file-missing", message))
        return ""
    header_text, text = text_of(header_place, header_place.name, problems), text_of(place, place.name, problems)
    if header_text is None or text is None:
        return ""
    header = parse(header_text, header_place.name)
    problems += header.problems
    if header.problems:
        return header_text + text
    table, faults = load_table(header.data, text, place.name, site_supplied=True)
    problems += faults
    if table is not None:
        tables[name] = table
    return header_text + text


def check_tables(site: Site, own: Mapping[str, Table], problems: list[PackProblem]) -> Site:
    """Check a site's tables against the pack's; what asks for a second look becomes a notice of every output."""
    if site.document is None:
        return site
    looks: list[str] = []
    figures = [table for table in own.values() if isinstance(table, SanityTable)]
    for name, table in site.tables.items():
        if name in own:
            message = f"a site may not replace the pack's own table '{name}'"
            problems.append(site.document.problem(("tables", name), "site", message))
        if isinstance(table, ThresholdSet):
            refused, look = check_set(table, f"{table.name}.csv", figures)
            problems += refused
            looks += [f"table {name}, line {p.line}, deserves a second look: {p.message}" for p in look]
    return replace(site, looks=tuple(looks))
