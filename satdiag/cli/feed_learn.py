"""The normal readings of a job as a file for the user folder."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

from satdiag.errors import SatdiagError
from satdiag.feed_keys import LEARNT_MOST
from satdiag.language import counted

if TYPE_CHECKING:
    from satdiag.findings import BiasFindings
    from satdiag.job import Job

_LISTS = {"voltage": "bias_learnt_v", "current": "bias_learnt_ma"}


def write_learnt(place: Path, job: Job, bias: BiasFindings | None) -> str:
    """Write the keys of the job's [receiver], with its normal readings added, to a new file; says what to do next.

    Refuses where a fault was confirmed in the job, where the feed is not normal at the end, and where nothing was
    read while the receiver worked. Raises SatdiagError.
    """
    from satdiag.safe_write import write_new
    from satdiag.user_folder import parse_receiver_values

    _check(job, bias)
    text, count = _learnt_text(job)
    parse_receiver_values(text, place.name)
    try:
        write_new(place, text.encode())
    except FileExistsError:
        raise SatdiagError(f"{place}: it is there already. Name a new file, or move the old one away.") from None
    except OSError as error:
        raise SatdiagError(f"{place}: cannot be written ({error.strerror}). Is its folder there?") from None
    return (
        f"{place}: {counted(count, 'reading')} taken while the receiver worked. Keep the file for other jobs with "
        f"`satdiag user add receivers {place}`; `satdiag new --receiver-values {place.stem}` then uses them."
    )


def _check(job: Job, bias: BiasFindings | None) -> None:
    confirmed = job.select("finding")
    faults = confirmed[((confirmed["value"] == "confirmed") & (confirmed["subject"] != "none")).to_numpy(dtype=bool)]
    if len(faults):
        what = f"{faults['subject'].iloc[-1]} was confirmed in this job"
        raise SatdiagError(f"{what}: its readings are not kept as normal ones. Take them from a job without a fault.")
    if bias is None or bias.state != "normal":
        state = "not known" if bias is None or bias.state is None else bias.state
        raise SatdiagError(f"The feed's state is {state}: only a feed that is normal at the end is learnt from.")


def _learnt_text(job: Job) -> tuple[str, int]:
    from satdiag.wiring.bias import working_readings

    sheet = tomllib.loads(job.documents["job.toml"].decode())
    values: dict[str, Any] = {key: value for key, value in sheet.get("receiver", {}).items() if key != "id"}
    count = 0
    for quantity, numbers in working_readings(job).items():
        count += len(numbers)
        together = [*values.get(_LISTS[quantity], []), *numbers][-LEARNT_MOST:]
        if together:
            values[_LISTS[quantity]] = together
    if not count:
        mend = "Read voltage and current within a few minutes of a lock, of sound or of a channel that plays."
        raise SatdiagError(f"No reading of a single lead was taken while the receiver was seen to work. {mend}")
    # Text, numbers, true, false and lists of numbers are written alike in JSON and TOML, but for one character.
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in values.items()]
    return "[receiver]\n" + "\n".join(line.replace("\x7f", "\\u007f") for line in lines) + "\n", count
