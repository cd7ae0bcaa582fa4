"""Secrets that others try first: those that many have chosen before, and the words of this place.

The list and its licence: known_secrets.txt. What is asked for follows NIST SP 800-63B-4, 3.1.1.2 (from memory), and
OWASP ASVS 5.0, 6.2.4 and 6.2.11: a secret is held against commonly used ones and against words of its own surroundings.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache
from pathlib import Path

#: Words of the program itself, which everybody who sees its pages knows.
OURS = ("round", "sheet", "motor", "operator", "supervisor", "password", "passphrase", "pin")
#: Shorter ones stand in too many good secrets by chance.
SHORTEST_WORD = 3
#: With fewer characters beside words of the place it is those words with a year behind them.
FEWEST_OTHERS = 5


@cache
def _known() -> frozenset[str]:
    lines = Path(__file__).with_suffix(".txt").read_text("utf-8").splitlines()
    return frozenset(line for line in lines if line and not line.startswith("#"))


def is_known(secret: str) -> bool:
    """Whether it is on the list: in any case, said twice or more, or with figures and signs behind it."""
    folded = secret.casefold().strip()
    bare = re.sub(r"[\W\d_]+$", "", folded)
    forms = {folded, bare} | {form[:n] for form in (folded, bare) for n in range(6, len(form) // 2 + 1)
                              if len(form) % n == 0 and form[:n] * (len(form) // n) == form}
    return not forms.isdisjoint(_known())


def is_of_the_place(secret: str, words: Iterable[str]) -> bool:
    """Whether little is left of it without these words and our own. words: sign-in name, name, unit, as they stand."""
    left = _letters(secret)
    parts = {_letters(part) for word in (*words, *OURS) for part in (word, *re.split(r"[\W_]+", word))}
    for part in sorted(parts, key=lambda p: (-len(p), p)):
        if len(part) >= SHORTEST_WORD:
            left = left.replace(part, " ")
    return " " in left and len(left.replace(" ", "")) < FEWEST_OTHERS


def _letters(text: str) -> str:
    return re.sub(r"[\W_]", "", text.casefold())
