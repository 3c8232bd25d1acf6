"""What a code means: the dictionary's codes, a site's codes and our own, gathered once for a pack."""

from __future__ import annotations

import weakref
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, NamedTuple

from layette.engine.pack.written.shapes import FindingShape
from layette.mapping.codes import OWN, OWN_BASE, display
from layette.mapping.pack_view import PackView, systems
from layette.mapping.read.bundle.parts import Coding
from layette.mapping.read.codes.amounts import Units, ucum, units_of
from layette.mapping.read.codes.answers import AnswerSheet, coded, pairs, stated_codes
from layette.mapping.read.codes.spoken import head_of, said_words, side_in

Person = Literal["baby", "mother"]
Key = tuple[str, str]


class SiteCode(NamedTuple):
    """A local code of a site and what it means: a finding, or one value of it.

    ``unit`` (UCUM) is the unit of numbers that the site sends under this code without one.
    """

    system: str
    code: str
    finding: str
    value: str | None = None
    unit: str | None = None


@dataclass(frozen=True, slots=True)
class CodeMeaning:
    """What one code means on an Observation: a finding, one side, part or qualifier of it, or its value as well.

    ``rank``: how closely the code is tied to the finding (0 our own or a site's, 1 a side or a part, 2 the finding).
    ``values`` are set where the code states a value by itself; several where it leaves several open.
    ``asked``: the code only asks for that value, and without an answer says nothing.
    ``plainly``: the code names the person too, so that it may stand in the baby's record about the mother.
    """

    finding: str
    rank: int
    side: str | None = None
    part: str | None = None
    qualifier: str | None = None
    values: frozenset[str] = frozenset()
    said: tuple[tuple[str, str], ...] = ()
    unit: str | None = None
    plainly: bool = False
    asked: bool = False


class Finding:
    """One finding of the dictionary, ready for reading."""

    def __init__(self, name: str, shape: FindingShape, base: str, site: Mapping[Key, str]) -> None:
        """Prepare ``name``."""
        self.name = name
        self.shape = shape
        self.person: Person = shape.subject
        self.sides = tuple(shape.sides or ())
        self.parts = tuple(shape.readings.parts) if shape.readings else ()
        self.untimed = shape.carries_over and not shape.awaited
        self.sheet = AnswerSheet(name, shape, base, site)
        self.units = units_of(shape.number.accepts, shape.number.unit) if shape.number else None
        self._site_units: dict[str, Units] = {}

    def units_with(self, default: str | None) -> Units | None:
        """Return the units, with what a site says of a number without one."""
        if default is None or self.units is None:
            return self.units
        return self._site_units.setdefault(default, Units(self.units.accepts, default))

    @cached_property
    def names(self) -> frozenset[tuple[str, ...]]:
        """The words of its name, of its label, and of the published wording of its codes and of those of its values."""
        return frozenset(tuple(said_words(name)) for name in self._worded())

    @cached_property
    def measured(self) -> tuple[frozenset[str], ...]:
        """Of a number, the words that name what is measured, in each way in which it is worded."""
        number = self.shape.number
        if number is None:
            return ()
        heads = [head_of(name) for name in self._worded()]
        found = [frozenset(said_words(head)) for head in (*heads, number.substance or "")]
        return tuple(words for words in dict.fromkeys(found) if words)

    def _worded(self) -> Iterator[str]:
        yield from (self.name, self.shape.label)
        codes = (*pairs(self.shape.codes), *((system, code) for _, system, code in stated_codes(self.shape)))
        yield from (wording for key in codes if (wording := display(*key)))


