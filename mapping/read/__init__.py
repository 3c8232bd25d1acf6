"""FHIR R4 in: `read` turns a Bundle or resources into a flat visit. WHAT-IS-READ.md says what is read from where."""

from .index import CodeIndex, index_of
from .pack_view import PackView, SiteCode
from .reader import read
from .result import Counts, NotUsed, ReadResult

__all__ = ["CodeIndex", "Counts", "NotUsed", "PackView", "ReadResult", "SiteCode", "index_of", "read"]
