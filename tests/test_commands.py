"""What the README tells people to type is what there is, and what CI runs."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from app.cli import main

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text("utf-8")
START = ("{ python3 -c 'import ensurepip' 2>/dev/null || { apt-get update && apt-get install -y python3-venv; }; } "
         "&& python3 -m venv .venv && ")


def commands() -> list[str]:
    """The one-line commands of the README's code blocks, in order."""
    return [line for block in re.findall(r"```sh\n(.*?)```", README, re.S) for line in block.splitlines()]


def test_the_two_commands_are_one_line_each_and_begin_alike() -> None:
    assert commands()[:2] == [START + ".venv/bin/pip install . && .venv/bin/round-sheet serve --demo",
                              START + ".venv/bin/pip install -e '.[dev]' && .venv/bin/python -m tests"]


def test_ci_runs_the_readmes_test_command_word_for_word() -> None:
    script = (ROOT / ".ci" / "run").read_text("utf-8").splitlines()
    assert commands()[1] in script
    assert os.access(ROOT / ".ci" / "run", os.X_OK)


def test_the_readme_lists_every_command_and_no_other() -> None:
    listed = re.findall(r"^\| `([\w-]+)` \|", README, re.M)
    assert sorted(listed) == sorted(main.commands)


@pytest.mark.parametrize("name", sorted(main.commands))
def test_every_command_explains_itself_with_an_example(name: str) -> None:
    shown = CliRunner().invoke(main, [name, "--help"], prog_name="round-sheet")
    assert shown.exit_code == 0, shown.output
    assert f"Example: round-sheet {name}" in " ".join(shown.output.split())


def test_every_option_in_the_readmes_examples_exists() -> None:
    for line in commands()[2:]:
        words = line.split("round-sheet ", 1)[1].split()
        known = {option for parameter in main.commands[words[0]].params for option in parameter.opts}
        assert {w for w in words if w.startswith("--")} <= known, line


@pytest.mark.slow
def test_what_is_installed_has_every_template_style_migration_table_and_the_demo(tmp_path: Path) -> None:
    shipped = [ROOT / "seed_demo.py", *(p for top in ("app", "migrations") for p in (ROOT / top).rglob("*")
                                        if p.is_file() and "__pycache__" not in p.parts)]
    for path in [*shipped, *(ROOT / name for name in ("pyproject.toml", "README.md", "LICENSE"))]:
        copy = tmp_path / "tree" / path.relative_to(ROOT)  # clean: an earlier build's leavings hide what is missing
        copy.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, copy)
    made = subprocess.run([sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", tmp_path, "."],
                          cwd=tmp_path / "tree", capture_output=True, text=True)
    assert made.returncode == 0, made.stderr
    held = set(zipfile.ZipFile(next(tmp_path.glob("*.whl"))).namelist())
    ours = {str(path.relative_to(ROOT)) for path in shipped}
    assert {"seed_demo.py", "migrations/script.py.mako", "app/templates/base.html"} <= ours
    assert ours - held == set()
    assert {name.split("/")[0] for name in held if ".dist-info" not in name} == {"app", "migrations", "seed_demo.py"}


def test_the_version_is_said_once() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert f"## {project['version']}" in (ROOT / "CHANGELOG.md").read_text("utf-8")


# limits ----------------------------------------------------------------------------------------------------


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Result]:
    """Runs a command on an instance of its own with a unit of two shifts in it."""
    monkeypatch.setenv("ROUND_SHEET_INSTANCE", str(tmp_path / "instance"))

    def command(*words: str, stdin: str | None = None) -> Result:
        return CliRunner().invoke(main, list(words), prog_name="round-sheet", input=stdin)

    made = command("add-unit", "Brine unit", "--time-zone", "America/Chicago", "--shift", "Day 06:00", "--shift",
                   "Night 18:00")
    assert made.exit_code == 0, made.output
    return command


def listed(run: Callable[..., Result], name: str) -> str:
    return next(line for line in run("limits", "--unit", "Brine unit").stdout.splitlines() if line.startswith(name))


def test_a_limit_is_set_listed_and_set_back_by_command(run: Callable[..., Result]) -> None:
    name, about = "bearing_hot_grease_alarm_c", ("--unit", "Brine unit", "--why", "procedure 12")
    done = run("set-limit", name, "85", *about)
    assert (done.exit_code, done.stdout) == (0, "") and "85 °C from now on" in done.stderr
    assert listed(run, name) == f"{name}\t85\t°C\tdefault 90\tunit's limit"
    assert run("set-limit", name, "default", *about).exit_code == 0
    assert "\t90\t°C\tdefault 90" in listed(run, name)


