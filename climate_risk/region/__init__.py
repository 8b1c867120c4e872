"""A region: the chain of `compare` on every cell of gridded weather, through xarray and dask.

`variables` and `grid` read, `series` makes a cell's record, `cell` runs it, `store` keeps what is
done, `run` spreads the blocks over a machine or a cluster, `results` is what report receives.
"""
