"""HL7 v2 ORU^R01 in: the same findings as from FHIR, named by the fields of the message; nothing dropped."""

from __future__ import annotations

import random
import sys
from pathlib import Path
from typing import Any

import pytest
from support.read_samples import adds_up, pack

from layette.engine.api import load_pack
from layette.engine.errors import INPUT_CODES, InputError, InputProblem
from layette.mapping.cli import main
from layette.mapping.read import ReadResult, SiteCode
from layette.mapping.read.hl7v2.message import is_message, read_message

pytest.importorskip("hl7apy", reason="the extra hl7v2 is not installed")

MSH = "MSH|^~\\&|LAB|HOSPITAL|LAYETTE|OFFICE|20261124101500-0600||ORU^R01^ORU_R01|7|P|2.5.1"
PID = "PID|1||77^^^HOSPITAL^MR~88^^^X&1.2.3&ISO^PI~9||BABY^MARA||20261120083000|F"
OBR = "OBR|1|||24321-2^Panel^LN|||20261124100000"
AT = "2026-11-24T10:00:00-06:00"


def obx(kind: str, code: str, value: str, unit: str = "", flag: str = "", status: str = "F", more: str = "") -> str:
    return f"OBX|1|{kind}|{code}||{value}|{unit}||{flag}|||{status}|||{more}"


def message(*segments: str, head: str = MSH, person: str = PID, order: str = OBR) -> bytes:
    return "\r".join([one for one in (head, person, order, *segments) if one]).encode() + b"\r"


def taken(*segments: str, zone: str | None = None, site: tuple[SiteCode, ...] = (), **parts: str) -> ReadResult:
    result = read_message(message(*segments, **parts), pack(), zone=zone, site_codes=site)
    adds_up(result)
    return result


def one(finding: str, *segments: str) -> dict[str, Any]:
    result = taken(*segments)
    assert not result.problems
    assert not result.not_understood
    [reading] = result.visit["findings"][finding]
    return {key: value for key, value in reading.items() if key not in ("time", "status", "path")}


def test_a_message_is_read() -> None:
    result = taken(obx("NM", "29463-7^Body weight^LN^WT^Weight^L", "3.150", "kg^kilogram^UCUM"), "NTE|1||a remark")
    assert result.visit == {
        "layette_visit": 1,
        "identifiers": [
            {"system": "https://layette.example/fhir/identifier/HOSPITAL", "value": "77"},
            {"system": "urn:oid:1.2.3", "value": "88"},
            {"value": "9"},
        ],
        "sex_at_birth": "female",
        "born": "2026-11-20T08:30:00-06:00",
        "at": AT,
        "findings": {
            "weight": [{"value": "3.150", "unit": "kg", "time": AT, "status": "final", "path": "OBX[1]-5"}],
        },
    }
    assert str(result.counts) == "5 entries read: 2 used, 0 kept but not understood, 3 not used, 0 refused"
    assert {one.path: one.why for one in result.not_used} == {
        "MSH[1]": "it only frames the results",
        "OBR[1]": "it only frames the results",
        "NTE[1]": "a segment that is not read",
    }


@pytest.mark.parametrize(
    ("finding", "segment", "fields"),
    [
        ("weight", obx("NM", "WT^Weight^L^29463-7^Body weight^LN", "7.5", "lb"), {"value": "7.5", "unit": "[lb_av]"}),
        ("temperature", obx("NM", "8310-5^T^LN", "101.2", "°F"), {"value": "101.2", "unit": "[degF]"}),
        ("length", obx("NM", "8302-2^L^LN", "20", "in"), {"value": "20", "unit": "[in_i]"}),
        ("serum_bilirubin", obx("NM", "1975-2^B^LN", "205", "µmol/L"), {"value": "205", "unit": "umol/L"}),
        ("serum_bilirubin", obx("SN", "1975-2^B^LN", ">^20", "mg/dL"), {"value": {"more_than": "20"}, "unit": "mg/dL"}),
        ("serum_bilirubin", obx("SN", "1975-2^B^LN", "=^12", "mg/dL"), {"value": "12", "unit": "mg/dL"}),
        (
            "serum_bilirubin",
            obx("SN", "1975-2^B^LN", "^10^-^12", "mg/dL"),
            {"value": {"between": ["10", "12"]}, "unit": "mg/dL"},
        ),
        ("apgar_5", obx("NM", "9274-2^Apgar^LN", "9"), {"value": "9", "unit": "{score}"}),
        ("murmur", obx("CE", "88610006^Murmur^SCT", "52101004^Present^SCT"), {"value": "present"}),
        ("murmur", obx("CWE", "88610006^Murmur^SCT", "X^^L^2667000^Absent^SCT"), {"value": "none"}),
        ("murmur", obx("ST", "88610006^Murmur^SCT", "present"), {"value": "present"}),
        ("murmur", obx("CE", "88610006^Murmur^SCT", "", flag="POS"), {"value": "present"}),
        ("murmur", obx("CE", "88610006^Murmur^SCT", '""', flag="NEG"), {"value": "none"}),
    ],
)
def test_values(finding: str, segment: str, fields: dict[str, Any]) -> None:
    reading = one(finding, segment)
    reading.pop("given", None)
    assert reading == fields


