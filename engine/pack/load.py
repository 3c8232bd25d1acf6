"""From a folder to a `CompiledPack`: read, checked against its own names and the site's changes, compiled.

Every mistake of every step is gathered, and all are raised together.
"""

from __future__ import annotations

import gc
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from importlib.resources.abc import Traversable
from pathlib import Path as FilePath

from layette.engine.errors import PackError, PackProblem
from layette.engine.measures import REGISTRY
from layette.engine.pack.again import LAST
from layette.engine.pack.alone import check_hidden
from layette.engine.pack.checks.asked import UNUSED_LABEL, check_after, check_asked
from layette.engine.pack.checks.findings import check_findings, check_guards, check_normals
from layette.engine.pack.checks.measures import check_measure_inputs, check_measures
from layette.engine.pack.checks.orders import check_orders
from layette.engine.pack.checks.rules import check_conclusions, check_ids, check_rule
from layette.engine.pack.checks.sources import check_settings
from layette.engine.pack.checks.targets import check_anchors, check_targets
from layette.engine.pack.checks.words import check_words
from layette.engine.pack.compile import compile_rules
from layette.engine.pack.compiled import Compiled, CompiledPack
from layette.engine.pack.read import PackReader
from layette.engine.pack.set_guards import set_guards
from layette.engine.pack.site import Site, check_tables, read_site
from layette.engine.pack.site_codes import check_codes
from layette.engine.pack.site_rules import apply_site
from layette.engine.pack.site_words import check_own_words, with_own_words
from layette.engine.pack.written.folder import PackFolder
from layette.engine.pack.written.subjects import Subjects
from layette.engine.pack.written.translations import by_language
from layette.engine.pack.written.written import SetGuards, Written
from layette.engine.pack.written.written_pack import WrittenPack
from layette.engine.tables.load import check_younger


def load_compiled(root: Traversable | FilePath, site: str | FilePath | None = None) -> CompiledPack:
    """Return the pack in folder ``root`` with the changes of a site file.

    Raises:
        PackError: the pack or site file cannot be used; every mistake but those that only echo another.
    """
    if not root.is_dir():
        raise PackError([PackProblem(str(root), 1, "$", "file-missing", f"there is no folder '{root}'")])
    of_site: list[PackProblem] = []
    with _uncollected():
        changes = read_site(site, of_site)
        folder, written = LAST.read(root) or _read(root)
        folder.problems[:0] = of_site
        pack = None if written is None else _compiled(written, changes, folder)
    if folder.problems or pack is None:
        raise PackError(without_echoes(folder.problems, folder.texts))
    return pack


def _read(root: Traversable | FilePath) -> tuple[PackFolder, WrittenPack | None]:
    folder = PackFolder(root)
    written = PackReader(folder).read()
    if written is not None and not folder.problems:
        LAST.keep(folder, written)
    return folder, written


@contextmanager
def _uncollected() -> Iterator[None]:
    """Let the garbage collector rest: nearly all that loading makes stays, and to look at it again doubles the time."""
    enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if enabled:
            gc.enable()


def _compiled(written: WrittenPack, site: Site, folder: PackFolder) -> CompiledPack | None:
    """Return the parts of a sound pack; None, with the problems in the folder, of any other."""
    problems = folder.problems
    site = check_tables(site, written.tables, problems)
    check_codes(site.codes, written.findings, problems)
    tables, rules = {**site.tables, **written.tables}, apply_site(written, site, problems)
    problems += [*check_words(written), *check_own_words(site, written)]
    settings = with_own_words(site, written.settings)
    pack = replace(written, tables=tables, rules=tuple(rules), settings=settings)
    problems += _names(pack)
    problems += site.check_choices(pack.settings)
    guards, subjects = set_guards(pack, problems), _subjects(pack)
    if problems:
        if not LAST.sound(pack.rules, subjects):
            # names that are wrong would only cause follow-up errors in conditions that name them rightly
            compile_rules(pack.rules, subjects, {}, problems)
        return None
    compiled = LAST.compiled(pack.rules, subjects, guards) or _compiled_anew(pack.rules, subjects, guards, problems)
    return CompiledPack(
        shape=pack.shape, site=site, digest=site.digest_with(folder.digest), findings=pack.findings, areas=pack.areas,
        measures=pack.measures, settings=pack.settings, sources=pack.sources, targets=pack.targets,
        rules={rule.shape.id: rule for rule in pack.rules}, tables=pack.tables, subjects=subjects, compiled=compiled,
        set_guards=guards, folder=folder.root, value_labels=pack.value_labels, orders=pack.orders,
        translations=by_language(pack.translations.values()),
    )  # fmt: skip


