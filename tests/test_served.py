"""The served program against senders that are slow, lie or ask for what is not theirs: over its real socket."""

from __future__ import annotations

import io
import socket
import ssl
import subprocess
import threading
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from app import serving as program
from app.config import Settings
from app.patient_server import WholeBodyFirst
from tests.soak.served import Ground, Served, lay_ground, serving

HEAD = b"Host: 127.0.0.1\r\nConnection: close\r\n"
FORM = b"Content-Type: application/x-www-form-urlencoded\r\n"
#: Well under the 20 s after which the server gives a silent sender up.
SOON_S = 10
#: Many more than work at once (4), fewer than may wait (200).
MANY = 60


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> Ground:
    return lay_ground(tmp_path_factory.mktemp("served") / "instance")


@pytest.fixture(scope="module")
def served(ground: Ground) -> Iterator[Served]:
    with serving(ground) as running:
        yield running


def ask(served: Served, raw: bytes, wrap: ssl.SSLContext | None = None) -> tuple[int, bytes]:
    """The status and the whole answer to these bytes, which must come soon."""
    with ExitStack() as stack:
        line: socket.socket = stack.enter_context(socket.create_connection(("127.0.0.1", served.port), SOON_S))
        if wrap:
            line = stack.enter_context(wrap.wrap_socket(line, server_hostname="localhost"))
        got = b""
        try:
            line.sendall(raw)
            while piece := line.recv(65_536):
                got += piece
        except (ConnectionResetError, BrokenPipeError):
            pass  # refused before all of it was sent: what was answered counts
    return int(got.split(b" ", 2)[1]), got


def get(path: bytes, more: bytes = b"") -> bytes:
    return b"GET " + path + b" HTTP/1.1\r\n" + HEAD + more + b"\r\n"


def post(path: bytes, more: bytes, body: bytes) -> bytes:
    return b"POST " + path + b" HTTP/1.1\r\n" + HEAD + more + b"\r\n" + body


@pytest.mark.parametrize("begun", [
    b"", b"GET /healthz HTT", b"GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Half: ",
    b"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\n" + FORM + b"Content-Length: 1000\r\n\r\nhalf=of",
], ids=["nothing", "half a line", "half a head", "half a form"])
def test_senders_that_stop_half_way_hold_nobody_else(served: Served, begun: bytes) -> None:
    with ExitStack() as stack:
        for _ in range(MANY):
            stack.enter_context(socket.create_connection(("127.0.0.1", served.port), SOON_S)).sendall(begun)
        assert ask(served, get(b"/healthz"))[0] == 200


@pytest.mark.parametrize("version", [b"HTTP/1.0", b"HTTP/1.1"])
def test_a_body_in_chunks_is_refused_from_a_sender_of_http_1_0(served: Served, version: bytes) -> None:
    raw = b"POST /sign-in " + version + b"\r\n" + HEAD + FORM + b"Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n"
    status, answer = ask(served, raw + (get(b"/healthz") if version == b"HTTP/1.0" else b""))
    if version == b"HTTP/1.0":
        assert (status, answer.count(b"HTTP/1.1 ")) == (400, 1)  # what stood behind it was not read as a request
        assert b"Transfer-Encoding needs HTTP/1.1." in answer
    else:  # the same is taken where it belongs, and told that the sign-in page was too old
        assert b"Transfer-Encoding" not in answer
        assert b"too old" in answer


