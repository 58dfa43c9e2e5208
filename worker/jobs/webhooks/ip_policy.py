"""IP address policy of webhooks: globally reachable addresses, and the private networks that a setting allows."""

from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network
from typing import Final, TypeAlias

from worker.jobs.common.errors import SettingsError

__all__ = ["Networks", "is_allowed", "read_networks"]

_Address: TypeAlias = IPv4Address | IPv6Address
Networks: TypeAlias = tuple[IPv4Network | IPv6Network, ...]

#: The global unicast range of IPv6 that IANA allocates from (RFC 4291, 2.4).
_GLOBAL_V6: Final = IPv6Network("2000::/3")
_NAT64: Final = IPv6Network("64:ff9b::/96")
#: Special-purpose networks (IANA registries, RFC 6890), independent of the Python version's own tables.
_SPECIAL: Final[Networks] = tuple(
    ip_network(network)
    for network in (
        "0.0.0.0/8", "10.0.0.0/8", "100.64.0.0/10", "127.0.0.0/8", "169.254.0.0/16", "172.16.0.0/12", "192.0.0.0/24",
        "192.0.2.0/24", "192.88.99.0/24", "192.168.0.0/16", "198.18.0.0/15", "198.51.100.0/24", "203.0.113.0/24",
        "224.0.0.0/4", "240.0.0.0/4", "2001::/23", "2001:db8::/32", "3fff::/20",
    )
)  # fmt: skip
#: Interface identifiers that embed an IPv4 address (ISATAP, RFC 5214, 6.1).
_ISATAP: Final = frozenset({0x00005EFE, 0x02005EFE})


def is_allowed(address: str, networks: Networks = ()) -> bool:
    """Return whether the address is globally reachable or within one of the allowed networks."""
    try:
        whole = ip_address(address)
    except ValueError:
        return False
    if isinstance(whole, IPv6Address) and whole.scope_id is not None:
        return False
    return all(_allowed(candidate, networks) for candidate in _unwrapped(whole))


def read_networks(text: str) -> Networks:
    """Parse the comma-separated networks of a setting.

    Raises:
        SettingsError: if one of them is invalid.
    """
    try:
        return tuple(ip_network(entry.strip()) for entry in text.split(",") if entry.strip())
    except ValueError:
        limit = "comma-separated networks such as 192.168.0.0/16"
        raise SettingsError("The list of networks is invalid.", value=text, limit=limit) from None


def _allowed(address: _Address, networks: Networks) -> bool:
    if any(address in network for network in networks):  # an address is in no network of the other IP version
        return True
    if not address.is_global or address.is_multicast or address.is_unspecified or address.is_reserved:
        return False
    if any(address in network for network in _SPECIAL):
        return False
    return isinstance(address, IPv4Address) or address in _GLOBAL_V6


def _unwrapped(address: _Address) -> list[_Address]:
    """Return the addresses that packets to this one may reach: itself and any IPv4 addresses embedded in it."""
    if isinstance(address, IPv4Address):
        return [address]
    if address.ipv4_mapped is not None:
        return [address.ipv4_mapped]
    if address in _NAT64:
        return [IPv4Address(int(address) & 0xFFFFFFFF)]
    inside: list[_Address] = [address]
    if address.sixtofour is not None:
        inside.append(address.sixtofour)
    if address.teredo is not None:
        inside += address.teredo
    if (int(address) >> 32) & 0xFFFFFFFF in _ISATAP:
        inside.append(IPv4Address(int(address) & 0xFFFFFFFF))
    return inside
