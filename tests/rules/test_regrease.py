"""How much and how often, after the handbook and the makers' tables."""

from __future__ import annotations

import pytest

from app.rules import grease_amounts, regrease, regrease_tables
from app.rules.tables import MakesNoSense, NotInTable

#: a motor maker's table (MN408 / MN605): bearing, printed grams; 6319, NU319 and 6328 do not follow its own formula
PRINTED = [("6203", 2.4), ("6205", 3.9), ("6206", 5.0), ("6307", 8.4), ("6309", 12.5), ("6311", 17.4), ("6312", 20.1),
           ("6313", 23.1), ("6316", 33.0)]
#: a second motor maker prints whole grams
SECOND = [("6207", 6), ("6208", 7), ("6210", 9), ("6212", 12), ("6214", 15), ("6216", 18), ("6218", 24), ("6220", 31),
          ("NU216", 18), ("NU221", 34)]
#: the maker's interval table at 3600, 1800, 1200, 900 rpm
FRAMES = [("145T", (5500, 12000, 18000, 22000)), ("215T", (5500, 12000, 18000, 22000)),
          ("254T", (3600, 9500, 15000, 18000)), ("286T", (3600, 9500, 15000, 18000)),
          ("324T", (2200, 7400, 12000, 15000)), ("365T", (2200, 7400, 12000, 15000)),
          ("404T", (2200, 3500, 7400, 10500)), ("449T", (2200, 3500, 7400, 10500)),
          ("IEC 132M", (5500, 12000, 18000, 22000)), ("180L", (3600, 9500, 15000, 18000)),
          ("IEC 225S", (2200, 7400, 12000, 15000)), ("315M", (2200, 3500, 7400, 10500))]


@pytest.mark.parametrize("bearing, grams", PRINTED)
def test_the_amount_is_what_a_maker_prints(bearing: str, grams: float) -> None:
    printed_to = 0.06 if grams % 1 else 0.51  # the maker prints tenths, or whole grams
    assert grease_amounts.bearing_grease_g(bearing) == pytest.approx(grams, abs=printed_to)
    assert grease_amounts.printed_grease_g(bearing, "first") == grams


@pytest.mark.parametrize("bearing, grams", SECOND)
def test_the_amount_rounds_to_what_a_second_maker_prints(bearing: str, grams: float) -> None:
    assert grease_amounts.bearing_grease_g(bearing) == pytest.approx(grams, abs=0.51)
    assert grease_amounts.printed_grease_g(bearing, "second") == grams


def test_where_a_maker_leaves_his_formula_the_formula_is_used_and_the_print_stands_beside() -> None:
    assert grease_amounts.bearing_grease_g("6319") == pytest.approx(45.0)  # 0.005 × 200 × 45
    assert grease_amounts.printed_grease_g("6319") == 60.0
    with pytest.raises(NotInTable):
        grease_amounts.printed_grease_g("6201")


def test_inches_take_0_114_and_not_0_1() -> None:
    # 6313: 5.512 × 1.299 in; a maker prints 0.81 oz
    assert grease_amounts.grease_oz(5.512, 1.299) == pytest.approx(0.816, abs=0.001)


def test_a_sealed_bearing_and_an_unlisted_one_get_no_amount() -> None:
    with pytest.raises(MakesNoSense, match="sealed"):
        grease_amounts.bearing_grease_g("6312-2RS")
    with pytest.raises(NotInTable):
        grease_amounts.bearing_grease_g("6323")


@pytest.mark.parametrize("grams, stroke, count", [(23.0, 1.35, 17), (45.9, 1.35, 34), (0.4, 1.35, 1)])
def test_strokes_of_a_gun_are_whole(grams: float, stroke: float, count: int) -> None:
    assert grease_amounts.strokes(grams, stroke) == count  # 17.04, 34.0, 0.3


@pytest.mark.parametrize("call", [lambda: grease_amounts.grease_g(0, 31), lambda: grease_amounts.grease_oz(5, -1),
                                  lambda: grease_amounts.strokes(23, 0)])
def test_a_size_that_cannot_be_is_declined(call: object) -> None:
    with pytest.raises(MakesNoSense):
        call()  # type: ignore[operator]


