"""Text goes out compressed where the browser takes that: a round's pages must come over a weak plant network.

A page holds a form token next to text that a request chose, which compression can betray to somebody who makes the
same browser ask many times from another site; our cookie does not come along with such requests (SameSite=Lax).
"""

from __future__ import annotations

import gzip
from functools import lru_cache

from flask import Flask, Response, request

TEXT = frozenset({"text/html", "text/css", "text/javascript", "application/javascript", "application/json",
                  "application/problem+json", "image/svg+xml", "text/csv", "application/manifest+json"})
#: Below this a packet is a packet.
WORTH_BYTES = 600
LEVEL = 6


def compress(response: Response) -> Response:
    if response.mimetype not in TEXT or response.status_code not in (200, 401, 404, 409, 422):
        return response
    response.vary.add("Accept-Encoding")
    if "gzip" not in request.accept_encodings or response.headers.get("Content-Encoding") or (response.is_streamed and (
            not response.direct_passthrough)):
        return response
    if "Range" in request.headers:
        return response
    response.direct_passthrough = False
    whole = response.get_data()
    if len(whole) < WORTH_BYTES:
        return response
    static = (request.endpoint or "").endswith("static")
    response.set_data(_kept(whole) if static else gzip.compress(whole, LEVEL, mtime=0))
    response.headers["Content-Encoding"] = "gzip"
    if response.get_etag()[0]:  # the two forms are not the same bytes
        response.set_etag(f"{response.get_etag()[0]}-gzip", weak=True)
    return response


@lru_cache(maxsize=200)
def _kept(whole: bytes) -> bytes:
    """Styles and scripts do not change while the server runs: compressed once."""
    return gzip.compress(whole, 9, mtime=0)


def register(app: Flask) -> None:
    app.after_request(compress)
