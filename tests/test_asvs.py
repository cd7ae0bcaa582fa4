"""The security checklist of DEVELOPERS.md is whole, what it names is there, and what the source answers holds.

The numbers are those of levels 1 and 2 of the OWASP Application Security Verification Standard 5.0, counted in its
chapter files; V10 and V17 do not apply as a whole.
"""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
#: Section -> the last numbers of its requirements at levels 1 and 2.
SECTIONS = {
    "1.1": "1-2", "1.2": "1-9", "1.3": "1-11", "1.4": "1-3", "1.5": "1-2", "2.1": "1-3", "2.2": "1-3", "2.3": "1-4",
    "2.4": "1", "3.2": "1-2", "3.3": "1-4", "3.4": "1-6", "3.5": "1-5", "3.7": "1-2", "4.1": "1-3", "4.2": "1",
    "4.3": "1-2", "4.4": "1-4", "5.1": "1", "5.2": "1-3", "5.3": "1-2", "5.4": "1-3", "6.1": "1-3", "6.2": "1-11",
    "6.3": "1-3", "6.4": "1-4", "6.5": "1-5", "6.6": "1-3", "6.8": "1-4", "7.1": "1-3", "7.2": "1-4", "7.3": "1-2",
    "7.4": "1-5", "7.5": "1-2", "7.6": "1-2", "8.1": "1-2", "8.2": "1-3", "8.3": "1", "8.4": "1", "9.1": "1-3",
    "9.2": "1-4", "11.1": "1-2", "11.2": "1-3", "11.3": "1-3", "11.4": "1-3", "11.5": "1", "11.6": "1", "12.1": "1-3",
    "12.2": "1-2", "12.3": "1-4", "13.1": "1", "13.2": "1-5", "13.3": "1-2", "13.4": "1-5", "14.1": "1-2",
    "14.2": "1-4", "14.3": "1-3", "15.1": "1-3", "15.2": "1-3", "15.3": "1-7", "16.1": "1", "16.2": "1-5",
    "16.3": "1-4", "16.4": "1-3", "16.5": "1-3",
}


def span(text: str) -> list[int]:
    first, _, last = text.partition("-")
    return list(range(int(first), int(last or first) + 1))


