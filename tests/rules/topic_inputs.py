"""What the topic functions share: reading inputs by name, and saying when nothing answers them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Inputs = dict[str, Any]


class Unmapped(Exception):
    """No public function answers this topic, name and set of inputs."""


def need(inputs: Inputs, *names: str) -> Any:
    """The first of these inputs that is there."""
    for name in names:
        if inputs.get(name) is not None:
            return inputs[name]
    raise Unmapped(f"none of {', '.join(names)} among the inputs")


def has(inputs: Inputs, *names: str) -> bool:
    return all(inputs.get(name) is not None for name in names)


def fraction(value: float) -> float:
    """An efficiency or power factor that was written in percent, as a fraction."""
    return value / 100.0 if value > 1 else value


def mean(value: float | list[float]) -> float:
    return sum(value) / len(value) if isinstance(value, list) else value


def pick(answers: dict[str, Callable[[], Any]], name: str) -> Any:
    if name not in answers:
        raise Unmapped(f"no function for {name}")
    return answers[name]()
