"""The first example of a property pays for late imports, so no deadline."""

from hypothesis import settings

settings.register_profile("change", deadline=None)
settings.load_profile("change")
