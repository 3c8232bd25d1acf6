"""Whether the anchors of `pack.yaml` and the targets name what exists."""

from __future__ import annotations

from collections.abc import Iterator

from layette.engine.errors import PackProblem, near
from layette.engine.pack.checks.sources import check_codes
from layette.engine.pack.written.rule_shapes import TargetShape
from layette.engine.pack.written.written_pack import WrittenPack
from layette.engine.terms import ASKED


def check_anchors(pack: WrittenPack) -> Iterator[PackProblem]:
    """Yield anchors of windows that are no number of this pack."""
    document = pack.documents["pack.yaml"]
    for anchor, finding in pack.shape.anchors.items():
        if finding not in pack.findings or pack.findings[finding].number is None:
            yield document.problem(("anchors", anchor), "unknown-finding", f"no number '{finding}' is defined")


def check_targets(pack: WrittenPack) -> Iterator[PackProblem]:
    """Yield targets with code systems, or names of other targets, that do not exist."""
    for name, target in pack.targets.items():
        document = pack.target_documents[name]
        yield from check_codes(target.codes, document, (name, "codes"))
        others_by_key = {
            "conflicts_with": target.conflicts_with,
            "recheck_of": target.recheck_of,
            "met_by": target.met_by,
        }
        for key, others in others_by_key.items():
            for other in others:
                if other not in pack.targets and not (key == "recheck_of" and other in pack.findings):
                    known = [*pack.targets, *(pack.findings if key == "recheck_of" else ())]
                    message = f"targets/ has no target '{other}'{near(other, known)}"
                    yield document.problem((name, key), "unknown-target", message)
        if name in target.conflicts_with:
            yield document.problem((name, "conflicts_with"), "unknown-target", f"'{name}' does not exclude itself")
        for other in target.met_by:
            if other in pack.targets and not _may_meet(pack.targets[other], target):
                message = f"'{other}' does not do '{name}' too: both are asked for ({', '.join(ASKED)}), of one person"
                yield document.problem((name, "met_by"), "unknown-target", message)


def _may_meet(particular: TargetShape, target: TargetShape) -> bool:
    return (
        particular is not target
        and {particular.kind, target.kind} <= {*ASKED}
        and (particular.subject == target.subject)
    )
