"""From a study file to a figure, in Python: python configs/from_python.py [--quick].

Cells are marked # %%. Which places along the winding does each earth pick-up leave unprotected, and
how much of that is the fault's own resistance? Writes from_python.svg here. `--quick` takes
seconds, and its numbers say nothing."""

# %% Read a study: every input has a centre and, where it is uncertain, a distribution
import sys
from pathlib import Path

import matplotlib

matplotlib.use("svg")
import matplotlib.pyplot as plt
import numpy as np

from montecarlo import (
    EarthReturn,
    critical_position,
    earth_fault,
    read_study,
    run_study,
    sample_frames,
)

QUICK = "--quick" in sys.argv
FILE = Path(__file__).with_name("drivers_11kv.toml")
study = read_study(FILE, samples=256 if QUICK else None)
print(f"{study.study.title}: {study.machine.line_voltage_v:g} V")

# %% Samples: a row an earth fault, with what was drawn and at which setting it would have operated
samples = sample_frames(study, ["internal.earth"])["internal.earth"]
units = samples.attrs["units"]
drawn = samples[["internal_faults.position", "internal_faults.earth_fault_resistance_ohm"]]
print(drawn.rename(columns=lambda name: f"{name} [{units[name]}]").describe().round(3))

# %% The model by itself: the fault current along the winding, at the centre of every input
x = np.linspace(0, 1, 201)
machine, network, ohm = study.machine, study.network, study.earthing.resistance_ohm.centre()
fault_ohm = samples["internal_faults.earth_fault_resistance_ohm"].quantile([0.05, 0.5, 0.95])
back = EarthReturn(
    neutral_ohm=ohm,
    stator_capacitance_f=machine.stator_capacitance_f.centre(),
    terminal_capacitance_f=machine.terminal_capacitance_f.centre(),
    external_capacitance_f=network.external_capacitance_f.centre(),
    omega=machine.omega,
    infeed_share=0.0,
)
winding_ohm = 0.0  # nothing beside the neutral's resistor
r = fault_ohm.to_numpy()[:, None]
fault = earth_fault(x, 0, machine.phase_voltage_v, winding_ohm, r, back)
turns = study.ct.at("neutral_end").turns_ratio
current_a = np.abs(fault.fault_current_a) / turns  # with ideal CTs
pickups_a = np.array(study.candidates.earth_pickup_a)
unprotected, _ = critical_position(x, current_a, pickups_a)

# %% The whole study: every candidate judged, on all cores
result = run_study(study, workers=1 if QUICK else None)
columns = ["earth_pickup_a", "p_missed", "p_missed_low", "p_missed_high", "p_false", "allowed"]
print(result.candidates[columns].head(8).round(4).to_string(index=False))
for number, found in result.candidates.set_index("candidate")["refusals"].head(3).items():
    print(number, [refusal.rule.value for refusal in found])

# %% A figure: what the study covers, over what the formula with ideal CTs leaves unprotected
figure, ax = plt.subplots(figsize=(6.5, 4.2), layout="constrained")
protected = result.candidates.groupby("earth_pickup_a")["protected_median"]
ax.fill_between(protected.max().index, 1 - protected.max(), 1 - protected.min(), alpha=0.3)
for row, quantile in zip(unprotected, fault_ohm.index, strict=True):
    ax.plot(pickups_a, row, marker="o", label=f"ideal CTs, {100 * quantile:g} % of R_f")
ax.set_xlabel("earth pick-up, A secondary")
ax.set_ylabel("part of the winding not protected, from the neutral")
ax.set_title("band: the study, medians of all candidates", loc="left")
ax.legend()
figure.savefig("from_python.svg")
