"""The papers in instance.example tried as they are written: only paths and ports are replaced.

nginx and systemd-analyze are Debian's own: what they say of a file is their word, not ours.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import signal
import socket
import ssl
import subprocess
import sys
import textwrap
import uuid
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from email.message import Message
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlencode, urljoin

import pytest

from tests.factories import SECRET
from tests.soak.served import Ground, lay_ground, serving
from tests.soak.served import program as round_sheet

PAPERS = Path(__file__).resolve().parent.parent / "instance.example"
NAME = "rounds.example"
#: The tablet's own address, another than the proxy's (Linux answers to all of 127.0.0.0/8), and one that it claims.
OWN, CLAIMED = "127.0.0.2", "203.0.113.9"
SOON_S = 20
INSTALLED = "/opt/round-sheet/.venv/bin/round-sheet"


def program(name: str) -> str:
    found = shutil.which(name) or shutil.which(f"/usr/sbin/{name}")
    if found is None:
        pytest.skip(f"{name} is not on this machine")
    return found


# nginx in front -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Front:
    """A running nginx before a running server."""

    ground: Ground
    https: int
    http: int
    authority: Path


class Tablet:
    """A browser whose device has been given the authority; the site's name leads to the front."""

    def __init__(self, front: Front) -> None:
        self.front = front
        self.set_by: list[str] = []

    def ask(self, path: str, fields: dict[str, str] | None = None, tls: bool = True, port: int = 0,
            body: bytes | None = None) -> tuple[int, Message, str]:
        """The answer: status, head, text. fields: a form, sent as a browser sends it."""
        line = HTTPConnection(NAME, port or (self.front.https if tls else self.front.http))
        line.sock = socket.create_connection(("127.0.0.1", line.port), SOON_S, source_address=(OWN, 0))
        head = {"Cookie": "; ".join(said.split(";")[0] for said in self.set_by), "X-Forwarded-For": CLAIMED,
                "X-Forwarded-Proto": "http", "Connection": "close"}
        if fields is not None or body is not None:
            body = body or urlencode(fields or {}).encode()
            head |= {"Content-Type": "application/x-www-form-urlencoded", "Origin": f"https://{NAME}:{line.port}"}
        try:
            if tls:
                trusting = ssl.create_default_context(cafile=self.front.authority)
                line.sock = trusting.wrap_socket(line.sock, server_hostname=NAME)
            line.request("GET" if body is None else "POST", path, body, head)
            answer = line.getresponse()
            self.set_by += answer.headers.get_all("Set-Cookie", [])
            return answer.status, answer.headers, answer.read().decode()
        finally:
            line.close()

    def send(self, path: str, fields: dict[str, str]) -> tuple[int, Message, str]:
        """The form of that page, with its token."""
        token = re.search(r'name="csrf_token" value="([^"]+)"', self.ask(path)[2])
        assert token
        return self.ask(path, {"csrf_token": token[1], **fields})


