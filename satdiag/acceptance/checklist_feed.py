"""The checklist's judgements on the antenna's lead and feed, from rows and findings."""

from __future__ import annotations

import pandas as pd

from satdiag.acceptance.checklist_signs import Judged, Known, Sign, not_for, row_sign, settle, signs
from satdiag.language import mark, tell, translated
from satdiag.trials import trials


def lead_kind(known: Known) -> Judged:
    lead = known.job.sheet.receiver.antenna_lead
    if lead == "unknown":
        return Judged("missing", tell("job.toml does not say whether the lead has one conductor or two."))
    return Judged("proved", translated(LEADS[lead]), seen="job.toml")


LEADS = {
    "single": mark("job.toml says that the antenna lead is single."),
    "dual": mark("job.toml says that the antenna lead is dual."),
}


def adaptor(known: Known) -> Judged:
    """Which adaptor stands between lead and receiver; that it fits only the findings can say."""
    receiver = known.job.sheet.receiver
    if receiver.antenna_lead == "single" and receiver.adaptor == "none":
        return not_for(tell("A single lead without an adaptor."))
    fits = known.findings.wiring.adaptor
    if fits is not None and fits.conclusion != "cannot-tell" and receiver.adaptor != "unknown":
        rows = tuple(name for reason in fits.reasons for name in reason.rows)
        return Judged("proved" if fits.conclusion == "fits" else "contradicted", fits.text, rows=rows)
    if receiver.adaptor == "unknown":
        return Judged("missing", tell("job.toml does not say which adaptor is fitted, if any."))
    named = tell("job.toml names the adaptor ({adaptor}); that it fits is not shown.", adaptor=receiver.adaptor)
    return Judged("partly", named)


BIAS = {
    "normal": mark("Voltage and current of the feed are normal"),
    "open": mark("The feed has voltage and no current flows"),
    "short": mark("The feed is shorted"),
    "low": mark("The feed carries less current than normal"),
    "high": mark("The feed carries more current than normal"),
    "absent": mark("The feed has neither voltage nor current"),
}


def bias(known: Known) -> Judged:
    """The state of the feed by the findings; its time is that of the last reading."""
    found, rows = known.findings.wiring.bias, known.rows("bias")
    if found is None or not len(rows):
        return Judged("missing", tell("The feed's voltage and current were not measured."))
    last = rows.tail(1)
    if found.state is None:
        sign = row_sign(last, True, tell("The feed was measured, but its state does not follow from it."))
        judged = settle([sign], known.fitted_s, "")
        return Judged("partly", judged.text, judged.earlier, judged.seen, judged.t_s, judged.rows)
    measured = [tell("{volts:g} V", volts=found.voltage_v)] if found.voltage_v is not None else []
    measured += [tell("{milliamps:g} mA", milliamps=found.current_ma)] if found.current_ma is not None else []
    text = translated(BIAS[found.state])
    text = tell("{what} ({measured}).", what=text, measured=", ".join(measured)) if measured else f"{text}."
    return settle([row_sign(last, found.state == "normal", text)], known.fitted_s, "")


def noise_rise(known: Known) -> Judged:
    """The noise with the feed on against off, by the findings."""
    found, rows = known.findings.wiring.noise_rise, known.rows("feed", "bias")
    if found is None or found.rise_db is None or not len(rows):
        return Judged("missing", tell("The noise was not read with the feed off and on."))
    if found.meaning == "cannot tell":
        return Judged("partly", found.text)
    return settle([row_sign(rows.tail(1), found.meaning == "as expected", found.text)], known.fitted_s, "")


def something_received(known: Known) -> Judged:
    """A lock, or sound, with the parts as they are: the lead carries a signal, which says nothing of how well."""
    text = tell("The receiver reported a lock: the lead carries a signal; how well is another question.")
    locks = signs(known.rows("lock"), {"yes": True}, text)
    heard = known.heard_says(tell("A channel was heard: antenna, lead and receiver passed it on."))
    nothing = tell("Neither a lock nor a channel heard is noted.")
    lost = known.rows("lock")
    if len(lost) and not locks and not heard:
        return Judged("missing", tell("Every lock noted says no; that may be the sky's doing as well."))
    return settle([*locks, *heard], known.fitted_s, nothing)


def substitution(known: Known) -> Judged:
    """A known-good antenna or lead in place of the fitted one: better speaks against the fitted part."""
    rows = known.rows("swap", "antenna", "lead")
    if not len(rows):
        if something_received(known).state == "proved":
            return not_for(tell("A signal comes through: nothing calls for a substitute."))
        return Judged("missing", tell("No known-good antenna or lead was tried."))
    last = _tried(rows).drop_duplicates("subject", keep="last")
    found = [_of_swap(last.iloc[[place]]) for place in range(len(last))]
    judged = settle([sign for sign in found if not sign.good] or found, known.visit_s, "")
    if judged.state == "proved" and len(found) < 2:
        return Judged("partly", judged.text, False, judged.seen, judged.t_s, judged.rows)
    return judged


def _tried(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows without those that tell that the old part went back: they are no word on the known-good one."""
    kept = pd.Series(False, index=rows.index)
    for _, part in rows.groupby("subject"):
        begun = [one.in_s for one in trials(zip(part["t_s"].tolist(), part["value"].tolist(), strict=True))]
        kept |= (rows["subject"] == part["subject"].iloc[0]) & rows["t_s"].isin(begun)
    return rows[kept]


def _of_swap(row: pd.DataFrame) -> Sign:
    part, value = (str(row[name].iloc[0]) for name in ("subject", "value"))
    return row_sign(row, value != "better", translated(SWAPPED[part, value]))


SWAPPED = {
    ("antenna", "better"): mark("With a known-good antenna it was better: look at the fitted one."),
    ("antenna", "same"): mark("With a known-good antenna it was the same, which speaks for the fitted one."),
    ("antenna", "worse"): mark("With a known-good antenna it was worse, which speaks for the fitted one."),
    ("lead", "better"): mark("With a known-good lead it was better: look at the fitted one."),
    ("lead", "same"): mark("With a known-good lead it was the same, which speaks for the fitted one."),
    ("lead", "worse"): mark("With a known-good lead it was worse, which speaks for the fitted one."),
}
