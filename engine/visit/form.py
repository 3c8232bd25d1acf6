"""The JSON Schema of the flat visit (`schemas/visit.md`), written by hand: its findings are named by the pack.

The schema says what a visit looks like. Whether a finding, a value or a unit is known, only the pack can say.
"""

from __future__ import annotations

from typing import Any

from layette.engine.errors import INPUT_CODES
from layette.engine.terms import BOUNDS, STATUSES
from layette.engine.visit.carried import FIELDS, PART
from layette.engine.visit.reader import COMPLETE, HISTORY_KEYS, VERSION

Schema = dict[str, Any]

TIME: Schema = {"type": "string", "description": "ISO 8601: a date, or a date and time with its offset from UTC."}
TEXT: Schema = {"type": "string"}
NUMBER: Schema = {"type": ["number", "string"], "description": "A number; as text it keeps its digits."}


def _mapping(properties: Schema, required: tuple[str, ...] = (), *, closed: bool = True, **more: Any) -> Schema:
    out: Schema = {"type": "object", "properties": properties, "additionalProperties": not closed, **more}
    return {**out, "required": list(required)} if required else out


def _list(item: str) -> Schema:
    return {"type": "array", "items": {"$ref": f"#/$defs/{item}"}}


DEFINITIONS: dict[str, Schema] = {
    "range": {
        "description": "A number that is not exactly known.",
        "oneOf": [
            _mapping(dict.fromkeys(BOUNDS, NUMBER), minProperties=1, maxProperties=2),
            _mapping({"between": {"type": "array", "items": NUMBER, "minItems": 2, "maxItems": 2}}, ("between",)),
        ],
    },
    "value": {"anyOf": [{"type": ["string", "number", "boolean"]}, {"$ref": "#/$defs/range"}]},
    "recording": _mapping(
        {
            "value": {"$ref": "#/$defs/value"},
            "unit": {**TEXT, "description": "A UCUM unit; every number has one."},
            "time": TIME,
            "age": {**TEXT, "description": "The age at the recording instead of its time, such as `90 h`."},
            "side": {"enum": ["left", "right", "both"]},
            "part": {**TEXT, "description": "Which part of a finding that is read in parts."},
            "status": {"enum": list(STATUSES)},
            "absent": {**TEXT, "description": "Why there is no value: a code of FHIR's data-absent-reason."},
            "origin": {**TEXT, "description": "The reference of the resource that it came from."},
            "path": {**TEXT, "description": "Where it stood in the input; used in errors."},
            "given": {**TEXT, "description": "The value as it was written, where it was converted."},
            "charted_by": {**TEXT, "description": "The system whose `normal` filled it, such as `skin_examination`."},
            "text": {**TEXT, "description": "What somebody said, such as a question of the family; no rule reads it."},
            "reported": {"type": "boolean", "description": "Told by the family, not seen by the examiner."},
        },
        closed=False,
        description="One recording; further keys are its qualifiers, or the values of its parts by name.",
    ),
    "finding": {
        "anyOf": [
            {"$ref": "#/$defs/value"},
            {"$ref": "#/$defs/recording"},
            {"type": "array", "items": {"anyOf": [{"$ref": "#/$defs/value"}, {"$ref": "#/$defs/recording"}]}},
        ]
    },
    "findings": {
        "type": "object",
        "description": "By the pack's name; of a sided finding with `.left`, `.right` or `.both`.",
        "patternProperties": {r"^[a-z][a-z0-9_]*(\.(left|right|both))?$": {"$ref": "#/$defs/finding"}},
        "additionalProperties": False,
    },
    "order": _mapping(
        {
            "target": TEXT, "side": {"enum": ["left", "right", "", None]}, "status": TEXT, "priority": TEXT,
            "time": TIME, "start": TIME, "until": TIME, "reference": TEXT, "request_key": TEXT, "answer_key": TEXT,
            "reason": {**TEXT, "description": "Why it has its status, such as why it was declined; no rule reads it."},
        },
        ("target",),
        closed=False,
    ),
    "topic": _mapping({"topic": TEXT, "time": TIME, "reference": TEXT}, ("topic",), closed=False),
    "dose": _mapping({"code": TEXT, "time": TIME, "reference": TEXT}, ("code",), closed=False),
    "judgment": {
        "description": "How somebody read a value that was to be judged; it settles that value only.",
        **_mapping(
            {
                "finding": TEXT, "target": TEXT, "side": {"enum": ["left", "right", "", None]},
                "of": {**TIME, "description": "The time of the value."}, "by": TEXT, "time": TIME, "outcome": TEXT,
            },
            ("of", "by", "outcome"),
        ),
    },
    "not_understood": _mapping(
        {
            "path": TEXT, "code": TEXT, "text": TEXT, "why": TEXT,
            "finding": {**TEXT, "description": "What it would have told of at this visit."},
            "here": {
                "type": "boolean",
                "description": "It says something of this visit, nobody knows of which finding: the verdict names it.",
            },
            "subject": {"enum": ["baby", "mother"]},
        },
        closed=False,
    ),
    "problem": _mapping(
        {**dict.fromkeys(FIELDS, TEXT), "code": {"enum": list(INPUT_CODES)}}, ("path", "code", "message")
    ),
    "identifier": _mapping({"system": TEXT, "value": TEXT}, closed=False),
}  # fmt: skip
_LISTS = ("order", "topic", "dose", "judgment")
HISTORY: Schema = dict(zip(HISTORY_KEYS, ({"$ref": "#/$defs/findings"}, *map(_list, _LISTS)), strict=True))
VISIT: Schema = _mapping(
    {
        "layette_visit": {"const": VERSION, "description": "The version of this form."},
        "patient": {"type": ["string", "null"], "description": "Any stable reference; it is carried through."},
        "identifiers": _list("identifier"),
        "encounter": {"type": ["string", "null"]},
        "clinic": {"type": ["string", "null"], "description": "Where it was; an audit groups by it, no rule reads it."},
        "born": TIME,
        "at": {**TIME, "description": "The moment of the visit, with its offset from UTC."},
        "until": {**TIME, "description": "The end of the visit: what is found up to then belongs to it."},
        "sex_at_birth": {"enum": ["male", "female", "unknown", "other", None]},
        "findings": {"$ref": "#/$defs/findings"},
        "history": _mapping(HISTORY),
        "history_complete": {"type": "array", "items": {"enum": list(COMPLETE)}},
        "settings": {"type": "object", "additionalProperties": TEXT},
        "not_understood": _list("not_understood"),
        "counts": {"type": "object", "description": "Left for readers of other forms; not read by the engine."},
        PART: {
            **_list("problem"),
            "description": "What was refused while the visit was made from another form; with any, it is not assessed.",
        },
    },
    ("born",),
    title="A visit in the flat form of Layette",
)


def visit_schema() -> Schema:
    """Return the JSON Schema of the flat visit. ``at`` may be given beside the visit instead of in it."""
    return {**VISIT, "$defs": DEFINITIONS}
