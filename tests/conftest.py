"""Settings shared by all tests."""

from hypothesis import settings

# Speed is measured in benchmarks, never in tests: a busy machine must not fail a property.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
