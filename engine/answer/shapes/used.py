"""What an answer was made with: the pack and the settings."""

from __future__ import annotations

from layette.engine.answer.shapes.part import Part


class SettingUsed(Part):
    """A setting that was in force, and whether it differs from the pack's default."""

    id: str
    label: str
    choice: str
    default: bool


class PackUsed(Part):
    """Which pack answered."""

    id: str
    version: str
    jurisdiction: str
    digest: str