@pytest.mark.parametrize("bore, rpm, k, hours", [
    (45, 1800, 10, 9794),  # drive guide inputs: 10 × (14e6 / (1800 × 6.7082) − 180)
    (60, 1800, 5, 3821),   # NU212
    (65, 1780, 10, 7155),  # 10 × (14e6 / (1780 × 8.0623) − 260) = 10 × (975.5 − 260)
    (20, 900, 10, 32000),  # 33,985 before the cap
])
def test_the_formula_gives_the_handbook_s_hours(bore: float, rpm: float, k: float, hours: float) -> None:
    assert regrease.formula_interval_h(rpm, bore, k) == pytest.approx(hours, abs=5)


@pytest.mark.parametrize("bore, rpm, k", [(100, 3600, 10), (99, 3600, 1), (45, 0, 10), (0, 1800, 10), (45, 1800, 0)])
def test_the_formula_refuses_where_it_has_no_sense(bore: float, rpm: float, k: float) -> None:
    with pytest.raises(MakesNoSense):  # 14e6/(3600 × √100) − 400 = −11.1; for 99 mm 390.8 − 396 = −5.2
        regrease.formula_interval_h(rpm, bore, k)


FACTORS = [
    ("Ft", 64.9, 1.0), ("Ft", 65.0, 0.5), ("Ft", 79.9, 0.5), ("Ft", 80.0, 0.2), ("Ft", 93.0, 0.2), ("Ft", 93.1, 0.1),
    ("Fv", 0.19, 1.0), ("Fv", 0.2, 0.6), ("Fv", 0.4, 0.6), ("Fv", 0.41, 0.3),
]


@pytest.mark.parametrize("factor, value, expected", FACTORS)
def test_a_band_factor_on_an_edge_is_the_shorter_interval(factor: str, value: float, expected: float) -> None:
    assert regrease.band_factor(factor, value) == expected


@pytest.mark.parametrize("factor, word, expected", [
    ("Fc", "light non-abrasive", 1.0), ("Fc", "heavy non-abrasive", 0.7), ("Fc", "light abrasive", 0.4),
    ("Fc", "heavy abrasive", 0.2), ("Fm", "below 80 %", 1.0), ("Fm", "80 to 90 %", 0.7),
    ("Fm", "occasional condensation", 0.4), ("Fm", "occasional water", 0.1), ("Fp", "horizontal", 1.0),
    ("Fp", "45 degrees", 0.5), ("Fp", "vertical", 0.3), ("Fd", "ball", 10), ("Fd", "cylindrical roller", 5),
    ("Fd", "spherical roller", 1),
])
def test_a_word_factor_is_the_handbook_s(factor: str, word: str, expected: float) -> None:
    assert regrease.word_factor(factor, word) == expected


def test_k_is_the_product_of_six() -> None:
    assert regrease.k_factor() == 10.0
    # 5 × 0.5 × 0.4 × 0.7 × 0.6 × 0.3
    assert regrease.k_factor("cylindrical roller", 70, "light abrasive", "80 to 90 %", 0.3, "vertical") \
        == pytest.approx(0.126)
    with pytest.raises(NotInTable):
        regrease.k_factor("angular contact ball")
    with pytest.raises(NotInTable):
        regrease.band_factor("Fx", 1.0)


@pytest.mark.parametrize("frame, hours", FRAMES)
def test_the_frame_table_is_the_maker_s(frame: str, hours: tuple[int, ...]) -> None:
    for rpm, expected in zip((3570, 1750, 1160, 885), hours, strict=True):
        assert regrease_tables.frame_interval_h(frame, rpm) == expected


def test_service_position_and_rollers_shorten_it() -> None:
    assert regrease_tables.frame_interval_h("286T", 1750, "severe") == 4750  # the maker's sample: 9,500 × 0.5
    assert regrease_tables.frame_interval_h("286T", 1750, "extreme") == pytest.approx(950)
    assert regrease_tables.frame_interval_h("286T", 1750, "low") == 9500
    assert regrease_tables.frame_interval_h("449T", 1190, position="vertical") == 3700
    assert regrease_tables.frame_interval_h("449T", 1190, kind="cylindrical roller") == 3700


@pytest.mark.parametrize("frame, rpm, severity", [("286T", 3601, "standard"), ("5008", 1780, "standard"),
                                                  ("286T", 1750, "hellish"), ("IEC 355", 1480, "standard")])
