"""What the data set holds already: which of the jobs found need no work."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Literal, NamedTuple

from satdiag.fleet.dataset import whole_table
from satdiag.fleet.sources import Source, bytes_digest

Answer = Literal["work", "done", "bad", "same"]
_COLUMNS = ["place", "stamp", "bytes", "analysis", "written", "error"]
_BATCH = 10_000


class _Own(NamedTuple):
    stamp: bytes
    digest: bytes
    is_bad: bool


class Decision(NamedTuple):
    """Whether a job is to be worked on. `digest` of its bytes, blank where they were not looked at.

    'bad': it could not be analysed before and has not changed; 'same': its bytes are those of another job.
    """

    answer: Answer
    digest: str = ""


class Known:
    """The jobs whose newest row is one of this analysis, by place and by content, those of this run included.

    About 300 bytes of memory for each. `newest`: when the last row was written.
    """

    def __init__(self, directory: Path, analysis: str, reread: bool = False, retry: bool = False) -> None:
        """`reread`: look at the bytes even where sizes and times are as before; `retry`: bad ones again."""
        self._reread, self._retry = reread, retry
        self._places: dict[bytes, _Own] = {}
        self._digests: dict[bytes, bool] = {}
        self._same: dict[bytes, Source] = {}
        self.newest: datetime | None = None
        for place, own in self._rows(directory, analysis):
            if own is None:
                self._places.pop(place, None)
            else:
                self._places[place] = own
        for own in self._places.values():
            self._digests[own.digest] = own.is_bad

    def _rows(self, directory: Path, analysis: str) -> Iterator[tuple[bytes, _Own | None]]:
        """Each place with its row, oldest first; None for one of another analysis, which hides those before it."""
        if not (directory / "jobs").is_dir():
            return
        table = whole_table(directory, "jobs", _COLUMNS).sort_by("written")
        if len(table):
            self.newest = table["written"][-1].as_py()
        for batch in table.to_batches(max_chunksize=_BATCH):
            for row in batch.to_pylist():
                own = _Own(_hex(row["stamp"]), _hex(row["bytes"]), row["error"] is not None)
                yield _hex(row["place"]), own if row["analysis"] == analysis else None

    def decide(self, source: Source) -> Decision:
        """Whether a job that was found is to be worked on; if so it counts as known from now on."""
        own = self._places.get(_hex(source.place))
        if own is not None and own.stamp == _hex(source.stamp) and not self._reread and not self._again(own.is_bad):
            return Decision("bad" if own.is_bad else "done")
        digest = bytes_digest(Path(source.path))
        return self._by_content(source, digest, own)

    def _by_content(self, source: Source, digest: str, own: _Own | None) -> Decision:
        content = _hex(digest)
        if own is not None and own.digest == content and not self._again(own.is_bad):
            return Decision("bad" if own.is_bad else "done", digest)
        if own is None and (is_bad := self._digests.get(content)) is not None and not self._again(is_bad):
            self._same.setdefault(content, source)
            return Decision("same", digest)
        return Decision("work", digest)

    def _again(self, is_bad: bool) -> bool:
        return is_bad and self._retry

    def is_new(self, source: Source) -> bool:
        """Whether the data set has rows, and none of this place."""
        return self.newest is not None and _hex(source.place) not in self._places

    def begin(self, source: Source, digest: str) -> Source | None:
        """A job is given to the workers. Returns another place that now needs a row of its own, if there is one.

        That is a place with the content that this one had before: the row of it is no longer to be seen.
        """
        place, content = _hex(source.place), _hex(digest)
        before = self._places.get(place)
        self._places[place] = _Own(_hex(source.stamp), content, False)
        freed = None
        if before is not None and before.digest != content:
            self._digests.pop(before.digest, None)
            freed = self._same.pop(before.digest, None)
        self._digests[content] = False
        return freed

    def is_bad(self, digest: str) -> None:
        """The job with these bytes could not be analysed."""
        self._digests[_hex(digest)] = True


def _hex(text: str) -> bytes:
    return bytes.fromhex(text)
