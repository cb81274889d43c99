"""donors.csv: a row per donor board."""

from __future__ import annotations

from analysis.records.dictionary.column import Choice, Column, Kind, KnownAt, Required, Role, Table

DONORS = Table(
    name="donors",
    what="a donor board",
    key=("donor_id",),
    columns=(
        Column(
            "donor_id",
            Kind.KEY,
            KnownAt.ASSESSMENT,
            Role.KEY,
            "Your own code for the donor.",
            "donor",
            required=Required.ALWAYS,
            example="D-0001",
        ),
        Column(
            "donor_age_years",
            Kind.NUMBER,
            KnownAt.ASSESSMENT,
            Role.PREDICTOR,
            "Age of the donor board when used. If not known, give a band or the model year instead.",
            "donor age",
            unit="years",
            low=0,
            high=15,
            example="2",
        ),
        Column(
            "donor_age_band",
            Kind.CHOICE,
            KnownAt.ASSESSMENT,
            Role.PREDICTOR,
            "Age band, where the age in years is not known; its middle is used.",
            "donor age band",
            choices=(
                Choice("0_to_1", "up to 1 year"),
                Choice("1_to_3", "1 to 3 years"),
                Choice("3_to_6", "3 to 6 years"),
                Choice("over_6", "over 6 years"),
            ),
        ),
        Column(
            "donor_model_year",
            Kind.INTEGER,
            KnownAt.ASSESSMENT,
            Role.PREDICTOR,
            "Year the donor's model came out, where its age is not known.",
            "donor model year",
            low=2000,
            high=2100,
        ),
        Column(
            "known_good",
            Kind.CHOICE,
            KnownAt.ASSESSMENT,
            Role.PREDICTOR,
            "How the donor was tested before use.",
            "donor test",
            choices=(
                Choice("full_boot", "booted fully before its chips were taken off"),
                Choice("current_only", "only its current draw was looked at"),
                Choice("untested", "not tested", "none"),
            ),
            example="full_boot",
        ),
        Column(
            "prior_installs_n",
            Kind.INTEGER,
            KnownAt.ASSESSMENT,
            Role.PREDICTOR,
            "How often chips were already set on this donor.",
            "earlier installs on the donor",
            low=0,
            high=50,
            example="0",
        ),
        Column(
            "lot",
            Kind.KEY,
            KnownAt.ASSESSMENT,
            Role.KEY,
            "Your own code for the purchase it came with.",
            "donor lot",
            example="LOT-07",
        ),
    ),
)

# What is asked of a donor: an age band and a model year stand in for an age in logs that have no better.
_STAND_IN = ("donor_age_band", "donor_model_year")
DONOR_FACTS: tuple[Column, ...] = tuple(
    column for column in DONORS.columns if column.role is Role.PREDICTOR and column.name not in _STAND_IN
)
