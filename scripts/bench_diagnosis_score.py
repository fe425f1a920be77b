"""Scores of the diagnosis on judged worlds. Pure: records in (see `bench_diagnosis.judge`), numbers out."""

import numpy as np

LEAST_P = 1e-6
NOT_SOLVED = 180.0
EDGES = np.linspace(0.0, 1.0, 11)
SURE_ABOVE, CONFUSED_ABOVE = 0.95, 0.9
KEPT_APART = ("antenna", "wiring", "subscription")
HEALTHY = ("works", "filling", "explained")


def present(record):
    """What is there to be named: the faults that hold, or 'none'."""
    return record["present"] or ["none"]


def fault_table(record):
    """P(fault) with 'none' and 'other' beside them, scaled to one: who leads, not what is present."""
    table = {**record["faults"], "none": record["classes"]["none"], "other": record["classes"]["other"]}
    total = sum(table.values())
    return {name: p / total for name, p in table.items()}


def class_table(record):
    """P(class), scaled to one."""
    total = sum(record["classes"].values())
    return {name: p / total for name, p in record["classes"].items()}


def one(record):
    """The scores of one world."""
    faults, classes, found = fault_table(record), class_table(record), record["found"]
    ranked = sorted(faults, key=lambda name: -faults[name])[:3]
    leading = record["fault"]
    p_class = record["classes"][found["class"]]
    named_here = found["fault"] in present(record)
    class_here = found["class"] in record["classes_present"]
    confused = (
        found["class"] in KEPT_APART
        and not class_here
        and bool(set(record["classes_present"]) & set(KEPT_APART))
        and p_class > CONFUSED_ABOVE
    )
    state_right = found["state"] == record["state"] or (found["state"] in HEALTHY and record["state"] in HEALTHY[:2])
    return {
        "class": found["class"] == record["class"],
        "fault": found["fault"] == leading,
        "any fault there": named_here,
        "top 3": leading in ranked,
        "state": state_right,
        "log loss": -np.log(max(classes.get(record["class"], 0.0), LEAST_P)),
        "Brier": sum((p - (name == record["class"])) ** 2 for name, p in classes.items()),
        "fault log loss": -np.log(max(faults.get(leading, 0.0), LEAST_P)),
        "sure": found["sure"],
        "sure wrong": found["sure"] and not named_here,
        "p": found["p"],
        "hit": named_here,
        "p class": p_class,
        "class hit": class_here,
        "confused": confused,
    }


def columns(records):
    """The scores of many worlds, one array a score."""
    scored = [one(record) for record in records]
    return {name: np.array([row[name] for row in scored], dtype=float) for name in scored[0]}


def mean_ci(values, draws=2000, seed=0):
    """Mean and its 95 % interval by resampling worlds."""
    rng = np.random.default_rng(seed)
    means = values[rng.integers(0, len(values), (draws, len(values)))].mean(axis=1)
    return float(values.mean()), *(float(edge) for edge in np.quantile(means, [0.025, 0.975]))


def calibration_error(p, hit):
    """Expected calibration error over ten bins of equal width."""
    bins = np.clip(np.digitize(p, EDGES) - 1, 0, 9)
    gaps = [
        abs(p[bins == b].mean() - hit[bins == b].mean()) * (bins == b).sum() for b in range(10) if (bins == b).any()
    ]
    return float(sum(gaps) / len(p))


def calibration_null(p, draws=1000, seed=1):
    """Mean and 95th percentile of that error were every p true: the same p, hits drawn from them."""
    rng = np.random.default_rng(seed)
    drawn = [calibration_error(p, (rng.random(len(p)) < p).astype(float)) for _ in range(draws)]
    return float(np.mean(drawn)), float(np.quantile(drawn, 0.95))


def reliability(p, hit):
    """Rows of the reliability table: from, to, worlds, mean p, share of hits, and its 95 % band were p true."""
    bins = np.clip(np.digitize(p, EDGES) - 1, 0, 9)
    rows = []
    for number in range(10):
        inside = bins == number
        if inside.any():
            mean, count = float(p[inside].mean()), int(inside.sum())
            half = 1.96 * (mean * (1.0 - mean) / count) ** 0.5
            band = max(0.0, mean - half), min(1.0, mean + half)
            rows.append((EDGES[number], EDGES[number + 1], count, mean, float(hit[inside].mean()), *band))
    return rows


def every_fault(records):
    """P and presence of all faults in all worlds as one long table: calibration of the marginals."""
    p = [record["faults"][fault] for record in records for fault in record["faults"]]
    hit = [float(fault in record["present"]) for record in records for fault in record["faults"]]
    return np.array(p), np.array(hit)


