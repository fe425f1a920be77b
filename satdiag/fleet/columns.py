"""The columns of the fleet's three tables: name, type and meaning, in one place; schema and documentation follow.

A type is a word that `dataset.py` turns into an Arrow type: text, texts, whole, number, numbers, yes-no, moment (UTC,
microseconds), faults (a list of fault and probability), states (a list of item of evidence and state). Units stand in
the names.
"""

from __future__ import annotations

from typing import NamedTuple

from satdiag.vocabulary import FAULT_CLASSES

MONTH = "month"
"""The key by which the files are parted into folders; not a column of the files themselves."""

UNKNOWN_MONTH = "unknown"
"""The month of a job without a row, and of one that cannot be read."""

CLASSES = (*FAULT_CLASSES, "none", "other")
"""The classes of faults, nothing wrong and something outside the list included, in the order of their columns."""


class Column(NamedTuple):
    """One column of a table."""

    name: str
    type: str
    meaning: str


_KEYS = (
    Column(
        "key", "text", "the job's hash, a colon, the analysis; a row of another table with this key belongs to it"
    ),
    Column("written", "moment", "when the rows of the job were written; the same in all three tables"),
)

JOBS = (
    *_KEYS,
    Column(
        "analysis", "text", "version of satdiag, schema of the findings, digest of faults.toml and what was learned"
    ),
    Column("hash", "text", "the job's canonical hash; of a job that cannot be read, the digest of its bytes"),
    Column("source", "text", "the path of the job as it was given or found"),
    Column(
        "place", "text", "digest of the job's full path: a later row of the same place takes the place of this one"
    ),
    Column("stamp", "text", "digest of names, sizes and times of change of the job's files when they were looked at"),
    Column("bytes", "text", "digest of the bytes of the job's files when they were looked at"),
    Column("job", "text", "id in the job sheet"),
    Column("started", "moment", "first row of the log"),
    Column("ended", "moment", "last row of the log"),
    Column("hours", "number", "from the first to the last row"),
    Column("awake_h", "number", "how long the receiver was awake for certain, since it was fitted or swapped"),
    Column("exposure_low_h", "number", "awake and receiving since the account was confirmed: for certain"),
    Column("exposure_high_h", "number", "the same: at most"),
    Column("exposure_origin", "text", "what exposure counts from: confirmed, or first-row"),
    Column("exposure_basis", "text", "what tells that it received: lock, level, or awake alone"),
    Column("visits", "whole", "visits in the log"),
    Column("rows", "whole", "rows of the log, withdrawn ones included"),
    Column("region", "text", "time zone of the first site; the sheet has no other word for the region"),
    Column("constellation", "text", "constellation that the sheet names"),
    Column("package", "text", "package that the sheet names"),
    Column("receiver", "text", "identifier of the receiver, masked; null where the sheet has none"),
    Column("second_hand", "yes-no", "the receiver was used in another vehicle before"),
    Column("antenna_lead", "text", "single, dual or unknown"),
    Column("adaptor", "text", "adaptor between antenna and receiver by the sheet"),
    Column("reason", "text", "why the person is there"),
    Column("state", "text", "verdict: works, filling, explained, fault or cannot-tell"),
    Column("class", "text", "class of the likeliest fault; 'none' where nothing is wrong"),
    Column("fault", "text", "the likeliest fault; 'none' where nothing is wrong"),
    Column("probability", "number", "its probability"),
    Column("sure", "yes-no", "the verdict is sure"),
    Column("conflict_bits", "number", "how far the evidence contradicts itself"),
    Column("next_test", "text", "the test that pays best, if one does"),
    Column("stop", "text", "why no test is offered, where none is"),
    Column("faults", "faults", "probability of each fault; several may be there at once"),
    *(Column(f"p_{name}", "number", f"probability of the class {name}") for name in CLASSES),
    Column("earlier", "texts", "faults that were there and are gone at the last row"),
    Column(
        "confirmed_fault", "texts", "what a person wrote down as found; empty: nothing was wrong; null: not closed"
    ),
    Column(
        "mended_evidence",
        "states",
        "what had been seen before what was found was put right; null where the log does not show that it was",
    ),
    Column("channels_total", "whole", "channels that the log or the line-up names"),
    Column("channels_expected", "whole", "channels that should play"),
    Column("channels_playing", "whole", "those of them that play"),
    Column("channels_refused", "whole", "those of them that are refused"),
    Column("channels_checked", "whole", "those of them that were checked"),
    Column("expected_from", "text", "how the expected ones are known: package, lineup, or seen in the log"),
    Column("complete", "yes-no", "every expected channel plays"),
    Column("arrivals", "whole", "arrivals that tell something of the waits"),
    Column("dead_account", "number", "probability that the account gives nothing"),
    Column(
        "dead_account_bits",
        "number",
        "how far the checks alone speak for that, against the account being alive (log2 of the odds, the prior taken "
        "out); null where the log says what became of the account, or channels were taken away again",
    ),
    Column("not_begun", "number", "probability that the filling-in has not begun"),
    Column("all_come", "number", "probability that every expected channel comes"),
    Column("entitled_share", "number", "share of the expected channels that the account holds"),
    Column("entitled_share_low", "number", "its 5 % quantile"),
    Column("entitled_share_high", "number", "its 95 % quantile"),
    Column("hours_to_first", "number", "exposure until the first channel came or comes: median"),
    Column("hours_to_first_low", "number", "its 5 % quantile"),
    Column("hours_to_first_high", "number", "its 95 % quantile"),
    Column("hours_to_half", "number", "exposure until half of the channels that come are there: median"),
    Column("hours_to_half_low", "number", "its 5 % quantile"),
    Column("hours_to_half_high", "number", "its 95 % quantile"),
    Column("hours_to_90", "number", "exposure until nine tenths of them are there: median"),
    Column("hours_to_90_low", "number", "its 5 % quantile"),
    Column("hours_to_90_high", "number", "its 95 % quantile"),
    Column("hours_to_last", "number", "exposure until all of them are there: median"),
    Column("hours_to_last_low", "number", "its 5 % quantile"),
    Column("hours_to_last_high", "number", "its 95 % quantile"),
    Column(
        "hours_typical_wait", "number", "full reception in which 63 % of the channels that come have come: median"
    ),
    Column("hours_typical_wait_low", "number", "its 5 % quantile"),
    Column("hours_typical_wait_high", "number", "its 95 % quantile"),
    Column("wait_prior_jobs", "whole", "jobs that a prior of that wait was pooled from; 0 where none was used"),
    Column("likeliest_law", "text", "law of waiting with the greatest weight"),
    Column("likeliest_law_weight", "number", "that weight"),
    Column("dispersion", "number", "how much more channels come together than by chance (1: not at all)"),
    Column("change_to_audio_s", "number", "median time of a channel change to sound"),
    Column("change_to_audio_low_s", "number", "lower end of its 90 % interval"),
    Column("change_to_audio_high_s", "number", "upper end; null where it is open"),
    Column("changes", "whole", "channel changes with a time to sound, given-up ones included"),
    Column("change_to_title_s", "number", "median time of a channel change to the title"),
    Column("block_loss", "number", "share of lost blocks by the times to the title"),
    Column("p_slow", "number", "probability that channel changes are slow"),
    Column("deficit_db", "number", "the greatest deficit of level of any satellite path"),
    Column("deficit_path", "text", "that path"),
    Column("any_path_share", "number", "share of time in which at least one path was received"),
    Column("could_not", "whole", "how many things could not be told"),
    Column("learned_jobs", "whole", "closed jobs that moved the packaged figures; 0 without --learned"),
    Column(
        "error", "text", "why the job could not be analysed; null where it was. Values quoted from the file left out"
    ),
    Column("error_file", "text", "the file of the job that the error is in"),
    Column("error_line", "whole", "the line of it"),
    Column("cpu_s", "number", "processor time that reading and analysing took"),
)

