"""The figures of the diagnosis benchmark as text, and as an HTML page with confusion matrix and reliability drawn."""

from html import escape

import bench_diagnosis_score as score
from bench_diagnosis_minutes import cut_text, stopped_text

TIERS = ("sparse", "typical", "rich")
SHARES = ("class", "fault", "any fault there", "top 3", "state")
CLASSES = (
    "antenna", "wiring", "configuration", "subscription", "sky", "receiver", "service", "none", "other",
)  # fmt: skip

WAYS = {
    "within": "top-1 class, learned on {} worlds, of this set too: it knows the set's own frequencies".format,
    "elsewhere": "top-1 class, learned on {} worlds of other settings".format,
    "frequencies": "top-1 class of the diagnosis, had it known the set's own frequencies".format,
}


def groups(records):
    """Records by tier, and all of them."""
    parts = {tier: [record for record in records if record["tier"] == tier] for tier in TIERS}
    return {**{tier: part for tier, part in parts.items() if part}, "all": records}


def text(order, records, best):
    """Everything that is printed."""
    broken = [record for record in records if "error" in record]
    judged = [record for record in records if "error" not in record]
    lines = [
        f"{len(records)} worlds of set '{order.setting}', seed {order.seed}, tiers {order.tier or 'all'}. Simulated: "
        "these figures say nothing about real vehicles.",
    ]
    if broken:
        lines.append(f"{len(broken)} analyses failed; the first: world {broken[0]['number']}: {broken[0]['error']}")
    if not judged:
        return "\n".join(lines)
    for tier, part in groups(judged).items():
        lines += ["", *tier_text(tier, part, best)]
    lines += [
        "",
        *fault_text(judged),
        "",
        *confusion_text(judged),
        "",
        *other_text(judged),
        "",
        *minutes_text(judged),
    ]
    spent = sorted(record["spent_s"] for record in judged)
    lines += [
        "",
        f"analysis: median {spent[len(spent) // 2]:.3f} s, 95 % under {spent[int(0.95 * len(spent))]:.3f} s",
    ]
    return "\n".join(lines)


def tier_text(tier, part, best):
    """One tier's scores."""
    columns = score.columns(part)
    lines = [f"== {tier}: {len(part)} worlds =="]
    for name in SHARES:
        mean, low, high = score.mean_ci(columns[name])
        lines.append(
            f"{'top-1 ' + name if name in ('class', 'fault') else name:>22} {mean:6.3f}  [{low:.3f}, {high:.3f}]"
        )
    for way, words in WAYS.items() if best else ():
        if tier in best.get(way, {}):
            mean, low, high = best[way][tier]
            lines.append(
                f"{'ceiling, ' + way:>22} {mean:6.3f}  [{low:.3f}, {high:.3f}]  {words(best['trained'][way])}"
            )
    for name in ("log loss", "Brier", "fault log loss"):
        mean, low, high = score.mean_ci(columns[name])
        lines.append(f"{name:>22} {mean:6.3f}  [{low:.3f}, {high:.3f}]")
    for words, p, hit in (
        ("fault named", columns["p"], columns["hit"]),
        ("class named", columns["p class"], columns["class hit"]),
    ):
        error, (null, null_95) = score.calibration_error(p, hit), score.calibration_null(p)
        above = p > score.SURE_ABOVE
        wrong = 1.0 - hit[above].mean() if above.any() else 0.0
        lines.append(
            f"{words:>22} calibration error {error:.3f}; null {null:.3f}, 95 % {null_95:.3f}; "
            f"above 0.95: {above.sum()}, wrong {wrong:.1%}"
        )
    sure, wrong = columns["sure"].sum(), columns["sure wrong"].sum()
    lines.append(f"{'called sure':>22} {sure:.0f}, of them wrong {wrong:.0f}")
    lines.append(
        f"{'confused above 0.9':>22} {columns['confused'].mean():.2%} of worlds (antenna, wiring, subscription)"
    )
    lines.append(f"{'reliability':>22} p from-to   worlds  mean p  share there  [95 % were p true]")
    for low, high, count, mean, share, low_band, high_band in score.reliability(columns["p"], columns["hit"]):
        mark = "" if low_band <= share <= high_band else "  <-"
        lines.append(
            f"{'':>22} {low:.1f}-{high:.1f}   {count:>6}  {mean:.3f}   {share:.3f}       "
            f"[{low_band:.3f}, {high_band:.3f}]{mark}"
        )
    return lines


