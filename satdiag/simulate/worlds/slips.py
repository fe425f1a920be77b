"""Slips of the pen: a row of the right kind with a wrong value in it, and satellites that are mixed up throughout."""

from __future__ import annotations

from random import Random

from satdiag.simulate.notebook import Row

SIBLINGS: dict[str, tuple[str, ...]] = {
    "power": ("off", "standby", "awake"),
    "lock": ("yes", "no"),
    "listing": ("yes", "no"),
    "channel": ("authorised", "refused", "missing", "no-signal"),
    "audio": ("playing", "muted", "broken"),
    "account": ("submitted", "confirmed", "rejected", "lapsed", "none"),
    "feed": ("on", "off"),
    "configuration": ("matches", "differs"),
    "identity": ("match", "mismatch"),
    "place": ("open-sky", "street", "canopy", "indoors"),
    "swap": ("better", "same", "worse"),
}
RING_SIBLINGS = (("closed", "open"), ("present", "absent"), ("working", "lost"))
EXCHANGED = {"satellite:east": "satellite:west", "satellite:west": "satellite:east"}


def can_slip(row: Row) -> bool:
    """Rows in which a slip leaves a row that says something else: not notes, marks of a change, resets, sites."""
    return row.value != "unreadable" and row.kind not in (
        "note",
        "tune",
        "reset",
        "site",
        "gap",
        "withdraw",
        "heading",
    )


def slip(row: Row, rng: Random) -> None:
    """Make a row wrong as a hurried hand would; kind, subject and unit stay."""
    words = SIBLINGS.get(row.kind)
    if row.kind == "ring":
        words = next((pair for pair in RING_SIBLINGS if row.value in pair), None)
    if words:
        row.value = rng.choice([word for word in words if word != row.value])
        return
    row.value = wrong_number(row.value, row.unit, rng)


def wrong_number(text: str, unit: str, rng: Random) -> str:
    """A digit off, two digits exchanged, or the point in the wrong place; still what the unit allows."""
    if unit.startswith("bars/"):
        most = int(unit.split("/")[1])
        return str(rng.choice([bars for bars in range(most + 1) if str(bars) != text]))
    digits = [place for place, sign in enumerate(text) if sign.isdigit()]
    place = rng.choice(digits)
    wrong = text[:place] + rng.choice([d for d in "0123456789" if d != text[place]]) + text[place + 1 :]
    if "." in text and unit != "percent" and rng.random() < 0.4:
        wrong = text.replace(".", "")
    if unit == "percent" and float(wrong) > 100.0:
        wrong = "100"
    if float(wrong) != float(text):
        return wrong
    if unit == "percent":
        return "10" if float(text) == 100.0 else "100"
    return text[:place] + str((int(text[place]) + 1) % 10) + text[place + 1 :]
