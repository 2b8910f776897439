"""Where a request comes from, also behind proxies that are named as trusted."""

from collections.abc import Iterable
from ipaddress import ip_address, ip_network

from django.http import HttpRequest


def client_address(request: HttpRequest) -> str:
    """Return the address that the request comes from, as ``ClientAddressMiddleware`` found it."""
    return request.META.get("REMOTE_ADDR", "")


def is_trusted(address: str, trusted: Iterable[str]) -> bool:
    """Return whether an address is that of a proxy of ours.

    >>> is_trusted("10.0.0.2", ["10.0.0.0/8"]), is_trusted("", ["10.0.0.0/8"])
    (True, False)
    """
    try:
        return any(ip_address(address) in ip_network(each, strict=False) for each in trusted)
    except ValueError:
        return False


def address_behind(remote: str, forwarded_for: str, *, trusted: Iterable[str]) -> str:
    """Return the visitor's address: the last one in ``forwarded_for`` that no trusted proxy wrote of itself.

    What a visitor claims in the header stands to the left of what our proxies add, and is never believed.

    >>> address_behind("10.0.0.2", "203.0.113.9, 198.51.100.7", trusted=["10.0.0.0/8"])
    '198.51.100.7'
    >>> address_behind("198.51.100.7", "203.0.113.9", trusted=["10.0.0.0/8"])
    '198.51.100.7'
    """
    ours = list(trusted)
    address = remote
    for claimed in reversed([each.strip() for each in forwarded_for.split(",") if each.strip()]):
        if not is_trusted(address, ours):
            break
        try:
            address = str(ip_address(claimed))
        except ValueError:
            break
    return address
