"""The published JSON Schemas: of a pack's files, a visit, an assessment and a site file.

``python -m layette.engine.published`` writes them into `schemas/`; a test checks that they are current.
"""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from layette.engine.answer.parts.assessment import DetailedAssessment
from layette.engine.cases.written import CaseShape
from layette.engine.pack.site import SiteShape
from layette.engine.pack.written.rule_shapes import RowsHeader, RuleShape, TargetShape
from layette.engine.pack.written.shape import OrdersFile, ValuesFile
from layette.engine.pack.written.shapes import FindingsFile, MeasureShape, PackFile, SettingShape, SourceShape
from layette.engine.pack.written.translations import TranslationFile
from layette.engine.tables.headers import Header
from layette.engine.visit.form import visit_schema

DIALECT = "https://json-schema.org/draft/2020-12/schema"
PACK_FILES: dict[str, TypeAdapter[Any]] = {
    "pack": TypeAdapter(PackFile),
    "findings": TypeAdapter(FindingsFile),
    "targets": TypeAdapter(dict[str, TargetShape]),
    "rules": TypeAdapter(list[RuleShape]),
    "measures": TypeAdapter(dict[str, MeasureShape]),
    "settings": TypeAdapter(dict[str, SettingShape]),
    "sources": TypeAdapter(dict[str, SourceShape]),
    "values": TypeAdapter(ValuesFile),
    "orders": TypeAdapter(OrdersFile),
    "table": TypeAdapter(Header | RowsHeader),
    "cases": TypeAdapter(list[CaseShape]),
    "translations": TypeAdapter(TranslationFile),
}
"""The kinds of YAML files in a pack; `rules` are those of `decisions/` and of `guidance/`."""


def pack_schema() -> dict[str, Any]:
    """Return the JSON Schema of a pack's files: any of them, each also on its own as ``#/$defs/<kind>_file``."""
    by_kind, shared = TypeAdapter.json_schemas([(kind, "validation", made) for kind, made in PACK_FILES.items()])
    kinds = {f"{kind}_file": schema for (kind, _), schema in by_kind.items()}
    return {
        "title": "A file of a rule pack of Layette",
        "anyOf": [{"$ref": f"#/$defs/{kind}"} for kind in kinds],
        "$defs": {**shared["$defs"], **kinds},
    }


def schemas() -> dict[str, str]:
    """Return every published schema as text, by the name of its file."""
    made = {
        "pack": pack_schema(),
        "visit": visit_schema(),
        "assessment": DetailedAssessment.model_json_schema(mode="serialization"),
        "site": SiteShape.model_json_schema(),
    }
    return {
        f"{name}.schema.json": json.dumps({"$schema": DIALECT, **schema}, indent=2, ensure_ascii=False) + "\n"
        for name, schema in made.items()
    }


def write(folder: Path) -> list[Path]:
    """Write every schema into ``folder``; return what was written."""
    written = []
    for name, text in schemas().items():
        (folder / name).write_text(text, encoding="utf-8")
        written.append(folder / name)
    return written


if __name__ == "__main__":
    for place in write(Path(str(files("layette.schemas").joinpath("visit.md"))).parent):
        print(place.name)
