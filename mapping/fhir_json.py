"""FHIR JSON under the name that callers know: the module itself lies with the rest of FHIR, in `mapping/fhir`."""

from layette.mapping.fhir.json import dumps, loads

__all__ = ["dumps", "loads"]
