import pytest

from worker.jobs.database.connection import open_database
from worker.jobs.household.household import Household
from worker.jobs.records.print_events import PrintRecords


@pytest.fixture
def household(settings):
    database = open_database(settings.database)
    yield Household(database)
    database.dispose()


@pytest.fixture
def prints(settings):
    database = open_database(settings.database)
    yield PrintRecords(database)
    database.dispose()
