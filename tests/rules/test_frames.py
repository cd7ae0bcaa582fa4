"""Frame numbers: the series and the shaft height."""

from __future__ import annotations

import pytest

from app.rules.frames import read_frame
from app.rules.tables import MakesNoSense

#: NEMA: first two digits over four, in inches; IEC: the number, in mm
FRAMES = [("286T", "NEMA", 280, 177.8), ("449TS", "NEMA", 440, 279.4), ("145T", "NEMA", 140, 88.9),
          ("5008", "NEMA", 5000, 317.5), ("56C", "NEMA", 56, 88.9), ("180L", "IEC", 180, 180.0),
          ("IEC 132S", "IEC", 132, 132.0), ("315", "IEC", 315, 315.0), ("90S", "IEC", 90, 90.0),
          (" 184t ", "NEMA", 180, 114.3)]


@pytest.mark.parametrize("text, standard, series, height", FRAMES)
def test_a_frame_tells_its_series_and_shaft_height(text: str, standard: str, series: int, height: float) -> None:
    frame = read_frame(text)
    assert (frame.standard, frame.series) == (standard, series)
    assert frame.shaft_height_mm == pytest.approx(height)


@pytest.mark.parametrize("text", ["", "T", "frame 286"])
def test_a_text_that_is_no_frame_is_declined(text: str) -> None:
    with pytest.raises(MakesNoSense):
        read_frame(text)
