"""Where the server listens, and who may reach it."""

from __future__ import annotations

import socket

import pytest

from layette.engine import InputError
from layette.mapping.cli import main
from layette.mapping.service.listening import address
from layette.mapping.service.names import LOOPBACK


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1", "127.0.0.5"])
def test_loopback_needs_no_leave(host: str) -> None:
    found = address(host, False, [])
    assert (found.open, found.names) == (False, LOOPBACK)
    assert len(list(found.told(8470))) == 1


@pytest.mark.parametrize("host", ["127.0.0.1", "::1"])
def test_small_replies_are_sent_at_once(host: str) -> None:
    try:
        listening = address(host, False, []).bound(0)
    except OSError:
        pytest.skip(f"this machine has no {host}")
    with listening:
        assert listening.proto == socket.IPPROTO_TCP, "asyncio asks for this before it turns waiting off"


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.7", "2001:db8::1"])
def test_another_address_needs_leave_and_brings_a_warning(host: str) -> None:
    with pytest.raises(InputError, match="--open-to-network"):
        address(host, False, ["clinic.example"])
    found = address(host, True, ["Clinic.example"])
    assert found.open
    assert "clinic.example" in found.names
    assert [line.startswith("WARNING") for line in found.told(1)] == [False, True]


def test_a_single_address_is_a_name_and_all_addresses_are_none() -> None:
    assert "192.0.2.7" in address("192.0.2.7", True, []).names
    with pytest.raises(InputError, match="--name NAME"):
        address("0.0.0.0", True, [])
    assert "0.0.0.0" not in address("0.0.0.0", True, ["a"]).names


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--host", "0.0.0.0"], "--open-to-network"),
        (["--host", "clinic.example"], "this is no IP address"),
        (["--name", "clinic.example:80"], "without port"),
        (["--workers", "0"], "--workers"),
        (["--queue", "0"], "--queue"),
        (["--seconds", "0"], "--seconds"),
        (["--megabytes", "-1"], "--megabytes"),
        (["--port", "-1"], "--port"),
        (["--pack", "nowhere"], "nowhere"),
    ],
)
def test_what_makes_no_server_is_an_error(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["serve", *words]) == 2
    assert told in capsys.readouterr().err


def test_without_the_extra_it_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("layette.mapping.cli.verbs.serve.find_spec", lambda name: None)
    assert main(["serve"]) == 2
    assert "pip install 'layette[serve]'" in capsys.readouterr().err
