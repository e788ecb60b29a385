"""What every test of the beat clock starts with."""

import pytest
from tests.core.beat.player import Player


@pytest.fixture
def player() -> Player:
    return Player()
