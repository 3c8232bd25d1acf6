"""An assessment made by hand, with a stand-in for the pack: what the tests of the output write and print."""

from __future__ import annotations

from functools import partial
from types import SimpleNamespace
from typing import Any

from layette.engine.answer.parts.assessment import Assessment, DoGroup, Measured, Topics, Verdict
from layette.engine.answer.shapes.detail import Choice, Concluded, Detail, NotEvaluated, Question, Step, Traced
from layette.engine.answer.shapes.proposed import Citation, Code, Due, Reason, Recommendation, Used, Window
from layette.engine.answer.shapes.used import PackUsed, SettingUsed
from layette.engine.pack.written.folder import default_pack
from layette.engine.pack.written.shapes import FindingShape, NumberShape, ReadingsShape

AT = "2026-11-24T10:00:00-06:00"
BORN = "2026-11-20T08:30:00-06:00"
CAUTION = "Proposals for a clinician to judge; not a diagnosis and not an order."

PUBLISHED = Citation(id="reflex-2008", text="Red reflex examination, 2008", kind="published", issuer="us")
MEMORY = Citation(id="memory-window", text="window of 24 to 48 h", kind="from-memory")
READING = Citation(id="our-reading", text="our reading of the source", kind="our-reading")


class SamplePack:
    """The part of a pack that the writers and the page look at."""

    def __init__(self) -> None:
        self.areas: tuple[Any, ...] = ()
        self.targets: dict[str, Any] = {}
        self.normals: dict[str, Any] = {}
        self.settings: dict[str, Any] = {}
        self.translations: dict[str, Any] = {}
        self.shape = SimpleNamespace(languages=["en", "es"], guidance=[])
        self.folder = default_pack()
        self.findings = {
            "red_reflex": FindingShape(
                label="Red reflex", sides=["left", "right"], values=["present", "dull", "absent", "white"],
                expected="present", means={"white": {"icd10cm": "H44.539"}},
            ),
            "weight": FindingShape(
                label="Weight", codes={"loinc": "29463-7"},
                number=NumberShape(unit="g", accepts=["g", "kg"], resolution=1, plausible=[300, 8000]),
            ),
            "temperature": FindingShape(
                label="Temperature", codes={"loinc": "8310-5"}, qualifier={"route": ["rectal", "axillary"]},
                number=NumberShape(unit="Cel", resolution=0.1, plausible=[25, 45]), reported=True,
            ),
            "serum_bilirubin": FindingShape(
                label="Serum bilirubin", codes={"loinc": "1975-2"}, carries_over=True, awaited=True,
                number=NumberShape(unit="mg/dL", resolution=0.1, plausible=[0, 60]),
            ),
            "pulse_oximetry": FindingShape(
                label="Pulse oximetry", awaited=True, carries_over=True,
                readings=ReadingsShape(parts=["hand", "foot"], together="10 min", at_most=3),
                part_codes={"hand": {"loinc": "59407-7"}, "foot": {"loinc": "59418-4"}},
                number=NumberShape(unit="%", resolution=1, plausible=[0, 100]),
            ),
            "mother_hbsag": FindingShape(label="Mother's HBsAg", subject="mother", values=["negative", "positive"]),
        }  # fmt: skip


def flat_visit(**changes: Any) -> dict[str, Any]:
    return {
        "patient": "Patient/mara",
        "encounter": "Encounter/1",
        "born": BORN,
        "at": AT,
        "findings": {
            "red_reflex.left": "absent",
            "red_reflex.right": {"absent": "not-performed"},
            "weight": {"value": "3050", "unit": "g"},
            "temperature": [
                {"value": "38.40", "unit": "Cel", "age": "90 h", "reported": True},
                {"value": "36.9", "unit": "Cel", "route": "axillary"},
            ],
            "serum_bilirubin": {"value": {"more_than": 20}, "unit": "mg/dL"},
            "pulse_oximetry": [{"hand": 97, "foot": 96, "unit": "%", "age": "26 h"}],
            "mother_hbsag": "negative",
        },
        "history": {"findings": {"weight": {"value": 3290, "unit": "g", "time": "2026-11-22T09:00:00-06:00"}}},
    } | changes


REFLEX = Used(subject="red_reflex.left", label="Red reflex, left", value="absent", time=AT)
WEIGHT = Used(subject="weight", label="Weight", value="3050 g", time=AT)
EARLIER = Used(subject="weight.earlier", label="Weight", value="3290 g", time="2026-11-22T09:00:00-06:00")


