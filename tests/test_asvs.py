"""The security checklist of DEVELOPERS.md is whole, and what it names is there.

The numbers are those of levels 1 and 2 of the OWASP Application Security Verification Standard 5.0, counted in its
chapter files; V10 and V17 do not apply as a whole.
"""

from __future__ import annotations

import re
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
        for path in re.findall(r"`((?:app|tests|instance\.example)/[^`]*)`", answer):
            assert (ROOT / path).exists(), (cell, path)
