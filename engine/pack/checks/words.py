"""Whether what families are told is in declared languages, and refers to settings that have words."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches

from layette.engine.errors import PackProblem, near
from layette.engine.pack.written.shapes import Words
from layette.engine.pack.written.spoken import SETTING, placeholders
from layette.engine.pack.written.translations import TranslationFile
from layette.engine.pack.written.written_pack import WrittenPack
from layette.engine.pack.written.yaml_nodes import Document, Path
from layette.engine.terms import SEEN_TODAY


def check_words(pack: WrittenPack) -> Iterator[PackProblem]:
    """Yield words in a language that is not declared or lacks the first one, and what is wrong in braces."""
    yield from _of_settings(pack)
    for name, target in pack.targets.items():
        yield from check_languages(target.plain, pack, pack.target_documents[name], (name, "plain"))
    for name, shape in pack.findings.items():
        document, path = pack.finding_documents[name], ("findings", name)
        yield from _braces(shape.say or "", pack, document, (*path, "say"))
        for value, text in shape.variant.items():
            yield from _braces(text, pack, document, (*path, "variant", value))
    for file, one in pack.translations.items():
        yield from _translated(one, pack, pack.documents[file])


def check_languages(words: Words, pack: WrittenPack, document: Document, path: Path) -> Iterator[PackProblem]:
    """Yield what is wrong with one text in several languages."""
    known = pack.shape.languages
    for language, written in words.items():
        if language not in known:
            yield _undeclared(language, pack, document, (*path, language))
        text = written if isinstance(written, str) else written.text
        yield from _braces(text, pack, document, (*path, language))
    if words and known[0] not in words:
        message = f"there are no words in '{known[0]}', the first language of this pack"
        yield document.problem(path, "unknown-language", message)


def _undeclared(language: str, pack: WrittenPack, document: Document, path: Path) -> PackProblem:
    known = ", ".join(pack.shape.languages)
    return document.problem(path, "unknown-language", f"'{language}' is no language of this pack: {known}")


def _of_settings(pack: WrittenPack) -> Iterator[PackProblem]:
    """Yield settings whose choices have words in part: a text that names the setting would be left with a hole."""
    document = pack.documents.get(pack.shape.settings)
    if document is None:
        return
    for name, shape in pack.settings.items():
        with_words = [slug for slug, choice in shape.choices.items() if choice.words]
        for slug, choice in shape.choices.items():
            path = (name, "choices", slug)
            if with_words and slug not in with_words:
                message = f"other choices of '{name}' have 'words' for families, and this one has none"
                yield document.problem(path, "shape", message)
            yield from check_languages(choice.words, pack, document, (*path, "words"))
            for text in (w if isinstance(w, str) else w.text for w in choice.words.values()):
                yield from _no_braces(text, document, (*path, "words"))


def _braces(text: str, pack: WrittenPack, document: Document, path: Path) -> Iterator[PackProblem]:
    speaking = {
        SETTING + name
        for name, shape in pack.settings.items()
        if any(choice.words for choice in shape.choices.values())
    }
    for found in placeholders(text):
        if found not in speaking:
            near = get_close_matches(found, sorted(speaking), 1)
            hint = f"did you mean '{{{near[0]}}}'? " if near else ""
            right = ", ".join(f"{{{name}}}" for name in sorted(speaking)) or "no setting of this pack has words"
            message = f"'{found}' in braces stands for nothing; {hint}what may stand there: {right}"
            yield document.problem(path, "unknown-placeholder", message)


def _no_braces(text: str, document: Document, path: Path) -> Iterator[PackProblem]:
    if placeholders(text):
        yield document.problem(path, "unknown-placeholder", "these words hold no braces")


def _called(one: TranslationFile, pack: WrittenPack, document: Document) -> Iterator[PackProblem]:
    """Yield names in another language of findings, systems and areas that are not there."""
    areas = {area.area: area for area in pack.areas}
    systems = {name for area in pack.areas for name in area.normal}
    called = (("labels", one.labels, pack.findings), ("systems", one.systems, systems), ("areas", one.areas, areas))
    for key, words, known in called:
        for name in words:
            if name not in known:
                message = f"'{name}' is not among the {key} of this pack{near(name, known)}"
                yield document.problem((key, name), "unknown-finding", message)
    for name, text in (*one.labels.items(), *one.systems.items()):
        yield from _no_braces(text, document, ("labels" if name in one.labels else "systems", name))


def _translated(one: TranslationFile, pack: WrittenPack, document: Document) -> Iterator[PackProblem]:
    """Yield translations into a language that is not declared, and of what is not there."""
    if one.language not in pack.shape.languages[1:]:
        yield _undeclared(one.language, pack, document, ("language",))
    for name, words in one.findings.items():
        path, shape = ("findings", name), pack.findings.get(name)
        if shape is None:
            yield document.problem(path, "unknown-finding", f"no finding '{name}' is defined")
            continue
        if words.say is not None and shape.say is None:
            yield document.problem((*path, "say"), "shape", f"'{name}' has no 'say' that this could translate")
        yield from _braces(words.say or "", pack, document, (*path, "say"))
        for value, text in words.variant.items():
            if value not in shape.variant:
                message = f"'{name}' has no variant '{value}' that this could translate"
                yield document.problem((*path, "variant", value), "unknown-value", message)
            yield from _braces(text, pack, document, (*path, "variant", value))
    for name, label in one.topics.items():
        if name not in pack.targets:
            yield document.problem(("topics", name), "unknown-target", f"targets/ has no target '{name}'")
        yield from _no_braces(label, document, ("topics", name))
    yield from _called(one, pack, document)
    known = [SEEN_TODAY, *(file.removesuffix(".yaml").replace("-", " ") for file in pack.shape.guidance)]
    for heading, title in one.headings.items():
        if heading not in known:
            message = f"there is no heading '{heading}': {', '.join(known)}"
            yield document.problem(("headings", heading), "unknown-target", message)
        yield from _no_braces(title, document, ("headings", heading))