def reason(rule: str = "eyes.red-reflex-abnormal", **changes: Any) -> Reason:
    values = {
        "rule": rule, "title": "Red reflex absent, white or dull", "status": "fired", "values": (REFLEX,),
        "because": "An abnormal reflex can be a cataract or a tumour of the eye.", "sources": (PUBLISHED,),
    }  # fmt: skip
    return Reason(**(values | changes))


def recommendation(**changes: Any) -> Recommendation:
    values = {
        "target": "ophthalmology", "kind": "refer", "label": "Ophthalmology", "side": "left", "priority": "stat",
        "certain": "stat", "possible": "stat", "reasons": (reason(),), "episode": "once", "category": "referral",
        "window": Window(until="2026-11-25T10:00:00-06:00", text="within 24 h"), "do": ("Dilated examination",),
        "codes": (Code(system="snomed", code="3457005", display="Patient referral"),),
        "performer": "ophthalmologist", "plain": {"en": "An eye doctor looks at the eye."},
        "request_key": "mara.refer.ophthalmology.left.once", "answer_key": "mara.refer.ophthalmology.left.once.aaaa",
    }  # fmt: skip
    return Recommendation(**(values | changes))


def recheck(**changes: Any) -> Recommendation:
    values = {
        "target": "weight_recheck", "kind": "recheck", "label": "Weigh again", "side": None, "priority": "urgent",
        "certain": None, "possible": "urgent", "category": None, "performer": None, "codes": (), "plain": {},
        "window": Window(start=AT, until="2026-11-26T10:00:00-06:00", text="in 24 to 48 h"), "do": (),
        "request_key": "mara.recheck.weight.1", "answer_key": "mara.recheck.weight.1.bbbb",
        "reasons": (
            reason(
                "weight.loss-over-seven", title="Weight loss over 7 %", status="provisional",
                sources=(PUBLISHED, MEMORY), values=(WEIGHT, EARLIER),
                because="Loss of this size needs another look at feeding.",
                unless=("Delivery by caesarean",),
            ),
        ),
    }  # fmt: skip
    return recommendation(**(values | changes))


def topic(name: str, label: str, **changes: Any) -> Recommendation:
    values = {
        "target": name, "kind": "guide", "label": label, "side": None, "priority": "routine", "certain": "routine",
        "possible": "routine", "category": "education", "performer": None, "codes": (), "do": (),
        "plain": {"en": f"{label}, in words for the family."}, "window": Window(text="at this visit"),
        "reasons": (reason(f"sleep.{name.replace('_', '-')}", because="It is due at this age.", values=()),),
        "request_key": f"mara.guide.{name}", "answer_key": f"mara.guide.{name}.cccc",
    }  # fmt: skip
    return recommendation(**(values | changes))


def question(finding: str, label: str, **changes: Any) -> Question:
    values = {"state": "not examined", "rules": ("a.b",), "settles": ("a.b",), "worst": "stat"}
    return Question(finding=finding, label=label, **(values | changes))


