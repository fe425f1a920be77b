"""`satdiag ports`: the serial ports of this computer, in the system's own words."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from collections.abc import Sequence

    from satdiag.recorder.port import PortInfo

NONE_FOUND = """\
This computer shows no serial port.
Perhaps nothing is plugged in, the cable only charges, or the system has no driver for the adapter. Plug it in, wait a
few seconds, and run `satdiag ports` again. A device on the network is not listed: name it to `satdiag try` as
serial:socket://HOST:PORT?profile=NAME."""


@click.command(
    epilog="A USB port may get another name when it is plugged in again; hwgrep://USB-ID or hwgrep://SERIAL-NUMBER "
    "in place of the port's name finds the adapter wherever it is."
)
@click.option("--json", "as_json", is_flag=True, help="Print a JSON list, for scripts.")
def ports(as_json: bool) -> None:
    """List the serial ports of this computer: what they are, who made them, their USB numbers.

    They are looked up and not opened: whether a port is free shows when it is tried.
    """
    from satdiag.recorder.port import list_ports

    found = list_ports()
    if as_json:
        click.echo(as_json_text(found))
    else:
        click.echo("\n".join(lines(found)) if found else NONE_FOUND)


def as_json_text(found: Sequence[PortInfo]) -> str:
    """The ports as a JSON list of objects; null is what the system does not say."""
    from dataclasses import asdict

    return json.dumps([asdict(port) for port in found], indent=2)


def lines(found: Sequence[PortInfo]) -> list[str]:
    """One port a line, its name first; below it what the system says of it."""
    told = []
    for port in found:
        told.append(shown(port.device))
        words = [
            ("what", port.description),
            ("maker", port.maker),
            ("product", port.product if port.product != port.description else None),
            ("USB id", port.usb_id),
            ("serial number", port.serial_number),
        ]
        said = [f"    {name}: {shown(text)}" for name, text in words if text]
        told += said or ["    the system says nothing of it"]
    return told


def shown(text: str) -> str:
    """A text from a device in a form that cannot move the cursor or colour the screen, whatever stands in it."""
    return "".join(mark if mark.isprintable() else mark.encode("unicode_escape").decode() for mark in text)
