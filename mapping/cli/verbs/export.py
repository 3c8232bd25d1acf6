"""`layette export`: a rule pack as FHIR R4, one resource a file and all of them as one Bundle."""

from __future__ import annotations

import argparse
from collections import Counter
from pathlib import Path
from typing import Any

from layette.engine.api import Pack, load_pack
from layette.engine.errors import LayetteError
from layette.mapping.cli import output
from layette.mapping.codes import OWN_BASE
from layette.mapping.export import export, file_name, to_collection
from layette.mapping.fhir.json import dumps
from layette.mapping.fhir.xml import to_xml

_ENDINGS = {"fhir-json": "json", "fhir-xml": "xml"}
_SHOWN = 5


class FolderInUseError(LayetteError):
    """The folder holds what this export would not replace, so that old and new would stand side by side."""


def add(verb: argparse.ArgumentParser) -> None:
    """Add the options of the verb."""
    verb.description = (
        "Write a rule pack as FHIR R4: PlanDefinition, ActivityDefinitions, Library (with the pack's own "
        "files), CodeSystems, ValueSets, ConceptMaps and the exam as a Questionnaire; one file each, and one Bundle."
    )
    default = "the pack's folder (default: the one that ships with Layette)"
    verb.add_argument("pack", metavar="PACK", nargs="?", help=default)
    verb.add_argument("--out", metavar="DIR", required=True, help="the folder to write to; new, empty, or of an export")
    verb.add_argument("--site", metavar="FILE", help="the site file: canonical base, settings, rules switched off")
    verb.add_argument("--to", choices=_ENDINGS, default="fhir-json", help="form of the files (default: fhir-json)")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write the pack; returns 0. Raises `PackError`, or `LayetteError` for a folder that is in use."""
    pack = load_pack(arguments.pack, arguments.site)
    files = _files(pack, arguments.to)
    folder = Path(arguments.out)
    _usable(folder, set(files))
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        output.write(content, str(folder / name))
    kinds = Counter(name.partition("-")[0] for name in files)
    listed = ", ".join(f"{number} {kind}" for kind, number in sorted(kinds.items()))
    print(f"{pack.id} {pack.version}: {len(files)} files written to {arguments.out}: {listed}")
    return 0


def _files(pack: Pack, form: str) -> dict[str, str | bytes]:
    """Return the content of every file by its name, before anything is written."""
    resources = export(pack, pack.site.canonical or OWN_BASE)
    everything = [*resources, to_collection(pack, resources)]
    return {file_name(one, _ENDINGS[form]): _content(one, form) for one in everything}


def _content(resource: dict[str, Any], form: str) -> str | bytes:
    return to_xml(resource) + b"\n" if form == "fhir-xml" else dumps(resource, indent=2) + "\n"


def _usable(folder: Path, names: set[str]) -> None:
    """Refuse a folder with other files in it: a resource that is no longer part of the pack would stay there."""
    others = sorted(place.name for place in folder.iterdir() if place.name not in names) if folder.is_dir() else []
    if others:
        more = f" and {len(others) - _SHOWN} more" if len(others) > _SHOWN else ""
        raise FolderInUseError(
            f"the folder holds files that this export does not write: {', '.join(others[:_SHOWN])}{more}; "
            "give a new or empty folder"
        )
