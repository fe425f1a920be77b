"""Times as foreign logs write them: against `datetime.strptime`, and where that one is too lenient."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from satdiag.mapping.time_format import format_trouble, has_offset, stamp_reader

FORMATS = [
    "%d.%m.%Y %H:%M:%S",
    "%m/%d/%y %I:%M:%S %p",
    "%Y%m%d%H%M%S",
    "%Y%m%dT%H%M%S.%f",
    "%d-%b-%Y %H.%M",
    "%B %d, %Y %H:%M:%S,%f",
    "%Y-%m-%dT%H:%M:%S%z",
    "%d%%%m%%%Y %H:%M",
    "%Y-%m-%d %H:%M:%S%f",
]


@pytest.mark.parametrize("pattern", FORMATS)
@given(moment=st.datetimes(datetime(1969, 1, 1), datetime(2068, 12, 31)), minutes=st.integers(-14 * 60, 14 * 60))
def test_it_reads_what_strptime_reads(pattern, moment, minutes):
    assert format_trouble(pattern) is None
    text = moment.replace(tzinfo=timezone(timedelta(minutes=minutes))).strftime(pattern)
    wanted = datetime.strptime(text, pattern)
    clock, offset = stamp_reader(pattern)(text)
    assert clock == wanted.replace(tzinfo=None)
    assert offset == wanted.tzinfo


@pytest.mark.parametrize(
    ("pattern", "text", "wanted"),
    [
        ("%d.%m.%Y %H:%M", "3.5.2031 7:05", datetime(2031, 5, 3, 7, 5)),
        ("%m/%d/%Y %I:%M %p", "5/3/2031 12:05 am", datetime(2031, 5, 3, 0, 5)),
        ("%m/%d/%Y %I:%M %p", "5/3/2031 12:05 PM", datetime(2031, 5, 3, 12, 5)),
        ("%d %b %Y  %H:%M", "03 MAY 2031 09:00", datetime(2031, 5, 3, 9, 0)),
        ("%d.%m.%Y %H:%M:%S,%f", "03.05.2031 09:00:01", datetime(2031, 5, 3, 9, 0, 1)),
        ("%d.%m.%Y %H:%M:%S,%f", "03.05.2031 09:00:01,5", datetime(2031, 5, 3, 9, 0, 1, 500_000)),
        ("%d.%m.%Y %H:%M:%S,%f", "03.05.2031 09:00:01,123456789", datetime(2031, 5, 3, 9, 0, 1, 123_456)),
        ("iso", "2031-05-03T09:40", datetime(2031, 5, 3, 9, 40)),
        ("iso", "2031-05-03 09:40:01,25", datetime(2031, 5, 3, 9, 40, 1, 250_000)),
    ],
)
def test_times_that_leave_no_doubt(pattern, text, wanted):
    assert stamp_reader(pattern)(text) == (wanted, None)


@pytest.mark.parametrize(
    ("text", "offset_h"),
    [("2031-05-03T09:40:00Z", 0), ("2031-05-03T09:40:00-05:00", -5), ("2031-05-03 09:40:00.1+0530", 5.5)],
)
def test_iso_may_hold_its_offset(text, offset_h):
    assert stamp_reader("iso")(text).offset == timezone(timedelta(hours=offset_h))


@pytest.mark.parametrize(
    ("pattern", "text"),
    [
        ("%d.%m.%Y %H:%M", "٠٣.٠٥.٢٠٣١ ٠٩:٠٠"),  # Arabic-Indic digits: strptime takes them
        ("%Y-%m-%d %H%M", "2031-05-03 140"),  # 1:40 or 14:0? strptime says 14:00
        ("%d.%m.%Y %H:%M", "05/03/2031 09:00"),
        ("%d.%m.%Y %H:%M", "13.13.2031 09:00"),
        ("%d.%m.%Y %H:%M", "29.02.2031 09:00"),
        ("%d.%m.%Y %H:%M", "03.05.2031 24:00"),
        ("%d.%m.%Y %H:%M:%S", "03.05.2031 23:59:60"),
        ("%d.%m.%Y %H:%M", "03.05.2031 09:00 "),
        ("%d.%m.%Y %H:%M", "00.05.2031 09:00"),
        ("%d.%m.%Y %I:%M %p", "03.05.2031 13:00 PM"),
        ("%d.%m.%Y %I:%M %p", "03.05.2031 00:30 AM"),
        ("%d %b %Y %H:%M", "03 mai 2031 09:00"),
        ("%Y-%m-%dT%H:%M%z", "2031-05-03T09:00+24:00"),
        ("%Y-%m-%dT%H:%M%z", "2031-05-03T09:00"),
        ("iso", "2031-W18-6T09:00"),
        ("iso", "20310503T090000"),
        ("iso", ""),
        ("unix-s", "1_935_411_600"),
        ("unix-s", "-1"),
        ("unix-s", "1e9"),
        ("unix-s", "nan"),
        ("unix-s", "99999999999999999"),
    ],
)
def test_what_leaves_a_doubt_is_refused(pattern, text):
    with pytest.raises(ValueError, match=r"is not a|is no time|no offset|would be"):
        stamp_reader(pattern)(text)


def test_unix_times_are_exact_and_the_wrong_unit_is_found():
    # `date -u -d 2031-05-03T13:40:00Z +%s` says 1935582000 (GNU coreutils 9.1)
    wanted = datetime(2031, 5, 3, 13, 40)
    assert stamp_reader("unix-s")("1935582000") == (wanted, UTC)
    assert stamp_reader("unix-s")("1935582000.123456") == (wanted.replace(microsecond=123_456), UTC)
    assert stamp_reader("unix-s")("1935582000,25") == (wanted.replace(microsecond=250_000), UTC)
    assert stamp_reader("unix-ms")("1935582000250") == (wanted.replace(microsecond=250_000), UTC)
    with pytest.raises(ValueError, match="is it unix-ms"):
        stamp_reader("unix-s")("1935582000000")
    with pytest.raises(ValueError, match=r"1970; is it unix-s"):
        stamp_reader("unix-ms")("1935582000")


@pytest.mark.parametrize(
    ("pattern", "found"),
    [
        ("%d.%m.%Y", "the hour"),
        ("%H:%M:%S", "the year"),
        ("%d.%m.%Y %y %H:%M", "the year once"),
        ("%d.%m.%Y %H", "the minute"),
        ("%d.%m.%Y %I:%M", "%I and %p together"),
        ("%d.%m.%Y %H:%M %p", "%I and %p together"),
        ("%d.%m.%Y %H:%M:%S %S", "twice"),
        ("%d.%m.%Y %H:%M:%S  %f", "right after %S"),
        ("%f %d.%m.%Y %H:%M:%S", "right after %S"),
        ("%d.%m.%Y %H:%M,%f", "right after %S"),
        ("%H:%M:%S%f%d.%m.%Y", "right after %S"),
        ("%c", "holds %c"),
        ("%x %X", "holds %x"),
        ("%j %Y %H:%M", "holds %j"),
        ("%d.%m.%Y %H:%M %Z", "holds %Z"),
        ("%d.%m.%Y %H:%M%", "holds %;"),
        ("ISO", "the year"),
    ],
)
def test_a_format_that_leaves_a_doubt_is_refused(pattern, found):
    assert found in format_trouble(pattern)


def test_which_formats_say_their_offset():
    formats = ("iso", "unix-s", "unix-ms", "%z %d.%m.%Y %H:%M", "%d.%m.%Y %H:%M")
    assert [has_offset(each) for each in formats] == [None, True, True, True, False]
