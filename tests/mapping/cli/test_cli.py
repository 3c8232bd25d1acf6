"""The command line: forms, exit codes, whole output or none, errors as sentences."""

from __future__ import annotations

import contextlib
import io
import json
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import MappingProxyType, SimpleNamespace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.assessment_samples import MEMORY, PUBLISHED, SamplePack, assessment, flat_visit, topic

from layette.engine.cases.cases import CaseReport, Seen
from layette.engine.errors import InputError, InputProblem, PackError, PackProblem, ReadersDisagree
from layette.engine.pack.written.rule_shapes import Consequence, RuleShape, TargetShape
from layette.engine.pack.written.shapes import Translation
from layette.mapping import intake as given_module
from layette.mapping.cli import command, main
from layette.mapping.cli.verbs import assess, check
from layette.mapping.write.run.context import PARTS


def rule(name: str, source: str) -> SimpleNamespace:
    then = [Consequence(refer="ophthalmology", priority="stat")]
    return SimpleNamespace(shape=RuleShape(id=name, title="t", then=then, because="b", source=source))


class StandIn(SamplePack):
    """A pack that answers with the sample assessment."""

    id, version, digest = "newborn", "0.1.0", "sha256:1234"
    targets: Mapping[str, Any] = MappingProxyType({})
    site = SimpleNamespace(canonical=None, codes=(), timezone=None)
    rules = MappingProxyType(
        {"eyes.seen": rule("eyes.seen", "reflex-2008"), "eyes.unseen": rule("eyes.unseen", "memory-window")}
    )
    sources = MappingProxyType({"reflex-2008": PUBLISHED, "memory-window": MEMORY})
    plain: Mapping[str, str] | None = None
    error: Exception | None = None
    failures: tuple[tuple[str, str], ...] = ()
    case_problems: tuple[PackProblem, ...] = ()

    def assess(self, visit: Any, at: str | None = None, readers: Any = None) -> Any:
        if self.error is not None:
            raise self.error
        return assessment() if self.plain is None else assessment(guidance=(topic("sleep", "Sleep", plain=self.plain),))

    def readers(self, names: Any = None) -> tuple[()]:
        if isinstance(self.error, ValueError):
            raise self.error
        return ()

    def run_cases(self, only: str | None = None, **_: Any) -> CaseReport:
        seen = {"eyes.seen": Seen(fired=1, undecided=1), "eyes.unseen": Seen()}
        if only is not None:
            del seen["eyes.seen"]
        problems = list(self.case_problems)
        return CaseReport(passed=1, failures=list(self.failures), seen=seen, problems=problems, only=only)


@pytest.fixture(autouse=True)
def pack(monkeypatch: pytest.MonkeyPatch) -> Iterator[StandIn]:
    made = StandIn()
    for module in (assess, check):
        monkeypatch.setattr(module, "load_pack", lambda path=None, site=None: made)
    return made


@pytest.fixture
def visit(tmp_path: Path) -> str:
    path = tmp_path / "visit.json"
    path.write_text(json.dumps(flat_visit()))
    return str(path)


def test_text_is_the_default_and_holds_the_counts(visit: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["assess", visit]) == 0
    out, err = capsys.readouterr()
    assert out.startswith("Patient/mara, 4 d 1 h. Visit of Tue 24 Nov 2026")
    assert "readings of a flat visit read" in out
    assert err == ""
    assert "\x1b" not in out


@pytest.mark.parametrize(("form", "start"), [("json", "{"), ("fhir-json", "{"), ("fhir-xml", "<?xml")])
def test_the_other_forms_print_the_counts_on_stderr(
    form: str, start: str, visit: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["assess", visit, "--to", form]) == 0
    out, err = capsys.readouterr()
    assert out.startswith(start)
    assert "readings of a flat visit read" in err


