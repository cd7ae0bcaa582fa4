"""Imports run one way: web, api, cli, export -> judging and its neighbours -> store -> rules."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
APP = sorted((ROOT / "app").rglob("*.py"))
VERSIONS = sorted((ROOT / "migrations" / "versions").glob("*.py"))
#: From the ground up. What stands in app/ itself is the middle, but for the two that put everything together.
ORDER = ("rules", "store", "middle", "export", "web", "api", "top")
TOP = ("__init__", "cli", "serving")


def name_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def layer_of(module: str) -> str:
    parts = module.split(".")
    if parts == ["app"] or parts[1] in TOP or parts[1].startswith("cli_") or module == "app.web.pages":
        return "top"  # app/web/pages.py puts the blueprints together, as create_app does the rest
    return parts[1] if parts[1] in ORDER else "middle"


def imports(path: Path) -> set[str]:
    """Every module named in an import anywhere in the file, `from a import b` as a and as a.b."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, f"{path}: imports are written in full here"
            module = node.module or ""
            found |= {module} | {f"{module}.{a.name}" for a in node.names if is_module(f"{module}.{a.name}")}
    return found


def is_module(name: str) -> bool:
    path = ROOT.joinpath(*name.split("."))
    return path.with_suffix(".py").is_file() or (path / "__init__.py").is_file()


def ours(path: Path) -> set[str]:
    return {name for name in imports(path) if name.split(".")[0] == "app" and name != "app"}


def outside(path: Path) -> set[str]:
    return {name.split(".")[0] for name in imports(path)} - {"app", "__future__"}


def test_there_is_something_to_look_at() -> None:
    assert {layer_of(name_of(p)) for p in APP} >= {"rules", "store", "middle", "web", "top"}
    assert VERSIONS


def test_rules_import_only_the_standard_library_and_each_other() -> None:
    for path in (p for p in APP if layer_of(name_of(p)) == "rules"):
        assert all(name.startswith("app.rules") for name in ours(path)), path
        assert outside(path) <= sys.stdlib_module_names, path


@pytest.mark.parametrize(("layer", "foreign"), [
    ("store", {"flask", "wtforms", "werkzeug", "jinja2"}),
    ("export", {"flask", "wtforms", "werkzeug", "jinja2"}),
    ("middle", {"wtforms", "jinja2"}),
])
def test_what_is_below_the_pages_knows_nothing_of_pages(layer: str, foreign: set[str]) -> None:
    for path in (p for p in APP if layer_of(name_of(p)) == layer):
        assert not outside(path) & foreign, path


def test_of_the_middle_only_current_knows_the_running_app() -> None:
    knows = {name_of(p) for p in APP if layer_of(name_of(p)) == "middle" and "flask" in outside(p)}
    assert knows <= {"app.current"}


def test_no_layer_imports_one_above_it() -> None:
    wrong = [f"{name_of(path)} imports {name}" for path in APP if layer_of(name_of(path)) != "top"
             for name in ours(path) if ORDER.index(layer_of(name)) > ORDER.index(layer_of(name_of(path)))]
    assert not wrong


def test_one_web_feature_never_imports_another() -> None:
    web = {name_of(p): p for p in APP if layer_of(name_of(p)) in ("web", "api")}
    features = {name for name, path in web.items()
                if name.startswith("app.web.") and "Blueprint(" in path.read_text("utf-8")}
    assert len(features) > 5
    wrong = [f"{name} imports {other}" for name, path in web.items() for other in ours(path) & features - {name}]
    assert not wrong


def test_a_migration_imports_nothing_of_the_app() -> None:
    for path in VERSIONS:
        assert not any(name.split(".")[0] == "app" for name in imports(path)), path
