"""Sending messages, through Apprise or through a notification block of the Prefect server.

What these libraries say of a failure can hold the address, so none of it is passed on but the number of a status.
"""

import logging
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from apprise import Apprise, AppriseAsset, NotifyFormat

from prefect_quiet import tell_block

BLOCK = "block:"
_SCHEME = re.compile(r"[a-z][a-z0-9+.-]*(?=://)", re.IGNORECASE)
_STATUS = re.compile(r"error=(\d{3})\b")


def send(addresses: Sequence[str], subject: str, text: str) -> list[str]:
    """Send a message to each address; return what went wrong, without any address."""
    troubles = []
    for number, address in enumerate(addresses, start=1):
        try:
            why = (
                _by_block(address, subject, text) if address.startswith(BLOCK) else _by_apprise(address, subject, text)
            )
        except Exception as error:  # a message that fails must not cost the night
            why = f"it failed ({type(error).__name__})"
        if why is not None:
            troubles.append(f"address {number} ({_kind(address)}): {why}")
    return troubles


def _kind(address: str) -> str:
    """Return what may be told of an address: the service, or the name of a block."""
    if address.startswith(BLOCK):
        return address
    scheme = _SCHEME.match(address)
    return scheme[0].lower() if scheme else "without a service"


def _by_block(address: str, subject: str, text: str) -> str | None:
    tell_block(address.removeprefix(BLOCK), subject, text)
    return None


def _by_apprise(address: str, subject: str, text: str) -> str | None:
    with _overheard() as records:
        # Without the pictures that some services would fetch from the library's makers.
        service = Apprise(asset=AppriseAsset(app_id="Nightgauge", app_desc="Nightgauge", image_url_mask=""))
        if not service.add(address):
            return "no service of this name, or parts of the address are missing"
        if service.notify(text, title=subject, body_format=NotifyFormat.TEXT):
            return None
    statuses = [found[1] for record in records if (found := _STATUS.search(record.getMessage()))]
    return f"the service refused it (status {statuses[-1]})" if statuses else "the service did not answer or refused it"


@contextmanager
def _overheard() -> Iterator[list[logging.LogRecord]]:
    """Give what the library would log, and let nobody else hear it."""
    heard: list[logging.LogRecord] = []

    class Ear(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            heard.append(record)

    log, ear = logging.getLogger("apprise"), Ear()
    propagated, log.propagate = log.propagate, False
    log.addHandler(ear)
    try:
        yield heard
    finally:
        log.removeHandler(ear)
        log.propagate = propagated