@pytest.mark.parametrize("parts", assess.PARTS)
def test_how_much_goes_out_as_fhir_can_be_said(parts: str, visit: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert set(assess.PARTS) == set(PARTS)
    assert main(["assess", visit, "--to", "fhir-json", "--parts", parts]) == 0
    kinds = [entry["resource"]["resourceType"] for entry in json.loads(capsys.readouterr().out)["entry"]]
    assert ("Task" in kinds, "DocumentReference" in kinds) == (parts == "inbox", parts == "all")


def test_fhir_json_is_compact_unless_it_is_asked_for_on_lines(visit: str, capsys: pytest.CaptureFixture[str]) -> None:
    given = ["assess", visit, "--to", "fhir-json"]
    assert main(given) == 0
    compact = capsys.readouterr().out
    assert main([*given, "--indent"]) == 0
    spread = capsys.readouterr().out
    assert (compact.count("\n"), spread.count("\n") > 100) == (1, True)
    assert json.loads(compact) == json.loads(spread)


def test_the_words_for_the_family_go_out_in_the_language_asked_for(
    visit: str, capsys: pytest.CaptureFixture[str], pack: StandIn
) -> None:
    pack.plain = {"en": "On the back.", "es": "Boca arriba."}
    assert main(["assess", visit, "--to", "fhir-json", "--language", "es"]) == 0
    out = capsys.readouterr().out
    assert "Boca arriba." in out
    assert "On the back." not in out


def test_a_file_is_written_whole_and_nothing_is_left_beside_it(visit: str, tmp_path: Path) -> None:
    out = tmp_path / "out" / "answer.json"
    out.parent.mkdir()
    out.write_text("old")
    assert main(["assess", visit, "--to", "fhir-json", "--out", str(out)]) == 0
    assert json.loads(out.read_text())["resourceType"] == "Bundle"
    assert [p.name for p in out.parent.iterdir()] == ["answer.json"]


def test_a_folder_that_is_not_there_is_a_sentence(visit: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["assess", visit, "--out", "/nowhere/at/all"]) == 2
    assert "No such file" in capsys.readouterr().err


def test_flat_yaml_and_stdin(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    text = 'born: "2026-11-20"\nat: "2026-11-24T10:00:00-06:00"\nfindings: {red_reflex.left: absent}\n'
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(text.encode())))
    assert main(["assess", "-"]) == 0
    assert "1 readings" in capsys.readouterr().out


BAD = {
    "empty": b"",
    "no json": b"{",
    "no yaml": b"a: [",
    "twice": b"a: 1\na: 2\n",
    "alias": b"a: &x [1]\nb: *x\n",
    "deep yaml": b"[" * 3,
    "deep": b"{" + b'"a":{' * 5000,
    "latin": b"caf\xe9: 1",
    "text": b"hello",
    "list": b"[]",
    "xml": b"<Bundle",
    "entity": b'<!DOCTYPE x [<!ENTITY e "x">]><Bundle xmlns="http://hl7.org/fhir"/>',
}


