"""Many designs at once: processes here, or machines of a cluster, build and write one row each."""

from moulddesign.series.cluster import run_on
from moulddesign.series.crew import crew_size, run_all
from moulddesign.series.order import Order, Outcome, State

__all__ = ["Order", "Outcome", "State", "crew_size", "run_all", "run_on"]