def _compiled_anew(
    rules: tuple[Written, ...], subjects: Subjects, guards: SetGuards, problems: list[PackProblem]
) -> Compiled:
    compiled = compile_rules(rules, subjects, guards, problems)
    problems += check_after(subjects)
    if not problems:
        problems += check_hidden(compiled, subjects)
    if not problems:
        LAST.keep_compiled(rules, subjects, guards, compiled)
    return compiled


def _names(pack: WrittenPack) -> Iterator[PackProblem]:
    """Yield what names what does not exist, or does not hang together."""
    yield from check_anchors(pack)
    yield from check_targets(pack)
    yield from check_findings(pack)
    yield from check_guards(pack)
    yield from check_asked(pack)
    yield from check_normals(pack)
    yield from check_orders(pack)
    settings, measures = (pack.documents.get(file) for file in (pack.shape.settings, pack.shape.measures))
    if settings is not None:
        yield from check_settings(pack, settings)
    if measures is not None:
        known = {*pack.findings, *pack.conclusions}
        yield from check_measures(pack.measures, measures, known, pack.tables)
        yield from check_measure_inputs(
            pack.measures, measures, pack.findings, pack.settings, pack.sources, pack.tables
        )
    yield from check_younger(pack.tables)
    for rule in pack.rules:
        yield from check_rule(rule, pack)
    yield from check_ids(pack)
    yield from check_conclusions(pack)


def _subjects(pack: WrittenPack) -> Subjects:
    """Return what conditions may name; ``bands`` are the words with which a size for gestation answers."""
    bands = {}
    for name, measure in pack.measures.items():
        table = pack.tables.get(str((measure.model_extra or {}).get("table")))
        declared = REGISTRY.get(measure.compute)
        if declared is not None and declared.gives == "category" and table is not None:
            bands[name] = tuple(getattr(table, "bands", ()))
    normals = {name: normal for area in pack.areas for name, normal in area.normal.items()}
    return Subjects(
        pack.findings, pack.measures, pack.settings, pack.conclusions, bands, pack.finding_documents, normals
    )


# --- mistakes that only echo another one: a name that is "unknown" because its own file could not be read

BREAKING = ("yaml", "shape", "unknown-priority", "table-gap", "table-overlap", "table-value", "threshold-set")
"""What makes a file, or a part of it, unusable."""
ECHOES = ("unknown-finding", "unknown-source", "unknown-target", "unknown-setting", "unknown-rule", "file-missing")
_QUOTED = re.compile("'([^']+)'")


def without_echoes(problems: Iterable[PackProblem], texts: Mapping[str, str]) -> list[PackProblem]:
    """Return the problems without those that will be gone once the unusable files are mended.

    ``texts`` are the files as written: a name that stands in no unusable file is a mistake of its own, and kept.
    """
    listed = list(problems)
    broken = {p.file for p in listed if p.code in BREAKING}
    text = "\n".join(f"{name}\n{texts.get(name, '')}" for name in sorted(broken))
    known = set(re.split(r"[^a-z0-9_.\-]+", text)) | {part for name in broken for part in re.split(r"[/.]", name)}
    names_lost = bool(broken & {"sources.yaml", "settings.yaml"})
    return [p for p in listed if not (_quoted(p) & known) and not (names_lost and _is_of_issuers(p))]


def _quoted(problem: PackProblem) -> set[str]:
    echoes = problem.code in ECHOES or problem.message.startswith(UNUSED_LABEL)
    return set(_QUOTED.findall(problem.message)[:1]) if echoes else set()


def _is_of_issuers(problem: PackProblem) -> bool:
    return problem.code == "threshold-set" and not problem.file.startswith("tables/")
