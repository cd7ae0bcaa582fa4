"""The usual caution, one line beside each finding, where the hand goes next.

Our own words; each defers to the plant's written procedures, local codes and qualified people. The duties behind
them (OSHA 29 CFR 1910.147, 1910.212, 1910.219, 1910.333; NFPA 70E; NEC 430.43; ISO 13732-1; ASTM D6185) are from
memory unless a hosted text was read: 1910.212 in OSHA letters, NEC 430.43 in a hosted 2008 text.
"""

from __future__ import annotations

from app.rules.findings import Finding

HANDS = ("Back of the fingers, briefly, on the housing only, guards in place; "
         "above about 60 °C (140 °F) use an instrument.")
ELECTRICAL = "Read fixed meters only; opening a box or clamping a lead is work for qualified people under procedure."
GREASE = ("Grease a running motor only where the site allows it and the fitting is outside the guard; "
          "otherwise it is locked out first.")
MIXING = "Never add another thickener without the lubrication owner's word: published charts contradict each other."
LEVEL = "Judge oil by the sight glass only; running and standstill levels differ, and overfilling harms too."
START = ("It may start by itself. Find the cause before any restart; resetting and retrying is for the procedure "
         "and qualified people to allow.")
SHAFT = "Keep clear of couplings, shaft ends and fan inlets: no loose sleeves, no dangling cords."
CLEAN = "Clean only after it is stopped, isolated, locked and tagged by procedure; heaters can stay live."
HALF_WAY = ("What is half-way is no finished work: keep hands and cords away, and end it only as your procedure says, "
            "locked out where it asks for that.")
GENERAL = "Readings and limits are prompts: follow your site procedures, local code and the maker's instructions."

CAUTIONS = {
    "smoke": "Do not touch, do not restart: raise the alarm by the plant's emergency route first, then write it down.",
    "guard_or_ground": "Do not reach in. " + SHAFT,
    "amps_over_nameplate": ELECTRICAL,
    "phase_unbalance": ELECTRICAL,
    "volts_off": ELECTRICAL,
    "bearings_uneven": HANDS,
    "bearing_hot": HANDS,
    "winding_hot": "Never reach into an opening: winding heat is read from detectors or from the outside surface.",
    "vibration": SHAFT,
    "lubricant": LEVEL,
    "dirty": CLEAN,
    "greasing_overdue": GREASE,
    "greased_too_soon": GREASE,
    "wrong_lubricant": MIXING,
    "not_settled_bearing": HANDS,
    "drinks_oil": LEVEL,
    "temporary_state_past_end": HALF_WAY,
    "warming_fast": HANDS,
    "step_bearing": HANDS,
    "off_own_normal_bearing": HANDS,
    "off_own_normal_end_difference": HANDS,
    "off_own_normal_amps": ELECTRICAL,
    "heading_for_limit_bearing": HANDS,
    "heading_for_limit_end_difference": HANDS,
    "heading_for_limit_amps": ELECTRICAL,
    "started_outside_limits": START,
    "tries_used_up": START,
    "started_locked_out": "A lock is ended only by the person whose lock it is; an entry here releases nothing.",
    "no_prestart_check": START,
    "start_not_logged": START,
}


def caution_for(finding: Finding) -> str:
    """One line of caution for this finding; the general one where its rule has none of its own."""
    return CAUTIONS.get(finding.rule, GENERAL)
