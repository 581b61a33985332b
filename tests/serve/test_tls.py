"""Over TLS: a certificate that is kept, for the names by which it is asked for, and cookies that stay on it."""

from __future__ import annotations

import http.client
import os
import shutil
import socket
import ssl
import stat
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import trustme
from cryptography import x509
from playwright.sync_api import sync_playwright
from serving import served

from acoustic.errors import InputError
from acoustic.serve import running
from acoustic.serve.running import Certificate, certificate, listen, network_addresses, own_names, require_usable

pytestmark = pytest.mark.broad  # each begins and ends servers of its own

NAMES = ("192.0.2.7", "bench.local", "127.0.0.1", "localhost")


def test_it_is_made_once(tmp_path: Path) -> None:
    first = certificate(tmp_path, NAMES)
    content = first.cert.read_bytes()
    assert certificate(tmp_path, NAMES[1:]).cert.read_bytes() == content, "fewer names are covered too"
    assert stat.S_IMODE(first.key.stat().st_mode) == 0o600
    assert not list(tmp_path.glob("*.new"))


def test_it_says_who_it_is_for_and_how_long(tmp_path: Path) -> None:
    read = x509.load_pem_x509_certificate(certificate(tmp_path, NAMES).cert.read_bytes())
    names = read.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.DNSName) == ["bench.local", "localhost"]
    assert [str(one) for one in names.get_values_for_type(x509.IPAddress)] == ["192.0.2.7", "127.0.0.1"]
    # Apple, support article 103769, from memory: 825 days or fewer, names in the SAN, server authentication.
    assert read.not_valid_after_utc - read.not_valid_before_utc <= timedelta(days=825)
    usage = read.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert x509.oid.ExtendedKeyUsageOID.SERVER_AUTH in usage
    assert not read.extensions.get_extension_for_class(x509.BasicConstraints).value.ca, "it signs nothing else"


@pytest.mark.parametrize("harm", ["another name", "soon over", "another key", "broken", "half written"])
def test_it_is_made_anew_where_it_is_no_good(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, harm: str) -> None:
    kept = certificate(tmp_path, NAMES)
    before, names = kept.cert.read_bytes(), NAMES
    if harm == "another name":
        names = (*NAMES, "192.0.2.8")
    elif harm == "soon over":
        later = datetime.now(UTC) + timedelta(days=running.LIVES_DAYS - 29)

        class Later(datetime):
            @classmethod
            def now(cls, tz: object = None) -> datetime:  # type: ignore[override]
                return later

        monkeypatch.setattr(running, "datetime", Later)
    elif harm == "another key":
        other = tmp_path / "other"
        other.mkdir()
        certificate(other, NAMES).key.replace(kept.key)
    elif harm == "broken":
        kept.cert.write_bytes(b"-----BEGIN CERTIFICATE-----\nx\n-----END CERTIFICATE-----\n")
    else:
        kept.key.write_bytes(kept.key.read_bytes()[:40])
    made = certificate(tmp_path, names)
    assert made.cert.read_bytes() != before
    require_usable(made)


def test_files_that_cannot_be_served_are_refused(tmp_path: Path) -> None:
    good, other = tmp_path / "good", tmp_path / "other"
    for folder in (good, other):
        folder.mkdir()
        certificate(folder, NAMES)
    text = tmp_path / "text.pem"
    text.write_text("no certificate", encoding="utf-8")
    for files in (
        Certificate(text, good / "key.pem"),
        Certificate(good / "certificate.pem", text),
        Certificate(good / "certificate.pem", other / "key.pem"),
        Certificate(good / "certificate.pem", tmp_path / "none.pem"),
    ):
        with pytest.raises(InputError, match="cannot be used for TLS"):
            require_usable(files)


def asked(port: int, context: ssl.SSLContext, method: str, path: str, **headers: str) -> http.client.HTTPResponse:
    connection = http.client.HTTPSConnection("127.0.0.1", port, context=context, timeout=30)
    said = {"Host": f"127.0.0.1:{port}", "Origin": f"https://127.0.0.1:{port}", **headers}
    body = said.pop("body", "")
    connection.request(method, path, body, said)
    answer = connection.getresponse()
    answer.read()
    connection.close()
    return answer


