"""The board by TLS: it answers under its own names, and who says nothing holds up nobody."""

import http.client
import socket
import ssl
import threading
from contextlib import closing
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from dashboard.door import LAN_KEY, NAMES_KEY, SECURE_KEY, BoardRefused, listen_by_tls, own_names


def made(folder, name):
    """Write a key and a certificate of its own for this machine; returns both files."""
    key = ec.generate_private_key(ec.SECP256R1())
    who = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "shop-board")])
    now = datetime.now(UTC)
    names = [x509.DNSName("localhost"), x509.IPAddress(ip_address("127.0.0.1"))]
    cert = (
        x509.CertificateBuilder()
        .subject_name(who)
        .issuer_name(who)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .sign(key, hashes.SHA256())
    )
    files = folder / f"{name}.cert", folder / f"{name}.key"
    files[0].write_bytes(cert.public_bytes(serialization.Encoding.PEM))
    plain = serialization.NoEncryption()
    form = serialization.PrivateFormat.PKCS8
    files[1].write_bytes(key.private_bytes(serialization.Encoding.PEM, form, plain))
    return files


@pytest.fixture(scope="module")
def pair(tmp_path_factory):
    return made(tmp_path_factory.mktemp("tls"), "board")


@pytest.fixture
def port(app, pair):
    app.server.config.update({LAN_KEY: True, SECURE_KEY: True, NAMES_KEY: frozenset({"shop-board"})})
    server = listen_by_tls(app.server, "127.0.0.1", 0, *pair)
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    yield server.bind_addr[1]
    server.stop()
    thread.join(10)


def ask(port, pair, path="/sign-in", method="GET", body=None, **headers):
    trusted = ssl.create_default_context(cafile=str(pair[0]))
    with closing(http.client.HTTPSConnection("127.0.0.1", port, timeout=10, context=trusted)) as line:
        line.request(method, path, body, headers)
        with line.getresponse() as answer:
            return answer.status, answer.read().decode(), answer.headers


def test_it_answers_under_its_certificate_with_cookies_for_tls_only(port, pair):
    status, text, headers = ask(port, pair, "/")
    assert status == 200 and "<!doctype html>" in text
    assert "Secure" in headers["Set-Cookie"] and headers["Server"] == "board"


@pytest.mark.parametrize(
    "host, status",
    [("shop-board", 200), ("192.168.7.7:8050", 200), ("[fe80::1]", 200), ("evil.example", 421)],
)
def test_it_answers_under_its_names_and_any_address_only(port, pair, host, status):
    assert ask(port, pair, Host=host)[0] == status


def test_who_never_shakes_hands_or_speaks_plainly_holds_up_nobody(port, pair):
    silent = [socket.create_connection(("127.0.0.1", port)) for _ in range(5)]
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=10)) as plain:
        plain.request("GET", "/sign-in")
        with pytest.raises((http.client.HTTPException, OSError)):
            plain.getresponse()
    assert ask(port, pair)[0] == 200
    for one in silent:
        one.close()


def test_a_body_too_large_for_its_address_is_refused(port, pair):
    own = {"Origin": f"https://127.0.0.1:{port}"}
    # refused by its length alone: a body still being sent may meet a closed line before the answer is read
    for path, size in (
        ("/held/decide", 2**21),
        ("/bench/enter", 2**21),
        ("/plan/edit", 2**21),
        ("/uploads", 2**31),
    ):
        form = {"Content-Type": "application/json"} if path.startswith("/bench") else {}
        assert ask(port, pair, path, "POST", b"", **own, **form, **{"Content-Length": str(size)})[0] == 413, (
            path
        )


def test_what_cannot_be_used_as_certificate_is_refused_in_a_sentence(tmp_path, pair):
    other = made(tmp_path, "other")
    with pytest.raises(BoardRefused, match="cannot be used together"):
        listen_by_tls(None, "127.0.0.1", 0, pair[0], other[1])
    with pytest.raises(BoardRefused, match="There is no key .*none.pem. Name the PEM file with --key"):
        listen_by_tls(None, "127.0.0.1", 0, pair[0], tmp_path / "none.pem")
    with pytest.raises(BoardRefused, match="There is no certificate"):
        listen_by_tls(None, "127.0.0.1", 0, tmp_path, pair[1])


def test_the_machine_knows_its_own_names():
    assert own_names()[0] == socket.gethostname().lower()