def fault_text(judged):
    """The faults one by one, and the calibration of all their probabilities."""
    p, hit = score.every_fault(judged)
    null, null_95 = score.calibration_null(p, draws=200)
    lines = [
        f"all faults' probabilities: calibration error {score.calibration_error(p, hit):.4f}; null {null:.4f}, "
        f"95 % {null_95:.4f}; sum of probabilities {p.sum():.0f}, faults there {hit.sum():.0f}",
        f"{'true':>26} worlds  class  fault  mean p  most often called instead",
    ]
    for fault, count, of_class, of_fault, mean_p, most, times in score.by_fault(judged):
        instead = f"{most} ({times})" if most else ""
        lines.append(f"{fault:>26} {count:>6}  {of_class:.3f}  {of_fault:.3f}  {mean_p:.3f}   {instead}")
    return lines


def confusion_text(judged):
    """True class down, named class across."""
    table = score.confusion(judged)
    lines = [f"{'truth | named':>14}" + "".join(f"{name[:9]:>10}" for name in CLASSES)]
    for truth in CLASSES:
        lines.append(f"{truth:>14}" + "".join(f"{table.get((truth, found), 0):>10}" for found in CLASSES))
    return lines


def other_text(judged):
    """Several faults, faults with times, and what was put right in time."""
    lines = []
    parts = {
        "one fault or none": [r for r in judged if len(r["present"]) <= 1],
        "two and more": [r for r in judged if len(r["present"]) >= 2],
        "began midway": [r for r in judged if r["when"] == "began"],
        "mended midway": [r for r in judged if r["when"] == "mended"],
        "comes and goes": [r for r in judged if r["when"] == "comes-and-goes"],
    }
    for words, part in parts.items():
        if part:
            columns = score.columns(part)
            lines.append(
                f"{words:>22} {len(part):>5} worlds: class {columns['class'].mean():.3f}, fault "
                f"{columns['fault'].mean():.3f}, a fault that is there {columns['any fault there'].mean():.3f}"
            )
    was = [r for r in judged if r["was"]]
    if was:
        told = sum(bool(set(r["was"]) & set(r["earlier"])) for r in was)
        lines.append(f"{'put right in time':>22} {len(was):>5} worlds: told among the earlier faults in {told}")
    return lines


def minutes_text(judged):
    """Planned tests against the checklist."""
    found = score.minutes(judged)
    if not found:
        return ["minutes to a sure and right verdict: not measured (--minutes-every)"]
    lines = [f"minutes to a sure and right verdict, {found['worlds']} worlds that began unsure (unsolved: 180 min):"]
    for who in found["mean"]:
        lines.append(
            f"{who:>22} {found['mean'][who]:6.1f} min, solved {found['solved'][who]:.1%}, "
            f"sure and wrong {found['sure wrong'][who]:.1%}"
        )
    for who, of_aim in found["by aim"].items():
        lines += ratio_text(who, of_aim)
    if "bound" in found:
        lines.append(
            f"{'shortest / checklist':>22} {found['bound']:6.2f}  for who knows every answer beforehand; "
            f"{found['can be']} worlds can be solved at all" + cut_text(found["cut"])
        )
    return lines + stopped_text(judged)


