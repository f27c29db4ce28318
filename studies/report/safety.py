"""What every output says of safety: each sentence stands here once. Common practice, no source."""

from __future__ import annotations

REVIEW = (
    "Settings must be reviewed and approved by a licensed engineer under the local code before use."
)
OPEN_CT = "Never open the secondary of a CT that carries current: the voltage is lethal."
MODEL = "Probabilities hold for the model and its stated inputs, not for the plant."
CAUTION = f"Caution. {OPEN_CT} {REVIEW} {MODEL}"  # one line, never wrapped

PROPOSED = "Proposed, not for issue until approved."

# --- tests on site ------------------------------------------------------------

PERSONS = "Tests are for qualified persons only."
ISOLATE = (
    "Isolate every trip output before a test: breaker, field and prime mover, and also intertrip,"
    " breaker failure and lock-out."
)
PROVE = "Restore every trip output after the tests, and prove that each one trips."
SHORT = "Short the CTs before any resistor or wiring is changed."
HOT = "Resistors may be hot."
PRIMARY = (
    "Primary injection: the machine is at rest, isolated, locked out and earthed, and a permit"
    " covers the test."
)
SHORT_CIRCUIT = (
    "Short-circuit run: use links rated for the current, raise the excitation by hand from zero,"
    " and keep the other protection in service."
)
SECONDARY = (
    "Secondary injection: short the CT side and isolate it from the test set. Otherwise the test"
    " set drives the primary."
)
BRIEF = "Keep no test current on for longer than elements and resistors stand."
REMANENCE = "Tests leave remanence: demagnetise the CTs after them."
AS_LEFT = "Write down the as-left settings, and enter every change in the change record."

# --- peak voltage -------------------------------------------------------------

LIMIT_V = 3000.0  # common practice for insulation, no source
PEAK = (
    "Peaks of kilovolts across the relay circuit are dangerous to persons, also below the "
    f"{LIMIT_V / 1000:g} kV rule for insulation."
)
NOT_SIMULATED = (
    "The non-linear resistor is not in the simulated circuit, so these probabilities hold"
    " without it."
)
SIMULATED = (
    "The probabilities hold with it: each pick-up is judged with the current that it takes there."
)

TESTS = (
    PERSONS,
    OPEN_CT,
    ISOLATE,
    PRIMARY,
    SHORT_CIRCUIT,
    SECONDARY,
    SHORT,
    HOT,
    BRIEF,
    PROVE,
    REMANENCE,
    AS_LEFT,
    REVIEW,
)  # before anything is tested, in this order
INJECTION = (PERSONS, SECONDARY, ISOLATE, PROVE, OPEN_CT, REVIEW)  # before a record is injected
