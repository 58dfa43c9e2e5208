"""Addresses behind proxies: only what trusted proxies report is believed (examples of RFC 7239, 4 to 6, among them)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.requests import Request

from api.auth.client_address import client_address, client_scheme
from worker.jobs.webhooks.ip_policy import read_networks

_TRUSTED = read_networks("10.0.0.0/8, ::1/128")


def _request(peer, *headers):
    pairs = [(name.encode(), value.encode("latin-1")) for name, value in headers]
    return Request({"type": "http", "client": (peer, 1), "headers": pairs})


@pytest.mark.parametrize(
    ("headers", "address"),
    [
        ((), "10.0.0.1"),
        ((("x-forwarded-for", "192.0.2.43"),), "192.0.2.43"),
        ((("x-forwarded-for", "8.8.8.8, 192.0.2.43"),), "192.0.2.43"),  # the first was sent by the client itself
        ((("x-forwarded-for", "192.0.2.43, 10.0.0.7"),), "192.0.2.43"),
        ((("x-forwarded-for", "8.8.8.8"), ("x-forwarded-for", "192.0.2.43")), "192.0.2.43"),
        ((("x-forwarded-for", "192.0.2.43:4711"),), "192.0.2.43"),
        ((("x-forwarded-for", "2001:db8::17"),), "2001:db8::17"),
        ((("forwarded", "for=192.0.2.43"),), "192.0.2.43"),
        ((("forwarded", "for=192.0.2.60;proto=http;by=203.0.113.43"),), "192.0.2.60"),
        ((("forwarded", 'For="[2001:db8:cafe::17]:4711"'),), "2001:db8:cafe::17"),
        ((("forwarded", "for=192.0.2.43, for=198.51.100.17"),), "198.51.100.17"),
        ((("forwarded", "for=192.0.2.43, for=10.0.0.7;proto=https"),), "192.0.2.43"),
        ((("forwarded", "for=192.0.2.43"), ("x-forwarded-for", "192.0.2.43")), "192.0.2.43"),
        ((("forwarded", "for=8.8.8.8"), ("x-forwarded-for", "192.0.2.43")), "10.0.0.1"),  # one of them is forged
        ((("forwarded", "for=unknown"),), "10.0.0.1"),
        ((("forwarded", "for=_hidden"),), "10.0.0.1"),
        ((("forwarded", "proto=https"),), "10.0.0.1"),
        ((("x-forwarded-for", "10.0.0.7"),), "10.0.0.1"),
        ((("x-forwarded-for", "1.2.3.4," * 1000),), "10.0.0.1"),
    ],
)
def test_the_last_address_that_is_no_trusted_proxy_is_the_clients(headers, address):
    assert client_address(_request("10.0.0.1", *headers), _TRUSTED) == address
    assert client_address(_request("192.0.2.1", *headers), _TRUSTED) == "192.0.2.1"
    assert client_address(_request("10.0.0.1", *headers), ()) == "10.0.0.1"


@given(st.sampled_from(["forwarded", "x-forwarded-for"]), st.text(st.characters(max_codepoint=255), max_size=60))
def test_no_header_breaks_it(name, value):
    request = _request("10.0.0.1", (name, value))
    assert client_address(request, _TRUSTED)
    assert client_scheme(request, _TRUSTED) in (None, "http", "https")


@pytest.mark.parametrize(
    ("headers", "scheme"),
    [
        ((), None),
        ((("x-forwarded-proto", "HTTPS"),), "https"),
        ((("x-forwarded-proto", "gopher"),), None),
        ((("forwarded", "for=192.0.2.60; proto=https; by=203.0.113.43"),), "https"),
        ((("forwarded", "for=192.0.2.60;proto=http, for=10.0.0.7;proto=https"),), "https"),
    ],
)
def test_the_scheme_is_the_one_that_a_trusted_proxy_reports(headers, scheme):
    assert client_scheme(_request("::1", *headers), _TRUSTED) == scheme
    assert client_scheme(_request("192.0.2.1", *headers), _TRUSTED) is None
