"""Instants as a person at the vehicle's place reads them: the site's own time zone, or UTC where none is given."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np

from satdiag.findings import Instant
from satdiag.job import Job
from satdiag.language import mark, moment_text, tell, translated


@dataclass(frozen=True)
class LocalTime:
    """A time zone and the sentence that names it, as it was told or marked."""

    zone: tzinfo
    told: str

    @property
    def name(self) -> str:
        """The zone's own name, 'America/Chicago' or 'UTC'."""
        return str(getattr(self.zone, "key", "UTC"))

    @property
    def sentence(self) -> str:
        """The sentence that names the zone, in the language in use."""
        return translated(self.told)

    def wall(self, moment: datetime) -> datetime:
        """An aware instant as a naive wall-clock time of the zone, which is what the figures' axes take."""
        return moment.astimezone(self.zone).replace(tzinfo=None)

    def axis(self, moment: datetime) -> str:
        """An instant as a place on a figure's time axis."""
        return self.wall(moment).isoformat(timespec="milliseconds")

    def steady(self, start: datetime, end: datetime) -> LocalTime:
        """For a drawing: the offset of its start all along, so that no hour is drawn twice or left out."""
        offset = start.astimezone(self.zone).utcoffset() or timedelta(0)
        if end.astimezone(self.zone).utcoffset() == offset:
            return self
        told = tell("The clocks were changed meanwhile: the times shown keep the hour of the beginning.")
        return LocalTime(timezone(offset), f"{self.sentence} {told}")

    def clock(self, instant: Instant) -> str:
        """'2031-05-03 08:40:25' of an instant of the findings, for tables."""
        return f"{self.wall(parse_instant(instant)):%Y-%m-%d %H:%M:%S}"

    def text(self, instant: Instant | None) -> str:
        """'3 May 2031, 08:40' of an instant of the findings."""
        if instant is None:
            return tell("not known")
        return moment_text(self.wall(parse_instant(instant)))

    def as_of(self, instant: Instant | None, job: str) -> str:
        """'As of 3 May 2031, 08:40 (America/Chicago); job demo-1.' of the last row's instant."""
        if instant is None:
            return tell("The log has no time; job {job}.", job=job)
        return tell("As of {moment} ({zone}); job {job}.", moment=self.text(instant), zone=self.name, job=job)


IN_UTC = LocalTime(UTC, mark("Times are UTC."))


def local_time_of(job: Job) -> LocalTime:
    """The zone of the first site that names one; UTC, and said, where none does."""
    for site in job.sheet.sites:
        if site.timezone:
            return LocalTime(
                ZoneInfo(site.timezone),
                tell("Times are local time at {place} ({zone}).", place=site.name, zone=site.timezone),
            )
    return LocalTime(UTC, tell("Times are UTC, because the job names no time zone."))


def parse_instant(instant: Instant) -> datetime:
    """An instant of the findings (ISO 8601) as an aware time."""
    moment = datetime.fromisoformat(instant)
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def utc(moment: np.datetime64) -> datetime:
    """An instant of the job's rows (datetime64, UTC) as an aware time."""
    microseconds: datetime = moment.astype("datetime64[us]").item()
    return microseconds.replace(tzinfo=UTC)
