"""The content of the pack is whole: words, sources, codes and style, beyond what the loader checks."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest
import yaml
from support.pack_words import PACK, english, entries, plain

from layette.engine.api import Pack, load_pack
from layette.engine.pack.written.rule_shapes import RuleShape
from layette.engine.pack.written.shapes import FindingShape, listed
from layette.mapping import codes
from layette.mapping.read.codes.answers import pairs
from layette.mapping.text import render

RECORDS = ("birth", "mother")
"""Areas that are read in a record; nobody is looked at or asked."""
TOPICS = {
    "sleep": "sleep_on_back firm_flat_surface nothing_soft_in_crib room_share no_overheating pacifier no_home_monitors "
    "smoke_free seats_are_not_beds",
    "day": "tummy_time cord_care sponge_bath bath crying_plan clean_hands_and_vaccines",
    "feeding": "feeding_on_cue no_water_honey_cow_milk formula_care formula_powder vitamin_d_daily "
    "vitamin_d_formula diaper_count",
    "call": "fever_call no_fever_medicine when_to_call jaundice_return_signs",
    "safety": "car_seat_rear_facing car_seat_harness water_heater_setting firearm_storage never_alone alarms "
    "siblings_and_pets cpr",
    "parents": "parent_mood next_visit next_visit_one_month next_visit_two_months next_visit_four_months",
}
"""What a family is owed in the first two months."""
BRANDS = "tylenol|calpol|pampers|huggies|similac|enfamil|nutramigen|gerber|beyfortus|synagis|enflonsia|vaseline|desitin"
NAMES = f"{BRANDS}|owlet|snoo|mongolian|mc ?donald|spock|brazelton|karp|sears|google|apple|epic|cerner"
"""Brands, systems and persons that no label of ours may name; the trade's own eponyms (Moro, Barlow) are its words."""
BRITISH = r"colours?|grey|paediatric\w*|orthopaedic\w*|oedema|haem\w+|anaem\w+|centre\w*|counsell\w*"
BRITISH += r"|diarrhoea|tumour\w*|behaviour\w*|favour\w*|caesarean|nappy|nappies|foetal|fibre"
"""Spellings that are not those of the United States."""


@cache
def pack() -> Pack:
    """Return the pack that ships."""
    return load_pack()


def rules() -> Iterator[RuleShape]:
    """Yield the rules of the pack, each once."""
    yield from {one.rule.shape.id: one.rule.shape for one in pack().instances}.values()


def owed(verb: str) -> dict[str, list[RuleShape]]:
    """Return the targets of one verb with the rules that ask for them."""
    found: dict[str, list[RuleShape]] = {}
    for rule in rules():
        for name in (getattr(one, verb) for one in rule.then):
            if name:
                found.setdefault(name, []).append(rule)
    return found


def test_the_examiner_has_words_for_everything_that_is_looked_at_or_asked() -> None:
    silent = [
        f"{file} {name}"
        for file, area in entries("findings").items()
        if area["area"] not in RECORDS
        for name, shape in area["findings"].items()
        if not shape.get("say") and not shape.get("awaited") and not shape.get("carries_over")
    ]
    assert silent == []


def test_what_reassures_has_words_for_the_family() -> None:
    spoken = {place.split(" ")[1] for place, _ in plain()}
    assert [name for verb in ("reassure", "guide") for name in owed(verb) if name not in spoken] == []


def test_a_normal_variant_that_is_reassured_has_words_at_the_finding() -> None:
    wordless = {
        f"{name}: {value} ({rule.id})"
        for found in owed("reassure").values()
        for rule in found
        for name, value in _tested(rule.when)
        if _is_variant(pack().findings[name], value) and value not in pack().findings[name].variant
    }
    assert sorted(wordless) == []


def test_words_for_a_variant_are_for_something_normal_or_reassured() -> None:
    reassured = {pair for found in owed("reassure").values() for rule in found for pair in _tested(rule.when)}
    stray = [
        f"{name}: {value}"
        for name, shape in pack().findings.items()
        for value in shape.variant
        if value not in listed(shape.expected) and (name, value) not in reassured
    ]
    assert stray == []


def _tested(condition: Any) -> Iterator[tuple[str, str]]:
    """Yield the findings and values that a condition names as wanted."""
    if isinstance(condition, list):
        for part in condition:
            yield from _tested(part)
    elif isinstance(condition, dict):
        for key, value in condition.items():
            if key in ("all", "any"):
                yield from _tested(value)
            elif key.split(".")[0] in pack().findings:
                wanted = value.get("is", []) if isinstance(value, dict) else value
                yield from ((key.split(".")[0], one) for one in listed(wanted) if isinstance(one, str))


def _is_variant(shape: FindingShape, value: str) -> bool:
    """Whether a value is normal without being the plain answer, which is the only one expected or the first."""
    expected = listed(shape.expected)
    return len(expected) > 1 and value in expected and value != expected[0]


@pytest.mark.parametrize("group", TOPICS)
def test_every_topic_is_owed_by_a_rule_and_in_words(group: str) -> None:
    spoken = {place.split(" ")[1] for place, _ in plain()}
    names = TOPICS[group].split()
    assert [name for name in names if name not in owed("guide") or name not in spoken] == []


def test_every_target_is_asked_for() -> None:
    asked = {name for verb in ("refer", "order", "recheck", "guide", "reassure", "avoid") for name in owed(verb)}
    assert sorted(pack().targets.keys() - asked) == []


