"""Every field that a pack, a site or a visit can carry is read by something, and every one of an answer is set.

A field that is checked and then forgotten is a promise that nobody keeps: what its author wrote has no effect.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from inspect import get_annotations
from typing import Any, get_args, get_type_hints

import pytest
from pydantic import BaseModel
from support.checkout import ROOT
from support.type_checked import checked

from layette.engine import Assessment, Visit
from layette.engine.pack.site import SiteShape
from layette.engine.pack.written.rule_shapes import RowsHeader
from layette.engine.published import PACK_FILES

UNREAD = {
    "Ages.start": "a visit before the first day that the pack covers is assessed all the same",
    "ChoiceShape.value": "no rule or measure asks for it",
    "Recorded.path": "no message names the place of a recording that was used",
    "RowsHeader.status": "the rows of a table do not say how far it was verified",
    "TableHeader.choices": "the columns that a printed table leaves to choose between are not used",
    "WindowShape.source": "a window that has a source of its own does not show it",
}
"""Fields that nothing reads, with what that means. The list may only get shorter."""

FOR_PEOPLE = {
    "CaseShape.published", "CaseShape.title", "SettingShape.why", "TableHeader.note", "ValuesFile.review",
}  # fmt: skip
"""Fields that are there for who reads the file itself."""

READ_OTHERWISE = {
    "Consequence": "by the name of its verb, with `getattr`",
    "DiagnosisShape.codes": "by `codes_of`, which takes anything with codes",
    "NormalShape.codes": "by the parts of the code system, which take anything with codes",
    "kind": "by pydantic, which tells the headers of tables apart by it",
    "method": "by pydantic, which tells the headers of tables apart by it",
}
"""Fields (of a class, or of this name) that are read in a way that leaves no type to follow."""

UNSET = {
    "Assessment.layette_assessment": "the version of the form, which is its default",
    "Code.display": "no display is known for the codes of a pack",
}
"""Fields of an answer that nothing sets. The list may only get shorter."""


def published() -> list[type[Any]]:
    """Return every class of the published forms of a pack's files and of a site file, and of a checked visit."""
    inputs = [*(made._type for made in PACK_FILES.values()), RowsHeader, SiteShape, Visit]
    return list(dict.fromkeys(part for made in inputs for part in classes(made)))


def classes(annotation: Any) -> Iterator[type[Any]]:
    """Yield the models, dataclasses and named tuples of one kind of data, with those that it holds."""
    for part in get_args(annotation):
        yield from classes(part)
    own = isinstance(annotation, type) and annotation.__module__.startswith("layette.")
    if own and (issubclass(annotation, BaseModel) or is_dataclass(annotation) or hasattr(annotation, "_fields")):
        yield annotation
        for held in get_type_hints(annotation).values():
            yield from classes(held)


def declared(of: type[Any]) -> Iterator[tuple[str, str]]:
    """Yield each field of a class: as ``Class.field`` and as ``module.Class.field``, by the class that declares it."""
    if issubclass(of, BaseModel):
        names = [*of.model_fields]
    else:
        names = [field.name for field in fields(of)] if is_dataclass(of) else [*of.__annotations__]
    for name in names:
        owner = next(base for base in of.__mro__ if name in get_annotations(base))
        yield f"{owner.__name__}.{name}", f"{owner.__module__}.{owner.__name__}.{name}"


@pytest.mark.slow
@pytest.mark.xdist_group("mypy")
def test_every_field_of_a_pack_a_site_and_a_visit_is_read() -> None:
    found = dict(place for of in published() for place in declared(of))
    read = checked().attributes_read
    unread = {
        short for short, whole in found.items()
        if whole not in read and not READ_OTHERWISE.keys() & {short, *short.split(".")}
    }  # fmt: skip
    assert unread == UNREAD.keys() | FOR_PEOPLE
    assert {name for name in READ_OTHERWISE if "." in name} <= found.keys()


def made_by(tree: ast.Module) -> dict[str, str]:
    """Return the makers of parts in a file (``_due = known(Due)``), with the class that each makes."""
    return {
        target.id: call.args[0].id
        for node in tree.body if isinstance(node, ast.Assign)
        for targets, value in [(node.targets[0], node.value)]
        for target, call in zip(getattr(targets, "elts", [targets]), getattr(value, "elts", [value]), strict=False)
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "known"
    }  # fmt: skip


LAID_OUT = {"of_due": "Due", "_of_reason": "Reason", "_of_target": "Recommendation"}
"""Functions that lay out once a pack what is fixed of a part, as a dictionary of its fields."""


def fields_set(tree: ast.Module) -> Iterator[str]:
    """Yield ``Class.field`` for each field that a call in a file, or what is laid out once a pack, gives by name."""
    makers = made_by(tree)
    for function in (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.name in LAID_OUT):
        for made in (node.value for node in ast.walk(function) if isinstance(node, ast.Return)):
            keys = made.keys if isinstance(made, ast.Dict) else ()
            yield from (f"{LAID_OUT[function.name]}.{key.value}" for key in keys if isinstance(key, ast.Constant))
    for call in (node for node in ast.walk(tree) if isinstance(node, ast.Call)):
        name = getattr(call.func, "attr", getattr(call.func, "id", ""))
        yield from (f"{makers.get(name, name)}.{keyword.arg}" for keyword in call.keywords)


def test_every_field_of_an_answer_is_set() -> None:
    files = [path for folder in ("engine", "mapping") for path in (ROOT / folder).rglob("*.py")]
    set_somewhere = {one for path in files for one in fields_set(ast.parse(path.read_text(encoding="utf-8")))}
    fields_of_answers = {short for of in set(classes(Assessment)) for short, _ in declared(of)}
    assert fields_of_answers - set_somewhere == UNSET.keys()
