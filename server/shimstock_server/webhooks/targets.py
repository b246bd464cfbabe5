"""Where a webhook may go: to the public internet, unless the operator allows more.

A website names the address, so it could name one inside the shop's own network. Every address that the name
has is checked in every form in which one can hide in another, and the connection is made to one that was
checked: asking for the name once more could bring another answer.
"""

from __future__ import annotations

import ipaddress
import re
import socket
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from urllib.parse import SplitResult, urlsplit

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Resolve = Callable[[str, int], Iterable[str]]

_HOST = re.compile(r"(?!-)[A-Za-z0-9_-]{1,63}(?<!-)(\.(?!-)[A-Za-z0-9_-]{1,63}(?<!-))*\.?")
_ENDS_IN_A_NUMBER = re.compile(r"(.*\.)?(\d+|0[xX][0-9a-fA-F]*)\.?")
_NAT64 = ipaddress.IPv6Network("64:ff9b::/96")
"""RFC 6052: an IPv4 address in the last 32 bits."""
_NOT_PUBLIC = tuple(
    ipaddress.ip_network(network)
    for network in (
        "192.0.0.0/24",  # IETF protocol assignments (RFC 6890); Python lets some of them pass
        "192.88.99.0/24",  # relays of 6to4, given up (RFC 7526)
        "168.63.129.16/32",  # a cloud's own service to its machines; public by its number alone
        "64:ff9b:1::/48",  # NAT64 within a network (RFC 8215)
        "100::/64",  # discard only (RFC 6666)
        "100:0:0:1::/64",  # dummy prefix (RFC 9780)
        "2001::/23",  # IETF protocol assignments (RFC 2928), Teredo (RFC 4380) among them
        "2002::/16",  # 6to4, given up (RFC 7526); some releases of Python let it pass
        "2001:db8::/32",  # documentation (RFC 3849)
        "3fff::/20",  # documentation (RFC 9637)
        "5f00::/16",  # segment routing identifiers (RFC 9602)
    )
)
"""Beside what `ipaddress` knows: it follows the registries of its year, and later ones moved some entries.
IANA IPv4 and IPv6 Special-Purpose Address Registries (RFC 6890)."""


class RefusedTarget(Exception):  # noqa: N818 - named after its cause
    """The address is not one that this service calls; the message says why."""


@dataclass(frozen=True)
class Target:
    """Where to connect, and what to say there."""

    address: str
    """The numeric address that was checked."""
    port: int
    host: str
    """The name, for the certificate and the Host header."""
    tls: bool
    path: str

    @property
    def authority(self) -> str:
        """What stands in the Host header."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return host if self.port == (443 if self.tls else 80) else f"{host}:{self.port}"


def check(url: str, *, private: bool) -> str | None:
    """Return what is wrong with an address as far as it can be told without asking for its name, or None.

    Parameters
    ----------
    private : bool
        Whether the operator allows addresses of the own network, and plain HTTP.
    """
    try:
        parts, host, _ = _split(url)
    except RefusedTarget as refusal:
        return str(refusal)
    if parts.scheme == "http" and not private:
        return "must begin with https://"
    address = _as_address(host)
    if address is not None:
        return None if private or is_public(address) else "is not an address of the public internet"
    name = host.rstrip(".").lower()
    # RFC 6761, section 6.3: localhost and every name below it mean this machine, whatever a name server says
    if not private and ("." not in name or name.endswith(".localhost")):
        return "must name a host of the public internet"
    return None


def find(url: str, *, private: bool, resolve: Resolve | None = None) -> Target:
    """Look the host up and return where to connect.

    Raises
    ------
    RefusedTarget
        When one of its addresses is not public and the operator does not allow that, or it has none.
    """
    wrong = check(url, private=private)
    if wrong is not None:
        raise RefusedTarget(wrong)
    parts, host, port = _split(url)
    found = _resolved(host, port, resolve or _look_up)
    if not private:
        for address in found:
            if not is_public(address):
                # Not which one: the website reads this, and the names of the own network are not its matter.
                raise RefusedTarget(f"{host} has an address that is not of the public internet")
    path = parts.path or "/"
    return Target(
        address=str(found[0]),
        port=port,
        host=host,
        tls=parts.scheme == "https",
        path=path + (f"?{parts.query}" if parts.query else ""),
    )


def _split(url: str) -> tuple[SplitResult, str, int]:
    if not url.isascii() or any(character <= " " for character in url):
        raise RefusedTarget("must be an address in ASCII without blanks")
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        raise RefusedTarget("is no address of the web") from None
    if parts.scheme not in ("http", "https"):
        raise RefusedTarget("must begin with https://")
    if parts.username is not None or parts.password is not None:
        raise RefusedTarget("must not hold a name or a password")
    if parts.fragment:
        raise RefusedTarget("must not have a fragment")
    host = parts.hostname or ""
    if "%" in host:
        raise RefusedTarget("must not name a zone: it means something on this machine alone")
    if _as_address(host) is None and (not _HOST.fullmatch(host) or _ENDS_IN_A_NUMBER.fullmatch(host)):
        raise RefusedTarget("must name a host")
    if port == 0:
        raise RefusedTarget("must name a port from 1 to 65535")
    return parts, host, port or (443 if parts.scheme == "https" else 80)


def _as_address(host: str) -> Address | None:
    try:
        return ipaddress.ip_address(host)
    except ValueError:
        return None


def _look_up(host: str, port: int) -> list[str]:
    return [str(found[4][0]) for found in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)]


def _resolved(host: str, port: int, resolve: Resolve) -> list[Address]:
    literal = _as_address(host)
    if literal is not None:
        return [literal]
    try:
        found = list(dict.fromkeys(resolve(host, port)))
    except (OSError, UnicodeError):
        raise RefusedTarget(f"{host} has no address") from None
    addresses = [_as_address(text.partition("%")[0]) for text in found]
    if not addresses or None in addresses:
        raise RefusedTarget(f"{host} has no address")
    return [address for address in addresses if address is not None]


def is_public(address: Address) -> bool:
    """Whether an address, and every address inside it, belongs to the public internet.

    Examples
    --------
    >>> [is_public(ipaddress.ip_address(text)) for text in ("93.184.216.34", "10.0.0.1", "64:ff9b::7f00:1")]
    [True, False, False]
    """
    return all(_is_plain_global(each) for each in unwrapped(address))


def unwrapped(address: Address) -> list[Address]:
    """Return an address and those that it carries: mapped, 6to4, Teredo, NAT64."""
    found: list[Address] = [address]
    if isinstance(address, ipaddress.IPv6Address):
        if address.ipv4_mapped is not None:
            # The mapped form stands for the address inside and for nothing else.
            return [address.ipv4_mapped]
        if address.sixtofour is not None:
            found.append(address.sixtofour)
        if address.teredo is not None:
            found += address.teredo
        if address in _NAT64:
            # The well-known prefix is not global by itself: it stands for the address inside.
            return [ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)]
    return found


def _is_plain_global(address: Address) -> bool:
    return address.is_global and not (
        address.is_multicast
        or address.is_reserved
        or address.is_unspecified
        or address.is_loopback
        or address.is_link_local
        or address.is_private
        or (isinstance(address, ipaddress.IPv6Address) and address.is_site_local)
        or any(address in network for network in _NOT_PUBLIC)
    )