@pytest.fixture(scope="module")
def front(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Front]:
    nginx, folder = program("nginx"), tmp_path_factory.mktemp("front")
    written = (PAPERS / "nginx.conf").read_text("utf-8")
    certificates(folder)
    ground = lay_ground(folder / "instance")
    settings = re.search(r"^# In config\.toml: (.+)\.$", written, re.MULTILINE)
    assert settings
    (ground.folder / "config.toml").write_text(settings[1].replace(", ", "\n"))
    with serving(ground) as served, ExitStack() as stack:
        # nginx takes over sockets that are open already: no port is looked for and lost again.
        doors = [stack.enter_context(socket.create_server(("127.0.0.1", 0))) for _ in range(2)]
        https, http = (door.getsockname()[1] for door in doors)
        site = written
        for said, here in ((" 443 ", f" 127.0.0.1:{https} "), (" 80;", f" 127.0.0.1:{http};"),
                           ("127.0.0.1:8000", f"127.0.0.1:{served.port}"), ("/etc/ssl/rounds.example.pem", "site.pem"),
                           ("/etc/ssl/private/rounds.example.key", "site.key")):
            assert site.count(said) == 1, said
            site = site.replace(said, here)
        (folder / "site.conf").write_text(site)
        temporary = "".join(f"{kind}_temp_path {folder}/{kind};\n"
                            for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi"))
        user = "user root;" if os.geteuid() == 0 else ""  # else its worker cannot enter pytest's folder
        (folder / "nginx.conf").write_text(
            f"daemon off; {user} pid {folder}/pid; error_log stderr;\nevents {{}}\n"
            f"http {{ access_log off;\n{temporary}include site.conf; }}\n")
        command = [nginx, "-p", str(folder), "-c", str(folder / "nginx.conf"), "-e", "stderr"]
        given = {"env": {**os.environ, "NGINX": "".join(f"{door.fileno()};" for door in doors)},
                 "pass_fds": [door.fileno() for door in doors]}
        checked = subprocess.run([*command, "-t"], capture_output=True, text=True, **given)
        assert checked.returncode == 0 and not re.search(r"\[(warn|error|emerg)\]", checked.stderr), checked.stderr
        with (folder / "log").open("wb") as log:
            running = subprocess.Popen(command, stderr=log, **given)
        stack.close()
        try:
            yield Front(ground, https, http, folder / "ca.pem")
        finally:
            running.terminate()
            running.wait(SOON_S)


def certificates(folder: Path) -> None:
    """An authority and the site's certificate, by the commands of tls.md word for word."""
    text = (PAPERS / "tls.md").read_text("utf-8")
    (block,) = re.findall(r"(?:^    .+\n)+(?=\nThe names must)", text, re.MULTILINE)
    subprocess.run(["sh", "-ec", textwrap.dedent(block)], cwd=folder, check=True, capture_output=True)


def test_through_the_proxy_a_person_signs_in_and_saves_as_over_https_from_their_own_address(front: Front) -> None:
    tablet = Tablet(front)
    status, head, page = tablet.ask("/sign-in")
    assert status == 200 and "Sign in" in page and "Strict-Transport-Security" in head
    status, head, _ = tablet.send("/sign-in", {"sign_in": "operator", "secret": SECRET})
    assert status == 303 and urljoin(f"https://{NAME}/", head["Location"]).startswith(f"https://{NAME}/")
    assert any(said.startswith("__Host-rounds=") for said in tablet.set_by)
    assert [said for said in tablet.set_by if "Secure" not in said] == []
    key = str(uuid.uuid4())
    assert tablet.send("/motors/1/skip", {"id": key, "reason": "no access"})[0] == 303
    assert front.ground.stored() == [key]
    log = (front.ground.folder / "log").read_text()
    assert f'"from": "{OWN}"' in log and CLAIMED not in log


def test_what_is_too_large_is_told_by_the_page_and_what_is_far_too_large_goes_no_further(front: Front) -> None:
    status, head, told = Tablet(front).ask("/sign-in", body=b"a=" + b"b" * 2_500_000)
    assert (status, "2 MB is the most" in told, "Content-Security-Policy" in head) == (413, True, True)
    status, head, told = Tablet(front).ask("/sign-in", body=b"a=" + b"b" * 3_200_000)
    assert (status, "nginx" in told, "Content-Security-Policy" in head) == (413, True, False)


def test_without_tls_a_page_is_led_to_https_and_nothing_else_is_answered(front: Front) -> None:
    tablet = Tablet(front)
    status, head, _ = tablet.ask("/sheet?area=Feed", tls=False)
    assert (status, head["Location"]) == (301, f"https://{NAME}/sheet?area=Feed")
    assert tablet.ask("/api/v1/readings", tls=False)[0] == 403
    assert tablet.ask("/api/v1/readings", tls=False, body=b"[]")[0] == 403
    status, _, told = tablet.ask("/sign-in", tls=False, port=front.https)
    assert status == 400 and "Motor Round Sheet" not in told


# systemd --------------------------------------------------------------------------------------------------


def test_the_units_are_what_systemd_takes(tmp_path: Path) -> None:
    """It says what it does not know and goes on, so not a word may be said."""
    analyze, ours = program("systemd-analyze"), Path(sys.executable).with_name("round-sheet")
    for unit in (*PAPERS.glob("*.service"), *PAPERS.glob("*.timer")):
        (tmp_path / unit.name).write_text(unit.read_text("utf-8").replace(INSTALLED, str(ours)))
    units = sorted(str(unit) for unit in tmp_path.iterdir())
    assert len(units) == 3
    said = subprocess.run([analyze, "verify", "--man=no", *units], capture_output=True, text=True)
    assert (said.returncode, said.stdout + said.stderr) == (0, "")


def test_the_service_ends_well_by_its_signal_and_the_timers_command_writes_the_weeks_file(tmp_path: Path) -> None:
    ground, meetings = lay_ground(tmp_path / "instance"), tmp_path / "meetings"
    meetings.mkdir()
    with serving(ground) as served:
        served.process.send_signal(signal.Signals[value("round-sheet.service", "KillSignal")])
        assert served.process.wait(SOON_S) == 0
    command = value("week-export.service", "ExecStart").replace("/srv/meetings", str(meetings))
    command = command.replace("Brine unit", "Unit 2")
    assert command.startswith(INSTALLED)
    subprocess.run([*round_sheet(), *shlex.split(command.removeprefix(INSTALLED))], env=ground.environment(),
                   check=True, capture_output=True)
    assert [file.suffix for file in meetings.iterdir()] == [".xlsx"]


def value(unit: str, key: str) -> str:
    (found,) = re.findall(rf"^{key}=(.+)$", (PAPERS / unit).read_text("utf-8"), re.MULTILINE)
    return found
