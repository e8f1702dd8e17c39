"""The scheduler of a cluster: its address, the certificates for it, and who answers there."""

import ipaddress
import socket
import ssl
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from agents.errors import OptionError, WorkError

# Seconds for which a scheduler has to answer.
ANSWER_TIME = 10.0

_EXAMPLE = "one looks like tcp://10.0.0.5:8786, or tls://10.0.0.5:8786"
# A message of Dask begins with its length and the number of its frames, as 64-bit numbers, the least byte
# first; a greeting is short.
_MOST_GREETING, _MOST_FRAMES = 100_000, 16


@dataclass(frozen=True)
class Tls:
    """Files (PEM, RFC 7468) for a scheduler at tls://: who signs for those we trust, and who we are."""

    ca: Path | None = None
    cert: Path | None = None
    key: Path | None = None

    @property
    def is_given(self) -> bool:
        """Whether any file is given."""
        return any(one is not None for one in (self.ca, self.cert, self.key))


@dataclass(frozen=True)
class Address:
    """A scheduler: ``text`` as it was given."""

    text: str
    scheme: str
    host: str
    port: int

    @property
    def warning(self) -> str:
        """What has to be said of a scheduler on another machine that is asked in the open; else empty."""
        if self.scheme == "tls" or _is_here(self.host):
            return ""
        return (
            f"{self.text} is asked in the open: whoever is on the way can read the plan and its files and "
            "change the results, and whoever reaches the scheduler can run commands on its workers; use "
            "tls:// with --tls-ca, --tls-cert and --tls-key, or a network of your own"
        )


def read_address(text: str, tls: Tls) -> Address:
    """The scheduler that is meant by an address. Raises OptionError for what is none, or lacks its files."""
    try:
        parts = urlsplit(text)
        host, port = parts.hostname, parts.port
        (host or "").encode("idna")
    except ValueError:
        host = port = None
    is_whole = host and port and parts.scheme in ("tcp", "tls") and text.isprintable()
    if not is_whole or parts.path.strip("/") or parts.query or parts.fragment or parts.username is not None:
        raise OptionError(f"{text[:80]}: no address of a scheduler; {_EXAMPLE}")
    assert host
    assert port
    if parts.scheme == "tcp" and tls.is_given:
        raise OptionError(
            f"{text}: certificates are of use with tls:// only; ask for tls://{host}:{port}, or leave out "
            "--tls-ca, --tls-cert and --tls-key"
        )
    if parts.scheme == "tls" and not (tls.ca and tls.cert and tls.key):
        raise OptionError(f"{text}: takes the three files --tls-ca, --tls-cert and --tls-key")
    return Address(text, parts.scheme, host, port)


def check_reached(address: Address, tls: Tls) -> None:
    """Raise WorkError, and soon, where no scheduler answers; Dask itself would try for long.

    Raises OptionError for certificates that cannot be used.
    """
    context = _context(tls) if address.scheme == "tls" else None
    try:
        with socket.create_connection((address.host, address.port), timeout=ANSWER_TIME) as plain:
            if context is None:
                heard = _heard(plain)
            else:
                with context.wrap_socket(plain) as secret:
                    heard = _heard(secret)
    except ssl.SSLError as error:
        raise WorkError(
            f"{address.text}: no connection that both sides trust ({error.reason or error}); do the files "
            "--tls-ca, --tls-cert and --tls-key belong to this scheduler, and does it speak TLS?"
        ) from error
    except TimeoutError as error:
        raise WorkError(
            f"{address.text}: nobody answers there within {ANSWER_TIME:.0f} s; is it a Dask scheduler"
            + ("?" if context else ", and not one that has to be asked as tls://?")
        ) from error
    except (OSError, UnicodeError) as error:
        reason = getattr(error, "strerror", None) or error
        raise WorkError(
            f"{address.text}: no Dask scheduler can be reached there ({reason}); is it running?"
        ) from error
    if not _is_greeting(heard):
        raise WorkError(f"{address.text}: something listens there, but not a Dask scheduler")


def security(tls: Tls, distributed: Any) -> Any:
    """What Dask takes for connections with these certificates, or None."""
    if not tls.is_given:
        return None
    return distributed.Security(
        tls_ca_file=str(tls.ca),
        tls_client_cert=str(tls.cert),
        tls_client_key=str(tls.key),
        require_encryption=True,
    )


def _context(tls: Tls) -> ssl.SSLContext:
    for path in (tls.ca, tls.cert, tls.key):
        try:
            with open(str(path), "rb"):  # noqa: PTH123 - to be told apart from what is in it
                pass
        except OSError as error:
            raise OptionError(f"{path}: cannot be read ({error.strerror})") from error
    # as Dask does it: who has a certificate of this authority is trusted, by whatever name it is reached
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname = False
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_verify_locations(str(tls.ca))
    except (ssl.SSLError, OSError) as error:
        raise OptionError(f"{tls.ca}: holds no certificates of an authority (PEM)") from error
    try:
        # a key that asks for a password would stop and wait for somebody to type it
        context.load_cert_chain(str(tls.cert), str(tls.key), password="")
    except (ssl.SSLError, OSError, ValueError) as error:
        raise OptionError(f"{tls.cert} and {tls.key}: are no certificate (PEM) with its open key") from error
    return context


def _heard(connection: socket.socket) -> bytes:
    """The first bytes that somebody says by itself."""
    heard = b""
    while len(heard) < 16:
        more = connection.recv(16 - len(heard))
        if not more:
            break
        heard += more
    return heard


def _is_greeting(heard: bytes) -> bool:
    if len(heard) < 16:
        return False
    length, frames = struct.unpack("<QQ", heard)
    return 0 < frames <= _MOST_FRAMES and 0 < length <= _MOST_GREETING


def _is_here(host: str) -> bool:
    """Whether a host is this very machine."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host.lower() == "localhost"
