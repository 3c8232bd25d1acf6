"""The extension of ours that goes out: which topic a payload of guidance is about, for which R4 has no place."""

from __future__ import annotations

from layette.mapping.codes import OWN
from layette.mapping.export.publication import Publication, Resource

_NAME = OWN["payload-topic"].rpartition("/")[2]
_BASE = "http://hl7.org/fhir/StructureDefinition/Extension"


def payload_topic(pub: Publication) -> Resource:
    """Return the definition of the extension on a payload."""
    about = f"The topic of guidance that a payload is about, a code of {pub.url('CodeSystem', 'targets')}."
    url = pub.url("StructureDefinition", _NAME)
    head = pub.head("StructureDefinition", _NAME, "Topic of a payload", about)
    where = [{"type": "element", "expression": f"{kind}.payload"} for kind in ("CommunicationRequest", "Communication")]
    return head | {
        "fhirVersion": "4.0.1",
        "kind": "complex-type",
        "abstract": False,
        "context": where,
        "type": "Extension",
        "baseDefinition": _BASE,
        "derivation": "constraint",
        "differential": {
            "element": [
                {"id": "Extension", "path": "Extension", "short": about, "definition": about, "max": "1"},
                {"id": "Extension.extension", "path": "Extension.extension", "max": "0"},
                {"id": "Extension.url", "path": "Extension.url", "fixedUri": url},
                {
                    "id": "Extension.value[x]",
                    "path": "Extension.value[x]",
                    "min": 1,
                    "type": [{"code": "code"}],
                },
            ]
        },
    }
