"""What plugs, sockets and places of a ring are called in a sentence."""

from __future__ import annotations

from satdiag.language import tell
from satdiag.ring_file import End, Socket
from satdiag.wiring.ring.light import BETWEEN, BRIDGE, FIBRE, Place


def end_text(end: End) -> str:
    """'the output of head-unit'."""
    if end.side == "out":
        return tell("the output of {node}", node=end.owner)
    return tell("the input of {node}", node=end.owner)


def socket_text(socket: Socket) -> str:
    """'position 3, lower row, of block main'."""
    values = {"position": socket.position, "block": socket.block}
    if socket.row == "upper":
        return tell("position {position}, upper row, of block {block}", **values)
    return tell("position {position}, lower row, of block {block}", **values)


def socket_mark(socket: Socket) -> str:
    """'main 3 lower', short enough for a piece of tape."""
    values = {"position": socket.position, "block": socket.block}
    if socket.row == "upper":
        return tell("{block} {position} upper", **values)
    return tell("{block} {position} lower", **values)


def place_text(place: Place) -> str:
    """'position 3 of block main', 'the bridge up', 'a fibre without a block'."""
    if place.position is not None:
        return tell("position {position} of block {block}", position=place.position, block=place.name)
    if place.name == FIBRE:
        return tell("a fibre without a block")
    if place.name == BETWEEN:
        return tell("the block's position between them")
    return tell("the bridge {name}", name=place.name.removeprefix(BRIDGE))