def test_what_is_too_large_is_refused_and_told(served: Served, ground: Ground) -> None:
    token = b"Authorization: Bearer " + ground.token.encode() + b"\r\nContent-Type: application/json\r\n"
    assert ask(served, get(b"/healthz", b"X-Long: " + b"a" * 1_000_000 + b"\r\n"))[0] == 413
    assert ask(served, get(b"/" + b"a" * 1_000_000))[0] == 414
    assert ask(served, get(b"/healthz", b"".join(b"X-%d: 1\r\n" % i for i in range(50_000))))[0] == 413
    status, told = ask(served, post(b"/sign-in", FORM + b"Content-Length: 3000000\r\n", b"a=" + b"b" * 2_999_998))
    assert (status, b"2 MB is the most" in told) == (413, True)
    assert ask(served, post(b"/sign-in", FORM + b"Content-Length: 99999999\r\n", b"a=b"))[0] == 413
    status, told = ask(served, post(b"/api/v1/readings", token + b"Content-Length: 3000000\r\n", b"1" * 3_000_000))
    assert (status, b"application/problem+json" in told) == (413, True)
    deep = b"[" * 200_000 + b"]" * 200_000
    assert ask(served, post(b"/api/v1/readings", token + b"Content-Length: %d\r\n" % len(deep), deep))[0] == 400
    assert ask(served, get(b"/healthz"))[0] == 200


@pytest.mark.parametrize(("lie", "body"), [
    (b"Content-Length: 5\r\nTransfer-Encoding: chunked\r\n",
     b"0\r\n\r\nGET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"),
    (b"Transfer-Encoding: chunked\r\n", b"ZZZ\r\nabc\r\n0\r\n\r\n"),
    (b"Transfer-Encoding: chunked\r\n", b"-5\r\nabc\r\n0\r\n\r\n"),
    (b"Transfer-Encoding: chunked\r\n", b"FFFFFFFFFFFF\r\nabc\r\n0\r\n\r\n"),
    (b"Content-Length: -5\r\n", b""),
    (b"Content-Length: 5\r\nContent-Length: 6\r\n", b"abcdef"),
    (b"Content-Length: many\r\n", b"abcdef"), (b"Content-Length: " + 5_000 * b"9" + b"\r\n", b"abcdef"),
])
def test_a_body_whose_length_is_a_lie_is_refused_and_no_second_request_is_read_out_of_it(
        served: Served, lie: bytes, body: bytes) -> None:
    status, told = ask(served, post(b"/sign-in", FORM + lie, body))
    assert status == 400
    assert told.count(b"HTTP/1.1 ") == 1


def test_a_length_told_in_two_ways_is_refused_where_one_way_is_answered(served: Served) -> None:
    """RFC 9112, 5.1, 6.1 and 6.3 (from memory): else a proxy and the server part the bytes into requests
    differently."""
    length, chunked = b"Content-Length: 5\r\n", b"Transfer-Encoding: chunked\r\n"
    chunks, hidden = b"5\r\nabcde\r\n0\r\n\r\n", b"GET /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
    for told, body in ((length, b"abcde"), (chunked, chunks)):
        assert ask(served, get(b"/healthz", told) + body)[0] == 200
    for told, body in (
            (length + length, b"abcde"), (length + b"Content-Length: 6\r\n", b"abcdef"),
            (b"Content-Length: 6\r\n" + length, b"abcdef"), (b"Content-Length: 5, 5\r\n", b"abcde"),
            (b"Content-Length: 5\r\n 1\r\n", b"abcde"), (b"Content-Length : 5\r\n", b"abcde"),
            (b"Content-Length: +5\r\n", b"abcde"), (b"Content-Length: 0_5\r\n", b"abcde"),
            (length + chunked, chunks), (chunked + length, chunks), (chunked + chunked, chunks),
            (b"content-length: 0\r\n" + length, hidden)):
        status, answer = ask(served, get(b"/healthz", told) + body)
        assert (status, answer.count(b"HTTP/1.1 ")) == (400, 1), told


def test_a_page_opens_while_every_place_that_may_be_is_taken_by_what_tablets_send() -> None:
    """Four at work at once: of five that send, three are let in, and a page does not wait behind them."""
    working, may_end, opened = threading.Semaphore(0), threading.Event(), []

    def app(environ: dict[str, object], _start: object) -> list[bytes]:
        if environ["REQUEST_METHOD"] == "POST":
            working.release()
            assert may_end.wait(SOON_S)
        return [b"done"]

    served_one = WholeBodyFirst(app, at_once=4)
    sent = {"REQUEST_METHOD": "POST", "CONTENT_LENGTH": "2"}
    tablets = [threading.Thread(target=served_one, args=({**sent, "wsgi.input": io.BytesIO(b"[]")}, None))
               for _ in range(5)]
    page = threading.Thread(target=lambda: opened.extend(served_one({"REQUEST_METHOD": "GET"}, None)))
    for tablet in tablets:
        tablet.start()
    for _ in range(3):
        assert working.acquire(timeout=SOON_S)
    page.start()
    page.join(SOON_S)
    there_meanwhile = list(opened)
    may_end.set()
    for thread in (*tablets, page):
        thread.join()
    assert there_meanwhile == [b"done"]