@pytest.mark.parametrize(("words", "says"), [
    (("bearing_hot_grease_alarm_c", "100"), "below 100 °C"), (("bearing_hot_grease_alarm_c", "39"), "from 40"),
    (("bearing_hot_grease_alarm_c", "nan"), "from 40"), (("bearing_hot_grease_alarm_c", "hot"), "not a number"),
    (("no_such_limit", "1"), "No limit is called"), (("step_this_shift_k", "12", "--motor", "P-1"), "No motor"),
    (("step_this_shift_k", "12", "--from", "2020-01-01 06:00"), "from now on"),
    (("step_this_shift_k", "12", "--from", "soon"), "not a local time"),
    (("start_to_50_hp_tries", "2.5"), "whole number"),
], ids=str)
def test_a_limit_that_cannot_be_is_refused_by_command_in_words(run: Callable[..., Result], words: tuple[str, ...],
                                                               says: str) -> None:
    refused = run("set-limit", *words, "--unit", "Brine unit", "--why", "x")
    assert refused.exit_code == 1 and says in refused.stderr and refused.stdout == ""
    assert "unit's limit" not in run("limits", "--unit", "Brine unit").stdout


def test_a_rehearsal_is_a_table_on_standard_output(run: Callable[..., Result]) -> None:
    done = run("rehearse", "--unit", "Brine unit", "--weeks", "4", "--set", "bearing_hot_grease_alarm_c=85")
    assert done.exit_code == 0, done.output
    assert done.stdout.splitlines() == ["rule\ttag\traised\twould be", "all\tall\t0\t0"]


@pytest.mark.parametrize(("words", "says"), [
    (("--set", "bearing_hot_grease_alarm_c=100"), "below 100 °C"), (("--set", "bearing_hot_grease_alarm_c"), "value"),
    (("--set", "no_such=1"), "No limit is called"), (("--weeks", "0"), "1 to 26 weeks"), (("--motor", "P-1"), "tag"),
    (("--set", "step_this_shift_k=warm"), "not a number"),
], ids=str)
def test_what_cannot_be_rehearsed_is_refused_by_command_in_words(run: Callable[..., Result], words: tuple[str, ...],
                                                                 says: str) -> None:
    refused = run("rehearse", "--unit", "Brine unit", *words)
    assert refused.exit_code == 1 and says in refused.stderr and refused.stdout == ""


# secrets ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("role", "secret", "told"), [
    ("operator", "112233", "many people"), ("operator", "bo lind 7", "known here"),
    ("supervisor", "baseball2024!", "many people"), ("operator", "407182", None)])
def test_a_secret_that_is_tried_first_is_refused_by_command(run: Callable[..., Result], role: str, secret: str,
                                                            told: str | None) -> None:
    done = run("add-person", "bo", "--unit", "Brine unit", "--name", "Bo Lind", "--role", role,
               stdin=f"{secret}\n")
    assert (done.exit_code == 0) == (told is None), done.output
    assert (told or "Added Bo Lind") in done.output


def test_a_plants_time_zone_is_known_where_the_system_brings_no_zone_data(tmp_path: Path) -> None:
    # Slim images and Windows bring none; to Python an empty PYTHONTZPATH is such a system.
    code = "import zoneinfo; assert zoneinfo.TZPATH == (); from app.cli import main; main()"
    done = subprocess.run([sys.executable, "-c", code, "add-unit", "Brine unit", "--time-zone", "America/Chicago",
                           "--shift", "Day 06:00"], cwd=ROOT, capture_output=True, text=True,
                          env={**os.environ, "PYTHONTZPATH": "", "ROUND_SHEET_INSTANCE": str(tmp_path / "instance")})
    assert (done.returncode, "Brine unit" in done.stderr + done.stdout) == (0, True), done.stderr


# serving ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("shared", [True, False], ids=["on a share", "on a disk of this machine"])
def test_serving_from_a_network_share_is_warned_of_before_anything_is_served(
        run: Callable[..., Result], monkeypatch: pytest.MonkeyPatch, shared: bool) -> None:
    told: list[str] = []
    monkeypatch.setattr("app.serving.serve", lambda settings, *_: told.append(str(settings.instance)))
    monkeypatch.setattr("app.data_folder.share_under", lambda folder: "nfs4" if shared else None)
    done = run("serve")
    assert done.exit_code == 0
    assert (f"{told[0]}/round-sheet.sqlite3 lies on a network share (nfs4)" in done.output) == shared
    assert ("WARNING" in done.output) == shared


@pytest.mark.slow
def test_serving_an_empty_database_prints_where_to_begin_and_with_which_code(tmp_path: Path) -> None:
    command = [sys.executable, "-c", "from app.cli import main; main()", "serve", "--port", "0"]
    served = subprocess.Popen(command, cwd=ROOT, text=True,
                              env={**os.environ, "ROUND_SHEET_INSTANCE": str(tmp_path / "instance")},
                              stderr=subprocess.PIPE, stdout=subprocess.PIPE)
    try:
        assert served.stderr is not None
        told = ""
        for line in served.stderr:
            told += line
            if re.fullmatch(r"\s+[A-Z2-9]{5}(-[A-Z2-9]{5}){3}\s*", line):
                break
        assert re.search(r"no supervisor yet. Open http://127\.0\.0\.1:\d+/set-up", told), told
    finally:
        served.terminate()
        served.communicate(timeout=60)
