"""What is true of a made-up job, read off the world after the last row.

Conventions: `to` of a fault that still holds is the time of the last row. `entitled` are the channels that the
account as it stands will ever authorise on this receiver (none without an account, with another receiver's
identifier, or after a lapse; the whole package where only the message is missing). `arrival_s` counts seconds
awake and locked from the first logged confirmation, or from the first row when none is logged; channels that would
come after the last row, were the vehicle left receiving in the clear, are included when no fault holds.
`path_share` counts all seconds of the visit: clear below 3 dB of excess loss, blocked from 15 dB.
"""

from __future__ import annotations

from satdiag.simulate.job_files import instant_text, quoted
from satdiag.simulate.notebook import Notebook
from satdiag.simulate.world import World

CLASS_OF = {
    "antenna": ("antenna-open", "antenna-short", "antenna-weak"),
    "wiring": ("feed-swapped", "feed-lossy", "supply-dropout", "ring-broken", "ring-order", "node-unpowered"),
    "configuration": ("not-configured", "audio-path"),
    "subscription": ("not-activated", "account-lapsed", "id-mismatch", "entitlement-not-received", "partial-package"),
    "sky": ("indoors", "obstructed", "foliage", "out-of-coverage"),
    "receiver": ("receiver-defective", "feed-absent"),
    "service": ("interference",),
}
LOOK_AHEAD_S = 12 * 3600


def fault_class(fault: str) -> str:
    """Class of a fault (findings contract)."""
    return next(name for name, faults in CLASS_OF.items() if fault in faults)


def will_come(world: World) -> list[int]:
    """Channels that this receiver has or will get as the account stands."""
    account, provider = world.account, world.setup.provider
    if account.state in ("none", "submitted", "rejected", "lapsed") or not provider.addressed_to_us:
        return []
    return world.setup.entitled()


def state_and_fault(world: World) -> tuple[str, str | None]:
    """State of the job at its end, and the fault that holds, if any."""
    holding = [span.fault for span in world.spans if span.to_s is None]
    if holding == ["partial-package"]:
        return "explained", "partial-package"
    if holding:
        return "fault", holding[0]
    coming = will_come(world)
    return ("works" if coming and set(coming) <= world.authorised else "filling"), None


def origin_s(book: Notebook) -> float:
    """Where the exposure clock starts, on the world's clock."""
    rows = book.ordered(False)
    confirmed = [row.at_s for row in rows if row.kind == "account" and row.value == "confirmed"]
    return confirmed[0] if confirmed else rows[0].at_s


def arrivals(world: World, book: Notebook) -> dict[int, float]:
    """True exposure at which each channel came or would come."""
    if any(row.kind == "swap" and row.subject == "receiver" for row in book.rows):
        return {}  # the exposure clock was started afresh there
    start = origin_s(book)
    out = {channel: world.exposure_s(start, at_s) for channel, at_s in world.arrival_tick.items()}
    carousel = world.carousel
    if carousel is None or state_and_fault(world)[0] not in ("works", "filling"):
        return out
    now, had = float(world.tick_s), world.exposure_s(start, world.tick_s)
    due = sorted(carousel.pop_due(now + LOOK_AHEAD_S))
    for at_s, place in due:
        if carousel.heard(0.0, world.rng):
            for channel in carousel.groups[place]:
                out.setdefault(channel, had + at_s - now)
    return out


def truth_toml(world: World, book: Notebook, seed: int) -> str:
    """truth.toml."""
    state, fault = state_and_fault(world)
    rows = book.ordered(False)
    first, last = rows[0].at_s, rows[-1].at_s
    lines = [f"state = {quoted(state)}", f"class = {quoted(fault_class(fault) if fault else 'none')}"]
    lines.append("faults = [")
    for span in world.spans:
        start = first if span.from_s <= 0.0 else min(last, max(first, span.from_s))
        end = last if span.to_s is None else max(start, min(last, span.to_s))
        when = f"from = {instant_text(book.instant(start))}, to = {instant_text(book.instant(end))}"
        lines.append(f"  {{ fault = {quoted(span.fault)}, {when} }},")
    lines += ["]", f"entitled = [{', '.join(str(n) for n in sorted(will_come(world)))}]", f"seed = {seed}", ""]
    lines.append("[arrival_s]")
    lines += [f"{channel} = {exposure:.0f}" for channel, exposure in sorted(arrivals(world, book).items())]
    for path, counts in world.shares.items():
        total = sum(counts.values())
        if total:
            lines += ["", f"[path_share.{quoted(path)}]"]
            lines += [f"{word} = {count / total:.4f}" for word, count in counts.items()]
    return "\n".join(lines) + "\n"
