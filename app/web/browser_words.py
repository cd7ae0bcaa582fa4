"""A browser in plain words, so that a person knows which of theirs it is. What it sent is not kept."""

from __future__ import annotations

#: Looked for in this order: most say the names of those before them as well.
BROWSERS = (("Edg", "Edge"), ("Firefox", "Firefox"), ("FxiOS", "Firefox"), ("SamsungBrowser", "Samsung's browser"),
            ("OPR", "Opera"), ("CriOS", "Chrome"), ("Chrome", "Chrome"), ("Safari", "Safari"))
MACHINES = (("iPad", "an iPad"), ("iPhone", "an iPhone"), ("Android", "Android"), ("Windows", "Windows"),
            ("CrOS", "a Chromebook"), ("Macintosh", "a Mac"), ("Linux", "Linux"))


def browser_words(user_agent: str) -> str:
    """Such as "Firefox on Windows"; "a browser" where it does not say which."""
    browser = next((word for sign, word in BROWSERS if sign in user_agent), "a browser")
    machine = next((word for sign, word in MACHINES if sign in user_agent), None)
    return f"{browser} on {machine}" if machine else browser
