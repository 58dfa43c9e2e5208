"""Rates: a bucket for each key and each address, told in the headers."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.app import create_app
from api.auth.rate_limit import _MOST, Rates, peer_name
from worker.jobs.common.principal import Quotas
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService


class _Clock:
    def __init__(self):
        self.now = 1000.0

    def __call__(self):
        return self.now


@given(st.integers(1, 600), st.lists(st.floats(0.0, 30.0), min_size=1, max_size=200))
def test_no_minute_sees_more_than_a_bucket_and_what_flows_into_it(per_minute, pauses):
    clock = _Clock()
    rates = Rates(clock)
    passed = []
    for pause in pauses:
        clock.now += pause
        rate = rates.take("x", per_minute)
        if rate.wait == 0:
            passed.append(clock.now)
        assert 0 <= rate.remaining <= per_minute
        assert 0 <= rate.full_in <= 61
    for at in passed:
        assert sum(at <= moment <= at + 60.0 for moment in passed) <= 2 * per_minute + 1


@given(st.integers(1, 300))
def test_who_waits_as_long_as_told_gets_through(per_minute):
    clock = _Clock()
    rates = Rates(clock)
    while (rate := rates.take("x", per_minute)).wait == 0:
        pass
    assert rate.headers()["Retry-After"] == str(rate.wait)
    clock.now += rate.wait
    assert rates.take("x", per_minute).wait == 0


def test_buckets_are_bounded():
    rates = Rates(_Clock())
    for number in range(_MOST + 10):
        rates.take(f"peer:{number}", 5)
    assert len(rates._buckets) == _MOST


def test_one_site_has_one_bucket():
    assert peer_name("192.0.2.1") != peer_name("192.0.2.2")
    assert peer_name("2001:db8::1") == peer_name("2001:db8::ffff:1") != peer_name("2001:db8:0:1::1")
    assert peer_name("::ffff:192.0.2.1") == peer_name("192.0.2.1")
    assert peer_name("fe80::1%eth0") == peer_name("fe80::2")
    assert peer_name("") == peer_name("no address")


@pytest.fixture(scope="module")
def inside(tmp_path_factory):
    return Settings.read(
        data_dir=tmp_path_factory.mktemp("rates"),
        allowed_hosts="drawers.test",
        requests_per_minute=20,
        failures_per_minute=20,
    )


@pytest.fixture(scope="module")
def limited(inside):
    with JobService.open(inside) as job_service:
        yield job_service


def test_a_flood_is_answered_with_when_to_come_back(limited, started):
    with started(create_app(limited)) as client:
        answers = [client.get("/v1/catalogue") for _ in range(25)]
        assert client.get("/livez").status_code == 200
    statuses = [answer.status_code for answer in answers]
    assert set(statuses[:20]) == {200}
    assert 429 in statuses[20:]
    first, last = answers[0], next(answer for answer in answers if answer.status_code == 429)
    assert first.headers["ratelimit-policy"] == '"requests";q=20;w=60'
    assert first.headers["ratelimit"] == '"requests";r=19;t=3'
    assert re.fullmatch(r'"requests";r=0;t=\d+', last.headers["ratelimit"])
    assert 1 <= int(last.headers["retry-after"]) <= 3
    problem = last.json()
    assert problem["type"].endswith("/problems/rate-exceeded")
    assert problem["limit"] == "20 requests a minute"
    assert problem["remedy"]


def test_each_key_has_its_own_and_who_guesses_is_stopped(limited, started):
    first, second = (limited.keys.create(name, ["read"])[1].get_secret_value() for name in "ab")
    many = limited.keys.create("c", ["read"], quotas=Quotas(requests=0))[1].get_secret_value()
    with started(create_app(limited)) as client:

        def ask(key, count):
            headers = {"Authorization": f"Bearer {key}"}
            return [client.get("/v1/catalogue", headers=headers) for _ in range(count)]

        assert [answer.status_code for answer in ask(first, 24)].count(429) >= 2
        assert {answer.status_code for answer in ask(second, 5)} == {200}
        unlimited = ask(many, 30)
        assert {answer.status_code for answer in unlimited} == {200}
        assert "ratelimit" not in unlimited[0].headers
        guesses = [answer.status_code for answer in ask("dw_0000000000_" + "0" * 40, 30)]
        assert set(guesses) == {401, 429}
        assert guesses[-1] == 429
        assert {answer.status_code for answer in ask(second, 5)} == {200}


def test_wrong_keys_do_not_lock_out_right_ones_behind_the_same_address(tmp_path, started):
    settings = Settings.read(data_dir=tmp_path, failures_per_minute=5, requests_per_minute=1_000)
    with JobService.open(settings) as job_service:
        key = job_service.keys.create("right", ["read"])[1].get_secret_value()
        with started(create_app(job_service)) as client:

            def status(secret):
                return client.get("/v1/catalogue", headers={"Authorization": f"Bearer {secret}"}).status_code

            wrong = [f"dw_0000000000_{number:040d}" for number in range(40)]
            assert [status(secret) for secret in wrong[:7]] == [401] * 5 + [429] * 2
            pairs = [(status(secret), status(key)) for secret in wrong[7:]]
    assert {right for _, right in pairs} == {200}  # as it was, 36 of 40 were refused
    assert 429 in {refused for refused, _ in pairs}


def test_behind_a_trusted_proxy_each_client_has_its_own_limit(tmp_path, started):
    def refusals(trusted):
        settings = Settings.read(
            data_dir=tmp_path, failures_per_minute=2, trusted_proxies=trusted, open_loopback="never"
        )
        with JobService.open(settings) as job_service, started(create_app(job_service)) as client:
            headers = [{"X-Forwarded-For": f"192.0.2.{number}"} for number in range(6)]
            return [client.get("/v1/catalogue", headers=header).status_code for header in headers]

    assert refusals("127.0.0.0/8") == [401] * 6
    assert refusals("") == [401] * 2 + [429] * 4
