"""The public answer: one visit in, one `Assessment` out.

The order of work: check the visit, turn it into states, let the readers decide every rule, resolve the reasons for
each target into one recommendation, and say what is open, what was used and why.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any, Literal

from layette.engine.answer.assessment import (
    PRIORITIES,
    Answer,
    Assessment,
    Choice,
    Code,
    Compared,
    Concluded,
    Diagnosis,
    Measured,
    NotEvaluated,
    PackUsed,
    Priority,
    Reason,
    Recommendation,
    SettingUsed,
    Traced,
)
from layette.engine.answer.due import due_items, wanted, wanted_now
from layette.engine.answer.explain import asked_words, label_of, measure_number, measure_text, rule_values, used_value
from layette.engine.answer.outstanding import Outstanding, outstanding
from layette.engine.answer.resolve import Episode, Ground, episode_name, episodes, gather, key
from layette.engine.answer.standing import placed_for, stands
from layette.engine.errors import InputError
from layette.engine.exact.times import day_number
from layette.engine.logic.conditions import Status
from layette.engine.logic.program import NO, YES
from layette.engine.measures.thresholds import ThresholdSet
from layette.engine.pack.checks.names import listed
from layette.engine.pack.written.shapes import TargetShape
from layette.engine.pack.written.views import View
from layette.engine.states.decide import Decision, decide
from layette.engine.states.facts import Facts
from layette.engine.visit.visit import Visit

if TYPE_CHECKING:
    from layette.engine.api import Pack


@cache
def engine_version() -> str:
    """Return the version of the installed engine; it is read from the disk once."""
    try:
        return version("layette")
    except PackageNotFoundError:
        return "unknown"


def assess_visit(
    pack: Pack, visit: Visit | Mapping[str, Any], at: str | None = None, readers: Iterable[str] | None = None
) -> Assessment:
    """Return the assessment of one visit; see `Pack.assess`."""
    if not isinstance(visit, Visit):
        visit = _checked(pack, visit, at, readers)
    return explain_decision(decide(pack, visit, readers))


def _checked(pack: Pack, flat: Mapping[str, Any], at: str | None, readers: Iterable[str] | None) -> Visit:
    """Return the checked visit; of a faulty one, tell the emergencies that its usable rest already decides."""
    reader = pack.visit_reader()
    visit = reader.attempt(flat, at)
    if visit is None or any(p.code == "age" for p in reader.problems):
        raise InputError(reader.problems)
    if reader.problems:
        found = explain_decision(decide(pack, visit, readers))
        urgent = [
            f"{r.label}: {r.reasons[0].because} [{r.reasons[0].rule}]"
            for r in found.recommendations
            if r.certain == "stat"
        ]
        raise InputError(reader.problems, urgent)
    return visit


def explain_decision(decision: Decision) -> Assessment:
    """Turn the statuses of all rules into what people and systems read."""
    facts, pack, visit = decision.facts, decision.facts.pack, decision.facts.visit
    still_open = outstanding(decision)
    due = wanted(decision)
    grounds = gather(decision, wanted_now(due))
    made = [
        _recommendation(episode, decision, still_open)
        for place in sorted(grounds, key=lambda p: (p[0], p[1], p[2]))
        for episode in episodes(grounds[place])
    ]
    order = pack.rule_order
    made.sort(
        key=lambda r: (
            PRIORITIES.index(r.priority),
            r.window.until or "9",
            order[r.reasons[0].rule],
            r.target,
            r.side or "",
        )
    )
    standing = [r for r in made if stands(r, facts)]
    made = [r for r in made if r not in standing]
    return Assessment(
        caution=pack.shape.caution,
        pack=PackUsed(id=pack.id, version=pack.version, jurisdiction=pack.shape.jurisdiction, digest=pack.digest),
        engine=engine_version(),
        readers=decision.readers,
        read="conditions read twice; measures and resolution once" if len(decision.readers) > 1 else "read once",
        at=visit.at.text,
        born=visit.born.text,
        age=age_text(visit),
        patient=visit.patient,
        encounter=visit.encounter,
        recommendations=tuple(r for r in made if r.kind in ("refer", "order", "recheck")),
        standing=tuple(r for r in standing if r.kind != "guide"),
        avoid=tuple(r for r in made if r.kind == "avoid"),
        guidance=tuple(r for r in made if r.kind == "guide"),
        reassurance=tuple(r for r in made if r.kind == "reassure"),
        answers=tuple(_answers(decision)),
        steps=still_open.steps,
        due=due_items(due, facts),
        cannot_evaluate=(*still_open.not_evaluated, *_under_another_set(decision)),
        measures=tuple(_measures(facts)),
        conclusions=tuple(_conclusions(decision)),
        notices=(*_set_notices(facts), *pack.site.notices(), *still_open.notices),
        warnings=(*visit.warnings, *_reading_warnings(facts)),
        settings=tuple(
            SettingUsed(
                id=name, label=shape.label, choice=facts.settings[name], default=facts.settings[name] == shape.default
            )
            for name, shape in pack.settings.items()
        ),
        choices=tuple(_choices(facts)),
        compared=tuple(_compared(facts)),
        trace=tuple(_trace(decision, still_open)),
    )


def age_text(visit: Visit) -> str:
    """Say the age in days and hours; a range where the time of birth is not exactly known."""
    days = [day_number(visit.at.lo, visit.zone) - day_number(b, visit.zone) for b in (visit.born.hi, visit.born.lo)]
    hours = [(visit.at.lo - b) // 3600 for b in (visit.born.hi, visit.born.lo)]
    day_words = f"{days[0]}" if days[0] == days[1] else f"{days[0]}–{days[1]}"
    hour_words = f"{hours[0]}" if hours[0] == hours[1] else f"{hours[0]}–{hours[1]}"
    return f"{day_words} {'day' if day_words == '1' else 'days'} ({hour_words} h)"


def _recommendation(episode: Episode, decision: Decision, still_open: Outstanding) -> Recommendation:
    facts, first = decision.facts, episode.first
    target = facts.pack.targets[first.proposal.target]
    window = episode.window.shown(facts)
    visit = facts.visit
    who = sorted(f"{s}|{v}" for s, v in visit.identifiers) or [visit.patient or ""]
    name = episode_name(episode, facts)
    request = key("request", who, first.proposal.verb, first.proposal.target, first.side, name)
    codes = codes_of(target)
    answer = key("answer", request, first.proposal.priority, window.start, window.until, [c.code for c in codes])
    return Recommendation(
        target=first.proposal.target,
        kind=first.proposal.verb,
        label=target.label,
        subject=target.subject,
        side=first.side or None,
        priority=first.proposal.priority,
        certain=episode.certain,
        possible=_possible(first, decision),
        window=window,
        do=tuple(dict.fromkeys(line for g in episode.grounds for line in _lines(g))),
        plain=plain_of(target),
        reasons=tuple(_reason(ground, decision, still_open) for ground in episode.grounds),
        codes=codes,
        category=target.category,
        performer=target.performer,
        episode=name,
        request_key=request,
        answer_key=answer,
        placed=placed_for(first, request, facts),
    )


def _lines(ground: Ground) -> list[str]:
    consequence = ground.proposal.consequence
    return [*(["only if it is still so then"] if consequence.if_still else []), *consequence.do]


def plain_of(target: TargetShape) -> dict[str, str]:
    """Return the words for the family by language; a text that awaits review says so."""
    out = {}
    for language, text in target.plain.items():
        if isinstance(text, str):
            out[language] = text
        else:
            out[language] = text["text"] + (f" [{text['review']}: review]" if text.get("review") else "")
    return out


_SYSTEMS = {
    "loinc": "http://loinc.org",
    "snomed": "http://snomed.info/sct",
    "icd10cm": "http://hl7.org/fhir/sid/icd-10-cm",
    "cvx": "http://hl7.org/fhir/sid/cvx",
}


def codes_of(shape: Any) -> tuple[Code, ...]:
    """Return the codes of a target or measure with their systems' addresses."""
    return tuple(Code(system=_SYSTEMS[s], code=code) for s, codes in shape.codes.items() for code in listed(codes))


