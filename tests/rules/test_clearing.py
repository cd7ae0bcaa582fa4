"""What one later entry says of a standing flag: gone, in the band, shows, or no word. Common practice, no source."""

from __future__ import annotations

from typing import Any

import pytest

from app.rules import clearing
from app.rules.clearing import GONE, IN_BAND, NO_WORD, SHOWS
from app.rules.facts import Ends, Reading
from app.rules.limits import Limits
from tests.rules.plant import LIMITS, facts, quiet, reading

SLEEVE: dict[str, Any] = {"bearing": Ends("sleeve", "sleeve")}

# rule, end, measured, reading, verdict
FIGURES = [
    # grease alarm 90 °C less 3 K: below 87
    ("bearing over the alarm", "bearing_hot", "DE", reading(bearing_temp_c=Ends(90.1)), SHOWS),
    ("bearing at the alarm", "bearing_hot", "DE", reading(bearing_temp_c=Ends(90.0)), IN_BAND),
    ("bearing at alarm less band", "bearing_hot", "DE", reading(bearing_temp_c=Ends(87.0)), IN_BAND),
    ("bearing just below the band", "bearing_hot", "DE", reading(bearing_temp_c=Ends(86.999999)), GONE),
    ("the other end is hot", "bearing_hot", "DE", reading(bearing_temp_c=Ends(60.0, 95.0)), GONE),
    ("only the other end was read", "bearing_hot", "DE", reading(bearing_temp_c=Ends(None, 60.0)), NO_WORD),
    ("only felt", "bearing_hot", "DE", quiet(), NO_WORD),
    # uneven: 10 K less 3 K: below 7 apart
    ("ends 10.2 K apart", "bearings_uneven", "DE", reading(bearing_temp_c=Ends(71.2, 61.0)), SHOWS),
    ("ends 7 K apart", "bearings_uneven", "DE", reading(bearing_temp_c=Ends(68.0, 61.0)), IN_BAND),
    ("ends 6.9 K apart", "bearings_uneven", "DE", reading(bearing_temp_c=Ends(67.9, 61.0)), GONE),
    ("the other end is the hotter now", "bearings_uneven", "DE", reading(bearing_temp_c=Ends(61.0, 72.0)), GONE),
    ("one end alone", "bearings_uneven", "DE", reading(bearing_temp_c=Ends(61.0, None)), NO_WORD),
    # 87 A less 3 % of 87 A: below 84.39
    ("amps over rated", "amps_over_nameplate", None, reading(current_a=(87.1,)), SHOWS),
    ("amps at rated", "amps_over_nameplate", None, reading(current_a=(87.0,)), IN_BAND),
    ("amps at rated less the band", "amps_over_nameplate", None, reading(current_a=(84.39,)), IN_BAND),
    ("amps just below", "amps_over_nameplate", None, reading(current_a=(84.38,)), GONE),
    ("one phase still in the band", "amps_over_nameplate", None, reading(current_a=(80.0, 86.0, 80.0)), IN_BAND),
    ("no amps read", "amps_over_nameplate", None, reading(), NO_WORD),
    # class F, service factor 1.15: alarm 160 °C less 3 K
    ("winding in the band", "winding_hot", None, reading(winding_temp_c=157.0, winding_method="fitted"), IN_BAND),
    ("winding below it", "winding_hot", None, reading(winding_temp_c=156.9, winding_method="fitted"), GONE),
    # no band in mm/s: 75 hp is 56 kW, rigid, zone C from 2.8 mm/s
    ("vibration at the zone", "vibration", "DE", reading(vibration_mm_s=Ends(2.8)), GONE),
    ("vibration over it", "vibration", "DE", reading(vibration_mm_s=Ends(2.9)), SHOWS),
    ("a standing motor", "bearing_hot", "DE", reading("standby", bearing_temp_c=Ends(30.0)), NO_WORD),
]


@pytest.mark.parametrize(("rule", "end", "taken", "verdict"), [c[1:] for c in FIGURES], ids=[c[0] for c in FIGURES])
def test_a_figure_clears_below_its_limit_less_the_band(rule: str, end: str | None, taken: Reading,
                                                       verdict: str) -> None:
    assert clearing.verdict(facts(taken), rule, end, True, LIMITS) == verdict


