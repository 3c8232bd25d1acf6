"""The floors of the house: a room imports only what lies below it, no files stand in a ring, no folder is too full."""

from collections import Counter, defaultdict
from graphlib import TopologicalSorter

from support.imports import imports, modules, written_otherwise

ORDER = (
    "engine.terms engine.errors engine.forked engine.shape_words engine.exact engine.measures engine.tables "
    "engine.logic engine.pack.written engine.pack.grammar engine.pack.checks engine.pack engine.visit engine.states "
    "engine.answer.shapes engine.answer.laid engine.answer.parts engine.answer.resolved engine.answer "
    "engine.cases|engine.cohort "
    "engine.published|engine.api engine engine.face "
    "mapping.codes mapping.cores mapping.fhir mapping.fhir_json mapping.flat_references mapping.pack_view "
    "mapping.settle mapping.validate.rules mapping.validate mapping.door mapping.words mapping.read.bundle "
    "mapping.read.codes mapping.read.resources mapping.read mapping.read.hl7v2 mapping.account mapping.text "
    "mapping.write.run mapping.write.words mapping.write.resources mapping.write mapping.export mapping.intake "
    "mapping.undated mapping.answering mapping.many mapping.cohort mapping.pages mapping.service mapping.cli"
)
"""The rooms from the ground up, rooms of one floor with `|` between. The longest name with which a module's name begins
is its room."""
FLOOR = {room: floor for floor, rooms in enumerate(ORDER.split()) for room in rooms.split("|")}


def floor(module: str) -> int:
    return FLOOR[max((room for room in FLOOR if f"{module}.".startswith(f"{room}.")), key=len)]


def test_every_import_goes_down_and_is_written_in_full() -> None:
    assert [(by, to) for by, to in imports() if floor(to) > floor(by)] == []
    assert list(written_otherwise()) == []


def test_no_files_stand_in_a_ring() -> None:
    graph: dict[str, set[str]] = defaultdict(set)
    for by, to in imports():
        graph[by].add(to)
    assert set(TopologicalSorter(graph).static_order()) <= modules().keys()  # CycleError names the files of a ring


def test_no_folder_holds_more_than_one_can_oversee() -> None:
    full = Counter(path.parent for path in modules().values() if path.name != "__init__.py")
    assert {folder: number for folder, number in full.items() if number > 15} == {}
