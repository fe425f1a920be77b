"""An act is no reading: nobody can repeat it, and it is never called odd."""

from satdiag.analysis import analyse
from tests.helpers import make_job

ROWS = ["0:00 place vehicle open-sky", "0:10 listing source yes", "0:20 account service resend-requested"]
LINEUP = "\n".join(f"{n},Demo {n},Rock,all" for n in range(1, 11))


def test_a_resend_is_never_the_odd_reading():
    rows = [*ROWS, *[f"20:{2 * n:02} channel {n} authorised" for n in range(1, 11)]]
    found = analyse(make_job("\n".join(rows), '[service]\npackage = "all"\n', lineup=LINEUP)).diagnosis
    assert {"account": "resent"}.items() <= {one.item: one.state for one in found.evidence}.items()
    assert found.odd_reading is None or found.odd_reading.item != "account"


def test_looks_without_a_signal_of_before_the_feed_was_mended_are_no_evidence_of_now():
    rows = [*ROWS[:2], *[f"1:{5 * n:02} channel {n} no-signal" for n in range(1, 5)], "2:00 bias voltage 5.0 V"]
    rows += ["2:02 bias current 0 mA", "12:00 bias current 41 mA"]
    found = analyse(make_job("\n".join(rows), lineup=LINEUP)).diagnosis
    assert "unjudgeable" not in {one.item for one in found.evidence}
