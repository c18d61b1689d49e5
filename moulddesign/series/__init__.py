"""Many designs at once: processes here, or machines of a cluster, build and write one row each.

- `table`: A series: many designs from one table, each row laid over the same base.
- `orders`: orders for many designs, carried out side by side by processes on this machine.
- `cluster`: orders carried out on other machines, those of a Dask scheduler.

Nothing is loaded here: the command line reads a table without the libraries that orders need.
"""
