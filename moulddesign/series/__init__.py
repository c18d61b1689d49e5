"""Many designs at once: processes here, or machines of a cluster, build and write one row each.

- `table`: A series: many designs from one table, each row laid over the same base.
- `pool`: orders for many designs, and the processes on this machine that carry them out side by
  side.
- `cluster`: orders carried out on other machines, those of a Dask scheduler.
"""

from moulddesign.series.cluster import run_on
from moulddesign.series.pool import Order, Outcome, crew_size, run_all

__all__ = [
    "Order",
    "Outcome",
    "crew_size",
    "run_all",
    "run_on",
]
