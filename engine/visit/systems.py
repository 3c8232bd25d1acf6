"""Systems that are charted as "normal" in one word: which finding such a word filled, and what it says nothing of."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from layette.engine.pack.written.subjects import Subjects
from layette.engine.visit.problems import Problems


def left_out(name: str, written: Mapping[str, Any], path: str, subjects: Subjects) -> Iterator[str]:
    """Yield what the "normal" of a system does not stand for, unless all of it was recorded by itself."""
    by_themselves = {str(key).partition(".")[0] for key in written}
    shape = subjects.normals[name]
    missing = [subjects.findings[one].label for one in shape.leaves_out if one not in by_themselves]
    if missing:
        yield (
            f"{path}: '{shape.label}' charted as normal is no look at what takes a hand or an instrument; "
            f"record it by itself: {'; '.join(missing)}"
        )


def charted_by(name: str, fields: Mapping[str, Any], path: str, subjects: Subjects, report: Problems) -> str:
    """Return the label of the system whose "normal" filled the finding ``name``; empty where it was recorded by itself.

    A system that does not exist, and one that does not fill this finding, are reported.
    """
    system = fields.get("charted_by")
    if system is None:
        return ""
    normal = subjects.normals.get(str(system))
    if normal is None:
        known = ", ".join(subjects.normals)
        report.add(f"{path}.charted_by", "value", "no system that is charted as normal", system, known)
        return ""
    if name not in normal.spreads:
        message = f"the normal of a system does not fill '{name}'"
        expected = "the finding recorded by itself, without charted_by"
        report.add(f"{path}.charted_by", "contradiction", message, system, expected)
    return normal.label