def test_a_client_that_trusts_the_certificate_is_served(tmp_path: Path) -> None:
    with served(tmp_path, "--tls", "auto") as page:
        kept = tmp_path / "book.counter" / "certificate.pem"
        trusts = ssl.create_default_context(cafile=str(kept))
        trusts.verify_flags |= ssl.VERIFY_X509_STRICT
        paired = asked(page.port, trusts, "POST", "/pair", body=f"code={page.code}&name=phone")
        cookie = paired.headers["set-cookie"]
        assert paired.status == 303
        assert "secure" in cookie.lower()
        assert cookie.startswith(f"__Host-crank-{page.port}="), "and plain http cannot take its place"
        assert asked(page.port, trusts, "GET", "/", Cookie=cookie.partition(";")[0]).status == 200
        assert asked(page.port, trusts, "GET", "/").status == 401
        assert asked(page.port, trusts, "POST", "/pair", Origin=f"http://127.0.0.1:{page.port}").status == 403
        with pytest.raises(ssl.SSLCertVerificationError):
            asked(page.port, ssl.create_default_context(), "GET", "/pair")
        plain = http.client.HTTPConnection("127.0.0.1", page.port, timeout=10)
        plain.request("GET", "/pair")
        with pytest.raises((http.client.HTTPException, ConnectionError)):
            plain.getresponse()
        plain.close()
        assert f"https://127.0.0.1:{page.port}/pair#" in "".join(page.said)
        before = kept.read_bytes()
    assert kept.read_bytes() == before


def test_the_shops_own_certificate_is_served(tmp_path: Path) -> None:
    authority = trustme.CA()
    made = authority.issue_cert("127.0.0.1")
    cert, key = tmp_path / "shop.pem", tmp_path / "shop.key"
    made.cert_chain_pems[0].write_to_path(cert)
    made.private_key_pem.write_to_path(key)
    trusts = ssl.create_default_context()
    authority.configure_trust(trusts)
    with served(tmp_path, "--tls", f"{cert},{key}") as page:
        assert asked(page.port, trusts, "GET", "/pair").status == 200


@pytest.mark.parametrize("tls", ["automatic", "a.pem", "a.pem,b.pem", ","])
def test_a_tls_option_that_names_no_files_is_refused(tmp_path: Path, tls: str) -> None:
    command = [sys.executable, "-m", "acoustic", "serve", "--book", str(tmp_path / "b.db"), "--tls", tls]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    assert done.stdout == ""
    assert "--tls is" in done.stderr


# Names and ports


def test_a_name_that_no_address_can_bear_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("Werkstatt PC", "büro", "", "-x"):
        monkeypatch.setattr(socket, "gethostname", lambda name=name: name)
        assert set(own_names(shared=True)) >= {"127.0.0.1", "localhost"}
        assert name.lower() not in own_names(shared=True)
        assert all(one.isascii() and " " not in one for one in own_names(shared=True))
    monkeypatch.setattr(socket, "gethostname", lambda: "Bench.example")
    assert {"bench.example", "bench.local"} <= set(own_names(shared=True))
    assert own_names(shared=False) == ("127.0.0.1", "localhost")


def test_a_port_that_is_taken_is_a_sentence() -> None:
    with listen("127.0.0.1", 0) as first:
        first.listen()
        with pytest.raises(InputError, match="cannot be used"):
            listen("127.0.0.1", first.getsockname()[1])


def test_shared_it_is_reached_by_the_networks_address(tmp_path: Path) -> None:
    """And without --share by this computer alone."""
    addresses = network_addresses()
    if not addresses:
        pytest.skip("this computer is in no network, so nothing could be asked from another address")
    for options in (("--share",), ()):
        with served(tmp_path, *options) as page:
            connection = http.client.HTTPConnection(addresses[0], page.port, timeout=10)
            if options:
                connection.request("GET", "/pair")
                assert connection.getresponse().status == 200
                assert f"http://{addresses[0]}:{page.port}/pair#" in "".join(page.said)
                codes = {line.rpartition("#")[2] for line in page.said if "/pair#" in line}
                assert len(codes) == 2, "the laptop's code is not the phone's"
            else:
                with pytest.raises(OSError):
                    connection.request("GET", "/pair")
            connection.close()


def test_the_microphone_is_given_over_tls_alone(tmp_path: Path) -> None:
    """In a real browser, by the network's address, as a phone asks; the session lasts there too."""
    program, addresses = shutil.which("chromium") or shutil.which("chromium-browser"), network_addresses()
    if program is None or not addresses:
        if program is None and os.environ.get("CI"):
            pytest.fail("there is no chromium on PATH")
        pytest.skip("there is no chromium on PATH, or no network, so no browser asked by an address")
    given = {}
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=["--no-sandbox"])
        for scheme, options in (("http", ["--share"]), ("https", ["--share", "--tls", "auto"])):
            with served(tmp_path, *options) as page:
                tab = browser.new_context(ignore_https_errors=True).new_page()
                tab.goto(f"{scheme}://{addresses[0]}:{page.port}/pair#{page.code}")
                tab.get_by_role("button", name="Pair").click()
                tab.wait_for_url(f"{scheme}://{addresses[0]}:{page.port}/")
                tab.goto(f"{scheme}://{addresses[0]}:{page.port}/record")
                assert "Record a spin" in tab.inner_text("h1")
                given[scheme] = tab.evaluate("[isSecureContext, Boolean(navigator.mediaDevices?.getUserMedia)]")
                tab.context.close()
        browser.close()
    assert given == {"http": [False, False], "https": [True, True]}