class CodeIndex:
    """The codes of a pack. Make one with `index_of`, which keeps it for as long as the pack lives."""

    def __init__(self, pack: PackView, base: str = OWN_BASE, site_codes: Iterable[SiteCode] = ()) -> None:
        """Gather the codes of ``pack`` and of a site; ``base`` is the canonical base of our own systems."""
        self.base = base.rstrip("/")
        self.spreads = {name: frozenset(shape.spreads) for name, shape in pack.normals.items()}
        self.pack_id = pack.id
        site = tuple(site_codes)
        shapes = {**pack.findings, **systems(pack)}
        self.findings = {
            name: Finding(name, shape, self.base, _site_values(site, name)) for name, shape in shapes.items()
        }
        self._meanings: dict[Key, list[CodeMeaning]] = {}
        for finding in self.findings.values():
            self._add_published(finding)
        for finding in self.findings.values():
            self._add_own(finding)
        for row in site:
            self._add_site(row)
        self.targets = _target_codes(pack, self.base)
        self.kinds = {name: shape.kind for name, shape in pack.targets.items()}
        self._matched: dict[tuple[Key, ...], tuple[CodeMeaning, ...]] = {}

    def meanings(self, codings: Iterable[Coding]) -> tuple[CodeMeaning, ...]:
        """Return what these codings mean: those tied most closely; one finding can stand there several times."""
        keys = tuple((system, code) for system, code, _ in codings)
        found = self._matched.get(keys)
        if found is None:
            found = self._closest(keys)
            if len(self._matched) < 10_000:
                self._matched[keys] = found
        return found

    def _closest(self, keys: tuple[Key, ...]) -> tuple[CodeMeaning, ...]:
        meant = [meaning for key in keys for meaning in self._meanings.get(key, ())]
        rank = min((meaning.rank for meaning in meant), default=0)
        return _merged(meaning for meaning in meant if meaning.rank == rank)

    @cached_property
    def _named(self) -> Mapping[tuple[str, ...], tuple[Finding, ...]]:
        named: dict[tuple[str, ...], list[Finding]] = {}
        for finding in self.findings.values():
            for words in finding.names:
                named.setdefault(words, []).append(finding)
        return {words: tuple(several) for words, several in named.items()}

    @cached_property
    def _measuring(self) -> Mapping[str, tuple[tuple[frozenset[str], Finding], ...]]:
        """What findings measure, each wording under one of its words: who looks for it has that word too."""
        by_word: dict[str, list[tuple[frozenset[str], Finding]]] = {}
        for finding in self.findings.values():
            for words in finding.measured:
                by_word.setdefault(min(words), []).append((words, finding))
        return {word: tuple(several) for word, several in by_word.items()}

    def named(self, said: Iterable[tuple[str, ...]]) -> list[Finding]:
        """Return the findings that have one of these names, each the words of one, in the order of the dictionary."""
        found = {finding.name for words in said for finding in self._named.get(words, ())}
        return [finding for name, finding in self.findings.items() if name in found] if found else []

    def measuring(self, spoken: Collection[str]) -> list[tuple[int, Finding]]:
        """Return the findings of which what is measured stands among these words, with the number of its words."""
        most: dict[str, int] = {}
        for word in spoken:
            for words, finding in self._measuring.get(word, ()):
                if words.issubset(spoken):
                    most[finding.name] = max(len(words), most.get(finding.name, 0))
        return [(most[name], finding) for name, finding in self.findings.items() if name in most] if most else []

    def stated(self, codings: Iterable[Coding]) -> list[CodeMeaning]:
        """Return what these codings state by themselves, as a Condition does."""
        return [
            a for system, code, _ in codings for a in self._meanings.get((system, code), ()) if a.values and not a.asked
        ]

    def _add(self, key: Key, meaning: CodeMeaning) -> None:
        self._meanings.setdefault(key, []).append(meaning)

    def _add_published(self, finding: Finding) -> None:
        shape, name = finding.shape, finding.name
        stated: dict[Key, set[str]] = {}
        for value, system, code in stated_codes(shape):
            stated.setdefault((system, code), set()).add(value)
        for key, values in stated.items():
            self._add(key, CodeMeaning(name, 2, _side_said(finding, key), None, None, frozenset(values)))
        for value, system, code in coded(shape.asked):
            self._add((system, code), CodeMeaning(name, 2, values=frozenset((value,)), asked=True))
        for key in pairs(shape.codes):
            if key not in stated:
                self._add(key, CodeMeaning(name, 2, said=_qualifiers_said(finding, key), unit=_unit_said(finding, key)))
        for side, codes in shape.side_codes.items():
            for key in pairs(codes):
                self._add(key, CodeMeaning(name, 1, side))
        for part, codes in shape.part_codes.items():
            for key in pairs(codes):
                self._add(key, CodeMeaning(name, 1, part=part))

    def _add_own(self, finding: Finding) -> None:
        name = finding.name
        self._own(name, CodeMeaning(name, 0, plainly=True))
        for side in (*finding.sides, "both") if finding.sides else ():
            self._own(f"{name}.{side}", CodeMeaning(name, 0, side, plainly=True))
        for part in finding.parts:
            self._own(f"{name}.{part}", CodeMeaning(name, 0, part=part, plainly=True))
        for qualifier in finding.shape.qualifier:
            self._own(f"{name}.{qualifier}", CodeMeaning(name, 0, qualifier=qualifier, plainly=True))

    def _own(self, code: str, meaning: CodeMeaning) -> None:
        system = f"{self.base}/{OWN['findings']}"
        for form in dict.fromkeys((code, code.replace("_", "-"))):
            self._add((system, form), meaning)

    def _add_site(self, row: SiteCode) -> None:
        if row.finding in self.findings:
            values = frozenset((row.value,)) if row.value else frozenset()
            self._add((row.system, row.code), CodeMeaning(row.finding, 0, values=values, unit=row.unit, plainly=True))


