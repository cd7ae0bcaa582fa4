"""`python -m tests`: what the tests need from the system, then lint, types and every test. Arguments go to pytest;
without any, or with `--on postgresql` alone, the tests run on every core.

With CI set nothing may be skipped: what is missing fails the run.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from tests import cluster
from tests.browser import chromium

ROOT = Path(__file__).resolve().parent.parent


def _has_postgres() -> bool:
    try:
        cluster.programs()
    except cluster.NoPostgres:
        return bool(os.environ.get("TEST_PG_URL"))
    return True


def _has_libatomic() -> bool:
    try:
        ctypes.CDLL("libatomic.so.1")
    except OSError:
        return sys.platform != "linux"
    return True


#: Debian's package, whether what it brings is here, what it is for.
NEEDED: tuple[tuple[str, Callable[[], bool], str], ...] = (
    ("chromium", lambda: chromium.program() is not None, "the pages in a browser"),
    ("postgresql", _has_postgres, "the store on the server database"),
    ("libatomic1", _has_libatomic, "the driver of the browser"),
    ("libreoffice-calc-nogui", lambda: shutil.which("soffice") is not None, "the workbook read back by a spreadsheet"),
    ("openssl", lambda: shutil.which("openssl") is not None, "certificates of the tests' own"),
    ("nginx", lambda: bool(shutil.which("nginx") or shutil.which("/usr/sbin/nginx")), "the example proxy"),
    ("systemd", lambda: shutil.which("systemd-analyze") is not None, "the example units"),
)


#: All tests, on every core; those of one file stay together, for what they share is made once in each process.
EVERY_CORE = ["-n", "logical", "--dist", "loadfile"]


def asked(arguments: list[str]) -> list[str]:
    """pytest's arguments: as given; where they name no test and no way of running, on every core."""
    whole = not arguments or (arguments[0] == "--on" and len(arguments) == 2)
    return [*EVERY_CORE, *arguments] if whole else arguments


@contextlib.contextmanager
def _starting_nothing() -> Iterator[None]:
    """What Debian installs meanwhile starts no service: the tests start their own. A policy that is there stays."""
    policy = Path("/usr/sbin/policy-rc.d")
    if policy.exists():
        yield
        return
    policy.write_text("#!/bin/sh\nexit 101\n")
    policy.chmod(0o755)
    try:
        yield
    finally:
        policy.unlink()


def bring() -> None:
    """Installs what is missing where that is ours to do (root, with apt); elsewhere says what is missing."""
    missing = [(package, purpose) for package, here, purpose in NEEDED if not here()]
    if not missing:
        return
    packages = [package for package, _ in missing]
    named = ", ".join(f"{package} ({purpose})" for package, purpose in missing)
    if os.name != "posix" or os.geteuid() != 0 or not shutil.which("apt-get"):
        print(f"Not on this machine: {named}. The tests that need it are skipped. "
              f"On Debian: apt-get install {' '.join(packages)}", flush=True)
        return
    print(f"Installing from Debian: {named}", flush=True)
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for command in (["update", "-q"], ["install", "-y", "-q", "--no-install-recommends", *packages]):
        with _starting_nothing():
            done = subprocess.run(["apt-get", *command], env=quiet, stdin=subprocess.DEVNULL,
                                  capture_output=True, text=True)
        if done.returncode:
            print(f"apt-get {' '.join(command)} failed:\n{done.stdout}{done.stderr}", flush=True)
            return


def main(arguments: list[str]) -> int:
    """Everything is run even when an earlier step failed; the exit code is the first that was not 0."""
    bring()
    codes = []
    for step in (["ruff", "check", "."], ["mypy"], ["pytest", *asked(arguments)]):
        print(f"$ python -m {' '.join(step)}", flush=True)
        codes.append((step[0], subprocess.run([sys.executable, "-m", *step], cwd=ROOT).returncode))
    for name, code in codes[:-1]:
        if code:
            print(f"{name} found something: see above.", flush=True)
    return next((code for _, code in codes if code), 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
