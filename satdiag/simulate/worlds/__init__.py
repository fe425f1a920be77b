"""Worlds drawn at random, by the thousand: for tuning, calibrating and judging a diagnosis.

A world is a vehicle with what is wrong with it (nothing, one thing, several, something that is in no list), a person
who looks at more or less of it, and a log with the slips that people make. Symptoms follow from circuits, link
budgets, recommendations of the ITU and a broadcast queue; nothing here says how likely a symptom is. The same
setting, seed and number give the same bytes. All figures won on these worlds are about these worlds only.
"""

from satdiag.simulate.worlds.answers import known_tests
from satdiag.simulate.worlds.made import MadeWorld, Truth, make_world, worlds
from satdiag.simulate.worlds.settings import DRAW_SETTINGS, DrawSetting

__all__ = ["DRAW_SETTINGS", "DrawSetting", "MadeWorld", "Truth", "known_tests", "make_world", "worlds"]
