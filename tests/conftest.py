"""What holds for every test.

A property is about values, and how long one example takes on a busy machine is none. Commands are started hundreds of
times: they are compiled once, also where the environment says otherwise. No daemon of a test leaves its state in the
home of whoever runs it.
"""

import os
from collections.abc import Iterator

import pytest
from hypothesis import settings

settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


@pytest.fixture(autouse=True, scope="session")
def _state_elsewhere(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))
        yield
