"""The antenna lead from a reflection sweep: distances to reflections, where it ends, and what its cable loses."""

from satdiag.wiring.feedline.cable import CableLoss, cable_loss, one_port_loss_db
from satdiag.wiring.feedline.estimate import examine, feedline_findings
from satdiag.wiring.feedline.setup import Setup, setup_of
from satdiag.wiring.feedline.sweep import Sweep, read_sweep

__all__ = [
    "CableLoss",
    "Setup",
    "Sweep",
    "cable_loss",
    "examine",
    "feedline_findings",
    "one_port_loss_db",
    "read_sweep",
    "setup_of",
]
