"""Many designs at once: worker processes build and write them, one row each."""

from moulddesign.series.crew import crew_size, run_all
from moulddesign.series.order import Order, Outcome, State

__all__ = ["Order", "Outcome", "State", "crew_size", "run_all"]