def test_what_was_printed_is_kept() -> None:
    assert one("weight", obx("NM", "29463-7^^LN", "7.5", "lbs"))["given"] == "7.5 lbs"


def test_the_side_by_the_observation_site() -> None:
    white = obx("CE", "1361009^^SCT", "52101004^Present^SCT", more="||||||7771000^Left^SCT")
    assert one("red_reflex", white) == {"value": "white", "side": "left"}


@pytest.mark.parametrize(
    ("letter", "status"),
    [("F", "final"), ("C", "corrected"), ("P", "preliminary"), ("D", "entered-in-error"), ("X", "cancelled")],
)
def test_the_status(letter: str, status: str) -> None:
    [reading] = taken(obx("NM", "29463-7^^LN", "3150", "g", status=letter)).visit["findings"]["weight"]
    assert reading["status"] == status


@pytest.mark.parametrize(
    "segment",
    [
        obx("NM", "wt^Weight^L", "3150", "g"),
        obx("NM", "29463-7^Weight", "3150", "g"),
        obx("NM", "", "3150", "g"),
        obx("ST", "29463-7^^LN", "about 7 lb 4 oz"),
        obx("NM", "29463-7^^LN", "3150~3160", "g"),
        obx("NM", "29463-7^^LN", "", "g"),
        obx("SN", "29463-7^^LN", "^1^:^128", "g"),
        obx("CE", "88610006^Murmur^SCT", "XX^Perhaps^L"),
        obx("ED", "88610006^Murmur^SCT", "LAB^Application^PDF^Base64^QQ=="),
        obx("TS", "88610006^Murmur^SCT", "20261124"),
    ],
)
def test_what_is_not_understood_is_kept_and_counted(segment: str) -> None:
    result = taken(segment, obx("NM", "8867-4^^LN", "140", "/min"))
    assert not result.problems
    assert result.counts.not_understood == 1
    [kept] = result.not_understood
    assert kept["path"].startswith("OBX[1]")
    assert list(result.visit["findings"]) == ["heart_rate"]


def test_escapes_and_other_separators() -> None:
    said = taken(obx("ST", "88610006^^SCT", "soft \\T\\ short\\.br\\at the \\S\\ edge \\E\\")).not_understood[0]["text"]
    assert said == "soft & short at the ^ edge \\"
    other = message(obx("NM", "29463-7^^LN", "3150", "g")).translate(bytes.maketrans(b"^~&\\", b"$*%!"))
    assert read_message(other, pack()).visit["findings"]["weight"]


def test_site_codes_and_a_bare_number() -> None:
    site = (SiteCode("L", "WT", "weight", None, "g"),)
    [reading] = taken(obx("NM", "WT^Weight^L", "3150"), site=site).visit["findings"]["weight"]
    assert (reading["value"], reading["unit"]) == ("3150", "g")


def test_the_time_of_a_result() -> None:
    own = taken(obx("NM", "29463-7^^LN", "3150", "g", more="202611240930+0100"))
    assert own.visit["at"] == "2026-11-24T09:30:00+01:00"
    plain = MSH.replace("101500-0600", "101500")
    for zone, offset in (("America/Chicago", "-06:00"), ("Europe/Berlin", "+01:00")):
        result = taken(obx("NM", "29463-7^^LN", "3150", "g"), zone=zone, head=plain)
        assert result.visit["at"] == f"2026-11-24T10:00:00{offset}"
        assert result.visit["born"] == f"2026-11-20T08:30:00{offset}"


def test_a_time_without_offset_is_an_error() -> None:
    result = taken(obx("NM", "29463-7^^LN", "3150", "g"), head=MSH.replace("101500-0600", "101500"))
    lines = [str(problem) for problem in result.problems]
    assert any(line.startswith("OBX[1]-14: the time has no offset from UTC") for line in lines)
    assert any(line.startswith("PID[1]-7") for line in lines)
    assert "a time zone in the site file" in lines[0]


def test_an_hour_that_comes_twice_is_not_guessed() -> None:
    head = MSH.replace("20261124101500-0600", "20261101101500")
    twice = PID.replace("20261120083000", "20261101013000")
    result = taken(zone="America/Chicago", head=head, person=twice, order=OBR.replace("20261124", "20261102"))
    assert any(problem.path == "PID[1]-7" for problem in result.problems)


@pytest.mark.parametrize(("stay", "at"), [("O", "2026-11-24T09:00:00-06:00"), ("I", AT)])
def test_an_outpatient_stay_is_the_visit_and_an_admission_is_not(stay: str, at: str) -> None:
    begun = "PV1|1|" + stay + "|" * 42 + "20261124090000"
    result = taken(begun, obx("NM", "29463-7^^LN", "3150", "g"))
    assert result.visit["at"] == at
    assert not result.problems


