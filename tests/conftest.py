"""What holds for all tests."""

from hypothesis import settings

# a shared machine is slow at times, which says nothing about the code; figures are measured in tests/bench
settings.register_profile("drawerwright", deadline=None)
settings.load_profile("drawerwright")
