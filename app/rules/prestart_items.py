"""What is answered before a first start, the first after repair, or the first after long idle.

Common practice of the trade, in our own words; lock-out itself follows the unit's written procedure (the duty behind
it: 29 CFR 1910.147(e), from memory). An answer is a record by a named person, never a release. After the answers: a
motor that has not begun to turn in about 2 s is switched off at once, and its bearings are watched for the first 2 h.
"""

from __future__ import annotations

from dataclasses import dataclass

YES, NO, NOT_NEEDED = "yes", "no", "not needed"


@dataclass(frozen=True)
class Item:
    """One question. may_be_left_out: "not needed" is a possible answer for some motors."""

    key: str
    asks: str
    care: str
    may_be_left_out: bool = False

    @property
    def words(self) -> tuple[str, ...]:
        return (YES, NO, NOT_NEEDED) if self.may_be_left_out else (YES, NO)


ITEMS = (
    Item("lockout", "Lock-out procedure followed, and every lock taken off by its own owner?",
         "Never take off another person's lock."),
    Item("right_motor", "Right motor: the same tag on the motor, on the starter and on this screen?",
         "Twins stand side by side: read the tag aloud."),
    Item("turned", "Shaft turned by hand, freely, while it was still isolated?",
         "Only while isolated and locked out."),
    Item("lubrication", "Lubrication system in order, and every level right in kind and amount?",
         "Too much harms as too little does."),
    Item("installed", "Installed, bolted down and coupled as it should be?",
         "Tools and rags out, terminal cover on, drain and vent plugs in."),
    Item("guard", "Coupling guard on?", "No guard, no start."),
    Item("ground", "Ground wire on and tight?", "Look, do not pull on it."),
    Item("clear", "Area clean, people clear, and the area told?",
         "Somebody watches the motor with a stop in reach; nobody stands before the starter door."),
    Item("eased", "Driven machine eased for the start (valves set, not blocked, not full)?",
         "As the machine's own procedure says."),
    Item("rotation", "Direction of rotation agreed with the driven machine, where leads were off or it is new?",
         "Turning the wrong way can wreck some machines: uncoupled first, by procedure.", may_be_left_out=True),
    Item("protection", "Overload relay reset, and the protection set for the nameplate fitted now?",
         "Setting it is work for qualified people.", may_be_left_out=True),
    Item("insulation", "Insulation value given by a competent person, where one is called for?",
         "Measuring is work for competent people, locked out.", may_be_left_out=True),
)
BY_KEY = {item.key: item for item in ITEMS}
