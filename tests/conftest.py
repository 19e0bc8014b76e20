"""What every test run shares: generated examples are the same each time, so a failure can be looked at again."""

from hypothesis import settings

settings.register_profile("seeded", derandomize=True, deadline=None, print_blob=True)
settings.load_profile("seeded")
