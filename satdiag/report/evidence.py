"""The sections on what the verdict rests on: the evidence and the causes, and what was left out."""

from __future__ import annotations

from satdiag.findings import Findings
from satdiag.language import tell, tell_many
from satdiag.report import firmness
from satdiag.report.local_time import LocalTime
from satdiag.report.opening import could_not, earlier, reasons
from satdiag.report.section import Listed, Section, because
from satdiag.report.weights import evidence_figure, probability_figures


def reasons_section(findings: Findings, local: LocalTime) -> Section:
    """What speaks for the verdict and against it, how probable each cause is, and how firm that stands."""
    found = findings.diagnosis
    evidence = evidence_figure(found)
    swings = firmness.swing_figure(found, findings.verdict.fault)
    figures = (*((evidence,) if evidence else ()), *probability_figures(found), *((swings,) if swings else ()))
    said = firmness.sentences(found)
    if found.conflict_bits >= 1:
        said.append(
            tell(
                "Some pieces of evidence fit badly together ({bits:.1f} bits of conflict): look at them again.",
                bits=found.conflict_bits,
            )
        )
    return Section(
        "reasons",
        tell("Evidence and causes"),
        tuple(said),
        figures=figures,
        tables=tuple(firmness.plan_tables(found)),
        missing=because(tell("No evidence was logged that could be weighed."), (), bool(figures)),
        lists=_sides(findings, local),
    )


def _sides(findings: Findings, local: LocalTime) -> tuple[Listed, ...]:
    """What speaks for the verdict and against it, what would turn it, and what was wrong before."""
    speaks_for, against = reasons(findings)
    explained = findings.diagnosis.explanation
    turns = explained.change_mind if explained is not None and findings.verdict.state != "works" else ()
    lists = [
        Listed(tell("What speaks for it"), speaks_for, tell("Nothing that was logged speaks clearly for it.")),
        Listed(tell("What speaks against it"), against, tell("Nothing that was logged speaks clearly against it.")),
    ]
    if turns:
        lists.append(Listed(tell("What would change this"), turns))
    if before := earlier(findings, local):
        lists.append(Listed(tell("What was wrong earlier and is not now"), before))
    return tuple(lists)


def limits_section(findings: Findings) -> Section:
    """Everything that was left out, with the reason."""
    said = could_not(findings)
    if not said:
        return Section("limits", tell("What was not checked, and why"), (tell("Nothing was left out."),))
    count = tell_many("{n} thing was left out:", "{n} things were left out:", len(said))
    return Section("limits", tell("What was not checked, and why"), lists=(Listed(count, said),))
