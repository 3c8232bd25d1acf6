"""Words for families: languages, translations that lie apart, and settings whose words texts name in braces."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.small_pack import Edit, copied, visit

from layette.engine import Pack, PackError, load_pack
from layette.engine.pack.family_texts import family_texts
from layette.engine.pack.written.spoken import Said, filled, placeholders

LINE = """
crisis_line:
  label: Whom to call
  choices:
    near: {label: Near, words: {en: call 1, es: {text: llame al 1, review: needed}}}
    far: {label: Far, words: {en: call 22}}
  default: near
  why: Invented.
"""
LANGUAGES: Edit = (
    "pack.yaml",
    "jurisdiction: none",
    "jurisdiction: none\nlanguages: [en, es]\ntranslations: [es.yaml]",
)
TEXT: Edit = (
    "targets/all.yaml",
    "{en: Keep the cord dry.}",
    '{en: "Dry? If not, {setting.crisis_line}. {setting.crisis_line}!", es: "Si no, {setting.crisis_line}."}',
)
SETTING: Edit = ("settings.yaml", "", LINE)


def translated(text: str) -> list[Edit]:
    return [LANGUAGES, ("translations/es.yaml", "*", text), SETTING, TEXT]


def loaded(place: Path, text: str = "{language: es, topics: {cord_care: El cordón}}", site: str = "") -> Pack:
    folder = copied(place, *translated(text))
    (place / "site.yaml").write_text(f"site: Here\n{site}", encoding="utf-8")
    return load_pack(folder, place / "site.yaml")


def told(pack: Pack, **parts: object) -> dict[str, str]:
    """What a family is told of the cord, by language."""
    found = pack.assess(visit({"cord_attached": "yes"}, **parts), readers=["native"])
    return dict(next(one for one in found.guidance if one.target == "cord_care").plain)


def refused(place: Path, text: str = "{language: es}", site: str = "") -> list[str]:
    with pytest.raises(PackError) as caught:
        loaded(place, text, site)
    return [str(problem) for problem in caught.value.problems]


def test_a_text_names_the_words_of_the_choice_in_force(tmp_path: Path) -> None:
    pack = loaded(tmp_path)
    assert told(pack) == {"en": "Dry? If not, call 1. Call 1!", "es": "Si no, llame al 1. [awaits review]"}
    assert told(pack, settings={"crisis_line": "far"}) == {
        "en": "Dry? If not, call 22. Call 22!",
        "es": "Si no, call 22.",  # no words in it: those of the first language, never a hole
    }


def test_a_site_gives_words_of_its_own_and_the_answer_says_so(tmp_path: Path) -> None:
    own = "settings: {crisis_line: {words: {en: call the ward, es: llame a la sala}}}"
    pack = loaded(tmp_path, site=own)
    assert told(pack) == {"en": "Dry? If not, call the ward. Call the ward!", "es": "Si no, llame a la sala."}
    used = next(s for s in pack.assess(visit(), readers=["native"]).settings if s.id == "crisis_line")
    assert (used.choice, used.default) == ("site", False)
    assert told(pack, settings={"crisis_line": "near"})["en"] == "Dry? If not, call 1. Call 1!"


@pytest.mark.parametrize(
    ("site", "says"),
    [
        (
            "settings: {loss_limit: {words: {en: call me}}}",
            "'loss_limit' is chosen, not said in words",
        ),
        ("settings: {crisis_line: {words: {es: llame}}}", "there are no words in 'en', the first language"),
        ("settings: {crisis_line: {words: {en: call me, fr: appelez}}}", "'fr' is no language of this pack: en, es"),
        ('settings: {crisis_line: {words: {en: "{setting.crisis_line}"}}}', "a site's own words hold no braces"),
        ("settings: {crisis_line: {words: {}}}", "this list is too short"),
        ("settings: {crisis_line: someone}", "'someone' is no choice of 'crisis_line': near, far"),
        ("settings: {no_line: {words: {en: call}}}", "the pack has no setting 'no_line'"),
    ],
)
def test_a_sites_words_that_cannot_be_used_are_refused(site: str, says: str, tmp_path: Path) -> None:
    told = refused(tmp_path, site=site)
    assert any(says in problem for problem in told)
    assert [problem for problem in told if "site.yaml:2" not in problem] == []


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{language: fr, topics: {cord_care: Le cordon}}", "'fr' is no language of this pack: en, es"),
        ("{language: en, topics: {cord_care: Cord}}", "'en' is no language"),
        ("{language: es, findings: {crod: {say: Miro.}}}", "no finding 'crod' is defined"),
        ("{language: es, labels: {wieght: Peso}}", "'wieght' is not among the labels of this pack"),
        ("{language: es, systems: {exam: Examen}}", "'exam' is not among the systems of this pack"),
        ("{language: es, areas: {eyes: {label: Ojos, step: Mirar}}}", "'eyes' is not among the areas of this pack"),
        ("{language: es, findings: {weight: {say: Peso.}}}", "'weight' has no 'say' that this could translate"),
        ("{language: es, findings: {cord_attached: {variant: {off: Bien.}}}}", "'cord_attached' has no variant"),
        ("{language: es, topics: {crod: El cordón}}", "targets/ has no target 'crod'"),
        ('{language: es, topics: {cord_care: "{setting.crisis_line}"}}', "these words hold no braces"),
        ("{language: es, headings: {kare: Cuidado}}", "there is no heading 'kare': what we saw, care"),
        ("{language: es, review: neded}", "needed"),
    ],
)
def test_a_translation_of_what_is_not_there_is_refused(text: str, says: str, tmp_path: Path) -> None:
    assert any(says in problem and "@ translations/es.yaml" in problem for problem in refused(tmp_path, text))


def test_a_choice_without_words_beside_one_with_words_is_refused(tmp_path: Path) -> None:
    edits = [SETTING, ("settings.yaml", "    far: {label: Far, words: {en: call 22}}\n", "    far: {label: Far}\n")]
    edits.append(("settings.yaml", ", es: {text: llame al 1, review: needed}", ""))
    with pytest.raises(PackError, match="other choices of 'crisis_line' have 'words' for families"):
        load_pack(copied(tmp_path, *edits))


def test_every_text_is_listed_in_the_languages_that_it_has(tmp_path: Path) -> None:
    texts = {one.place: set(one.texts) for one in family_texts(loaded(tmp_path))}
    assert texts["cord_care plain"] == texts["cord_care label"] == texts["crisis_line near words"] == {"en", "es"}
    assert texts["crisis_line far words"] == texts["heading care"] == {"en"}


def test_what_stands_in_braces() -> None:
    assert placeholders("a {setting.x} b") == ["setting.x"]
    assert placeholders("a { b") == ["{"]
    assert placeholders("{a} } {b}") == ["a", "b", "}"]
    assert filled(Said("no braces", "needed"), "en", {}, {}) == Said("no braces", "needed")
