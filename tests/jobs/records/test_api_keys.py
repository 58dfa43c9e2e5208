"""Keys in the record: made once, kept as a digest."""

from datetime import UTC, datetime, timedelta
from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select, text

from api.openapi import examples
from worker.jobs.common.errors import QuotaReached, SettingsError
from worker.jobs.common.principal import SCOPES, Quotas
from worker.jobs.common.settings import Settings
from worker.jobs.database.connection import open_database
from worker.jobs.database.tables import ApiKeyRow
from worker.jobs.records.api_keys import ApiKeys
from worker.jobs.records.heartbeats import Heartbeats
from worker.jobs.records.quotas import expected_bytes
from worker.spec import load


@pytest.fixture
def keys(database):
    return ApiKeys(database)


def test_a_key_is_found_by_itself_alone(keys):
    assert not keys.any()
    key, secret = keys.create("kiosk", ["kiosk", "read"], quotas=Quotas(daily=3), days=30)
    assert keys.any()
    token = secret.get_secret_value()
    assert token.startswith(f"dw_{key.id}_")
    assert len(token.split("_")[2]) * 5 >= 160  # bits
    assert keys.find(token) == key
    assert keys.list() == [key]
    assert key.scopes == ("read", "kiosk")
    assert key.expires - key.created == timedelta(days=30)
    for wrong in (
        token[:-1],
        token + "0",
        token.upper(),
        token[:-1] + ("1" if token[-1] != "1" else "2"),
        "",
        f" {token}",
    ):
        assert keys.find(wrong) is None


def test_the_record_has_no_secret(keys, database):
    _, secret = keys.create("x", ["admin"])
    hidden = secret.get_secret_value().split("_")[2]
    with database.connect() as connection:
        row = connection.execute(select(ApiKeyRow)).one()
    assert row.digest == sha256(hidden.encode()).hexdigest()
    assert hidden not in repr(row)
    assert hidden not in repr(secret)


def test_a_revoked_or_expired_key_is_told_from_an_unknown_one(keys):
    key, secret = keys.create("x", ["read"], days=1)
    assert key.state(datetime.now(UTC)) == "active"
    assert key.state(datetime.now(UTC) + timedelta(days=2)) == "expired"
    revoked = keys.revoke(key.id)
    assert keys.revoke(key.id) == revoked
    assert keys.find(secret.get_secret_value()).state(datetime.now(UTC)) == "revoked"
    with pytest.raises(SettingsError, match="does not exist"):
        keys.revoke("nobody")


def test_use_is_known_to_the_hour(keys):
    key, _ = keys.create("x", ["read"])
    keys.used(key.id)
    first = keys.list()[0].last_used
    assert (first.minute, first.second, first.microsecond) == (0, 0, 0)
    keys.used(key.id)
    assert keys.list()[0].last_used == first or keys.list()[0].last_used - first == timedelta(hours=1)


@pytest.mark.parametrize(
    ("name", "scopes", "options"),
    [
        ("", ["read"], {}),
        (" ", ["read"], {}),
        ("a\nb", ["read"], {}),
        ("x" * 81, ["read"], {}),
        ("x", [], {}),
        ("x", ["all"], {}),
        ("x", ["read"], {"days": 0}),
        ("x", ["read"], {"quotas": Quotas(daily=-1)}),
    ],
)
def test_a_key_that_makes_no_sense_is_refused(keys, name, scopes, options):
    with pytest.raises(SettingsError):
        keys.create(name, scopes, **options)
    assert not keys.any()


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """Keys of one record, and the tokens of some of them."""
    database = open_database(f"sqlite:///{tmp_path_factory.mktemp('keys')}/jobs.sqlite3")
    keys = ApiKeys(database)
    made = [keys.create(f"k{n}", [SCOPES[n % 5]])[1].get_secret_value() for n in range(5)]
    yield keys, made
    database.dispose()


@given(st.data())
def test_nothing_but_the_key_itself_is_found(filled, data):
    keys, made = filled
    token = data.draw(st.text(max_size=70) | st.sampled_from(made))
    if data.draw(st.booleans()) and token:
        at = data.draw(st.integers(0, len(token) - 1))
        token = token[:at] + data.draw(st.text(max_size=1)) + token[at + 1 :]
    key = keys.find(token)
    assert (key is not None) == (token in made)


