"""Current transformers: data, excitation curve with hysteresis, and the state before an event."""

from __future__ import annotations

from typing import Annotated, Any, Optional

from pydantic import create_model, field_validator

from montecarlo.quantities import Distribution, Plain, Quantity, Section, number


class CurrentTransformer(Section):
    """One end's CTs. Every distribution draws one value for each of the six CTs unless `shared`."""

    primary_a: Annotated[float, Plain("A", "rated primary current", 1.0, 1e5)]
    secondary_a: Annotated[float, Plain("A", "rated secondary current", 0.5, 10.0)] = 1.0
    turns_ratio_error_percent: Annotated[Distribution, Quantity(
        "%", "deviation of the turns ratio from the rated one", -20.0, 20.0, width="ct")] = number(0.0)
    knee_voltage_v: Annotated[Distribution, Quantity(
        "V", "knee-point voltage, RMS: 10 % more gives 50 % more exciting current", 0.0, above=True, width="ct",
        usual=(1.0, 1e6))]
    knee_current_a: Annotated[Distribution, Quantity(
        "A", "exciting current at the knee, RMS secondary; 0 for an ideal CT", 0.0, high=10.0, width="ct")]
    ankle_ratio: Annotated[Distribution, Quantity(
        "-", "exciting current at a tenth of the knee voltage over that at the knee", 0.0, 1.0, above=True,
        width="ct")] = number(0.2)
    winding_resistance_ohm: Annotated[Distribution, Quantity(
        "ohm", "secondary winding resistance, hot", 0.0, usual=(0.0, 1000.0), width="ct")]
    lead_resistance_ohm: Annotated[Distribution, Quantity(
        "ohm", "one-way lead, CT to the relay panel", 0.0, usual=(0.0, 1000.0), width="ct")] = number(0.0)
    remanence_percent: Annotated[Distribution, Quantity(
        "%", "flux left before the event, of the knee flux, signed", -100.0, 100.0, width="ct", varies="event",
    )] = number(0.0)
    remanence_bound_percent: Annotated[float, Plain(
        "%", "largest flux at which the core can rest, of the knee flux", 1.0, 95.0)] = 80.0
    saturation_exponent: Annotated[int, Plain(     # below 9 no curve meets the knee's definition at every bound
        "-", "odd power of the saturated branch", 9, 31)] = 15

    @field_validator("saturation_exponent")
    @classmethod
    def _odd(cls, value: int) -> int:
        if value % 2 == 0:
            raise ValueError(f"{value} is even; the excitation curve is odd in flux: use an odd power")
        return value

    @property
    def turns_ratio(self) -> float:
        return self.primary_a / self.secondary_a


_optional: dict[str, Any] = {
    name: (Optional[Annotated[field.annotation, *field.metadata]], None)  # noqa: UP045
    for name, field in CurrentTransformer.model_fields.items()
}
CtOverride: Any = create_model("CtOverride", __base__=Section, **_optional)
CtOverride.__doc__ = "What one end's CTs have otherwise than the defaults in [ct]."


class CtPlaces(CurrentTransformer):
    """The table [ct]: defaults for all six, and what the neutral end or the line end has otherwise."""

    neutral_end: CtOverride | None = None
    line_end: CtOverride | None = None

    def at(self, end: str) -> CurrentTransformer:
        """The CTs of "neutral_end" or "line_end" with the overrides applied."""
        override = getattr(self, end)
        values = {name: getattr(self, name) for name in CurrentTransformer.model_fields}
        if override is not None:
            values |= {name: getattr(override, name) for name in override.model_fields_set}
        return CurrentTransformer.model_construct(**values)
