"""Settings shared by all tests."""

import pytest
from hypothesis import settings

# Speed is measured in benchmarks, never in tests: a busy machine must not fail a property.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put what drives a real browser last: its driver keeps an event loop running in the process
    from then on, and the pages' own tests bring one of theirs."""
    items.sort(key=lambda item: "browser" in item.path.parts)