def ratio_text(who, found):
    """One plan's minutes over the checklist's, in all worlds and where both solved it."""
    low, high = found["ratio interval"]
    said = f"[{low:.2f}, {high:.2f}], of medians {found['ratio median']:.2f}"
    lines = [f"{who + ' / checklist':>22} {found['ratio']:6.2f}  {said}"]
    if found["ratio both solved"] is not None:
        low, high = found["ratio both interval"]
        lines.append(
            f"{'where both solved':>22} {found['ratio both solved']:6.2f}  [{low:.2f}, {high:.2f}], median of ratios "
            f"{found['ratio both median']:.2f} ({found['both solved']} worlds, {found['both share']:.0%})"
        )
    return lines


# ---- the page ----


def html(order, records, said):
    """One page: the figures as text, confusion matrices and reliability drawn, a tier each."""
    judged = [record for record in records if "error" not in record]
    parts = [f"<h1>Diagnosis on worlds of set '{escape(order.setting)}', seed {order.seed}</h1>"]
    for tier, part in groups(judged).items():
        columns = score.columns(part)
        parts += [f"<h2>{tier}: {len(part)} worlds</h2>", matrix(part), reliability_figure(columns)]
    parts.append(f"<h2>All figures</h2><pre>{escape(said)}</pre>")
    style = (
        "body{font:14px/1.45 system-ui,sans-serif;margin:2em auto;max-width:64em;color:#1d2733;background:#fff}"
        "table{border-collapse:collapse;margin:1em 0}td,th{padding:.35em .6em;text-align:right;font-weight:400}"
        "th{color:#46525f}td{min-width:3.2em}pre{overflow-x:auto;background:#f4f6f8;padding:1em}svg{max-width:100%}"
    )
    return (
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>Diagnosis on simulated worlds</title>'
        f"<style>{style}</style><body>{''.join(parts)}</body></html>"
    )


def matrix(part):
    """The confusion matrix as a table, shaded by the share of its row."""
    table = score.confusion(part)
    head = "".join(f'<th scope="col">{name}</th>' for name in CLASSES)
    rows = []
    for truth in CLASSES:
        total = sum(table.get((truth, found), 0) for found in CLASSES)
        cells = []
        for found in CLASSES:
            count = table.get((truth, found), 0)
            share = count / total if total else 0.0
            hue = "46,125,80" if truth == found else "190,70,40"
            dark = "#fff" if share > 0.8 else "#1d2733"
            cells.append(f'<td style="background:rgba({hue},{share:.2f});color:{dark}">{count or ""}</td>')
        rows.append(f'<tr><th scope="row">{truth}</th>{"".join(cells)}</tr>')
    return (
        "<table><caption>True class down, named class across; shade: share of the row</caption>"
        f"<tr><td></td>{head}</tr>{''.join(rows)}</table>"
    )


def reliability_figure(columns, side=300):
    """Share of worlds in which what was named was there, over the probability it was given; bands were p true."""
    pad, marks = 40, []

    def place(x, y):
        return pad + x * side, pad + (1.0 - y) * side

    for _, _, count, mean, share, low, high in score.reliability(columns["p"], columns["hit"]):
        x, y = place(mean, share)
        top, bottom = place(mean, high)[1], place(mean, low)[1]
        marks.append(
            f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{top:.1f}" y2="{bottom:.1f}" stroke="#9aa7b4" stroke-width="6"/>'
        )
        radius = 3 + min(6.0, count**0.5 / 4)
        marks.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}" fill="#1f5fa8"><title>{count}</title></circle>'
        )
    (x0, y0), (x1, y1) = place(0, 0), place(1, 1)
    return (
        f'<svg width="{side + 2 * pad}" height="{side + 2 * pad}" role="img" aria-label="reliability">'
        f'<rect x="{x0}" y="{y1}" width="{side}" height="{side}" fill="none" stroke="#46525f"/>'
        f'<line x1="{x0}" y1="{y0}" x2="{x1}" y2="{y1}" stroke="#9aa7b4"/>{"".join(marks)}'
        f'<text x="{x0}" y="{y0 + 28}" font-size="13">probability given, 0 to 1</text>'
        f'<text x="{x0}" y="{y1 - 12}" font-size="13">share there, 0 to 1; grey: 95 % were p true</text></svg>'
    )
