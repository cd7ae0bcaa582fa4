"""Which release is running, as a short mark: of every template, style and script that a page is made of.

It stands behind each style and script in a page, so that a browser keeps them for ever and still never mixes two
releases; and the tablet keeps each release's pages together with its own scripts.
"""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

HERE = Path(__file__).parent
FOLDERS = ("static", "templates")


@cache
def release() -> str:
    """Ten hex digits; the same in every process of one release."""
    seal = hashlib.sha256()
    for folder in FOLDERS:
        for path in sorted((HERE / folder).rglob("*")):
            if path.is_file():
                seal.update(path.relative_to(HERE).as_posix().encode() + b"\0" + path.read_bytes())
    return seal.hexdigest()[:10]