def assessment(**changes: Any) -> Assessment:
    values: dict[str, Any] = {
        "caution": CAUTION,
        "pack": PackUsed(id="newborn", version="0.1.0", jurisdiction="US", digest="sha256:1234"),
        "engine": "0.1.0",
        "readers": ("native", "rete"),
        "read": "conditions read twice; measures and resolution once",
        "at": AT,
        "born": BORN,
        "age": "4 d 1 h",
        "patient": "Patient/mara",
        "encounter": "Encounter/1",
        "recommendations": (recommendation(), recheck()),
        "avoid": (
            recommendation(
                target="pacifier", kind="avoid", label="No pacifier yet", side=None, priority="routine", category=None,
                request_key="mara.avoid.pacifier", answer_key="mara.avoid.pacifier.dddd",
                window=Window(text="until fed"),
            ),
        ),
        "guidance": (topic("safe_sleep", "Safe sleep"), topic("car_seat", "Car seat")),
        "reassurance": (topic("milia", "White spots on the nose", kind="reassure"),),
        "answers": (),
        "steps": (
            Step(
                area="eyes", label="Look at the eyes", worst="stat", rules=2, emergencies=1,
                questions=(
                    question(
                        "red_reflex", "Red reflex, right", side="right", state="attempted", reason="not performed",
                        rules=("a.b", "c.d"), emergencies=("a.b",),
                    ),
                ),
            ),
        ),
        "due": (
            Due(
                finding="bloodspot", target="bloodspot_collection", kind="order", said_not_done=True,
                label="Blood spot",
                rule="screening.bloodspot", state="overdue", priority="asap",
                window=Window(start=BORN, until="2026-11-22T08:30:00-06:00", text="at 24 to 48 h of age", overdue=True),
                because="Some of these illnesses need treatment in the first week.", sources=(PUBLISHED,),
            ),
        ),
        "cannot_evaluate": (
            NotEvaluated(
                rule="jaundice.line", title="Above the line", why="the threshold table is not supplied", priority="stat"
            ),
        ),
        "measures": (
            Measured(
                id="weight_loss", label="Weight loss", text="7.3 %", low="7.30", high="7.30", unit="%",
                derived_from=(WEIGHT, EARLIER), basis="from the birth weight", source=PUBLISHED, time=AT,
            ),
            Measured(
                id="age_h", label="Age", text="97 to 98 h", low="97", high="98", unit="h", derived_from=(), basis="",
            ),
            Measured(
                id="bilirubin_margin", label="Margin to the line", text="unknown", low=None, high=None, unit="mg/dL",
                derived_from=(), basis="set nice-cg98 (NICE)",
            ),
            Measured(
                id="birth_size", label="Size at birth", text="between P10 and P50", low=None, high=None, unit=None,
                category="p10_to_p50", derived_from=(), basis="INTERGROWTH-21st",
            ),
        ),
        "conclusions": (
            Concluded(id="eye_abnormal", label="An eye is abnormal", state="yes", rules=("eyes.red-reflex-abnormal",)),
            Concluded(id="sick", label="Looks ill", state="open", rules=("danger.sick",)),
        ),
        "notices": ("The history is not complete.",),
        "warnings": ("Bundle.entry[7]: kept, not understood: a code",),
        "settings": (
            SettingUsed(id="bilirubin_set", label="Treatment lines", choice="nice-cg98", default=True),
            SettingUsed(id="hip_pathway", label="Hip pathway", choice="aap-2000", default=False),
        ),
        "choices": (
            Choice(subject="temperature", used=Used(subject="temperature", label="Temperature", value="36.9 Cel"),
                   not_used=(Used(subject="temperature", label="Temperature", value="38.4 Cel"),), why="the latest"),
        ),
        "trace": (
            Traced(rule="eyes.red-reflex-abnormal", title="Red reflex absent", place="decisions/eyes.yaml:1",
                   status="fired", values=(REFLEX,)),
        ),
    }  # fmt: skip
    values |= changes
    groups = {"stat": "now", "asap": "within 24 hours", "urgent": "within a week", "routine": "by a date"}
    by_deadline: dict[str, list[Recommendation]] = {}
    for one in values.pop("recommendations"):
        by_deadline.setdefault(groups[one.priority], []).append(one)
    do = tuple(
        DoGroup(deadline=deadline, until=None, items=tuple(by_deadline[deadline]))  # type: ignore[arg-type]
        for deadline in groups.values()
        if deadline in by_deadline
    )
    topics = values.pop("guidance")
    told = (Topics(heading="safety", topics=topics),) if topics else ()
    verdict = Verdict(text="An eye doctor now.", pressing=True, now=1, by_tomorrow=0, to_judge=0, next_visit=None)
    detail = Detail(**{name: values.pop(name) for name in Detail.model_fields if name in values and name != "notices"})
    rest = {"verdict": verdict, "do": do, "come_back": (), "tell_family": told, "not_on_record": ()} | values
    return Assessment(**rest).explained_by({name: partial(getattr, detail, name) for name in Detail.model_fields})


def source_bundle() -> dict[str, Any]:
    """A small FHIR input: a server's Observation, one that so far has only a urn, and the Patient by urn."""
    baby = "urn:uuid:00000000-0000-4000-8000-000000000001"
    return {
        "resourceType": "Bundle",
        "type": "collection",
        "entry": [
            {
                "fullUrl": baby,
                "resource": {
                    "resourceType": "Patient",
                    "id": "m",
                    "identifier": [{"system": "urn:x", "value": "7"}],
                    "birthDate": "2026-11-20",
                },
            },
            {
                "fullUrl": "urn:uuid:00000000-0000-4000-8000-000000000002",
                "resource": {
                    "resourceType": "Observation",
                    "status": "final",
                    "code": {"text": "Red reflex"},
                    "subject": {"reference": baby},
                    "performer": [{"reference": "urn:uuid:00000000-0000-4000-8000-000000000009"}],
                    "valueString": "absent",
                },
            },
            {
                "fullUrl": "https://server.example/fhir/Observation/w1",
                "resource": {
                    "resourceType": "Observation",
                    "id": "w1",
                    "status": "final",
                    "code": {"text": "Weight"},
                },
            },
        ],
    }
