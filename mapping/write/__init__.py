"""FHIR R4 out: the answer as a transaction Bundle, errors as an OperationOutcome."""

from layette.mapping.write.bundle import to_bundle
from layette.mapping.write.outcome import to_outcome
from layette.mapping.write.run.keys import BASE

__all__ = ["BASE", "to_bundle", "to_outcome"]
