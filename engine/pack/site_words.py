"""Words of a site's own, such as its telephone number, in the place of the choices that the pack has."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from layette.engine.errors import PackProblem
from layette.engine.pack.checks.words import check_languages
from layette.engine.pack.site import OWN, OwnWords, Site
from layette.engine.pack.written.shapes import ChoiceShape, SettingShape
from layette.engine.pack.written.spoken import placeholders
from layette.engine.pack.written.written_pack import WrittenPack


def with_own_words(site: Site, settings: Mapping[str, SettingShape]) -> dict[str, SettingShape]:
    """Return the settings, each for which the site has words of its own with the choice `site` beside the pack's."""
    out = dict(settings)
    for name, given in (site.shape.settings if site.shape else {}).items():
        if isinstance(given, OwnWords) and name in out and _speaks(out[name]):
            own = ChoiceShape(label="This site's own", words=given.words)
            out[name] = out[name].model_copy(update={"choices": {**out[name].choices, OWN: own}})
    return out


def _speaks(shape: SettingShape) -> bool:
    """Whether texts can name a setting: its choices have words."""
    return any(choice.words for choice in shape.choices.values())


def check_own_words(site: Site, pack: WrittenPack) -> Iterator[PackProblem]:
    """Yield a site's own words for a setting that no text could name, in a language that the pack does not have."""
    if site.shape is None or site.document is None:
        return
    for name, given in site.shape.settings.items():
        if not isinstance(given, OwnWords) or name not in pack.settings:
            continue
        path = ("settings", name)
        if not _speaks(pack.settings[name]):
            message = f"'{name}' is chosen, not said in words: {', '.join(pack.settings[name].choices)}"
            yield site.document.problem(path, "site", message)
        yield from check_languages(given.words, pack, site.document, (*path, "words"))
        for text in (one if isinstance(one, str) else one.text for one in given.words.values()):
            if placeholders(text):
                message = "a site's own words hold no braces"
                yield site.document.problem((*path, "words"), "unknown-placeholder", message)
