"""The server beneath: a sender that is slow, stops half-way or never begins holds nobody else.

Whoever merely connects waits in the selector, not in a thread; heads, TLS handshakes and bodies are read by threads of
which there are more when all of them wait; and only so many requests are worked on at once as the settings say. Where
there is one writer anyway, what arrives whole is answered in turn (app/in_turn.py). What
keeps a thousand connections open on purpose is for a proxy in front or the plant's network to keep out.
"""

from __future__ import annotations

import io
import socket
import ssl
import tempfile
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from typing import Any

from cheroot.errors import FatalSSLAlert
from cheroot.server import HeaderReader, HTTPConnection, HTTPRequest
from cheroot.ssl.builtin import BuiltinSSLAdapter
from cheroot.wsgi import Server

from app.in_turn import Answer, InTurn, lies_whole
from app.store.together import Together

#: Threads that may wait for senders; an idle one costs a few kilobytes.
MOST_WAITING = 200
#: A request's line and headers together; the longest of ours is under 4 kB.
MOST_HEAD_BYTES = 64 * 1024
#: A larger body is put on disk until it is whole.
IN_MEMORY_BYTES = 256 * 1024
SENDER_TIMEOUT_S = 20
_PIECE = 64 * 1024

Environ = dict[str, Any]


class WholeBodyFirst:
    """WSGI around the app: the body is read to its end before one of the few places at work is taken.

    One place is left to those who only look: else every page waits behind all that a crew's tablets send at the
    change of shift.
    """

    def __init__(self, app: Callable[..., Iterable[bytes]], at_once: int) -> None:
        self._app, self._places = app, threading.BoundedSemaphore(at_once)
        self._places_to_send = threading.BoundedSemaphore(max(1, at_once - 1))
        self._of_thread = threading.local()

    @contextmanager
    def place_to_send(self) -> Iterator[None]:
        """One place for all that this thread answers meanwhile. Whoever stores several requests by one commit must not
        wait for a place in between: those who have one may wait for that commit."""
        with self._places_to_send, self._places:
            self._of_thread.has_one = True
            try:
                yield
            finally:
                self._of_thread.has_one = False

    def __call__(self, environ: Environ, start_response: Any) -> Iterable[bytes]:
        left = int(environ.get("CONTENT_LENGTH") or 0)  # the server has refused what is no number
        if left <= 0:
            with self._places:
                return self._app(environ, start_response)
        with tempfile.SpooledTemporaryFile(max_size=IN_MEMORY_BYTES) if left > _PIECE else io.BytesIO() as body:
            while left > 0:
                piece = environ["wsgi.input"].read(min(left, _PIECE))
                if not piece:
                    break
                body.write(piece)
                left -= len(piece)
            body.seek(0)
            environ["wsgi.input"] = body
            with nullcontext() if getattr(self._of_thread, "has_one", False) else self.place_to_send():
                return self._app(environ, start_response)


class LateHandshake(BuiltinSSLAdapter):
    """TLS 1.2 and newer. The handshake is the connection's own business: who never begins it stops nobody's."""

    def __init__(self, certificate: str, key: str) -> None:
        super().__init__(certificate, key)
        self.context.minimum_version = ssl.TLSVersion.TLSv1_2

    def wrap(self, sock: Any) -> tuple[Any, Environ]:
        try:
            wrapped = self.context.wrap_socket(sock, server_side=True, do_handshake_on_connect=False)
        except OSError as error:  # gone already
            raise FatalSSLAlert(*error.args) from error
        return wrapped, {"wsgi.url_scheme": "https", "HTTPS": "on"}


_FRAMING = (b"Content-Length", b"Transfer-Encoding")


class _GivenOnce(dict[bytes, bytes]):
    """Headers in which what tells the body's length stands once and on one line."""

    def __setitem__(self, name: bytes, value: bytes) -> None:
        if name in _FRAMING and name in self:
            raise ValueError(f"{name.decode()} is given twice.")
        super().__setitem__(name, value)


class OneLength(HeaderReader):
    """Whoever tells the length of a body in two ways is refused: a proxy in front may believe the other one, and then
    what it took for a body is read here as somebody's next request. RFC 9112, 5.1, 6.1 and 6.3
    (the sections from memory)."""

    def __call__(self, rfile: Any, hdict: dict[bytes, bytes] | None = None) -> dict[bytes, bytes]:
        """Raises ValueError, which the server answers with 400 and the end of the connection."""
        read = super().__call__(rfile, _GivenOnce())
        if all(name in read for name in _FRAMING):
            raise ValueError("Content-Length stands beside Transfer-Encoding.")
        if not read.get(b"Content-Length", b"0").isdigit():
            raise ValueError("Content-Length is no number.")
        headers = {} if hdict is None else hdict
        headers.update(read)
        return headers

    def _transform_key(self, key_name: bytes) -> bytes:
        if key_name != key_name.strip():
            raise ValueError("A header's name ends at its colon.")
        return key_name.title()