def _merged(meanings: Iterable[CodeMeaning]) -> tuple[CodeMeaning, ...]:
    """Return each finding, side and part once, with all that its codes say; codes that exclude each other stay."""
    kept: list[CodeMeaning] = []
    for meaning in meanings:
        for place, other in enumerate(kept):
            same = (other.finding, other.part, other.qualifier) == (meaning.finding, meaning.part, meaning.qualifier)
            apart = other.values and meaning.values and not other.values & meaning.values
            if same and not apart and (other.side == meaning.side or not other.side or not meaning.side):
                values = other.values & meaning.values or other.values or meaning.values
                said = tuple(dict.fromkeys(other.said + meaning.said))
                side, unit = other.side or meaning.side, other.unit or meaning.unit
                kept[place] = replace(other, values=values, said=said, side=side, unit=unit)
                break
        else:
            kept.append(meaning)
    return tuple(kept)


def _site_values(site: tuple[SiteCode, ...], finding: str) -> dict[Key, str]:
    return {(row.system, row.code): row.value for row in site if row.finding == finding and row.value}


def qualifiers_in(finding: Finding, texts: Iterable[str]) -> dict[str, set[str]]:
    """Return the values of the finding's qualifiers that texts name."""
    said = {word for text in texts for word in said_words(text)}
    return {
        qualifier: {value for value in values if set(said_words(value.replace("_", " "))) <= said}
        for qualifier, values in finding.shape.qualifier.items()
    }


def _side_said(finding: Finding, key: Key) -> str | None:
    named = side_in([display(*key) or ""]) if finding.sides else set()
    return named.pop() if len(named) == 1 else None


def _unit_said(finding: Finding, key: Key) -> str | None:
    """Return the unit that the wording of a code names, as "Gestational age in weeks" does."""
    named = ucum((display(*key) or "").rpartition(" in ")[2])
    return named if finding.units is not None and named in finding.units.accepts else None


def _qualifiers_said(finding: Finding, key: Key) -> tuple[tuple[str, str], ...]:
    named = qualifiers_in(finding, [display(*key) or ""])
    return tuple((qualifier, next(iter(values))) for qualifier, values in named.items() if len(values) == 1)


def _target_codes(pack: PackView, base: str) -> dict[Key, list[str]]:
    found: dict[Key, list[str]] = {}
    for name, shape in pack.targets.items():
        own = ((f"{base}/{OWN['targets']}", form) for form in dict.fromkeys((name, name.replace("_", "-"))))
        for key in (*own, *pairs(shape.codes)):
            found.setdefault(key, []).append(name)
    return found


_CACHE: dict[tuple[int, str, tuple[SiteCode, ...]], tuple[weakref.ref[PackView], CodeIndex]] = {}


def index_of(pack: PackView, base: str = OWN_BASE, site_codes: Iterable[SiteCode] = ()) -> CodeIndex:
    """Return the pack's index, made once and kept while the pack lives (a pack need not be hashable)."""
    key = (id(pack), base, tuple(site_codes))
    kept = _CACHE.get(key)
    if kept is not None and kept[0]() is pack:
        return kept[1]
    index = CodeIndex(pack, base, key[2])

    def forget(_: object) -> None:
        _CACHE.pop(key, None)

    _CACHE[key] = (weakref.ref(pack, forget), index)
    return index
