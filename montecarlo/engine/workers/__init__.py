"""Where chunks are solved, in processes of this machine or of a cluster, and where the finished
ones are kept. The only place that knows joblib and Dask; a chunk never knows where it runs."""

from montecarlo.engine.workers.pool import Workers, workers_of

__all__ = ["Workers", "workers_of"]