@pytest.mark.parametrize("path", [
    b"/static/../config.py", b"/static/%2e%2e/config.py", b"/static/..%2f..%2fpyproject.toml", b"/static//etc/passwd",
    b"/static/..%5cconfig.py", b"/static/css/%00", b"/.git/config", b"/static/css/", b"/static/", b"/instance/secret"])
def test_no_path_leads_out_of_what_is_served_and_no_folder_is_listed(served: Served, path: bytes) -> None:
    assert ask(served, get(path))[0] in (400, 404)


def test_only_names_of_ours_are_answered_and_nobody_is_sent_elsewhere(served: Served) -> None:
    foreign = b"GET /sign-in HTTP/1.1\r\nHost: evil.example\r\nConnection: close\r\n\r\n"
    assert ask(served, foreign)[0] == 400
    assert ask(served, b"GET /sign-in HTTP/1.1\r\nConnection: close\r\n\r\n")[0] == 400
    assert ask(served, get(b"http://evil.example/sign-in"))[0] == 400
    assert ask(served, get(b"//evil.example/%2e%2e"))[0] == 400
    assert ask(served, b"TRACE / HTTP/1.1\r\n" + HEAD + b"\r\n")[0] == 405
    told = ask(served, get(b"/screen/night?next=//evil.example%0d%0aSet-Cookie:x=y"))[1]
    assert b"\r\nLocation: /\r\n" in told
    assert b"x=y" not in told


def test_tls_is_1_2_or_newer_and_who_never_shakes_hands_holds_nobody_else(
        tmp_path: Path, recwarn: pytest.WarningsRecorder) -> None:
    key, certificate = tmp_path / "key.pem", tmp_path / "certificate.pem"
    subprocess.run(["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
                    "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1", "-days", "2",
                    "-keyout", str(key), "-out", str(certificate)], check=True, capture_output=True)
    trusting, old = ssl.create_default_context(cafile=certificate), ssl.create_default_context(cafile=certificate)
    with serving(lay_ground(tmp_path / "instance"), "--tls-cert", str(certificate), "--tls-key", str(key)) as running:
        with ExitStack() as stack:
            for _ in range(MANY):
                stack.enter_context(socket.create_connection(("127.0.0.1", running.port), SOON_S))
            status, told = ask(running, get(b"/sign-in"), trusting)
            assert status == 200
            assert b"Strict-Transport-Security" in told
            assert b"__Host-visitor=" in told
        old.set_ciphers("ALL:@SECLEVEL=0")
        old.minimum_version = ssl.TLSVersion.TLSv1
        old.maximum_version = ssl.TLSVersion.TLSv1_1
        with pytest.raises((ssl.SSLError, ConnectionError)):
            ask(running, get(b"/sign-in"), old)
    recwarn.clear()  # the old versions are deprecated here too, which is the point


@pytest.mark.parametrize(("host", "tls", "proxies", "warned"), [
    ("0.0.0.0", False, 0, True), ("10.20.0.5", False, 0, True), ("0.0.0.0", True, 0, False),
    ("0.0.0.0", False, 1, False), ("127.0.0.1", False, 0, False)])
def test_who_serves_a_network_without_tls_is_told_that_secrets_cross_it_in_the_clear(
        tmp_path: Path, host: str, tls: bool, proxies: int, warned: bool) -> None:
    said: list[str] = []
    program._say_where(Settings(instance=tmp_path, proxies=proxies), host, 8000, tls, None, said.append)
    assert ("in the clear" in " ".join(said)) is warned
