"""`lubricant`: what was seen at each bearing, and a leak anywhere on the motor; running or not.

High, discoloured, purging: watch. Low, leaking: this shift. Empty: act now. A leak seen belongs to no end: this shift.
Too much grease harms as too little does, so "high" is a finding (common practice, no published source).
"""

from __future__ import annotations

from app.rules.facts import ENDS, Facts
from app.rules.findings import ACT_NOW, THIS_SHIFT, WATCH, Finding
from app.rules.limits import PRACTICE, Limits

RULE = "lubricant"
#: word: priority and the one thing to do
WORDS = {
    "high": (WATCH, "Add nothing; watch its temperature."),
    "discoloured": (WATCH, "Compare with fresh lubricant; tell the lubrication owner."),
    "purging": (WATCH, "Wipe off and see whether it goes on; add nothing."),
    "low": (THIS_SHIFT, "Top up with the chart's lubricant, by procedure; look for the loss."),
    "leaking": (THIS_SHIFT, "Look where it comes from and tell the head operator."),
    "empty": (ACT_NOW, "Shut down by procedure, or fill with the chart's lubricant at once."),
}


def check(facts: Facts, limits: Limits) -> list[Finding]:
    reading = facts.reading
    if reading is None:
        return []
    found = [_finding(end, word) for end in ENDS if (word := reading.lubricant[end]) in WORDS and word is not None]
    if reading.leak == "seen":
        says = f"Leak seen; none is expected ({PRACTICE}). Find where it comes from and tell the head operator."
        found.append(Finding(RULE, None, THIS_SHIFT, None, None, None, PRACTICE, says))
    return found


def _finding(end: str, word: str) -> Finding:
    priority, do = WORDS[word]
    says = f"{end} lubricant {word}; ok is expected ({PRACTICE}). {do}"
    return Finding(RULE, end, priority, None, None, None, PRACTICE, says)
