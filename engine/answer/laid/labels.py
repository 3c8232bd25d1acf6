"""What a view looks at, in words."""

from __future__ import annotations

from layette.engine.pack.compiled import CompiledPack
from layette.engine.pack.written.views import View


def label_of(pack: CompiledPack, view: View) -> str:
    """Say what a view looks at."""
    name = view.subject
    if name.startswith("setting:"):
        return pack.settings[name.removeprefix("setting:")].label
    if name in pack.findings:
        text = pack.findings[name].label
    elif name in pack.measures:
        text = pack.measures[name].label
    else:
        text = name.replace("_", " ").capitalize()
    text += f", {view.side}" if view.side else ""
    text += f", attempt {view.attempt}" if view.attempt else ""
    text += f", {view.part}" if view.part else ""
    text += {"earlier": ", earlier", "highest": ", highest", "lowest": ", lowest"}.get(view.pick, "")
    text += f" ({view.qualifier})" if view.qualifier else ""
    return text + {"age": ", age at", "since": ", time since", "unequal": ", sides unequal"}.get(view.what, "")