def test_beyond_the_frame_table_the_maker_has_to_say(frame: str, rpm: float, severity: str) -> None:
    with pytest.raises(NotInTable):
        regrease_tables.frame_interval_h(frame, rpm, severity)


@pytest.mark.parametrize("bearing, rpm, position, hours", [
    ("6317", 3600, "horizontal", 800), ("6317", 2980, "horizontal", 2200), ("6319", 1785, "horizontal", 6600),
    ("6319", 1485, "horizontal", 6600), ("NU322", 1190, "horizontal", 4400), ("6326", 590, "horizontal", 8800),
    ("6317", 3570, "vertical", 400), ("NU322", 1190, "vertical", 4400),
])
def test_the_high_voltage_table_is_the_catalogue_s(bearing: str, rpm: float, position: str, hours: float) -> None:
    assert regrease_tables.hv_interval_h(bearing, rpm, position) == hours


def test_the_high_voltage_table_declines_what_it_does_not_list() -> None:
    assert regrease_tables.hv_grease_g("6319") == 45  # what the formula gives, against the other maker's 60
    for bearing, rpm in (("6322", 3600), ("6312", 1800), ("6317", 4000)):
        with pytest.raises(NotInTable):
            regrease_tables.hv_interval_h(bearing, rpm)


@pytest.mark.parametrize("hp, duty, months", [(7.5, "normal", 24), (40, "normal", 12), (50, "normal", 9),
                                              (100, "hot dirty", 3), (5, "light", 60), (20, "seasonal", 12)])
def test_the_hp_chart_gives_months(hp: float, duty: str, months: float) -> None:
    assert regrease_tables.hp_interval_months(hp, duty) == months


def test_the_hp_chart_stops_at_100_hp() -> None:
    with pytest.raises(NotInTable):
        regrease_tables.hp_interval_months(125)


@pytest.mark.parametrize("bearing_c, hours", [(70, 8800), (85, 4400), (100, 2200), (56, 8800), (55, 17600),
                                              (30, 17600)])
def test_heat_halves_for_each_15_k_and_cool_doubles_once(bearing_c: float, hours: float) -> None:
    assert regrease.at_temperature_h(8800, bearing_c) == pytest.approx(hours)


@pytest.mark.parametrize("operating_f, hours", [(140, 1000), (150, 1000), (175, 500), (200, 250)])
def test_a_government_handbook_halves_for_each_25_f(operating_f: float, hours: float) -> None:
    assert regrease.above_150_f_h(1000, operating_f) == pytest.approx(hours)


@pytest.mark.parametrize("bearing_c, factor", [(55, 1.0), (56, 0.5), (70, 0.5), (85, 0.25), (100, 0.125)])
def test_the_drive_guide_s_factor(bearing_c: float, factor: float) -> None:
    assert regrease.guide_temperature_factor(bearing_c) == factor


def test_the_drive_guide_asks_for_special_grease_above_100_c() -> None:
    with pytest.raises(NotInTable, match="special grease"):
        regrease.guide_temperature_factor(100.1)


def test_the_register_is_offered_interval_and_amount_or_told_why_not() -> None:
    offer = regrease.offer("6309", 1800)
    assert (offer.interval_run_h, offer.grease_g, offer.sealed) == (9794, pytest.approx(12.5), False)
    assert regrease.offer("NU212", 1800).interval_run_h == 3820  # 5 × (1,004.1 − 240) = 3,820.5, rounded down
    assert regrease.offer("6309", 1800, k=1.0).interval_run_h == 979
    sealed = regrease.offer("6309-2Z", 1800)
    assert sealed.sealed and sealed.interval_run_h is None and sealed.grease_g is None
    fast = regrease.offer("6320", 3600)
    assert fast.interval_run_h is None and fast.grease_g == pytest.approx(50.525) and "plate" in fast.why_not
    assert regrease.offer("6309", None).why_not == "no speed on the plate"
    assert regrease.offer("7312", 1800).why_not  # angular contact: no factor in the table
    assert regrease.offer("22320", 1800).grease_g is None  # not in the size table
    assert regrease.offer("sleeve", 1800).why_not.startswith("“sleeve” is not a bearing number")
