"""The facts a rule is given: one motor, one reading, what came before. Frozen, SI, the unit in every name.

Every measured value may be None (nobody looked). Where somebody looked and could not, `unread` says so under the
field's name ("current_a", "bearing_temp_c.DE"), with "not fitted" or "could not read": blank, zero, not fitted and
could not read are four different answers.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Generic, TypeVar

T = TypeVar("T")

ENDS = ("DE", "ODE")
RUNNING, STANDBY, OUT_OF_SERVICE, LOCKED_OUT = "running", "standby", "out of service", "locked out"
STATES = (RUNNING, STANDBY, OUT_OF_SERVICE, LOCKED_OUT)

#: Ordered words, mildest first. Never turned into numbers of another quantity.
TEMPERATURE_FEEL = ("cool", "warm", "hot", "too hot to hold")
VIBRATION_FEEL = ("as usual", "rougher than usual", "severe")
COULD_NOT_FEEL = "could not feel"
SMOKE = ("none", "seen")
LEAK = ("none", "seen")
IN_PLACE = ("in place", "missing", "loose")
LUBRICANT = ("ok", "low", "empty", "high", "leaking", "discoloured", "purging")
CLEANLINESS = ("clean", "dusty", "oily", "vents blocked")
METHODS = ("hand", "contact", "infrared", "fitted")
NOT_FITTED, COULD_NOT_READ = "not fitted", "could not read"
INTERLOCKS = ("low-voltage protection", "low-voltage release", "automatic start")
AMMETERS = ("none", "one", "three", "control room")


@dataclass(frozen=True)
class Ends(Generic[T]):
    """The same thing at the drive end and at the opposite drive end; None where there is none."""

    de: T | None = None
    ode: T | None = None

    def __getitem__(self, end: str) -> T | None:
        if end not in ENDS:
            raise KeyError(end)
        return self.de if end == "DE" else self.ode

    def items(self) -> Iterator[tuple[str, T]]:
        """The ends that have one, drive end first."""
        for end, value in (("DE", self.de), ("ODE", self.ode)):
            if value is not None:
                yield end, value


@dataclass(frozen=True)
class Nameplate:
    """The machine fitted there, for the connected voltage. `key` tells one plate from another (a swap)."""

    key: int = 0
    rated_amps: float | None = None
    service_factor: float | None = None
    service_factor_amps: float | None = None
    volts: float | None = None
    hp: float | None = None
    phases: int | None = 3
    hz: float | None = None
    rpm: float | None = None
    poles: int | None = None
    insulation_class: str | None = None
    ambient_c: float | None = None
    mounting: str | None = None  # "rigid" or "flexible"
    bearing: Ends[str] = field(default_factory=Ends)  # bearing number as stamped, or "sleeve"
    frame: str | None = None
    #: why rated_amps is missing although amps are stamped: "connected voltage not chosen", "plate not confirmed"
    amps_unknown_because: str | None = None
    load_wk2_lbft2: float | None = None


@dataclass(frozen=True)
class LubricationPoint:
    """One bearing's line of the lubrication chart."""

    kind: str | None = None  # "grease", "oil" or "sealed"
    lubricant: str | None = None
    thickener: str | None = None
    grease_g: float | None = None
    interval_days: float | None = None
    interval_run_h: float | None = None
    #: the newest of the recorded greasings and the register's own date
    last_greased_at: datetime | None = None
    #: running hours since then, as estimated; None when not known
    run_h_since: float | None = None
    #: of these, hours in which the motor may have been in another state than taken for
    run_h_unsure: float | None = None
    #: what the handbook gives where the chart has nothing: offered, marked computed, confirmed by nobody yet
    computed_grease_g: float | None = None
    computed_interval_run_h: float | None = None


@dataclass(frozen=True)
class Motor:
    """The position in the plant."""

    tag: str
    nameplate: Nameplate = field(default_factory=Nameplate)
    ammeter: str | None = None
    interlock: str | None = None
    accepted_normal_feel: str | None = None  # winding, by hand; a word of TEMPERATURE_FEEL
    lubrication: Ends[LubricationPoint] = field(default_factory=Ends)
    #: probes that report to the control room: keys of Reading that need no typing at the motor
    by_control_room: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Reading:
    """What one person found at one motor at one time."""

    state: str
    taken_at: datetime
    smoke: str | None = None
    guard: str | None = None
    ground: str | None = None
    leak: str | None = None
    vibration_feel: Ends[str] = field(default_factory=Ends)
    vibration_mm_s: Ends[float] = field(default_factory=Ends)  # RMS, 10-1,000 Hz
    bearing_feel: Ends[str] = field(default_factory=Ends)
    bearing_temp_c: Ends[float] = field(default_factory=Ends)
    winding_feel: str | None = None
    winding_temp_c: float | None = None
    winding_method: str | None = None  # "fitted" (embedded detector), "contact", "infrared"
    current_a: tuple[float, ...] = ()  # one or three phases
    voltage_v: tuple[float, ...] = ()  # three, line to line
    lubricant: Ends[str] = field(default_factory=Ends)
    cleanliness: str | None = None
    ambient_c: float | None = None
    method: str | None = None  # how the bearings were taken, a word of METHODS
    unread: Mapping[str, str] = field(default_factory=dict)
    nameplate_key: int = 0
    person: str | None = None
    condition_before: str | None = None  # the motor's condition on record when this was entered

    @property
    def running(self) -> bool:
        return self.state == RUNNING


@dataclass(frozen=True)
class Greasing:
    """One recorded greasing."""

    end: str
    at: datetime
    lubricant: str | None = None
    thickener: str | None = None
    grams: float | None = None
    person: str | None = None


@dataclass(frozen=True)
class TemporaryState:
    """A half-way state that crosses shifts: drain plug out, guard off, temporary fan, bypass."""

    kind: str
    since: datetime
    expected_end: datetime
    end: str | None = None  # DE, ODE or None
    person: str | None = None  # who set it, and gave its expected end


@dataclass(frozen=True)
class History:
    """What is known from before the moment judged, newest first, corrected entries left out."""

    #: the last running readings (20 at most are used) of this motor, whatever the plate: the rules compare like
    #: with like by nameplate_key and method themselves
    running: tuple[Reading, ...] = ()
    greasings: tuple[Greasing, ...] = ()
    #: what stands half-way on this motor, not ended yet
    temporary: tuple[TemporaryState, ...] = ()
    last_start_at: datetime | None = None
    #: when it was last known to stand, where no start is on record since; None: last known running, or nothing known
    stood_at: datetime | None = None
    #: a bearing was changed or a new normal accepted then: what is older is no normal any more
    new_normal_at: datetime | None = None
    #: how long the same person took from the motor before to this one, and how many motors in a row went that fast
    pace_s: float | None = None
    fast_in_a_row: int = 0


@dataclass(frozen=True)
class Show:
    """How this unit likes its figures in a sentence. Stored values are SI whatever is shown."""

    temperature: str = "C"  # or "F"
    vibration: str = "mm/s"  # or "in/s"
    grease: str = "g"  # or "oz"
    power: str = "hp"  # or "kW"


@dataclass(frozen=True)
class Facts:
    """Everything one judgement is given. `reading` is None when only the clock moved (an opened round)."""

    motor: Motor
    now: datetime
    reading: Reading | None = None
    history: History = field(default_factory=History)
    #: an entry made at the motor by page or tablet: what the round required and nobody measured is a finding
    walked: bool = True
    show: Show = field(default_factory=Show)