WORDS = [
    ("smoke not seen", "smoke", None, reading(smoke="none"), GONE),
    ("smoke not looked for", "smoke", None, reading(), NO_WORD),
    ("smoke not seen at a standing motor", "smoke", None, reading("standby", smoke="none"), GONE),
    ("guard and ground in place", "guard_or_ground", None, reading(guard="in place", ground="in place"), GONE),
    ("the ground not looked at", "guard_or_ground", None, reading(guard="in place"), NO_WORD),
    ("still dusty", "dirty", None, reading(cleanliness="dusty"), SHOWS),
    ("clean", "dirty", None, reading(cleanliness="clean"), GONE),
    ("feels warm", "bearing_hot", "DE", reading(bearing_feel=Ends("warm", "warm")), GONE),
    ("could not feel", "bearing_hot", "DE", reading(bearing_feel=Ends("could not feel", "warm")), NO_WORD),
    ("ends feel the same", "bearings_uneven", "DE", reading(bearing_feel=Ends("warm", "warm")), GONE),
    ("one end felt", "bearings_uneven", "DE", reading(bearing_feel=Ends("warm", None)), NO_WORD),
    ("as usual", "vibration", "ODE", reading(vibration_feel=Ends("as usual", "as usual")), GONE),
    ("rougher at the other end", "vibration", "ODE", reading(vibration_feel=Ends("severe", "as usual")), GONE),
    ("lubricant right", "lubricant", "DE", reading(lubricant=Ends("ok", "low")), GONE),
    ("no leak", "lubricant", None, reading(leak="none"), GONE),
    ("leak not looked for", "lubricant", None, reading(lubricant=Ends("ok", "ok")), NO_WORD),
    ("all checks answered", "not_measured", None, quiet(), GONE),
    ("a check left out again", "not_measured", None, quiet(smoke=None), SHOWS),
    ("nothing required of it", "not_measured", None, quiet("out of service"), NO_WORD),
]


@pytest.mark.parametrize(("rule", "end", "taken", "verdict"), [c[1:] for c in WORDS], ids=[c[0] for c in WORDS])
def test_a_word_clears_by_the_same_look_without_a_band(rule: str, end: str | None, taken: Reading,
                                                       verdict: str) -> None:
    assert clearing.verdict(facts(taken), rule, end, False, LIMITS) == verdict


BY_TOKEN = [("values alone", reading(current_a=(78.0,)), NO_WORD), ("smoke answered", reading(smoke="none"), GONE)]


@pytest.mark.parametrize(("taken", "verdict"), [c[1:] for c in BY_TOKEN], ids=[c[0] for c in BY_TOKEN])
def test_an_entry_by_token_is_a_look_only_if_it_answers_smoke(taken: Reading, verdict: str) -> None:
    assert clearing.verdict(facts(taken, walked=False), "not_checked", None, False, LIMITS) == verdict
    assert clearing.verdict(facts(taken, walked=False), "not_measured", None, False, LIMITS) == NO_WORD


@pytest.mark.parametrize("rule", sorted(clearing.BY_ACT_ONLY))
def test_what_a_person_must_act_on_no_reading_clears(rule: str) -> None:
    assert clearing.verdict(facts(quiet()), rule, "DE", False, LIMITS) == NO_WORD


def test_an_opened_round_alone_says_nothing() -> None:
    assert clearing.verdict(facts(None), "smoke", None, False, LIMITS) == NO_WORD


def test_a_band_set_for_the_unit_is_the_one_used() -> None:
    wide = Limits({"clearing_band_k": (5.0, "unit's limit"), "clearing_band_percent": (0.0, "unit's limit")})
    assert clearing.verdict(facts(reading(bearing_temp_c=Ends(85.0))), "bearing_hot", "DE", True, wide) == IN_BAND
    assert clearing.verdict(facts(reading(bearing_temp_c=Ends(84.9))), "bearing_hot", "DE", True, wide) == GONE
    assert clearing.verdict(facts(reading(current_a=(86.9,))), "amps_over_nameplate", None, True, wide) == GONE


def test_a_sleeve_bearing_clears_below_the_limit_of_its_own_kind() -> None:
    # 85 °C less 3 K
    for temp_c, verdict in ((82.0, IN_BAND), (81.9, GONE)):
        taken = reading(bearing_temp_c=Ends(temp_c))
        assert clearing.verdict(facts(taken, SLEEVE), "bearing_hot", "DE", True, LIMITS) == verdict