def lines() -> list[tuple[str, str]]:
    """The numbers and the last cell of each line of the checklist."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8").split("## Security, by OWASP", 1)[1].split("\n## ", 1)[0]
    cells = [re.split(r"(?<!\\)\|", row)[1:-1] for row in text.splitlines() if re.match(r"\| \d", row)]
    return [(row[0].strip(), row[-1].strip()) for row in cells]


def numbers(cell: str) -> list[str]:
    found = []
    for part in cell.split(", "):
        first, _, last = part.partition("–")
        section, start = first.rsplit(".", 1)
        assert not last or last.startswith(section + "."), cell
        found += [f"{section}.{n}" for n in span(f"{start}-{last.rsplit('.', 1)[-1]}" if last else start)]
    return found


def test_every_requirement_of_levels_1_and_2_is_answered_once() -> None:
    wanted = [f"{section}.{n}" for section, last in SECTIONS.items() for n in span(last)]
    assert sorted(n for cell, _ in lines() for n in numbers(cell)) == sorted(wanted)


def test_every_answer_says_how_it_stands_and_names_what_is_there() -> None:
    for cell, answer in lines():
        assert re.match(r"met|partly|not met|–|not ours|the plant's", answer), (cell, answer)
        for path in re.findall(r"`((?:app|tests|instance\.example)/[^`:]*)[`:]", answer):
            assert (ROOT / path).exists(), (cell, path)


def named_tests(answer: str) -> list[str]:
    return re.findall(r"`(tests/[^`]*)`", answer)


def test_what_is_met_names_a_test_that_is_there_or_says_why_none_is() -> None:
    """A file that holds tests, or one test of it."""
    for cell, answer in lines():
        named = named_tests(answer)
        assert named or "no test: " in answer or not answer.startswith(("met", "partly")), (cell, answer)
        for one in named:
            file, _, name = one.partition("::")
            found = {n.name for n in ast.walk(tree(ROOT / file)) if isinstance(n, ast.FunctionDef)
                     and n.name.startswith("test_")}
            assert name in found if name else found, (cell, one)


def test_what_the_standard_asks_to_be_written_down_is() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8").split("## Security, by OWASP", 1)[1].split("\n| V1 ", 1)[0]
    assert re.findall(r"^- \*\*([^*]+)\*\*", text, re.MULTILINE) == [
        "Who may what", "Sessions", "Ways in", "Guesses", "Keys", "What is sensitive", "Dependencies", "What is dear",
        "The log"]


# what the source itself answers -----------------------------------------------------------------------------


#: What starts programs, asks other machines, takes stored objects for code, or reads XML.
FOREIGN = {"subprocess", "multiprocessing", "pty", "pickle", "marshal", "shelve", "xml", "http", "ftplib", "smtplib",
           "poplib", "imaplib", "socketserver", "xmlrpc", "requests", "httpx", "urllib3", "aiohttp", "yaml", "lxml"}
FOREIGN_CALLS = {"eval", "exec", "compile", "__import__", "system", "popen", "render_template_string", "from_string",
                 "create_connection", "urlopen", "md5", "sha1", "uuid1"}
#: Where a statement is put together: of the schema's own names and of the program's own figures.
PUT_TOGETHER = {"app/backups.py", "app/checkup.py", "app/copying.py", "app/db.py"}
#: Invented readings are drawn by chance; nothing else may be.
BY_CHANCE = "app/demo/"


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"))


def source() -> list[tuple[str, ast.Module]]:
    paths = [*(ROOT / "app").rglob("*.py"), *(ROOT / "migrations").rglob("*.py"), ROOT / "seed_demo.py"]
    assert len(paths) > 100
    return [(path.relative_to(ROOT).as_posix(), tree(path)) for path in paths]


def imported(node: ast.AST) -> list[str]:
    if isinstance(node, ast.Import):
        return [name.name for name in node.names]
    return [f"{node.module}.{name.name}" for name in node.names] if isinstance(node, ast.ImportFrom) else []


def called(node: ast.Call) -> str:
    return node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


def put_together(statement: ast.expr) -> bool:
    return isinstance(statement, (ast.JoinedStr, ast.BinOp)) or (
        isinstance(statement, ast.Call) and called(statement) in ("format", "join"))


def test_the_program_starts_no_other_asks_no_other_machine_and_runs_no_text() -> None:
    for path, module in source():
        for node in ast.walk(module):
            for name in imported(node):
                assert name.split(".")[0] not in FOREIGN and not name.startswith("urllib.request"), (path, name)
                assert name.split(".")[0] != "random" or path.startswith(BY_CHANCE), path
            if isinstance(node, ast.Call):
                own = isinstance(node.func, ast.Attribute) and called(node) == "compile"  # a pattern, a statement
                assert own or called(node) not in FOREIGN_CALLS, (path, node.lineno)
                assert not any(k.arg in ("shell", "debug") for k in node.keywords), (path, node.lineno)


def test_no_statement_is_put_together_from_text_where_people_s_words_arrive() -> None:
    for path, module in source():
        for node in ast.walk(module):
            if isinstance(node, ast.Call) and node.args and called(node) in ("text", "execute", "exec_driver_sql"):
                assert path in PUT_TOGETHER or not put_together(node.args[0]), (path, node.lineno)


def test_scripts_put_text_as_text_and_listen_to_no_other_window() -> None:
    scripts = [*(ROOT / "app" / "static").rglob("*.js")]
    assert len(scripts) > 10
    for path in scripts:
        found = re.findall(r"\b(?:innerHTML|outerHTML|insertAdjacentHTML|document\.write|eval|Function)\b\(?"
                           r"|window\.addEventListener\(\"message\"|window\.open", path.read_text("utf-8"))
        assert found == [], (path.name, found)


def test_no_answer_is_opened_to_scripts_of_other_sites() -> None:
    for path in (ROOT / "app").rglob("*.py"):
        assert "access-control-" not in path.read_text("utf-8").lower(), path
