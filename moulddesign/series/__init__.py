"""Many designs at once: processes here, or machines of a cluster, build and write one row each.

- `table`: A series: many designs from one table, each row laid over the same base.
- `orders`: orders for many designs, carried out side by side by processes on this machine.
- `cluster`: orders carried out on other machines, those of a Dask scheduler.
"""

from moulddesign.series.cluster import run_on
from moulddesign.series.orders import Order, Outcome, run_all

__all__ = [
    "Order",
    "Outcome",
    "run_all",
    "run_on",
]