@pytest.mark.parametrize(
    ("segment", "path", "code"),
    [
        (obx("NM", "29463-7^^LN", "heavy", "g"), "OBX[1]-5", "value"),
        (obx("NM", "29463-7^^LN", "3150"), "OBX[1]-5", "unit"),
        (obx("NM", "29463-7^^LN", "3150", "stone"), "OBX[1]-5", "unit"),
        (obx("NM", "29463-7^^LN", "3150", "g^kg^UCUM"), "OBX[1]-5", "contradiction"),
        (obx("NM", "29463-7^^LN", "3150", "g", status="?"), "OBX[1]-11", "structure"),
        (obx("SN", "29463-7^^LN", "<>^3150", "g"), "OBX[1]-5", "structure"),
        (obx("NM", "29463-7^^LN", "3150", "g", more="2026112410"), "OBX[1]-14", "time"),
        (obx("NM", "29463-7^^LN", "3150", "g", more="20261101100000"), "OBX[1]-14", "time"),
    ],
)
def test_mistakes_are_named_by_the_field(segment: str, path: str, code: str) -> None:
    result = taken(segment)
    assert (path, code) in [(problem.path, problem.code) for problem in result.problems]
    assert result.counts.refused == 1


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"MSH", "no HL7 v2"),
        (b"MSH|^~\\&", "type is not read"),
        (b"MSH|^^^^|", "no HL7 v2"),
        (message(head=MSH.replace("ORU^R01", "ADT^A01")), "type is not read"),
        (message(MSH), "more than one message"),
        (message("a line that was torn off"), "no segment"),
        (message("OBXX|1"), "no segment"),
        (message().replace(b"MARA", b"\xff"), "not UTF-8"),
        (message("OBX|1|ST|a||" + "^" * 20_000), "more than 10000"),
    ],
)
def test_what_is_no_result_message_is_a_sentence(data: bytes, word: str) -> None:
    assert is_message(data)
    with pytest.raises(InputError, match=word):
        read_message(data, pack())


def test_no_newborn_and_two() -> None:
    [missing] = taken(person="").problems
    assert (missing.code, missing.expected) == ("patient", "a PID segment with the newborn")
    both = taken(PID.replace("77^", "78^").replace("88^", "89^").replace("~9|", "~10|"))
    assert [(problem.path, problem.code) for problem in both.problems] == [("PID[2]", "patient")]


def test_latin_1_where_the_message_says_so() -> None:
    data = message(obx("NM", "1975-2^^LN", "205", "µmol/L"), head=MSH + "||||||8859/1").decode().encode("latin-1")
    assert read_message(data, pack()).visit["findings"]["serum_bilirubin"][0]["unit"] == "umol/L"


def test_without_the_library_it_is_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "hl7apy.parser", None)
    with pytest.raises(InputError, match=r"pip install 'layette\[hl7v2\]'"):
        read_message(message(), pack())


@pytest.mark.parametrize("seed", range(150))
def test_changed_messages_end_in_a_result_or_an_input_error(seed: int) -> None:
    drawn = random.Random(seed)
    data = bytearray(
        message(obx("NM", "29463-7^^LN", "3150", "g"), obx("SN", "1975-2^^LN", ">^20", "mg/dL"), "NTE|1||x")
    )
    for _ in range(drawn.randint(1, 12)):
        place = drawn.randrange(3 if drawn.random() < 0.9 else 0, len(data))
        mark = drawn.choice(b'|^~\\&\r\n\x00\x0b"0Z9.+-\xc3 MSHOBXPID')
        drawn.choice((lambda p, m: data.insert(p, m), data.__setitem__, lambda p, m: data.__delitem__(p)))(place, mark)
    problems: tuple[InputProblem, ...]
    try:
        result = read_message(bytes(data), pack(), zone=drawn.choice((None, "America/Chicago")))
        adds_up(result)
        problems = result.problems
    except InputError as error:
        problems = error.problems
    assert all(problem.code in INPUT_CODES and "Bundle" not in str(problem) for problem in problems)


def test_the_command_reads_a_message_and_writes_fhir(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    load_pack()
    path = tmp_path / "oru.hl7"
    path.write_bytes(b"\x0b" + message(obx("SN", "1975-2^^LN", ">^20", "mg/dL"), obx("NM", "x^^L", "1")) + b"\x1c\r")
    out = tmp_path / "out.json"
    assert main(["assess", str(path), "--to", "fhir-json", "--out", str(out)]) == 0
    assert "5 segments read: 2 used, 1 kept but not understood, 2 not used, 0 refused" in capsys.readouterr().err
    assert '"1975-2"' in out.read_text()
    assert main(["validate", str(out)]) == 0
    path.write_bytes(message(obx("NM", "29463-7^^LN", "3150")))
    assert main(["assess", str(path)]) == 2
    assert "OBX[1]-5: a number without a unit" in capsys.readouterr().err
