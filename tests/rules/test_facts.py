"""The two ends of a motor, and what counts as none."""

from __future__ import annotations

import pytest

from app.rules.facts import Ends


def test_an_end_is_named_de_or_ode_and_nothing_else() -> None:
    temps = Ends(71.0, 61.0)
    assert (temps["DE"], temps["ODE"]) == (71.0, 61.0)
    with pytest.raises(KeyError):
        temps["NDE"]


def test_zero_is_a_value_and_none_is_not() -> None:
    assert list(Ends(0.0, None).items()) == [("DE", 0.0)]
    assert list(Ends(None, 58.0).items()) == [("ODE", 58.0)]
