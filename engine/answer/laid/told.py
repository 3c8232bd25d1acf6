"""What an answer tells of a target or measure, whatever was found: its codes, and its words for the family."""

from __future__ import annotations

from collections.abc import Mapping

from layette.engine.answer.shapes.proposed import Code
from layette.engine.pack.written.rule_shapes import TargetShape
from layette.engine.pack.written.shapes import CodeValue, SettingShape, listed
from layette.engine.pack.written.spoken import filled, said
from layette.engine.terms import CODE_SYSTEMS

AWAITS = " [awaits review]"
"""What stands behind words for the family that nobody who speaks the language has read yet."""


def plain_of(
    target: TargetShape, settings: Mapping[str, SettingShape], choices: Mapping[str, str]
) -> Mapping[str, str]:
    """Return the words for the family by language, with the choices in force; a text that awaits review says so."""
    out = {}
    for language in target.plain:
        one = said(target.plain, language)
        if one is not None:
            text, review = filled(one, language, settings, choices)
            out[language] = text + (AWAITS if review else "")
    return out


def codes_of(written: Mapping[str, CodeValue]) -> tuple[Code, ...]:
    """Return codes, as a pack writes them by system, with their systems' addresses."""
    return tuple(Code(system=CODE_SYSTEMS[s], code=code) for s, codes in written.items() for code in listed(codes))
