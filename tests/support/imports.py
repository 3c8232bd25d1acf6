"""Who imports whom in the engine and the mapping, as the files say it, wherever in a file the import stands."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import PurePosixPath

from support.checkout import ROOT, files


@cache
def modules() -> dict[str, PurePosixPath]:
    """Return every module by its name below `layette`; a folder's own module goes by the name of the folder."""
    paths = [PurePosixPath(name) for name in files() if name.startswith(("engine/", "mapping/")) and name[-3:] == ".py"]
    return {".".join(path.with_suffix("").parts).removesuffix(".__init__"): path for path in paths}


def statements(tree: ast.Module) -> Iterator[ast.stmt]:
    """Yield every statement of a file, wherever it stands; no expression is looked into, which takes most of a walk."""
    waiting: list[ast.AST] = [tree]
    while waiting:
        one = waiting.pop()
        if isinstance(one, ast.stmt):
            yield one
        for part in ("body", "orelse", "finalbody", "handlers", "cases"):
            inner = getattr(one, part, None)
            waiting += inner if isinstance(inner, list) else ()


@cache
def _nodes() -> list[tuple[str, ast.Import | ast.ImportFrom]]:
    trees = [(name, ast.parse((ROOT / path).read_text(encoding="utf-8"))) for name, path in modules().items()]
    return [(by, n) for by, tree in trees for n in statements(tree) if isinstance(n, ast.Import | ast.ImportFrom)]


@cache
def imports() -> frozenset[tuple[str, str]]:
    """Return importer and imported of every import of one of our modules from another."""
    named = [(by, f"{n.module}.{one.name}") for by, n in _nodes() if isinstance(n, ast.ImportFrom) for one in n.names]
    short = [(by, whole.removeprefix("layette.")) for by, whole in named]
    pairs = [(by, to if to in modules() else to.rpartition(".")[0]) for by, to in short]
    return frozenset((by, to) for by, to in pairs if to in modules() and by != to)


def written_otherwise() -> Iterator[tuple[str, str]]:
    """Yield importer and line of every import that is relative, or takes one of our modules by `import`."""
    for by, node in _nodes():
        relative = isinstance(node, ast.ImportFrom) and node.level
        if relative or (isinstance(node, ast.Import) and any(one.name.startswith("layette") for one in node.names)):
            yield by, ast.unparse(node)