CHANNELS = (
    *_KEYS,
    Column("job", "text", "id in the job sheet"),
    Column("channel", "whole", "number of the channel"),
    Column("state", "text", "at the last row: authorised, refused, missing, no-signal or unchecked"),
    Column("reason", "text", "why: plays, late, not-in-package, account, lost, not-listed or cannot-tell"),
    Column("package_state", "text", "by the line-up: in, outside, open, or unknown"),
    Column("expected", "yes-no", "it is one of those that should play"),
    Column("held_before", "yes-no", "it played before exposure began to count: its wait is unknown"),
    Column("checks", "whole", "checks since then that saw it authorised or refused"),
    Column("first_seen_h", "number", "exposure (at most) when it was first seen to play; null: not seen"),
    Column(
        "arrival_low_h",
        "number",
        "it came after this exposure (of a channel that has not come: not by then); null: unknown",
    ),
    Column("arrival_high_h", "number", "and by this exposure; null: it has not come"),
    Column("slips", "whole", "checks that must have been noted wrongly if it came then"),
    Column("chance_to_come", "number", "probability that it will play; 1 if it plays"),
    Column("remaining_h", "number", "exposure still to wait: median"),
    Column("remaining_low_h", "number", "its 5 % quantile"),
    Column("remaining_high_h", "number", "its 95 % quantile"),
)

EVIDENCE = (
    *_KEYS,
    Column("job", "text", "id in the job sheet"),
    Column("item", "text", "item of evidence, as in faults.toml"),
    Column("state", "text", "the state that was seen"),
    Column("family", "text", "family of items that share a mechanism"),
    Column("weight_bits", "number", "what it is worth on its own for the named fault"),
    Column("for_fault", "text", "the fault that the weight speaks for"),
    Column("soft", "numbers", "where it was told in part: relative likelihood of each state, in the item's order"),
)

TABLES = {"jobs": JOBS, "channels": CHANNELS, "evidence": EVIDENCE}
"""The three tables by the names of their folders."""


def columns_markdown() -> str:
    """The columns as Markdown tables, for the documentation."""
    parts = []
    for name, columns in TABLES.items():
        lines = [f"| {column.name} | {column.type} | {column.meaning} |" for column in columns]
        head = ["| column | type | meaning |", "| --- | --- | --- |"]
        parts.append("\n".join([f"## The table {name}", "", *head, *lines]) + "\n")
    return "\n".join(parts)
