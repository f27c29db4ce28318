"""Current transformers: what the study file says of them, completed from the name-plate or from
measured points."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any, Self

from numpy.typing import ArrayLike
from pydantic import (
    PrivateAttr,
    ValidationInfo,
    create_model,
    field_validator,
    model_validator,
)
from pydantic.functional_validators import ModelWrapValidatorHandler

from montecarlo.quantities import Array, Distribution, Plain, Quantity, Section, number, word
from montecarlo.quantities.reading import refusal
from montecarlo.relays.places import ENDS
from montecarlo.secondary.completion import completed, there
from montecarlo.secondary.measured import MISFIT_MAX_PERCENT, ExcitationPoints
from montecarlo.secondary.remanence import RemanenceModel, coefficients_of

CLASS_WORD = word(
    "accuracy class: 5P20, 10P10, 5PR20, PX, PXR, TPX, TPY, TPZ, or C400 (10 % at 20 times rated"
    " current); source of the knee where none is given, and of defaults of ratio error, ankle and"
    " remanence bound"
)
if TYPE_CHECKING:

    class _NamePlate(Section): ...

else:  # "class" can be a key and a field's name, but not stand in a class body
    _NamePlate = create_model(
        "_NamePlate", __base__=Section, **{"class": (Annotated[str | None, CLASS_WORD], None)}
    )

KNEE_VOLTAGE = Quantity(
    "V",
    "knee-point voltage, RMS: 10 % more gives 50 % more exciting current",
    0.0,
    above=True,
    width="ct",
    usual=(1.0, 1e6),
)
KNEE_CURRENT = Quantity(
    "A",
    "exciting current at the knee, RMS secondary; 0 for an ideal CT",
    0.0,
    high=10.0,
    width="ct",
)

PRIMARY = Plain("A", "rated primary current", 1.0, 1e5)
WINDING = Quantity("ohm", "secondary winding resistance, hot", 0.0, usual=(0.0, 1000.0), width="ct")


def _odd(value: int) -> int:
    if value % 2 == 0:
        raise ValueError(f"{value} is even; the excitation curve is odd in flux: use an odd power")
    return value


class CtData(_NamePlate):
    """One end's CTs. Every distribution draws one value for each of the six CTs unless `shared`.

    The excitation curve comes in exactly one of three ways: knee voltage and current; a class with
    its rated burden; measured points."""

    primary_a: Annotated[float, PRIMARY] | None = None
    secondary_a: Annotated[float, Plain("A", "rated secondary current", 0.5, 10.0)] = 1.0
    turns_ratio_error_percent: Annotated[
        Distribution,
        Quantity("%", "deviation of the turns ratio from the rated one", -20.0, 20.0, width="ct"),
    ] = number(0.0)
    rated_burden_va: (
        Annotated[
            float,
            Plain(
                "VA",
                "rated burden of the class, at rated secondary current",
                0.0,
                500.0,
                above=True,
            ),
        ]
        | None
    ) = None
    accuracy_limit_factor: (
        Annotated[
            float,
            Plain(
                "-",
                "TPX, TPY, TPZ: symmetrical short-circuit current factor K_ssc; other classes have"
                " theirs in their name",
                1.0,
                200.0,
            ),
        ]
        | None
    ) = None
    transient_factor: (
        Annotated[
            float, Plain("-", "TPX, TPY, TPZ: transient dimensioning factor K_td", 1.0, 100.0)
        ]
        | None
    ) = None
    excitation_points: Annotated[
        ExcitationPoints | None, word("measured points of the excitation curve, fitted")
    ] = None
    excitation_misfit_max_percent: (
        Annotated[
            float,
            Plain(
                "%",
                "largest RMS misfit of the fitted currents, points from half the knee voltage up"
                " counted three times; a single one of these may differ by 8/3 of it;"
                f" {MISFIT_MAX_PERCENT:g} unless given",
                0.0,
                100.0,
                above=True,
            ),
        ]
        | None
    ) = None
    knee_factor: (
        Annotated[
            Distribution,
            Quantity(
                "-",
                "knee voltage over the one of the class or the points; a distribution makes the"
                " CTs unlike",
                0.0,
                above=True,
                usual=(0.3, 10.0),
                width="ct",
            ),
        ]
        | None
    ) = None
    knee_voltage_v: Annotated[Distribution, KNEE_VOLTAGE] | None = None
    knee_current_a: Annotated[Distribution, KNEE_CURRENT] | None = None
    ankle_ratio: Annotated[
        Distribution,
        Quantity(
            "-",
            "exciting current at a tenth of the knee voltage over that at the knee",
            0.0,
            1.0,
            above=True,
            width="ct",
        ),
    ] = number(0.2)
    winding_resistance_ohm: Annotated[Distribution, WINDING] | None = None
    lead_resistance_ohm: Annotated[
        Distribution,
        Quantity(
            "ohm", "one-way lead, CT to the relay panel", 0.0, usual=(0.0, 1000.0), width="ct"
        ),
    ] = number(0.0)
    return_core_ohm: Annotated[
        Distribution,
        Quantity(
            "ohm",
            "four-wire leads: common return core of the three CTs of an end; 0: their star point"
            " is at the panel",
            0.0,
            usual=(0.0, 1000.0),
            width="ct",
        ),
    ] = number(0.0)
    ratio_matching: Annotated[
        float,
        Plain(
            "-",
            "factor on the secondary current, by an interposing CT or in the relay",
            0.01,
            100.0,
        ),
    ] = 1.0
    remanence_percent: Annotated[
        Distribution,
        Quantity(
            "%",
            "remanent flux before the event, of the knee flux, signed",
            -100.0,
            100.0,
            width="ct",
            varies="event",
        ),
    ] = number(0.0)
    remanence_bound_percent: Annotated[
        float, Plain("%", "largest flux at which the core can rest, of the knee flux", 1.0, 95.0)
    ] = 80.0
    saturation_exponent: Annotated[
        int,
        Plain(  # below 9 no curve meets the knee's definition at every bound
            "-", "odd power of the saturated branch", 9, 31
        ),
    ] = 15
    remanence_model: Annotated[
        RemanenceModel,
        word(
            "model of remanence, one for all CTs: stop_operators (hysteresis) or shifted_curve (a"
            " curve through the remanent flux, which never decays); remanence_percent stays within"
            " remanence_bound_percent in both"
        ),
    ] = "stop_operators"

    _odd_exponent = field_validator("saturation_exponent")(_odd)

    def curve(self, ankle: ArrayLike) -> Array:
        """a, b, c1, c2 of the excitation characteristic.

        Parameters
        ----------
        ankle : array_like, (...)
            RMS exciting current at a tenth of the knee voltage, of that at the knee.

        Returns
        -------
        ndarray, (4, ...)
            In knee units.
        """
        return coefficients_of(
            self.remanence_model, self.remanence_bound_percent, self.saturation_exponent, ankle
        )


class CurrentTransformer(CtData):
    """One end's CTs with all that they need, wherever it came from."""

    primary_a: Annotated[float, PRIMARY]
    winding_resistance_ohm: Annotated[Distribution, WINDING]
    knee_voltage_v: Annotated[Distribution, KNEE_VOLTAGE]
    knee_current_a: Annotated[Distribution, KNEE_CURRENT]

    @property
    def turns_ratio(self) -> float:
        """Rated primary over secondary current."""
        return self.primary_a / self.secondary_a

    @property
    def leg_ratio(self) -> float:
        """Primary current over what it drives through the relay's legs, matching included."""
        return self.turns_ratio / self.ratio_matching

    @property
    def seen_from_legs(self) -> Self:
        """The same through the ratio matching m, at the centre of each input: volts by 1/m, amperes
        by m, ohms by 1/m^2 (derived: an ideal transformer keeps the power)."""
        m = self.ratio_matching
        if m == 1:
            return self
        scales = {
            "knee_voltage_v": 1 / m,
            "knee_current_a": m,
            "winding_resistance_ohm": m**-2,
            "lead_resistance_ohm": m**-2,
            "return_core_ohm": m**-2,
        }
        seen = {key: number(getattr(self, key).centre() * scales[key]) for key in scales}
        return self.model_copy(update=seen)


