"""The lock and the bill of materials say what the program really runs with, and name no place to fetch it from."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parent.parent
LOCK = (ROOT / "instance.example" / "versions.txt").read_text("utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
LOCKED = {canonicalize_name(name): version for name, version in re.findall(r"^([\w.-]+)==(\S+) \\$", LOCK, re.M)}
ASKED = [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["postgres"],
         *PROJECT["optional-dependencies"]["metrics"]]


@pytest.mark.parametrize("line", ASKED)
def test_what_the_project_asks_for_is_locked_at_a_version_it_allows(line: str) -> None:
    asked = Requirement(line)
    assert asked.specifier.contains(LOCKED[canonicalize_name(asked.name)])


def test_every_locked_version_has_its_hashes_and_no_host_is_named() -> None:
    entries = re.split(r"^(?=[\w.-]+==)", LOCK, flags=re.M)[1:]
    assert len(entries) == len(LOCKED) > 10
    assert all("--hash=sha256:" in entry for entry in entries)
    assert not re.search(r"https?:|index-url|find-links|@ file", LOCK)


def test_the_bill_of_materials_lists_the_locked_versions_each_with_its_licence() -> None:
    bill = json.loads((ROOT / "instance.example" / "sbom.cdx.json").read_text("utf-8"))
    listed = {canonicalize_name(c["name"]): c["version"] for c in bill["components"]}
    assert listed == LOCKED
    assert all(c["licenses"] for c in bill["components"])
