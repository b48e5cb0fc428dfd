"""The first example of a property pays for late imports, so no deadline."""

from hypothesis import settings

settings.register_profile("codec", deadline=None)
settings.load_profile("codec")
