"""What holds for every test: a property is about values, and how long one example takes on a busy machine is none."""

from hypothesis import settings

settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")
