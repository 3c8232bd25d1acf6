"""Where a server listens: on this machine, unless somebody says otherwise."""

from __future__ import annotations

import ipaddress
import socket
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from layette.engine.errors import InputError, InputProblem
from layette.mapping.service.names import LOOPBACK, name_in

_BACKLOG = 256


@dataclass(frozen=True, slots=True)
class Address:
    """An address to listen on, and the names that the server goes by there; ``open``: other machines reach it."""

    host: str
    names: frozenset[str]
    open: bool

    def bound(self, port: int) -> socket.socket:
        """Return a socket that listens on the address. Raises OSError where the port is taken."""
        family = socket.AF_INET6 if ":" in self.host else socket.AF_INET
        # The protocol is named, since only then what is accepted sends small replies at once: unnamed, each would wait
        # some 40 ms for the other side to say that it has got the one before.
        listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        try:
            if sys.platform != "win32":  # there, it would share the port with others
                listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listening.bind((self.host, port))
            listening.listen(_BACKLOG)
            return listening
        except OSError as error:
            listening.close()
            raise OSError(error.errno, error.strerror, f"{self.host} port {port}") from None

    def told(self, port: int) -> Iterator[str]:
        """Yield what whoever started the server should know."""
        shown = f"[{self.host}]" if ":" in self.host else self.host
        yield f"http://{shown}:{port}/"
        if self.open:
            yield (
                "WARNING: other machines reach this address. There is no sign-in and no encryption here: let a server "
                "that has both stand before it, and nobody else reach it."
            )


def address(host: str, allowed: bool, names: Iterable[str]) -> Address:
    """Return the address for what was asked. Raises `InputError` for one that other machines reach, unless allowed.

    ``names`` are further ones by which browsers reach the server; an address that stands for all of the machine's needs
    one, since none is known of it.
    """
    try:
        found = ipaddress.ip_address("127.0.0.1" if host == "localhost" else host)
    except ValueError:
        raise _wrong("--host", "this is no IP address", host, "such as 127.0.0.1") from None
    wrong = [name for name in names if name_in(name) != name.lower()]
    if wrong:
        raise _wrong("--name", "this is no name of a machine", wrong[0], "such as clinic.example, without port")
    known = LOOPBACK | {name.lower() for name in names}
    if found.is_loopback:
        return Address(str(found), known, False)
    if not allowed:
        message = "other machines reach this address, and there is no sign-in"
        raise _wrong("--host", message, host, "127.0.0.1, or --open-to-network beside it")
    if found.is_unspecified and known == LOOPBACK:
        raise _wrong("--name", "browsers reach all addresses of a machine by some name", host, "--name NAME beside it")
    return Address(str(found), known | ({str(found)} if not found.is_unspecified else set()), True)


def _wrong(option: str, message: str, value: str, right: str) -> InputError:
    return InputError([InputProblem(option, "setting", message, value, right)])
