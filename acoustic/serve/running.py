"""Start the counter page: names, certificate, the code for the first device, the server itself."""

from __future__ import annotations

import ipaddress
import os
import socket
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.errors import InputError

if TYPE_CHECKING:
    from cryptography import x509

LIVES_DAYS = 820  # phones refuse what lives longer than 825 days
MOST_HEAD_BYTES = 32_768  # judgement: of a request's first lines; cookies are short


@dataclass(frozen=True, slots=True)
class Certificate:
    """Two files in PEM."""

    cert: Path
    key: Path


def own_names(*, shared: bool) -> tuple[str, ...]:
    """Hosts by which this machine is reached: itself alone, or the network's names for it as well."""
    local = ("127.0.0.1", "localhost")
    if not shared:
        return local
    name = socket.gethostname().lower()
    names = dict.fromkeys((*network_addresses(), name, f"{name.partition('.')[0]}.local", *local))
    return tuple(names)


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
    if kept.cert.is_file() and kept.key.is_file() and _covers(kept.cert, names):
        return kept
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "Workshop counter page")])
    at = datetime.now(UTC)
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
        .add_extension(x509.ExtendedKeyUsage([x509.oid.ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    secret = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    handle = os.open(kept.key, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(secret)
    kept.cert.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    return kept


def _general(name: str) -> x509.GeneralName:
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _covers(cert: Path, names: tuple[str, ...]) -> bool:
    """Whether a certificate is still good for a month, and for all names."""
    from cryptography import x509

    try:
        read = x509.load_pem_x509_certificate(cert.read_bytes())
    except ValueError:
        return False
    there = read.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    good = read.not_valid_after_utc - datetime.now(UTC) > timedelta(days=30)
    return good and {_general(name) for name in names} <= set(there)


def run(app: object, *, host: str, port: int, tls: Certificate | None, started: Callable[[], None]) -> None:
    """Serve until Ctrl-C.

    Parameters
    ----------
    app : ASGI application
    host : str
    port : int
    tls : Certificate or None
    started : callable
        Called once it answers.

    Raises
    ------
    InputError
        The port is taken.
    """
    import uvicorn

    class Server(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            if self.started:
                started()

    config = uvicorn.Config(
        app,  # type: ignore[arg-type]
        host=host,
        port=port,
        access_log=False,
        log_level="error",
        server_header=False,
        h11_max_incomplete_event_size=MOST_HEAD_BYTES,
        timeout_graceful_shutdown=3,
        ssl_certfile=None if tls is None else str(tls.cert),
        ssl_keyfile=None if tls is None else str(tls.key),
    )
    with socket.socket() as probe:
        try:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind((host, port))
        except OSError as error:
            raise InputError(
                f"port {port} cannot be used ({error.strerror})",
                hint="Another program or this page listens there already; give another port with --port.",
            ) from None
    Server(config).run()
