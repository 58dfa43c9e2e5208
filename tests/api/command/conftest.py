"""A service for the commands to use."""

import pytest

from api.command.server import listening


@pytest.fixture(scope="module")
def url(settings):
    """The address of a service of these settings, on a port of its own."""
    with listening(settings.model_copy(update={"port": 0})) as address:
        yield address