@pytest.mark.parametrize("name", BAD)
def test_bad_bytes_are_a_sentence(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "x"
    path.write_bytes(BAD[name])
    assert main(["assess", str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "Traceback" not in err
    assert "fault of the program" not in err
    assert err.startswith("layette: ")


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.binary(max_size=200) | st.text(max_size=200).map(lambda text: text.encode("utf-8", "surrogatepass")))
def test_any_bytes_give_content_or_an_input_error(data: bytes) -> None:
    with contextlib.suppress(InputError):
        given_module.parse(data)


def test_a_missing_file_is_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["assess", "/no/such/file.json"]) == 2
    assert "cannot be read" in capsys.readouterr().err


def test_all_problems_and_what_is_urgent_are_printed(
    pack: StandIn, visit: str, capsys: pytest.CaptureFixture[str]
) -> None:
    problems = [
        InputProblem("findings.weight", "unit", "no unit", "3.4", "g"),
        InputProblem("born", "birth", "missing"),
    ]
    pack.error = InputError(problems, ["Ophthalmology, left: a white reflex"])
    assert main(["assess", visit, "--out", "/never/written"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "2 problems in the input" in err
    assert "findings.weight: no unit (found 3.4); expected g [unit]" in err
    assert "URGENT, decided by the rest of the input: Ophthalmology, left: a white reflex" in err


@pytest.mark.parametrize("form", ["fhir-json", "fhir-xml"])
def test_an_error_is_an_operation_outcome_where_fhir_was_asked_for(
    form: str, pack: StandIn, visit: str, tmp_path: Path
) -> None:
    pack.error = InputError([InputProblem("born", "birth", "missing")])
    out = tmp_path / "outcome"
    assert main(["assess", visit, "--to", form, "--out", str(out)]) == 2
    assert "OperationOutcome" in out.read_text()


def test_a_fhir_input_with_a_mistake_still_names_the_emergency(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    problem = InputProblem("Bundle.entry[1]", "unit", "a number without a unit")
    result = SimpleNamespace(
        visit={},
        problems=(problem,),
        counts_with=lambda _: "1 entries read",
        notices=(),
        not_understood=(),
        not_used=(),
        outcomes=(),
    )
    monkeypatch.setattr(given_module, "read", lambda *args, **named: result)
    path = tmp_path / "bundle.json"
    path.write_text(json.dumps({"resourceType": "Bundle", "type": "collection", "entry": []}))
    assert main(["assess", str(path)]) == 2
    said = capsys.readouterr().err
    assert "URGENT, decided by the rest of the input: Ophthalmology, left: An abnormal" in said
    assert said.endswith("layette: 1 entries read.\n")


def test_readers_that_disagree_give_no_answer_but_the_highest_priority(
    pack: StandIn, visit: str, capsys: pytest.CaptureFixture[str]
) -> None:
    pack.error = ReadersDisagree({"native": {"a.b": "fired"}, "rete": {"a.b": "ruled out"}}, "stat", ["Eye: now"])
    assert main(["assess", visit]) == 2
    said = capsys.readouterr().err
    assert "the highest priority of either is stat" in said
    assert "URGENT, found by at least one reader: Eye: now" in said


def test_a_reader_that_is_not_installed_is_a_sentence(
    pack: StandIn, visit: str, capsys: pytest.CaptureFixture[str]
) -> None:
    pack.error = ValueError("no reader 'rete' here")
    assert main(["assess", visit, "--readers", "rete"]) == 2
    assert "no reader 'rete' here" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "wanted"),
    [([], None), (["--readers", "both"], None), (["--readers", "closures"], ("closures",))],
)
def test_the_readers_that_are_asked_for_are_used(
    pack: StandIn, visit: str, words: list[str], wanted: tuple[str, ...] | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both means the two that every visit is read by, whichever these are here."""
    asked: list[Any] = []
    monkeypatch.setattr(StandIn, "assess", lambda _, *__, **named: asked.append(named["readers"]) or assessment())
    assert main(["assess", visit, *words]) == 0
    assert asked == [wanted]


def test_a_fault_of_ours_repeats_no_data(pack: StandIn, visit: str, capsys: pytest.CaptureFixture[str]) -> None:
    pack.error = KeyError("Mara's weight")
    assert main(["assess", visit]) == 2
    err = capsys.readouterr().err
    assert "fault of the program" in err
    assert "Mara" not in err


def test_check_lists_cases_coverage_and_memory_and_a_rule_without_a_case_is_an_error(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["check"]) == 2
    out = " ".join(capsys.readouterr().out.split())
    assert "CASES: 1 run, 1 passed, 0 failed" in out
    assert "fired: 1 of 2 never: eyes.unseen" in out
    assert "ruled out: 0 of 2 never: eyes.seen, eyes.unseen" in out
    assert "undecided: 1 of 2 never: eyes.unseen" in out
    assert "FROM MEMORY: 1 of 2 rules eyes.unseen" in out


def test_check_lists_the_words_for_families_that_lack_a_language_and_counts_what_awaits_review(
    pack: StandIn, capsys: pytest.CaptureFixture[str]
) -> None:
    words = {"en": "Dry.", "es": Translation(text="Seco.", review="needed")}
    pack.targets = {
        "cord": TargetShape(kind="guide", label="Cord", plain=words),
        "bath": TargetShape(kind="order", label="Bath", plain={"en": "Warm."}),
    }
    main(["check"])
    out = " ".join(capsys.readouterr().out.split())
    lacking = "cord label, bath plain, bath label, heading what we saw"
    assert f"WORDS FOR FAMILIES IN es: 1 of 5, 1 await review lacking: {lacking}" in out


def test_a_check_of_one_area_says_so_in_every_part(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--only", "unseen"]) == 2
    out = " ".join(capsys.readouterr().out.split())
    assert "CASES (unseen): 1 run, 1 passed, 0 failed" in out
    assert "RULES (unseen) AS THE CASES SHOW THEM of the area 'unseen' only: 1 of 2 rules" in out
    assert "fired: 0 of 1 never: eyes.unseen" in out
    assert "FROM MEMORY: 1 of 1 rules (unseen) eyes.unseen" in out


def test_a_failing_case_is_named_and_is_an_error(pack: StandIn, capsys: pytest.CaptureFixture[str]) -> None:
    pack.failures = (("eyes-1", "ophthalmology was not recommended"), ("eyes-1", "and no side"))
    assert main(["check"]) == 2
    out = capsys.readouterr().out
    assert "CASES: 2 run, 1 passed, 1 failed" in out
    assert "eyes-1: ophthalmology was not recommended; and no side" in out


def test_a_mistake_in_a_case_file_is_a_pack_error(pack: StandIn, capsys: pytest.CaptureFixture[str]) -> None:
    pack.case_problems = (PackProblem("cases/a.yaml", 3, "$[0]", "shape", "a key is missing"),)
    assert main(["check"]) == 2
    assert "cases/a.yaml:3" in capsys.readouterr().err


def test_a_bad_pack_lists_every_problem(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    def refuse(path: Any = None, site: Any = None) -> Any:
        raise PackError([PackProblem("a.yaml", k, "$.x", "shape", "a key is missing") for k in (3, 7)])

    monkeypatch.setattr(check, "load_pack", refuse)
    assert main(["check", "somewhere"]) == 2
    err = capsys.readouterr().err
    assert "2 problems in the rule pack" in err
    assert "a key is missing @ a.yaml:3 $.x [shape]" in err
    assert "a.yaml:7" in err


def test_version_and_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("layette ")
    for verb in ([], ["assess"], ["check"]):
        assert main([*verb, "--help"]) == 0
        assert "usage: layette" in capsys.readouterr().out
    assert main([]) == main(["assess"]) == main(["nothing"]) == 2


def test_every_argument_of_every_command_has_help() -> None:
    [verbs] = [a for a in command.parser()._actions if a.dest == "command"]
    for parser in verbs.choices.values():  # type: ignore[union-attr]
        assert parser.description
        assert all(action.help for action in parser._actions)
