"""What was seen of an account's channels on the exposure clock, and its compressed form for the likelihood."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from satdiag.entitlement.families import Array

Index = npt.NDArray[np.intp]
Mask = npt.NDArray[np.bool_]

UNSEEN_NODES = 10
SEEN_ENDS = 120
MANY, SEEN_ENDS_OF_MANY = 2000, 60
"""With so many arrivals the ends may be coarser: what is lost is far below what is not known."""


@dataclass(frozen=True)
class FillIn:
    """What was seen of one account's expected channels, on the exposure clock [s].

    `seen_lower_s`, `seen_upper_s`: one half-open interval (L, R] for each arrival. L is 0 for a channel that played
    when first looked at; -inf where the clock does not start with the account (`origin_known` False), so that it
    may have come before the log. `unseen_s`: for each channel that has not come, the exposure at its last refusal,
    -inf without any. `held_s`: for channels that certainly come but whose wait tells nothing, the exposure by which
    they played. `held_before`: how many played before the origin already; they say nothing of this account.
    `now_s`: the exposure at the last row. `unseen_group`: for each channel that has not come the number, from 0 on,
    of its category if none of that category came (the whole category may be outside the account), else -1; blank
    where nothing is known of categories. Raises ValueError for an empty interval or one without an upper end.
    """

    seen_lower_s: Array
    seen_upper_s: Array
    unseen_s: Array
    now_s: float
    held_s: Array = field(default_factory=lambda: np.zeros(0))
    held_before: int = 0
    origin_known: bool = True
    unseen_group: Index = field(default_factory=lambda: np.zeros(0, dtype=np.intp))

    def __post_init__(self) -> None:
        bad = len(self.seen_lower_s) != len(self.seen_upper_s) or not bool(
            np.all(self.seen_upper_s > self.seen_lower_s)
            and np.all(np.isfinite(self.seen_upper_s))
            and np.all(self.unseen_s < np.inf)
            and np.all((self.seen_lower_s >= 0) | (np.isneginf(self.seen_lower_s) & (not self.origin_known)))
            and np.all((self.unseen_s >= 0) | np.isneginf(self.unseen_s))
            and len(self.unseen_group) in (0, len(self.unseen_s))
        )
        if bad:
            raise ValueError("arrivals need 0 <= lower < upper < inf, unseen channels an exposure >= 0 or -inf")

    def after(self, before_s: float) -> FillIn:
        """The same on a clock that had run for `before_s` at the log's first row; every bound finite from there.

        Below 0 the clock starts `-before_s` later than the log's: what was refused until then tells nothing.
        """
        lower_s = np.maximum(self.seen_lower_s + before_s, 0.0)
        return FillIn(
            lower_s,
            np.maximum(self.seen_upper_s + before_s, np.nextafter(lower_s, np.inf)),
            np.maximum(self.unseen_s + before_s, 0.0),
            max(self.now_s + before_s, 0.0),
            np.maximum(self.held_s + before_s, 0.0),
            self.held_before,
            unseen_group=self.unseen_group,
        )

    def allows(self, before_s: float) -> bool:
        """False if something had come before such a clock starts."""
        came_s = np.concatenate([self.seen_upper_s, self.held_s])
        return before_s >= 0 or bool(np.all(came_s > -before_s))

    def without(self, channels: Mask) -> FillIn:
        """The same without some of the channels that have not come."""
        group = self.unseen_group[~channels] if len(self.unseen_group) else self.unseen_group
        return replace(self, unseen_s=self.unseen_s[~channels], unseen_group=group)

    @property
    def groups(self) -> int:
        """How many categories have no channel that came."""
        return int(self.unseen_group.max(initial=-1)) + 1

    @property
    def arrivals(self) -> int:
        """Channels that came on this clock."""
        return len(self.seen_lower_s)

    @property
    def is_silent(self) -> bool:
        """True while nothing shows that the account gives anything."""
        return self.arrivals == 0 and len(self.held_s) == 0

    @property
    def here(self) -> int:
        """Channels that play, or once did."""
        return self.arrivals + len(self.held_s) + self.held_before

    @property
    def channels(self) -> int:
        """All channels: here and still to come."""
        return self.here + len(self.unseen_s)


@dataclass(frozen=True)
class Rows:
    """The same in compressed form: distinct intervals with (possibly fractional) counts; unseen rows end at inf.

    `group_count` has shape (groups, unseen rows): the channels of each silent category, which are not in `count`.
    """

    lower_s: Array
    upper_s: Array
    count: Array
    held: float = 0.0
    group_count: Array = field(default_factory=lambda: np.zeros((0, 0)))

    @property
    def is_seen(self) -> np.ndarray:
        """True where the row is an arrival."""
        return np.isfinite(self.upper_s)


def compress(fill: FillIn, unseen_nodes: int = UNSEEN_NODES, seen_ends: int | None = None) -> Rows:
    """Distinct rows with counts, few enough to be quick however the checks were timed.

    Unseen exposures are shared out between at most `unseen_nodes` of them: a channel between two nodes counts for
    both in proportion, which is linear interpolation of its log-likelihood. Channels without information
    (exposure 0) are left out. Interval ends beyond `seen_ends` distinct ones are widened to the next kept one.
    """
    if seen_ends is None:
        seen_ends = SEEN_ENDS if fill.arrivals <= MANY else SEEN_ENDS_OF_MANY
    ends = np.unique(np.concatenate([fill.seen_lower_s, fill.seen_upper_s]))
    kept = nodes_of(ends, seen_ends)
    lower = kept[np.searchsorted(kept, fill.seen_lower_s, side="right") - 1] if len(kept) else fill.seen_lower_s
    upper = kept[np.searchsorted(kept, fill.seen_upper_s)] if len(kept) else fill.seen_upper_s
    distinct, count = _distinct_pairs(lower, upper)
    unseen, by_group = _share_out(fill, unseen_nodes)
    return Rows(
        np.concatenate([distinct[:, 0], unseen]),
        np.concatenate([distinct[:, 1], np.full(len(unseen), np.inf)]),
        np.concatenate([count, by_group[-1]]),
        float(len(fill.held_s)),
        by_group[:-1],
    )


def widened(lower_s: Array, upper_s: Array, most: int) -> tuple[Array, Array, Array]:
    """Distinct rows (lower, upper] and their counts, with at most `most` distinct finite ends.

    Ends between those kept are widened to the next one, which takes from what a row says but makes nothing wrong.
    """
    finite = np.isfinite(upper_s)
    kept = np.append(nodes_of(np.concatenate([lower_s, upper_s[finite]]), most), np.inf)
    lower = kept[np.searchsorted(kept, lower_s, side="right") - 1]
    pairs, count = _distinct_pairs(lower, kept[np.searchsorted(kept, upper_s)])
    return pairs[:, 0], pairs[:, 1], count


def _distinct_pairs(lower: Array, upper: Array) -> tuple[Array, Array]:
    """Distinct intervals and their counts; through whole numbers, which sort much faster than pairs."""
    left, left_at = np.unique(lower, return_inverse=True)
    right, right_at = np.unique(upper, return_inverse=True)
    code, count = np.unique(left_at * max(len(right), 1) + right_at, return_counts=True)
    pairs = np.column_stack([left[code // max(len(right), 1)], right[code % max(len(right), 1)]])
    return pairs.reshape(-1, 2), count.astype(float)


def nodes_of(exposure_s: Array, most: int) -> Array:
    """At most `most` of the distinct exposures, ends included, evenly spread in rank."""
    distinct = np.unique(exposure_s)
    if len(distinct) <= most:
        return distinct
    return np.asarray(distinct[np.round(np.linspace(0, len(distinct) - 1, most)).astype(int)])


def _share_out(fill: FillIn, most: int) -> tuple[Array, Array]:
    """Nodes, and the channels shared out between them: one row for each silent category, the last for all others."""
    looked_at = fill.unseen_s > 0
    exposure_s, groups = fill.unseen_s[looked_at], fill.groups
    row = np.full(len(fill.unseen_s), -1) if not len(fill.unseen_group) else fill.unseen_group
    row = row[looked_at] % (groups + 1)  # -1 is the last row
    nodes = nodes_of(exposure_s, most)
    width = len(nodes)
    if width < 2:
        return nodes, np.bincount(row, minlength=groups + 1).astype(float)[:, None] * np.ones(width)
    left = np.clip(np.searchsorted(nodes, exposure_s, side="right") - 1, 0, width - 2)
    part = (exposure_s - nodes[left]) / (nodes[left + 1] - nodes[left])
    at = row * width + left
    size = (groups + 1) * width
    count = np.bincount(at, 1.0 - part, size) + np.bincount(at + 1, part, size)
    return nodes, np.asarray(count, dtype=float).reshape(groups + 1, width)


def arrival_events(fill: FillIn) -> int:
    """The fewest authorisation events that explain the arrivals: the honest sample size when messages carry groups.

    Intervals (L, R] that share a point may be one event; the fewest points that pierce all intervals, greedily by
    right end.
    """
    events = 0
    last_s = -np.inf
    for k in np.argsort(fill.seen_upper_s, kind="stable"):
        if fill.seen_lower_s[k] >= last_s:
            events += 1
            last_s = float(fill.seen_upper_s[k])
    return events
