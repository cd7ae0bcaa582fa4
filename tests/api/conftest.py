"""The door of the plant's unit, by a token that may record and by one that may read."""

from __future__ import annotations

import pytest
from flask import Flask

from tests.api.door import Door, make_token
from tests.factories import Plant


@pytest.fixture
def door(app: Flask, plant: Plant) -> Door:
    return Door(app, make_token(app, plant.unit))


@pytest.fixture
def reader(app: Flask, plant: Plant) -> Door:
    """May read only."""
    return Door(app, make_token(app, plant.unit, "read"))