def test_quotas_are_the_settings_where_a_key_says_nothing(tmp_path):
    settings = Settings.read(data_dir=tmp_path, jobs_waiting=7, jobs_a_day=8, most_bytes=9, requests_per_minute=10)
    assert Quotas().with_defaults(settings) == Quotas(10, 7, 8, 0, 9)
    assert Quotas(1, 0, 3, 4, 5).with_defaults(settings) == Quotas(1, 0, 3, 4, 5)
    assert Quotas(waiting=0).limits() == {"waiting": 0}


def test_two_at_once_do_not_both_take_the_last_place(records):
    from threading import Barrier, Thread  # noqa: PLC0415 - for this alone

    barrier, refused = Barrier(4), []

    def submit():
        barrier.wait()
        for _ in range(5):
            try:
                records.add("x", "{}", owner="k", quotas=Quotas(waiting=6, daily=100))
            except QuotaReached as error:
                refused.append(error)

    threads = [Thread(target=submit) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(records.jobs(100, None, owner="k")) == 6
    assert len(refused) == 14


def test_bytes_are_counted_until_the_job_is_removed(records, blobs, database):
    from worker.jobs.maintenance.job_deletion import JobDeletion  # noqa: PLC0415 - for this alone
    from worker.jobs.records.models import StoredFile  # noqa: PLC0415 - as above

    quotas = Quotas(bytes=10)
    job = records.add("x", "{}", owner="k", quotas=quotas)
    claim = records.claim(job.id, lease_seconds=60.0, attempts=3)
    assert records.succeed(claim, [StoredFile("a", "x/y", 10, "0", f"jobs/{job.id}/a")])
    with pytest.raises(QuotaReached) as caught:
        records.add("x", "{}", owner="k", quotas=quotas)
    assert caught.value.limit == "10 bytes"
    assert caught.value.wait is None
    assert JobDeletion(database, blobs).mark(job.id)
    assert records.add("x", "{}", owner="k", quotas=quotas)


def test_bytes_of_a_batch_are_counted_until_it_is_removed(records, database):
    from worker.jobs.records.batches import BatchRecords, CheckedSpec  # noqa: PLC0415 - for this alone
    from worker.jobs.records.models import StoredFile  # noqa: PLC0415 - as above

    batches, quotas = BatchRecords(database), Quotas(bytes=10)
    batch, (job,) = batches.add("all", [CheckedSpec("x", "{}")], owner="k", quotas=quotas)
    assert records.cancel(job)
    token = batches.claim(batch, lease_seconds=60.0, attempts=3)
    files = [StoredFile(name, "x/y", 5, "0", f"batches/{batch}/{name}") for name in "ab"]
    assert batches.finish(batch, token, files)
    with pytest.raises(QuotaReached) as caught:
        records.add("x", "{}", owner="k", quotas=quotas)
    assert (caught.value.value, "batches" in caught.value.remedy) == (10, True)
    assert Heartbeats(database).figures().kept_bytes == 10
    assert records.add("x", "{}", owner="another", quotas=quotas)
    assert batches.remove(batch)
    assert records.add("x", "{}", owner="k", quotas=quotas)


def test_a_table_that_is_there_is_no_trouble(settings, keys):
    keys.create("x", ["read"])
    again = open_database(settings.database)
    with again.connect() as connection:
        assert connection.execute(text("SELECT count(*) FROM keys")).scalar() == 1
    again.dispose()


def test_bytes_that_are_expected_of_jobs_under_way_are_counted(records):
    quotas = Quotas(bytes=100)
    first = records.add("first", "{}", owner="o", quotas=quotas, expected_bytes=60)
    records.add("of another", "{}", owner="p", quotas=quotas, expected_bytes=60)
    with pytest.raises(QuotaReached) as caught:
        records.add("second", "{}", owner="o", quotas=quotas, expected_bytes=60)
    assert (caught.value.value, caught.value.limit) == (120, "100 bytes, stored or expected")
    assert caught.value.wait
    records.cancel(first.id)
    records.add("second", "{}", owner="o", quotas=quotas, expected_bytes=60)
    with pytest.raises(QuotaReached) as caught:
        records.add("too large", "{}", owner="q", quotas=quotas, expected_bytes=101)
    assert caught.value.wait is None


def test_what_is_expected_of_the_examples_is_near_what_they_take():
    # measured with `run_pipeline`: all files, the manifest and the bundle
    taken = {"small": 1_093_026, "bench-drawer": 9_370_835, "two-drawers": 9_653_437, "workshop-week": 1_748_413}
    for name, size in taken.items():
        assert 0.9 * size < expected_bytes(load(examples.document(name))) < 2.0 * size