def confusion(records):
    """Counts of (true class, named class)."""
    table = {}
    for record in records:
        key = record["class"], record["found"]["class"]
        table[key] = table.get(key, 0) + 1
    return table


def by_fault(records):
    """For each true leading fault: worlds, share of class right, fault right, and what it was most often called."""
    rows = {}
    for record in records:
        rows.setdefault(record["fault"], []).append(record)
    out = []
    for fault, group in sorted(rows.items()):
        wrong = [r["found"]["fault"] for r in group if r["found"]["fault"] != fault]
        most = max(set(wrong), key=wrong.count) if wrong else ""
        mean_p = float(np.mean([fault_table(r).get(fault, 0.0) for r in group]))
        class_right = sum(r["found"]["class"] == r["class"] for r in group) / len(group)
        fault_right = sum(r["found"]["fault"] == fault for r in group) / len(group)
        out.append((fault, len(group), class_right, fault_right, mean_p, most, wrong.count(most)))
    return out


def minutes(records):
    """Planned tests against the checklist, over worlds that were not sure to begin with; None without any.

    `ratio`, `both` and their like are of the plan for least work; `by aim` has the same of each plan there is. Where
    the shortest way was sought, `bound` is its minutes over the checklist's, and `can be` the worlds that it solves.
    """
    pairs = [record["minutes"] for record in records if "minutes" in record]
    pairs = [pair for pair in pairs if pair["checklist"]["tests"] or pair["planned"]["tests"]]
    if not pairs:
        return None
    people = [who for who in ("planned", "proof", "checklist") if who in pairs[0]]
    counted = {who: np.array([pair[who]["counted"] for pair in pairs]) for who in people}
    by_aim = {who: against_checklist(pairs, who) for who in people if who != "checklist"}
    return {
        "worlds": len(pairs),
        "mean": {who: float(values.mean()) for who, values in counted.items()},
        "solved": {who: float(np.mean([pair[who]["solved"] for pair in pairs])) for who in people},
        "sure wrong": {
            who: float(np.mean([pair[who]["sure"] and not pair[who]["right"] for pair in pairs])) for who in people
        },
        "by aim": by_aim,
        **by_aim["planned"],
        **bound(pairs, counted["checklist"]),
    }


def against_checklist(pairs, who):
    """Ratio of the mean minutes with its 95 % interval (bootstrap by world), and the same where both solved it."""
    plan, checklist = (np.array([pair[one]["counted"] for pair in pairs]) for one in (who, "checklist"))
    picks = np.random.default_rng(2).integers(0, len(pairs), (2000, len(pairs)))
    ratios = plan[picks].mean(axis=1) / checklist[picks].mean(axis=1)
    both = np.array([pair[who]["solved"] and pair["checklist"]["solved"] for pair in pairs])
    found = {
        "ratio": float(plan.mean() / checklist.mean()),
        "ratio interval": tuple(float(edge) for edge in np.quantile(ratios, [0.025, 0.975])),
        "ratio median": float(np.median(plan) / np.median(checklist)),
        "both solved": int(both.sum()),
        "both share": float(both.mean()),
        "ratio both solved": None,
        "ratio both interval": None,
        "ratio both median": None,
    }
    if both.any() and checklist[both].sum():
        spent, listed = (np.array([pair[one]["minutes"] for pair in pairs])[both] for one in (who, "checklist"))
        picks = np.random.default_rng(3).integers(0, len(spent), (2000, len(spent)))
        drawn = spent[picks].sum(axis=1) / np.maximum(listed[picks].sum(axis=1), 1e-9)
        found["ratio both solved"] = float(spent.sum() / listed.sum())
        found["ratio both interval"] = tuple(float(edge) for edge in np.quantile(drawn, [0.025, 0.975]))
        found["ratio both median"] = float(np.median(spent / listed))
    return found


def bound(pairs, checklist):
    """What the shortest way costs, of the checklist's minutes, and how many worlds it solves; empty if not sought.

    `cut`: worlds whose search was ended early, in results of before it was let run on; they tell neither and are left
    out.
    """
    if not all("shortest" in pair for pair in pairs):
        return {}
    whole = np.array([not pair["shortest"].get("cut", False) for pair in pairs])
    if not whole.any():
        return {"cut": len(pairs)}
    least = np.array([pair["shortest"]["counted"] for pair in pairs])[whole]
    ratio = float(least.mean() / checklist[whole].mean())
    return {"bound": ratio, "can be": int(sum(least < NOT_SOLVED)), "cut": int(sum(~whole))}
