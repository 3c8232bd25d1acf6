"""FHIR R4 in: `read` turns a Bundle or resources into a flat visit. WHAT-IS-READ.md says what is read from where."""

from layette.mapping.read.bundle.result import Counts, NotUsed, ReadResult
from layette.mapping.read.codes.index import CodeIndex, index_of
from layette.mapping.read.codes.pack_view import PackView, SiteCode
from layette.mapping.read.reader import read

__all__ = ["CodeIndex", "Counts", "NotUsed", "PackView", "ReadResult", "SiteCode", "index_of", "read"]