def test_every_source_that_is_cited_stands_in_the_list() -> None:
    assert sorted(_cited() - pack().sources.keys()) == []


def test_every_source_of_the_list_is_cited() -> None:
    assert sorted(pack().sources.keys() - _cited()) == []


FAST = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


@cache
def _cited() -> set[str]:
    files = [PACK / name for name in ("measures.yaml", "settings.yaml")]
    files += [place for folder in ("decisions", "guidance", "tables") for place in (PACK / folder).glob("*.yaml")]
    return {name for place in files for name in _sources(yaml.load(place.read_text(encoding="utf-8"), FAST))}


def _sources(content: Any) -> Iterator[str]:
    for part in content.values() if isinstance(content, dict) else content if isinstance(content, list) else ():
        yield from _sources(part)
    if isinstance(content, dict):
        yield from (name for name in listed(content.get("source")) if re.fullmatch(r"[a-z0-9]+([.\-][a-z0-9]+)*", name))


def test_a_source_says_by_its_name_and_kind_that_it_is_memory_and_how_far_it_was_read() -> None:
    sources = pack().sources
    memory = {name for name, shape in sources.items() if shape.kind == "from-memory"}
    assert memory == {name for name in sources if name.startswith("memory-")}
    assert [name for name, shape in sources.items() if not shape.read or not shape.issuer] == []


def test_what_rests_on_memory_is_marked_where_it_is_printed() -> None:
    score = {"phq9_total": {"value": 10, "unit": "{score}"}}
    found = pack().assess({"born": "2026-11-20", "at": "2026-12-20T10:00:00-06:00", "findings": score})
    (made,) = (one for one in found.recommendations if one.target == "mother_mental_health")
    assert [one.kind for one in made.reasons[0].sources if one.id.startswith("memory-")] == ["from-memory"]
    assert re.search(r"family\.phq9-positive[^)]*\)\s+\(m[,)]", render(found, full=True))
    assert re.search(re.escape(made.label) + r"[^\n]*\(m[,)]", render(found))


def test_every_code_is_verified() -> None:
    used = [pair for shape in pack().findings.values() for group in _code_groups(shape) for pair in pairs(group)]
    used += [pair for shape in (*pack().targets.values(), *pack().measures.values()) for pair in pairs(shape.codes)]
    assert [pair for pair in used if not codes.is_verified(*pair) or not codes.check_digit_ok(*pair)] == []


def _code_groups(shape: FindingShape) -> list[Any]:
    return [shape.codes, *shape.part_codes.values(), *shape.side_codes.values(), *_by_value(shape)]


def _by_value(shape: FindingShape) -> list[Any]:
    return [*shape.means.values(), *shape.answers.values(), *shape.asked.values()]


def test_guidance_that_a_code_stands_for_is_one_topic() -> None:
    """A code that two topics share would tell neither, and one that says more would settle what nobody said."""
    owners: dict[tuple[str, str], list[str]] = {}
    for name, target in pack().targets.items():
        for pair in pairs(target.codes) if target.kind == "guide" else ():
            owners.setdefault(pair, []).append(name)
    assert {pair: names for pair, names in owners.items() if len(names) > 1} == {}


def _labels() -> Iterator[tuple[str, str]]:
    for kind, shapes in (("finding", pack().findings), ("target", pack().targets), ("measure", pack().measures)):
        yield from ((f"{kind} {name}", shape.label) for name, shape in shapes.items())
    for name, setting in pack().settings.items():
        yield f"setting {name}", setting.label
        yield from ((f"setting {name} {slug}", choice.label) for slug, choice in setting.choices.items())
    yield from ((f"rule {rule.id}", rule.title) for rule in rules())


def test_labels_are_short_and_set_like_labels() -> None:
    wrong = [
        f"{place}: {label}"
        for place, label in _labels()
        if not re.match(r"[A-Z0-9]", label) or label.endswith((".", ";", ",")) or "  " in label or len(label) > 100
    ]
    assert wrong == []


def test_labels_of_one_kind_differ() -> None:
    for kind in ("finding", "target"):
        found = [label for place, label in _labels() if place.startswith(kind)]
        assert sorted({label for label in found if found.count(label) > 1}) == []


def test_no_label_names_a_brand_or_a_person() -> None:
    assert [
        f"{place}: {label}" for place, label in _labels() if re.search(rf"\b({NAMES})\b", label, re.IGNORECASE)
    ] == []
    assert [place for place, text in english() if re.search(rf"\b({NAMES})\b", text, re.IGNORECASE)] == []


def test_the_spelling_is_that_of_the_united_states() -> None:
    texts = [*_labels(), *english(), *((f"rule {rule.id}", rule.because) for rule in rules())]
    assert [f"{place}: {text}" for place, text in texts if re.search(rf"\b({BRITISH})\b", text, re.IGNORECASE)] == []


def test_each_because_is_one_sentence_that_ends() -> None:
    wrong = [f"{rule.id}: {rule.because}" for rule in rules() if not re.search(r"[^.][.]$", rule.because.strip())]
    assert wrong == []


def test_texts_for_families_end_and_hold_no_slips() -> None:
    slips = re.compile(r",\.|\.\.|\s[,.;]|\(\)|\s{2}")
    wrong = [place for place, text in english() if not text.endswith((".", "!", "?")) or slips.search(text)]
    spanish = [(place, str(texts["es"]["text"])) for place, texts in plain()]
    wrong += [place for place, text in spanish if not text.endswith((".", "!", "?")) or slips.search(text)]
    assert wrong == []