def _possible(first: Ground, decision: Decision) -> Priority:
    leads = decision.facts.pack.leads_to[first.proposal.verb, first.proposal.target]
    open_too = [
        rank
        for index, side, rank in leads
        if side in ("", first.side) and decision.statuses[index] is not Status.RULED_OUT
    ]
    return PRIORITIES[min(open_too)]


def _reason(ground: Ground, decision: Decision, still_open: Outstanding) -> Reason:
    facts, shape = decision.facts, ground.instance.rule.shape
    names = tuple(dict.fromkeys([*listed(shape.source), *listed(ground.proposal.consequence.source)]))
    fired = ground.status is Status.FIRED
    stated = shape.diagnosis
    return Reason(
        rule=shape.id,
        title=shape.title,
        because=shape.because,
        status="fired" if fired else "provisional",
        values=rule_values(ground.number, facts),
        sources=facts.pack.citations(names),
        unless=() if fired else tuple(asked_words(a, facts) for a in still_open.unsettled.get(ground.number, ())),
        place=ground.instance.rule.place,
        diagnosis=Diagnosis(label=stated.label, codes=codes_of(stated)) if stated else None,
    )


def _answers(decision: Decision) -> Iterable[Answer]:
    statuses = decision.statuses
    for (verb, target, side), leads in decision.facts.pack.answer_places.items():
        fired = min((rank for index, rank in leads if statuses[index] is Status.FIRED), default=None)
        open_too = min((rank for index, rank in leads if statuses[index] is not Status.RULED_OUT), default=None)
        yield decision.facts.pack.answer(verb, target, side, fired, open_too)


def _under_another_set(decision: Decision) -> Iterable[NotEvaluated]:
    facts = decision.facts
    for instance in facts.pack.instances:
        shape = instance.rule.shape
        guard = facts.pack.set_guards.get(shape.id)
        if guard is None or facts.settings[guard[0]] in guard[1]:
            continue
        chosen = facts.pack.settings[guard[0]].choices[facts.settings[guard[0]]].label
        if any(facts.readings.latest_values(name) for name in _threshold_findings(facts)):
            why = f"not evaluated under this set: {chosen} is another issuer's"
            yield NotEvaluated(rule=shape.id, title=shape.title, why=why, priority=None)


