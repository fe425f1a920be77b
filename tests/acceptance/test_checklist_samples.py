"""Every sample log's checklist against what is true of it, and against its own rows, read by hand.

The samples are simulated: they prove the code against our own model of the world only.
"""

import tomllib
from functools import cache
from pathlib import Path

import pytest

import satdiag
from satdiag.acceptance.checklist import checklist
from satdiag.vocabulary import FAULTS
from tests.acceptance.light_findings import light_findings

ROOT = Path(__file__).parent.parent.parent / "sample_logs"
SAMPLES = sorted(path.name for path in ROOT.iterdir() if path.is_dir())

FALSE = {
    # fault that is true at the end -> steps that it makes false, so that they must never be proved
    "antenna-open": "bias signal-passes satellites repeater lock open-channel",
    "antenna-short": "bias signal-passes satellites repeater lock open-channel",
    "antenna-weak": "satellites lock",
    "feed-swapped": "adaptor satellites",
    "feed-lossy": "satellites lock",
    "supply-dropout": "restarts",
    "ring-broken": "other-sources ring-closed receiver-answers listed sound open-channel",
    "ring-order": "other-sources other-nodes listed sound",
    "node-unpowered": "supply receiver-answers listed sound",
    "not-configured": "listed readback sound",
    "audio-path": "sound readback open-channel",
    "not-activated": "account activated all-here",
    "account-lapsed": "account activated package all-here",
    "id-mismatch": "identity activated package all-here",
    "entitlement-not-received": "activated package all-here",
    "partial-package": "",
    "indoors": "open-sky satellites lock",
    "obstructed": "open-sky satellites lock",
    "foliage": "open-sky satellites",
    "out-of-coverage": "satellites lock",
    "receiver-defective": "signal-passes satellites lock open-channel",
    "feed-absent": "bias signal-passes satellites lock",
    "interference": "satellites lock",
}

# sample: proved | contradicted | missing (* seen earlier, and bad then)
TABLE = {
    "account-lapsed": ("open-channel identity satellites after-sleep", "account package activated", "refresh bias"),
    "antenna-open": ("listed open-sky", "satellites lock", "bias* signal-passes open-channel"),
    "antenna-short": ("listed open-sky account", "substitute satellites lock", "bias signal-passes supply"),
    "antenna-weak": ("supply open-sky", "substitute satellites lock", "signal-passes noise-rise"),
    "audio-path": ("other-sources signal-passes all-here", "readback readback-units sound changes", "ring-closed"),
    "complete": ("open-channel account activated all-here changes lock", "", "identity bias other-sources"),
    "feed-absent": ("supply listed open-sky", "satellites lock changes", "bias* open-channel"),
    "feed-lossy": ("listed open-sky restarts", "substitute satellites", "lock signal-passes supply"),
    "feed-swapped": ("open-channel lock activated", "adaptor satellites", "bias identity"),
    "filling": ("open-channel account activated", "", "identity bias"),
    "foliage": ("bias noise-rise open-channel all-here", "open-sky", "account identity supply"),
    "indoors": ("battery supply listed", "open-sky", "satellites sound open-channel"),
    "interference": ("open-sky listed restarts", "", "sound open-channel supply"),
    "node-unpowered": (
        "other-sources ring-closed other-nodes readback account",
        "battery supply receiver-answers listed after-sleep",
        "sound lock",
    ),
    "not-activated": ("open-channel identity satellites", "account activated", "refresh package all-here"),
    "not-configured": (
        "other-sources ring-closed receiver-answers other-nodes",
        "listed readback readback-units",
        "sound lock account",
    ),
    "obstructed": ("other-sources readback signal-passes", "open-sky", "sound supply"),
    "out-of-coverage": ("other-sources supply open-sky account", "lock", "signal-passes open-channel"),
    "partial-package": ("open-channel package activated all-here", "", "supply bias account"),
    "receiver-defective": ("listed open-sky", "satellites lock", "signal-passes open-channel"),
    "resend-due": ("open-channel identity bias readback", "activated", "refresh all-here"),
    "ring-broken": ("ring-closed other-sources open-channel all-here", "", "bias identity after-sleep"),
    "ring-broken-open": ("open-sky account", "other-sources listed after-sleep", "break-test ring-closed sound"),
    "ring-order": (
        "ring-closed receiver-answers bias satellites lock readback",
        "battery other-sources other-nodes listed",
        "sound open-channel identity",
    ),
    "supply-dropout": ("open-channel substitute activated readback", "restarts", "supply satellites identity"),
    "wrong-id": ("open-channel account satellites", "identity activated", "all-here bias"),
}

NEXT = {
    "account-lapsed": "account",
    "antenna-open": "bias",
    "complete": None,
    "feed-absent": "bias",
    "filling": "identity",
    "node-unpowered": "supply",
    "not-configured": "listed",
    "ring-broken-open": "other-sources",
    "ring-order": "other-sources",
    "supply-dropout": "restarts",
    "wrong-id": "identity",
}


@cache
def walked(name):
    """A sample's checklist."""
    job = satdiag.open_job(ROOT / name)
    return checklist(job, light_findings(job))


def keys(found, state):
    """Keys of the items in a state, with a star where what was seen was seen earlier and the state is missing."""
    return {
        item.key + ("*" if item.earlier and state == "missing" else "") for item in found.items if item.state == state
    }


def test_the_tables_are_whole():
    assert set(TABLE) == set(SAMPLES)
    assert set(FALSE) == set(FAULTS)
    known = {item.key for item in walked("complete").items}
    named = " ".join([*FALSE.values(), *(text for row in TABLE.values() for text in row)]).replace("*", "").split()
    assert set(named) <= known


@pytest.mark.parametrize("name", SAMPLES)
def test_what_the_rows_prove_contradict_and_leave_open(name):
    found = walked(name)
    proved, contradicted, missing = (set(text.split()) for text in TABLE[name])
    assert keys(found, "contradicted") == contradicted
    assert proved <= keys(found, "proved")
    assert missing <= keys(found, "missing")
    if name in NEXT:
        assert found.next == NEXT[name]


@pytest.mark.parametrize("name", SAMPLES)
def test_nothing_false_is_proved(name):
    truth = tomllib.loads((ROOT / name / "truth.toml").read_text("utf-8"))
    found = walked(name)
    latest = max((one["to"] for one in truth["faults"]), default=None)
    as_of = found.as_of.rstrip("Z")[:19]
    for one in truth["faults"]:
        if one["to"] == latest and one["to"].strftime("%Y-%m-%dT%H:%M:%S") >= as_of:
            assert not keys(found, "proved") & set(FALSE[one["fault"]].split()), one["fault"]


@pytest.mark.parametrize("name", SAMPLES)
def test_what_is_proved_by_a_row_names_it(name):
    """Rows and time stand beside every claim but those from job.toml and from the whole of the log."""
    whole = {"number", "lead", "adaptor", "restarts", "changes", "package", "refresh", "activated", "all-here"}
    log = satdiag.open_job(ROOT / name).log
    known = {f"row {row + 1}" for row in log["row"]} | set(log["id"])
    for item in walked(name).items:
        if item.state in ("proved", "contradicted") and item.key not in whole:
            assert item.rows, item.key
            assert set(item.rows) <= known, item.key
            assert item.at is not None
            assert item.seen
        assert item.text.endswith(".")
        if item.by_hand:
            assert item.state == "missing"
