"""FHIR R4 out: the answer as a transaction Bundle, what it supersedes as a batch, errors as an OperationOutcome."""

from layette.mapping.write.bundle import to_bundle
from layette.mapping.write.outcome import to_outcome
from layette.mapping.write.retire import retirement
from layette.mapping.write.run.keys import BASE

__all__ = ["BASE", "retirement", "to_bundle", "to_outcome"]