class Request(HTTPRequest):
    header_reader = OneLength()

    def read_request_headers(self) -> bool:
        """A body in chunks did not exist in HTTP/1.0: who sends one there may mean another end of it than we read.
        RFC 9112, 6.1 (the section from memory)."""
        read: bool = super().read_request_headers()
        if read and self.response_protocol != "HTTP/1.1" and b"Transfer-Encoding" in self.inheaders:
            self.simple_response("400 Bad Request", "Transfer-Encoding needs HTTP/1.1.")
            return False
        return read


class Connection(HTTPConnection):
    """Knows whether it was handed to a thread before, and shakes hands there."""

    RequestHandlerClass = Request
    begun = False
    shaken = False
    #: a request that has arrived with all of its body
    whole = b""

    def communicate(self) -> Any:
        if isinstance(self.socket, ssl.SSLSocket) and not self.shaken:
            try:
                self.socket.do_handshake()
            except OSError:  # no TLS, a version too old, gone, or too slow
                return False
            self.shaken = True
        return super().communicate()

    def answer_of_whole(self) -> Answer:
        """What is to be told to the whole request; it may be asked again."""
        files = self.rfile, self.wfile
        self.rfile, self.wfile = _There(self.whole), _Told()
        try:
            return Answer(keep=bool(self.communicate()), says=self.wfile.getvalue())
        finally:
            self.rfile, self.wfile = files


class _There(io.BytesIO):
    """In the place of the connection's file: the request, of which the connection does not ask for more."""

    def has_data(self) -> bool:
        return False


class _Told(io.BytesIO):
    bytes_written = 0


class PatientServer(Server):
    """Cheroot's, with all that. in_turn: one writer, so what is sent whole is answered one after the other. together:
    the database's, where several entries may be stored by one commit."""

    ConnectionClass = Connection
    max_request_header_size = MOST_HEAD_BYTES
    keep_alive_conn_limit = MOST_WAITING  # who waits in the selector costs no thread

    def __init__(self, address: tuple[str, int], app: Callable[..., Iterable[bytes]], at_once: int,
                 in_turn: bool = False,
                 together: Callable[[], AbstractContextManager[Together]] | None = None) -> None:
        self._first = WholeBodyFirst(app, at_once)
        super().__init__(address, self._first, numthreads=at_once, max=max(MOST_WAITING, at_once),
                         request_queue_size=256, timeout=SENDER_TIMEOUT_S)
        self._all_busy, self._growing, self._ending = threading.Event(), threading.RLock(), False
        self._in_turn = InTurn(self, together) if in_turn else None

    def prepare(self) -> None:
        super().prepare()
        if self._in_turn is not None:
            self._in_turn.start()
        threading.Thread(target=self._grow, daemon=True, name="more threads").start()

    def _grow(self) -> None:
        """Beside the main thread, which a signal may stop in the middle of this."""
        while self._all_busy.wait():
            self._all_busy.clear()
            with self._growing:
                short = self.requests.qsize - self.requests.idle
                if short > 0 and not self._ending:
                    self.requests.grow(short)

    def stop(self) -> None:
        """Only once no thread is half begun: it would take the word to end that was meant for another."""
        with self._growing:
            self._ending = True
            super().stop()
        if self._in_turn is not None:
            self._in_turn.end()

    def process_conn(self, conn: Any) -> None:
        """A new connection waits until it says something; then a thread takes it, a further one if all are busy."""
        if not conn.begun:
            conn.begun = True
            self._connections.put(conn)
            return
        if self._in_turn is not None and lies_whole(conn):
            self._in_turn.put(conn)
        else:
            self.hand_on(conn)

    def hand_on(self, conn: Any) -> None:
        super().process_conn(conn)
        if self.requests.qsize > self.requests.idle:
            self._all_busy.set()

    def place_to_send(self) -> AbstractContextManager[None]:
        return self._first.place_to_send()

    def answer_of(self, conn: Any) -> Answer:
        try:
            return conn.answer_of_whole()  # type: ignore[no-any-return]
        except Exception as error:
            self.error_log(f"Unhandled error while a connection was answered: {error!r}", traceback=True)
            return Answer(b"", keep=False)

    def tell(self, conn: Any, answer: Answer) -> None:
        """Whoever does not take the answer at once, because they do not read, is told by a thread of their own."""
        conn.whole, whole = b"", conn.whole
        try:
            conn.socket.recv(len(whole))  # it was only looked at
            left = answer.says[_taken_at_once(conn.socket, answer.says):]
        except OSError:  # gone
            conn.close()
            return
        if left:
            threading.Thread(target=self._tell_slowly, args=(conn, left, answer.keep), daemon=True,
                             name="tells one who does not read").start()
        else:
            self._see_to(conn, answer.keep)

    def _tell_slowly(self, conn: Any, left: bytes, keep: bool) -> None:
        try:
            conn.socket.sendall(left)
        except OSError:  # gone, or it took too long
            keep = False
        self._see_to(conn, keep)

    def _see_to(self, conn: Any, keep: bool) -> None:
        """As cheroot's own threads do."""
        if keep:
            self.put_conn(conn)
        else:
            conn.close()


def _taken_at_once(line: socket.socket, says: bytes) -> int:
    """How much of it the system took without waiting for the other end."""
    patience = line.gettimeout()
    line.settimeout(0)
    try:
        return line.send(says)
    except BlockingIOError:
        return 0
    finally:
        line.settimeout(patience)
