"""Do false trips come from cores whose remanence is unlike? Reads what

    statorodds run configs/hydro_11kv.toml --keep-samples

has written: one row a sampled fault, one column a value (samples_columns.csv says which)."""

import pandas as pd

rows = pd.read_parquet("hydro_11kv-results/samples_external_close_in_three_phase.parquet")
pickup = rows["critical_pickup_a[two_phase_one_earth, 200 ohm, earth, 0 s]"]   # A, of the earth element
remanence = rows.filter(like="ct.remanence_percent")                           # six cores
unlike = remanence.max(axis=1) - remanence.min(axis=1)
trips = pickup > 0.05                                                          # a setting of 0.05 A would have tripped
print(trips.groupby(pd.qcut(unlike, 4), observed=True).mean())
