"""What a limit is about, read off its name: the heading it stands under, and the kind of machine it is for."""

from __future__ import annotations

#: What the name begins with -> heading. The first that fits.
HEADINGS = {
    "amps_over_nameplate_": "Amps", "phase_unbalance_": "Phases and volts", "volts_off_": "Phases and volts",
    "bearings_uneven_": "Bearings", "bearing_hot_": "Bearings", "winding_hot_": "Winding", "vibration_": "Vibration",
    "greased_too_soon_": "Lubrication", "second_greasing_": "Lubrication", "not_settled_": "Lubrication",
    "drinks_oil_": "Lubrication", "step_": "A step since the last reading", "off_own_normal_": "Its own normal",
    "heading_for_limit_": "Heading for a limit", "look_again_": "Look again", "warming_fast_": "First run",
    "clearing_band_": "Return to normal", "start_": "Starts", "prestart_": "Starts", "spare_": "Starts",
    "nameplate_": "Register",
}
#: A part of the name -> the kind in words. Every one that fits is said.
KINDS = {
    "_grease_alarm": "greased bearing", "_grease_shutdown": "greased bearing", "_sleeve_": "sleeve bearing",
    "_hot_a_": "class A", "_hot_b_": "class B", "_hot_e_": "class E", "_hot_f_": "class F", "_hot_h_": "class H",
    "_sf_": "service factor 1.15", "_group1_": "over 300 kW", "_group2_": "over 15 to 300 kW",
    "_class1_": "15 kW (20 hp) and less", "_rigid_": "rigid", "_flexible_": "flexible",
    "_to_50_hp_": "to 50 hp", "_over_50_hp_": "over 50 hp",
}
#: No finding comes of these: what they do instead.
RAISES_NOTHING = {
    "nameplate_amps_ask_percent": "a question at the register", "spare_shaft_turn_days": "a line among what is due",
    "second_greasing_days": "a question before a greasing is saved",
}


def heading(name: str) -> str:
    """The heading; a limit that nobody has put under one stands last."""
    return next((words for start, words in HEADINGS.items() if name.startswith(start)), "Other")


def kind(name: str) -> str:
    """The kind of machine this limit is for; empty: every one.

    >>> kind("bearing_hot_sleeve_alarm_c"), kind("vibration_group2_rigid_this_shift_mm_s"), kind("step_this_shift_k")
    ('sleeve bearing', 'over 15 to 300 kW, rigid', '')
    """
    return ", ".join(words for part, words in KINDS.items() if part in name)
