"""FHIR R4 out: the answer as a transaction Bundle, errors as an OperationOutcome."""

from .bundle import to_bundle
from .keys import BASE
from .outcome import to_outcome

__all__ = ["BASE", "to_bundle", "to_outcome"]
