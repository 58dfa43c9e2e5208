"""Special addresses, held to the registries of RFC 6890 (special-purpose addresses) and later RFCs, from memory."""

import pytest

from worker.jobs.webhooks.ip_policy import is_allowed

pytestmark = pytest.mark.outside

_REFUSED = {
    "RFC 791, this network": ["0.0.0.0", "0.1.2.3", "::"],  # noqa: S104 - not bound to
    "RFC 1918, private use": ["10.0.0.1", "10.255.255.255", "172.16.0.1", "172.31.255.254", "192.168.0.1"],
    "RFC 6598, shared by carriers": ["100.64.0.1", "100.127.255.254"],
    "RFC 1122, loopback": ["127.0.0.1", "127.255.255.254", "::1"],
    "RFC 3927, link-local, where clouds tell credentials": ["169.254.0.1", "169.254.169.254"],
    "RFC 6890, protocol assignments": ["192.0.0.1", "192.0.0.170"],
    "RFC 5737, documentation": ["192.0.2.1", "198.51.100.7", "203.0.113.9"],
    "RFC 7526, 6to4 relays, deprecated": ["192.88.99.1"],
    "RFC 2544, benchmarks": ["198.18.0.1", "198.19.255.254"],
    "RFC 5771, multicast": ["224.0.0.1", "239.255.255.250"],
    "RFC 1112, reserved": ["240.0.0.1", "255.255.255.255"],
    "RFC 4291, mapped": ["::ffff:127.0.0.1", "::ffff:10.0.0.1", "::ffff:169.254.169.254", "::ffff:0:7f00:1"],
    "RFC 4291, compatible, deprecated": ["::127.0.0.1", "::8.8.8.8"],
    "RFC 6052, NAT64": ["64:ff9b::7f00:1", "64:ff9b::a9fe:a9fe", "64:ff9b::a00:1"],
    "RFC 8215, local NAT64": ["64:ff9b:1::808:808"],
    "RFC 6666, discard": ["100::1"],
    "RFC 4380, Teredo": ["2001::1", "2001:0:4136:e378:8000:63bf:3fff:fdd2"],
    "RFC 5180, benchmarks": ["2001:2::1"],
    "RFC 4843 and 7343, hashes": ["2001:10::1", "2001:20::1"],
    "RFC 3849 and 9637, documentation": ["2001:db8::1", "3fff::1"],
    "RFC 3056, 6to4 of a private address": ["2002:7f00:1::1", "2002:a00:1::1", "2002:a9fe:a9fe::1"],
    "RFC 9602, segment identifiers": ["5f00::1"],
    "RFC 4193, unique local": ["fc00::1", "fd12:3456:789a::1"],
    "RFC 4291, link-local": ["fe80::1", "fe80::1%eth0"],
    "RFC 3879, site-local, deprecated": ["fec0::1"],
    "RFC 4291, multicast": ["ff02::1", "ff0e::1"],
    "RFC 5214, ISATAP of a private address": ["2606:4700::5efe:10.0.0.1", "2606:4700::200:5efe:127.0.0.1"],
    "no address at all": ["", "home", "1.2.3", "1.2.3.4.5", "01.2.3.4", "1.2.3.4/32"],
}

_TAKEN = {
    "public resolvers": ["1.1.1.1", "8.8.8.8", "9.9.9.9", "2606:4700:4700::1111", "2001:4860:4860::8888"],
    "right beside the private ones": ["9.255.255.255", "11.0.0.1", "172.15.255.255", "172.32.0.1", "192.167.255.255"],
    "right beside the carriers' ones": ["100.63.255.255", "100.128.0.1"],
    "public addresses inside others": ["::ffff:8.8.8.8", "64:ff9b::808:808"],
}


@pytest.mark.parametrize("source", _REFUSED)
def test_addresses_that_are_not_for_strangers_are_refused(source):
    assert [address for address in _REFUSED[source] if is_allowed(address)] == []


@pytest.mark.parametrize("source", _TAKEN)
def test_addresses_around_the_world_are_taken(source):
    assert [address for address in _TAKEN[source] if not is_allowed(address)] == []
