"""May it be started? The starts that are behind it, against the limits on how often."""

from __future__ import annotations

from app.rules.mg10 import Mg10Row as Mg10Row
from app.rules.mg10 import mg10 as mg10
from app.rules.mg10 import mg10_starts_per_hour as mg10_starts_per_hour
