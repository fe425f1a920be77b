"""Whether and when each channel still comes, as arrays: a million of them go from process to process."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING

import numpy as np

from satdiag.live.state import Chance

if TYPE_CHECKING:
    from satdiag.findings.entitlement import ChannelFinding


class Waits(Mapping[int, Chance]):
    """The chances of channels by number. What nothing tells is NaN within."""

    def __init__(self, channels: Iterable[ChannelFinding]) -> None:
        found = [
            (
                one.channel,
                np.nan if one.p_will_come is None else round(one.p_will_come, 3),
                np.nan if one.remaining_s is None else round(one.remaining_s.median),
            )
            for one in channels
        ]
        table = np.array(found, float).reshape(-1, 3)
        table = table[np.argsort(table[:, 0], kind="stable")]
        self._numbers = table[:, 0].astype(np.int64)
        self._chances, self._waits_s = table[:, 1].copy(), table[:, 2].copy()

    def __getitem__(self, number: int) -> Chance:
        """The chance of a channel. Raises KeyError."""
        at = int(np.searchsorted(self._numbers, number))
        if at == len(self._numbers) or self._numbers[at] != number:
            raise KeyError(number)
        chance, wait_s = float(self._chances[at]), float(self._waits_s[at])
        return Chance(None if np.isnan(chance) else chance, None if np.isnan(wait_s) else round(wait_s))

    def __iter__(self) -> Iterator[int]:
        return iter(self._numbers.tolist())

    def __len__(self) -> int:
        return len(self._numbers)
