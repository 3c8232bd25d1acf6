"""FHIR R4 in: `read` turns a Bundle or resources into a flat visit. WHAT-IS-READ.md says what is read from where."""

from layette.mapping.pack_view import PackView
from layette.mapping.read.bundle.result import Counts, NotUsed, ReadResult
from layette.mapping.read.codes.index import CodeIndex, SiteCode, index_of
from layette.mapping.read.reader import read

__all__ = ["CodeIndex", "Counts", "NotUsed", "PackView", "ReadResult", "SiteCode", "index_of", "read"]
