"""The state as it is sent to many pages: put into words once, and of it to each page what that page has not got yet.

An event holds what changes all the time, and of the rest what is not as this stream sent it last; whoever listens
keeps the rest. Of the long lists it holds those items alone that are new or other: `channels_changed`, and
`entries_changed` with `entries_from`, the least number of an entry that is still shown. At the start, and whenever
there are other channels than before, it holds `channels` and `entries`, all of them.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, NamedTuple

QUICK = (
    "rows",
    "levels",
    "sources",
    "analysis_age_s",
    "speed_m_s",
    "speed_age_s",
    "exposure_s",
    "exposure_max_s",
    "held",
    "built_s",
)
"""What changes nearly every time, or by time going on alone."""

_AGES = ("analysis_age_s", "speed_age_s", "built_s")
_LISTS = {"channels": "number", "entries": "n"}
"""The long lists, and what tells their items apart."""


class Item(NamedTuple):
    """One item of a list: what is compared, and its text."""

    sign: str
    text: str


class Frame:
    """A state of the page in JSON, in pieces. Not changed once it is made: many streams read it at once."""

    def __init__(self, state: Mapping[str, Any]) -> None:
        self.rows: int = state["rows"]
        self.quick = {key: _text(state[key]) for key in QUICK}
        self.rest = {key: _text(value) for key, value in state.items() if key not in QUICK and key not in _LISTS}
        self.lists = {name: {one[key]: _item(one) for one in state[name]} for name, key in _LISTS.items()}
        ageless = [[{**one, "age_s": None} for one in state[key]] for key in ("sources", "levels")]
        kept = [self.quick[key] for key in QUICK if key not in (*_AGES, "sources", "levels")]
        self.sign = _text([ageless, kept, self.rest, [one.sign for one in self.lists["entries"].values()]])
        """Everything that does not change by time going on alone, but for the channels."""


def _text(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _item(one: Mapping[str, Any]) -> Item:
    """That time passes since a check is no change of a channel."""
    return Item(_text({key: value for key, value in one.items() if key != "checked_s_ago"}), _text(one))


class Told:
    """What one stream has sent."""

    def __init__(self) -> None:
        self._rest: Mapping[str, str] = {}
        self._lists: Mapping[str, Mapping[int, Item]] = {}

    def event(self, frame: Frame) -> bytes:
        """The next event."""
        before, self._rest = self._rest, frame.rest
        parts = dict(frame.quick)
        parts |= {key: text for key, text in frame.rest.items() if before.get(key) != text}
        for name, items in frame.lists.items():
            parts |= _news(name, self._lists.get(name), items)
        self._lists = frame.lists
        data = ",".join(f'"{key}":{text}' for key, text in parts.items())
        return f"id: {frame.rows}\nevent: state\ndata: {{{data}}}\n\n".encode()


def _news(name: str, before: Mapping[int, Item] | None, now: Mapping[int, Item]) -> dict[str, str]:
    """The part of a list that goes into an event."""
    if before is None or (name == "channels" and before.keys() != now.keys()):
        return {name: _joined(now)}
    changed = {
        key: one
        for key, one in now.items()
        if (known := before.get(key)) is not one and (known is None or known.sign != one.sign)
    }
    news = {f"{name}_changed": _joined(changed)}
    return news if name == "channels" else {**news, f"{name}_from": str(min(now, default=0))}


def _joined(items: Mapping[int, Item]) -> str:
    return f"[{','.join(one.text for one in items.values())}]"