_optional: dict[str, Any] = {
    name: (
        (
            Annotated[field.annotation, *field.metadata] | None
            if field.metadata
            else field.annotation
        ),
        None,
    )
    for name, field in CtData.model_fields.items()
    if name != "remanence_model"
}
CtOverride: Any = create_model(
    "CtOverride",
    __base__=Section,
    __validators__={"_odd": field_validator("saturation_exponent")(_odd)},
    **_optional,
)
CtOverride.__doc__ = "What differs at one end from the defaults in [ct]."


class CtPlaces(CtData):
    """The table [ct]: defaults for all CTs, and what those of one place have otherwise. The neutral
    conductor's CT and second cores are there when their table is, be it empty; what it leaves out
    has the spread of [ct], drawn anew. A key without a default may be left out of [ct] where the
    table of every place in use gives it."""

    neutral_end: Annotated[CtOverride | None, word("CTs of the neutral end, where they differ")] = (
        None
    )
    line_end: Annotated[CtOverride | None, word("CTs of the line end, where they differ")] = None
    neutral_conductor: Annotated[
        CtOverride | None,
        word("the neutral CT, between the neutral and its earthing; the table may be empty"),
    ] = None
    second_neutral_end: Annotated[
        CtOverride | None,
        word("second cores at the neutral end, for a further element; the table may be empty"),
    ] = None
    second_line_end: Annotated[
        CtOverride | None,
        word("second cores at the line end, for a further element; the table may be empty"),
    ] = None
    group_1: Annotated[
        CtOverride | None,
        word("CTs of the first group of branches, at the line end; the table may be empty"),
    ] = None
    group_2: Annotated[
        CtOverride | None,
        word("CTs of the second group of branches; the table may be empty"),
    ] = None
    core_balance: Annotated[
        CtOverride | None,
        word("one CT a phase around the leads of both groups; the table may be empty"),
    ] = None
    star_link: Annotated[
        CtOverride | None,
        word("CT between the star points of the two groups; the table may be empty"),
    ] = None

    _in_use: tuple[str, ...] = PrivateAttr(default=ENDS)

    @model_validator(mode="wrap")
    @classmethod
    def _complete(
        cls, data: Any, handler: ModelWrapValidatorHandler[Self], info: ValidationInfo
    ) -> Self:
        """The knee and the defaults that a class or measured points give stand in the fields, as if
        written there. `cts_in_use` of the context: places whose CTs a scheme uses; all that
        there are unless given."""
        given = handler(data)
        if isinstance(data, CtPlaces):
            return given
        in_use = (info.context or {}).get("cts_in_use") or there(given)
        whole, faults = completed(given, in_use)
        if faults:
            raise refusal(*faults)
        whole._in_use = in_use
        return whole

    def weakest(self, groups: Sequence[str]) -> CurrentTransformer:
        """The CTs with the lowest nominal knee voltage, seen from the legs.

        Parameters
        ----------
        groups : sequence of str
            Tables of [ct] to choose from.

        Returns
        -------
        CurrentTransformer
        """
        cts = [self.at(group).seen_from_legs for group in groups]
        return min(cts, key=lambda each: each.knee_voltage_v.centre())

    @property
    def there(self) -> tuple[str, ...]:
        """Places that have CTs: both ends, and those with a table."""
        return there(self)

    @property
    def groups(self) -> tuple[str, ...]:
        """Places whose CTs a scheme uses."""
        return self._in_use

    @property
    def stating(self) -> CurrentTransformer:
        """The CTs whose ratio states a setting in primary amperes: those of the line end where a
        scheme uses them, else the first in use."""
        return self.at("line_end" if "line_end" in self.groups else self.groups[0])

    def at(self, end: str) -> CurrentTransformer:
        """The CTs of one place, its own values in the place of the defaults, the knee voltage with
        the median of its factor in it.

        Parameters
        ----------
        end : str
            One of `GROUPS`.

        Returns
        -------
        CurrentTransformer
        """
        override = getattr(self, end)
        values = {name: getattr(self, name) for name in CtData.model_fields}
        if override is not None:
            values |= {name: getattr(override, name) for name in override.model_fields_set}
        factor = values["knee_factor"]
        if factor is not None:
            volts = values["knee_voltage_v"].centre() * factor.centre()
            values |= {"knee_voltage_v": number(volts), "knee_factor": None}
        return CurrentTransformer.model_construct(**values)
