"""The demo's plant: nobody's real unit. People, areas in walking order, every motor's plate and lubrication chart.

The unit thickens a wash liquor: evaporators with a vapour compressor, crystallisers, a dryer, what serves them.
Plate amps lie between the code's full-load table and P/(√3·V·η·pf); grease amounts are 0.005 × D × B of the bearing.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cache
from random import Random

from app.rules.bearing_numbers import is_sealed
from app.rules.grease_amounts import bearing_grease_g
from app.rules.plate import read_hp
from app.store.people import HEAD_OPERATOR, OPERATOR, SUPERVISOR
from app.store.register import COLUMNS

UNIT = "Ferrow Bend concentrator unit"
ZONE = "America/Chicago"
SHIFTS = (("Day", "06:00"), ("Night", "18:00"))
LVP, LVR, AUTO = "low-voltage protection", "low-voltage release", "automatic start"
OIL = "turbine oil ISO VG 32"
GREASE = "motor grease NLGI 2"
#: name, grams a stroke, what it is kept to and its thickener
GUNS = (("Gun 1", 1.35, GREASE, "polyurea"), ("Gun 2", 0.9, "coupling grease EP 1", "lithium complex"))
#: Greased while running, drain plug out: what these motors' own instructions say of both ends.
GREASED_RUNNING = ("P-201A", "P-201B", "P-202A", "S-405", "S-406")


@dataclass(frozen=True)
class Somebody:
    sign_in: str
    name: str
    role: str
    secret: str
    crew: str


PEOPLE = (
    Somebody("robin", "Robin Alder", OPERATOR, "417093", "crew A"),
    Somebody("casey", "Casey Birch", OPERATOR, "528164", "crew B"),
    Somebody("devon", "Devon Hazel", OPERATOR, "639275", "crew C"),
    Somebody("morgan", "Morgan Reed", OPERATOR, "740386", "crew D"),
    Somebody("sasha", "Sasha Linden", OPERATOR, "851497", "outside, days"),
    Somebody("alex", "Alex Thorne", HEAD_OPERATOR, "962508", "crews A and B"),
    Somebody("kim", "Kim Sorrel", HEAD_OPERATOR, "173619", "crews C and D"),
    Somebody("pat", "Pat Juniper", SUPERVISOR, "copper kettle 58", "days"),
)


@dataclass(frozen=True)
class Place:
    """One motor as it stands in the table below; what is not given there follows from hp and poles."""

    tag: str
    service: str
    hp: str
    volts: str
    amps: str
    poles: int = 4
    ammeter: str = "one"  # none, one, three, control room
    interlock: str = LVP
    state: str = "running"
    partner: str = ""
    area: str = ""
    taken: str = ""  # how the bearings are taken: hand, infrared, fitted
    outside: bool = False
    more: dict[str, str] = field(default_factory=dict)  # further cells of the register

    @property
    def size_hp(self) -> float:
        return read_hp(self.hp)

    @property
    def rated_a(self) -> float:
        """Amps for the higher voltage of the plate."""
        return float(self.amps.split("/")[-1])

    @property
    def method(self) -> str:
        return self.taken or ("infrared" if self.size_hp >= 40 else "hand")

    def sealed(self, end: str) -> bool:
        return is_sealed(self.bearing(end))

    def bearing(self, end: str) -> str:
        return self.more.get(f"{end.lower()}_bearing") or SIZES[self.size_hp][1 if end == "DE" else 2]


#: hp: frame, bearings DE and ODE, code letter, days between greasings at four poles or more
SIZES: dict[float, tuple[str, str, str, str, int]] = {
    1: ("143T", "6205-2Z", "6203-2Z", "K", 0),
    1.5: ("145T", "6205-2Z", "6203-2Z", "K", 0), 2: ("145T", "6205-2Z", "6204-2Z", "K", 0),
    5: ("184T", "6206-2Z", "6205-2Z", "J", 0), 7.5: ("213T", "6307-2Z", "6206-2Z", "H", 0),
    10: ("215T", "6307", "6206-2Z", "H", 540), 15: ("254T", "6309", "6209", "G", 365),
    20: ("256T", "6309", "6209", "G", 365), 25: ("284T", "6311", "6211", "G", 365),
    30: ("286T", "6311", "6211-2Z", "G", 365), 40: ("324T", "6312", "6312", "G", 365),
    50: ("365T", "6313", "6312", "G", 270), 60: ("404T", "6314", "6313", "G", 270),
    75: ("365T", "6313", "6312", "G", 270), 100: ("444T", "6318", "6316", "G", 270),
    125: ("444T", "6318", "6316", "G", 180), 150: ("445T", "6318", "6316", "G", 180),
    200: ("447T", "6319", "6318", "G", 180), 300: ("449TS", "6316", "6316", "F", 180),
    350: ("5008", "NU322", "6322", "F", 120), 500: ("5810", "6324", "6322", "F", 120),
    1250: ("7112", "sleeve", "sleeve", "E", 365), 4000: ("8812", "sleeve", "sleeve", "D", 365),
}

_WRITTEN = {"start_basis": "written procedure", "written_starts_per_hour": "1", "written_spacing_min": "60",
            "written_run_min": "30", "written_tries": "2"}
_BIG = {"service_factor": "1.0", "enclosure": "WPII", "mounting": "rigid"}
_DUAL = {"connected_volts": "460"}
_DAILY, _WEEKLY = {"checked_every": "day"}, {"checked_every": "week"}

AREAS: dict[str, tuple[Place, ...]] = {
    "Feed and transfer": (
        Place("P-101A", "Feed pump A", "75", "460", "87", partner="P-101B"),
        Place("P-101B", "Feed pump B", "75", "460", "87", state="standby", partner="P-101A"),
        Place("P-102A", "Transfer pump A", "30", "460", "36.5", interlock=LVR, partner="P-102B"),
        Place("P-102B", "Transfer pump B", "30", "460", "36.5", interlock=AUTO, state="standby", partner="P-102A",
              more=_DAILY),
        Place("P-103", "Filtrate return pump", "15", "230/460", "37/18.5", more=_DUAL),
        Place("P-104A", "Wash water pump", "10", "230/460", "24.8/12.4",
              more={**_DUAL, "service_factor_amps": "28.4/14.2"}),
        Place("A-110", "Feed tank agitator", "20", "460", "25.5", 6, ammeter="none", more=_DAILY),
    ),
    "Evaporator hall": (
        Place("P-201A", "Circulation pump A, first effect", "200", "460", "228", ammeter="three", partner="P-201B",
              more={"de_interval_run_h": "6000", "ode_interval_run_h": "6000"}),
        Place("P-201B", "Circulation pump B, first effect", "200", "460", "228", ammeter="three", state="standby",
              partner="P-201A", more=_DAILY),
        Place("P-202A", "Circulation pump, second effect", "200", "460", "226", ammeter="three"),
        Place("P-203A", "Circulation pump, third effect", "150", "460", "171"),
        Place("P-210A", "Product pump", "40", "460", "47.5"),
        Place("P-211", "Vacuum pump", "100", "460", "119", 6),
        Place("P-212", "Seal water pump", "5", "460", "6.4", 2, interlock=LVR),
        Place("P-213", "Condensate return from second-effect heater, north side pump", "25", "460", "30.5"),
    ),
    "Compressor house": (
        Place("K-301", "Vapour compressor", "4000", "4000", "505", ammeter="control room", taken="fitted",
              more={**_BIG, **_WRITTEN, "service_factor": "1.15", "enclosure": "TEWAC"}),
        Place("K-302", "Vapour booster fan", "1250", "4000", "160", ammeter="control room", taken="fitted",
              more={**_BIG, **_WRITTEN}),
        Place("P-310A", "Lube oil pump, main", "10", "460", "12.6", partner="P-310B"),
        Place("P-310B", "Lube oil pump, standby", "10", "460", "12.6", interlock=AUTO, state="standby",
              partner="P-310A", more=_DAILY),
        Place("F-311", "Oil vapour fan", "1 1/2", "460", "2.2", 2, ammeter="none", more=_DAILY),
        Place("P-312A", "Compressor cooling water booster", "60", "460", "69"),
    ),
    "Crystallisers and dryer": (
        Place("A-401", "Crystalliser agitator, first stage", "50", "460", "60", 6),
        Place("A-402", "Crystalliser agitator, second stage", "50", "460", "60", 6),
        Place("S-405", "Centrifuge A", "125", "460", "142", ammeter="three", partner="S-406"),
        Place("S-406", "Centrifuge B", "125", "460", "142", ammeter="three", partner="S-405"),
        Place("F-410", "Dryer exhaust fan", "350", "2300", "80", 6, taken="fitted", more=_BIG),
        Place("F-411", "Dryer supply fan", "150", "460", "171"),
        Place("C-420", "Product screw", "7 1/2", "460", "9.6", ammeter="none"),
        Place("1E05", "Bucket elevator", "15", "460", "18.8", more={"insulation_class": "B"}),
        Place("V-430", "Dryer rotary valve", "2", "230/460", "6.2/3.1", 6),
    ),
    "Cooling tower": (
        *(Place(f"CF-50{n}", f"Tower fan {n}", "60", "460", "71", ammeter="none" if n == 3 else "one", interlock=LVR,
                taken="fitted", outside=True, more={"mounting": "flexible"}) for n in (1, 2, 3)),
        *(Place(f"P-510{x}", f"Cooling water pump {x}", "500", "2300", "116", taken="fitted", outside=True,
                state="standby" if x == "C" else "running", more=_BIG | (_DAILY if x == "C" else {})) for x in "ABC"),
        Place("P-511", "Make-up water pump", "30", "460", "37", outside=True),
    ),
    "Steam and condensate": (
        Place("P-601A", "Condensate pump A", "25", "460", "30.5", partner="P-601B"),
        Place("P-601B", "Condensate pump B", "25", "460", "30.5", state="standby", partner="P-601A"),
        Place("P-602A", "Boiler feed pump A", "300", "460", "345", 2, ammeter="control room", taken="fitted",
              partner="P-602B"),
        Place("P-602B", "Boiler feed pump B", "300", "460", "345", 2, ammeter="control room", taken="fitted",
              interlock=AUTO, state="standby", partner="P-602A", more=_DAILY),
        Place("P-603", "Flash tank pump", "15", "460", "18.5"),
    ),
    "Sumps and effluent": (
        Place("SP-701", "Sump pump, evaporator hall", "1", "460", "1.6", ammeter="none", interlock=AUTO,
              state="standby", outside=True, more={**_DAILY, "insulation_class": "B"}),
        Place("SP-702", "Sump pump, dryer", "1", "460", "1.6", ammeter="none", interlock=AUTO, state="standby",
              outside=True, more={**_DAILY, "insulation_class": "B"}),
        Place("P-710", "Effluent transfer pump", "20", "460", "24.5", outside=True, partner="P-720"),
        Place("B-711", "Aeration blower", "100", "460", "115", 2, outside=True,
              more={"ode_bearing": "6316-2Z", "de_interval_run_h": "2200", "de_interval_days": ""}),
        Place("P-720", "Effluent transfer pump, idle spare", "20", "460", "24.5", state="standby", outside=True,
              partner="P-710", more=_WEEKLY),
    ),
}
#: The areas that the outside operator walks on days.
OUTSIDE = ("Cooling tower", "Sumps and effluent")
#: How a hand finds the frame of these when all is well.
RUNS_HOT = ("S-405", "S-406", "P-203A", "P-211")

#: Days from now until these are due, both ends; below zero they are overdue. None: never recorded.
DUE_IN = {"P-102A": -11.0, "P-102B": 3.0, "F-411": 5.0, "A-401": 6.0, "P-710": 1.0, "P-511": None}

#: Greased in the story (see story.py), and not too soon by the chart's own date.
LONG_SINCE = ("A-402", "P-101A", "P-510A", "P-104A")


@cache
def places() -> tuple[Place, ...]:
    """Every motor in walking order, with its area."""
    return tuple(replace(place, area=area) for area, walked in AREAS.items() for place in walked)


def cells(place: Place, order: int, began: date, now: date) -> dict[str, str]:
    """The motor's cells as the register's page takes them."""
    frame, _, _, code, _ = SIZES[place.size_hp]
    medium = float(place.volts.split("/")[-1]) > 600
    made = {
        "tag": place.tag, "service": place.service, "area": place.area, "route_order": str(order * 10),
        "condition": place.state, "interlock": place.interlock, "ammeter": place.ammeter,
        "standby_partner": place.partner, "hp": place.hp, "volts": place.volts, "amps": place.amps,
        "service_factor": "1.15", "phases": "3", "hz": "60", "rpm": str(rpm(place)), "poles": str(place.poles),
        "code_letter": code, "frame": frame, "enclosure": "TEFC", "insulation_class": "F", "ambient_c": "40",
        "serial": f"FB-{order:03d}-{sum(map(ord, place.tag)) % 900 + 100}",
        "fitted_on": (began - timedelta(days=200 + 97 * order % 2900)).isoformat(),
        "mounting": "rigid" if medium or place.size_hp > 20 else "", "de_bearing": place.bearing("DE"),
        "ode_bearing": place.bearing("ODE"),
    }
    for end in ("DE", "ODE"):
        made |= _chart(place, end, began, now)
    made |= place.more
    return {name: made.get(name, "") for name in COLUMNS}


def rpm(place: Place) -> int:
    """Full-load speed: less slip the larger the motor, to the nearest 5."""
    slip = 0.03 if place.size_hp <= 7.5 else 0.02 if place.size_hp <= 40 else 0.012 if place.size_hp <= 200 else 0.008
    return 5 * round(7200 / place.poles * (1 - slip) / 5)


def interval_days(place: Place) -> int:
    """Two poles wear grease twice as fast."""
    days = SIZES[place.size_hp][4]
    return days // 2 if place.poles == 2 else days


def _chart(place: Place, end: str, began: date, now: date) -> dict[str, str]:
    before, bearing = end.lower() + "_", place.bearing(end)
    if place.sealed(end):
        return {before + "lubrication": "sealed"}
    days = interval_days(place)
    line = {"interval_days": str(days), "last_greased": _last_greased(place, end, days, began, now)}
    if bearing == "sleeve":
        line |= {"lubrication": "oil", "lubricant": OIL}
    else:
        line |= {"lubrication": "grease", "lubricant": GREASE, "thickener": "polyurea",
                 "grease_g": f"{bearing_grease_g(bearing):.0f}"}
    return {before + name: value for name, value in line.items()}


def _last_greased(place: Place, end: str, days: int, began: date, now: date) -> str:
    """Somewhere in the interval when the history begins; both ends on one day."""
    if place.tag in DUE_IN:
        due = DUE_IN[place.tag]
        return "" if due is None else (now + timedelta(days=round(due) - days)).isoformat()
    if place.tag == "B-711":  # by running hours: past 2,200 h the day before yesterday
        return (now - timedelta(days=94)).isoformat()
    share = 0.8 if place.tag in LONG_SINCE else Random(f"greased {place.tag}").uniform(0.1, 0.95)
    return (began - timedelta(days=round(days * share))).isoformat()
