"""Where the page listens, and what must hold between the keys of its section."""

import ipaddress
from collections.abc import Iterator

from agent.plant.parts import Part
from agent.plant.problems import Fault


def split_listen(listen: str) -> tuple[str, int] | None:
    """Address and port, if it is both; an IPv6 address stands in brackets."""
    host, colon, port = listen.rpartition(":")
    host = host.removeprefix("[").removesuffix("]")
    if not (colon and host and port.isascii() and port.isdigit() and 0 < int(port) < 65_536):
        return None
    return host, int(port)


def is_loopback(host: str) -> bool:
    """Whether nobody beyond this machine reaches the address."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def page_faults(page: Part) -> Iterator[Fault]:
    """The address is one; beyond loopback people sign in; a certificate has its key."""
    listen = page.text("listen")
    if listen is not None:
        address = split_listen(listen)
        if address is None:
            yield page.fault("listen", "expected ADDRESS:PORT, such as 127.0.0.1:8087")
        elif not is_loopback(address[0]) and "users" not in page:
            yield page.fault(
                "listen",
                "beyond loopback the page asks who you are: expected users beside it",
            )
    if ("cert_file" in page) != ("key_file" in page):
        given, other = ("cert_file", "key_file")[:: 1 if "cert_file" in page else -1]
        yield page.fault(given, f"expected {other} beside it: a certificate needs its key")
