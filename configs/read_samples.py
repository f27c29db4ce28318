"""How much oftener does a close-in fault trip falsely when the cores' remanence is unlike? Reads
what

    statorodds run configs/hydro_11kv.toml --keep-samples

has written: one row a weighted sample, one column a value (samples_columns.csv says which).

Alternatives, options of earthing, assumption sets and a second remanence model are studies of their
own. Each has its files in a folder samples_..., and its name in the column `part` of
samples_columns.csv."""

import pandas as pd

rows = pd.read_parquet("hydro_11kv-results/samples_weighted_close_in_three_phase.parquet")
pickup = rows["critical_pickup_a[two_phase_one_earth, 200 ohm, earth, 0 s]"]
remanence = rows.filter(like="ct.remanence_percent")  # six cores
unlike = pd.cut(remanence.max(axis=1) - remanence.min(axis=1), [0, 70, 100, 120, 140])
trips = rows["weight"] * (pickup > 0.05)  # the earth element set to 0.05 A
print(
    trips.groupby(unlike, observed=True).sum() / rows["weight"].groupby(unlike, observed=True).sum()
)
