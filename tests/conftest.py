"""What holds for every test.

A property is about values, and how long one example takes on a busy machine is none. Commands are started hundreds of
times: they are compiled once, also where the environment says otherwise.
"""

import os

from hypothesis import settings

settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