def _threshold_findings(facts: Facts) -> Iterable[str]:
    for shape in facts.pack.measures.values():
        if shape.compute == "threshold":
            yield str((shape.model_extra or {})["of"])


def _set_notices(facts: Facts) -> Iterable[str]:
    pack = facts.pack
    names = {str((m.model_extra or {})["set"]) for m in pack.measures.values() if m.compute == "threshold"}
    for name in sorted(names & pack.settings.keys()):
        shape, choice = pack.settings[name], facts.settings[name]
        table = pack.tables.get(choice)
        issuer = f", issuer {table.issuer}" if isinstance(table, ThresholdSet) else ", table not supplied"
        others = [c.label for slug, c in shape.choices.items() if slug not in pack.tables]
        missing = f"; not supplied at this site: {', '.join(others)}" if others else ""
        yield f"{shape.label}: {shape.choices[choice].label}{issuer}{missing}"


def _measures(facts: Facts) -> Iterable[Measured]:
    pack = facts.pack
    for name, shape in pack.measures.items():
        result = facts.result(name)
        if not shape.show or not (result.known or (result.why_not and result.used)):
            continue
        low, high = result.span
        yield Measured(
            id=name,
            label=shape.label,
            text=result.why_not or measure_text(name, result, facts),
            low=measure_number(name, low, pack),
            high=measure_number(name, high, pack),
            category=result.categories[0] if result.categories and len(result.categories) == 1 else None,
            unit=result.unit or None,
            codes=codes_of(shape),
            derived_from=tuple(used_value(r, pack) for r in result.used),
            basis=result.basis,
            source=pack.citations((shape.source,))[0] if shape.source else None,
            time=result.time.text if result.time else None,
        )


def _conclusions(decision: Decision) -> Iterable[Concluded]:
    facts = decision.facts
    for var in facts.pack.program.conclusions:
        name = facts.pack.table.entries[var].view.subject
        state = facts.states[var]
        word: Literal["yes", "no", "open"] = "yes" if state == YES else ("no" if state == NO else "open")
        rules = tuple(rule.id for rule in facts.pack.concluders[name])
        fired = tuple(
            facts.pack.instances[index].key
            for index in facts.pack.concluding[name]
            if decision.statuses[index] is Status.FIRED
        )
        named = fired or (rules if word == "open" else ())
        yield Concluded(id=name, label=name.replace("_", " "), state=word, rules=named)


def _choices(facts: Facts) -> Iterable[Choice]:
    for finding, side in facts.readings.by_place:
        if facts.pack.findings[finding].readings:
            continue
        chosen = facts.readings.latest(finding, side)
        if not chosen.left and not chosen.conflict:
            continue
        yield Choice(
            subject=label_of(facts.pack, View(finding, side)),
            used=used_value(chosen.used, facts.pack) if chosen.used else None,
            not_used=tuple(used_value(r, facts.pack) for r in chosen.left),
            why=chosen.why,
        )


def _compared(facts: Facts) -> Iterable[Compared]:
    """A recheck that was done stands beside the value that asked for it."""
    for finding, side in facts.readings.by_place:
        shape = facts.pack.findings[finding]
        now, before = facts.readings.latest(finding, side).valued, facts.readings.earlier(finding, side).valued
        if shape.readings or now is None or before is None or not now.here:
            continue
        yield Compared(
            finding=finding,
            label=label_of(facts.pack, View(finding, side)),
            earlier=used_value(before, facts.pack),
            now=used_value(now, facts.pack),
            changed=now.possible != before.possible,
        )


def _reading_warnings(facts: Facts) -> Iterable[str]:
    for finding, side in facts.readings.by_place:
        shape = facts.pack.findings[finding]
        if shape.readings:
            attempts = len(facts.readings.attempts(finding))
            if attempts > shape.readings.at_most:
                yield f"{shape.label}: {attempts} attempts; only the first {shape.readings.at_most} count"
        elif facts.readings.latest(finding, side).conflict:
            label = label_of(facts.pack, View(finding, side))
            yield f"{label}: several values at one time that differ; it counts as not known"


def _trace(decision: Decision, still_open: Outstanding) -> Iterable[Traced]:
    facts, pack = decision.facts, decision.facts.pack
    for index, status in enumerate(decision.statuses):
        if status is Status.RULED_OUT:
            yield pack.ruled_out(index, not_applicable=decision.not_applicable(index))
            continue
        instance = pack.instances[index]
        asked = still_open.unsettled.get(index, ())
        yield Traced(
            rule=instance.key,
            title=instance.rule.shape.title,
            place=instance.rule.place,
            status=status.value,
            values=() if status is Status.UNDECIDED else rule_values(index, facts),
            open=tuple(asked_words(a, facts) for a in asked),
            may_stay_undecided=instance.key in pack.compiled.inexact,
        )
