"""The optical ring: is it one ring in the wanted order, how to plug it so, where it is broken, how much light."""

from satdiag.wiring.ring.breaks import BreakReading, BreakTest, Suspect, locate_break
from satdiag.wiring.ring.budget import LinkBudget, budget_gaps, budgets, least_margin, link_budget, milliwatts
from satdiag.wiring.ring.check import (
    RingCheck,
    RingProblem,
    check_ring,
    miscounted,
    not_plugged,
    only_waits_for,
    same_ring,
)
from satdiag.wiring.ring.estimate import positions_reported, ring_findings, ring_of
from satdiag.wiring.ring.light import LightPaths, Link, Place, light_paths
from satdiag.wiring.ring.planner import Move, RingPlan, order_with, plan_ring
from satdiag.wiring.ring.second_ring import SecondRing, second_ring
from satdiag.wiring.ring.shown import blocks_shown, break_shown, link_shown
from satdiag.wiring.ring.steps import Step, labels_of, step_text, steps_of, undo_of

__all__ = [
    "BreakReading",
    "BreakTest",
    "LightPaths",
    "Link",
    "LinkBudget",
    "Move",
    "Place",
    "RingCheck",
    "RingPlan",
    "RingProblem",
    "SecondRing",
    "Step",
    "Suspect",
    "blocks_shown",
    "break_shown",
    "budget_gaps",
    "budgets",
    "check_ring",
    "labels_of",
    "least_margin",
    "light_paths",
    "link_budget",
    "link_shown",
    "locate_break",
    "milliwatts",
    "miscounted",
    "not_plugged",
    "only_waits_for",
    "order_with",
    "plan_ring",
    "positions_reported",
    "ring_findings",
    "ring_of",
    "same_ring",
    "second_ring",
    "step_text",
    "steps_of",
    "undo_of",
]
