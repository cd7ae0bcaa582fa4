"""Debian's Chromium, driven over its own protocol; no browser is fetched."""

from __future__ import annotations

import os
import shutil

#: Nothing of the browser's own may go out to the network or wait for a screen.
QUIET = ("--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--disable-default-apps")


def program() -> str | None:
    """Where Chromium is: CHROMIUM, or the usual names on the path."""
    named = os.environ.get("CHROMIUM")
    if named:
        return shutil.which(named)
    return next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


def flags() -> list[str]:
    root = os.name == "posix" and os.geteuid() == 0
    return [*QUIET, *(["--no-sandbox", "--disable-dev-shm-usage"] if root else [])]
