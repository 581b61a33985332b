"""Start the counter page: names, certificate, the code for the first device, the server itself."""

from __future__ import annotations

import ipaddress
import os
import re
import signal
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.errors import InputError
from acoustic.serve.settings import OWN_NAMES

if TYPE_CHECKING:
    import uvicorn
    from cryptography import x509

LIVES_DAYS = 820  # phones refuse what lives longer than 825 days
MOST_HEAD_BYTES = 32_768  # judgement: of a request's first lines; cookies are short
# What X.509 asks to be said of a key one by one.
USAGES = (
    "digital_signature",
    "content_commitment",
    "key_encipherment",
    "data_encipherment",
    "key_agreement",
    "key_cert_sign",
    "crl_sign",
    "encipher_only",
    "decipher_only",
)
# Besides Ctrl-C: what a system sends when it shuts down, and what a terminal sends whose window is closed.
ENDINGS = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
# A machine may bear a name that no address can.
NAME = re.compile(r"[a-z0-9][a-z0-9_.-]*")


@dataclass(frozen=True, slots=True)
class Certificate:
    """Two files in PEM."""

    cert: Path
    key: Path


def own_names(*, shared: bool) -> tuple[str, ...]:
    """Hosts by which this machine is reached: itself alone, or the network's names for it as well."""
    local = OWN_NAMES
    if not shared:
        return local
    name = socket.gethostname().lower()
    names = dict.fromkeys((*network_addresses(), name, f"{name.partition('.')[0]}.local", *local))
    return tuple(one for one in names if NAME.fullmatch(one))


def network_addresses() -> tuple[str, ...]:
    """Addresses of this machine in its networks, the one that leads outside first. Nothing is sent."""
    found: dict[str, None] = {}
    for peer in (
        "192.0.2.1",
        "10.255.255.255",
    ):  # a test network's and a private one's: both are only asked for a route
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            try:
                probe.connect((peer, 9))
            except OSError:
                continue
            found[probe.getsockname()[0]] = None
    return tuple(address for address in found if not ipaddress.ip_address(address).is_loopback)


def certificate(folder: Path, names: tuple[str, ...]) -> Certificate:
    """The certificate that was made for these names, or a new one.

    Parameters
    ----------
    folder : Path
        Where it is kept, so that a phone is asked once.
    names : tuple of str

    Returns
    -------
    Certificate
    """
    kept = Certificate(folder / "certificate.pem", folder / "key.pem")
    if kept.cert.is_file() and kept.key.is_file() and _covers(kept, names):
        return kept
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "Workshop counter page")])
    at = datetime.now(UTC)
    usage = dict.fromkeys(USAGES, False) | {"digital_signature": True}
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(at - timedelta(hours=1))
        .not_valid_after(at + timedelta(days=LIVES_DAYS))
        .add_extension(x509.SubjectAlternativeName([_general(name) for name in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.KeyUsage(**usage), critical=True)
        .add_extension(x509.ExtendedKeyUsage([x509.oid.ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    secret = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    _write(kept.key, secret)
    _write(kept.cert, made.public_bytes(serialization.Encoding.PEM))
    return kept


def _write(path: Path, content: bytes) -> None:
    """Write a file that this user alone may read, whole or not at all."""
    half = path.with_suffix(".new")
    half.unlink(missing_ok=True)
    with os.fdopen(os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(content)
    half.replace(path)


def require_usable(files: Certificate) -> None:
    """Refuse a certificate that cannot be served.

    Raises
    ------
    InputError
        One of the files is no PEM, the key is another's, or it is locked by a password.
    """
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(files.cert, files.key, password=lambda: "")
    except (ssl.SSLError, OSError) as error:
        raise InputError(
            f"{files.cert} and {files.key} cannot be used for TLS ({error})",
            hint="Give a certificate and its own key, both PEM files, the key without a password.",
        ) from None


def _general(name: str) -> x509.GeneralName:
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _covers(kept: Certificate, names: tuple[str, ...]) -> bool:
    """Whether a certificate is still good for a month, for all names, and with its key."""
    from cryptography import x509

    try:
        read = x509.load_pem_x509_certificate(kept.cert.read_bytes())
        there = read.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        require_usable(kept)
    except (ValueError, x509.ExtensionNotFound, InputError):
        return False
    good = read.not_valid_after_utc - datetime.now(UTC) > timedelta(days=30)
    return good and {_general(name) for name in names} <= set(there)


def listen(host: str, port: int) -> socket.socket:
    """Open the port.

    Raises
    ------
    InputError
        It is taken, or not for everybody.
    """
    opened = socket.socket()
    try:
        if os.name == "posix":  # elsewhere it would let two programs share a port
            opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        opened.bind((host, port))
    except OSError as error:
        opened.close()
        raise InputError(
            f"port {port} cannot be used ({error.strerror})",
            hint="Another program or this page listens there already, or the port is the system's own; "
            "give another one with --port.",
        ) from None
    return opened


@contextmanager
def ended_calmly() -> Iterator[None]:
    """Let the system's wish to end the program, or a closed window, end it as Ctrl-C does: with all put away."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    kept = {}
    for number in ENDINGS:
        if signal.getsignal(number) is not signal.SIG_IGN:  # as nohup has it
            kept[number] = signal.signal(number, signal.default_int_handler)
    try:
        yield
    finally:
        for number, handler in kept.items():
            signal.signal(number, handler)


def run(
    app: object,
    *,
    opened: socket.socket,
    tls: Certificate | None,
    started: Callable[[], None],
    stopping: Callable[[], None],
) -> None:
    """Serve until Ctrl-C, or until the system wishes it to end.

    Parameters
    ----------
    app : ASGI application
    opened : socket
        As `listen` opened it.
    tls : Certificate or None
    started : callable
        Called once it answers.
    stopping : callable
        Called before it waits for open connections to end.
    """
    import uvicorn

    class Server(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            if self.started:
                started()

        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            stopping()
            await super().shutdown(sockets)

    server = Server(configured(app, tls))
    for number in ENDINGS:  # uvicorn sees to the other itself
        if signal.getsignal(number) is signal.default_int_handler:
            signal.signal(number, server.handle_exit)
    with suppress(KeyboardInterrupt):  # the usual end
        server.run([opened])


def configured(app: object, tls: Certificate | None = None) -> uvicorn.Config:
    """How the server is set up: it keeps no list of who asked for what, and its patience ends."""
    import uvicorn

    from acoustic.serve.connection import Connection

    return uvicorn.Config(
        app,  # type: ignore[arg-type]
        http=Connection,
        ws="none",
        access_log=False,
        log_level="error",
        server_header=False,
        h11_max_incomplete_event_size=MOST_HEAD_BYTES,
        timeout_graceful_shutdown=3,
        ssl_certfile=None if tls is None else str(tls.cert),
        ssl_keyfile=None if tls is None else str(tls.key),
    )
