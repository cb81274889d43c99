"""technicians.csv: a row per technician (optional)."""

from __future__ import annotations

from analysis.records.dictionary.column import Choice, Column, Kind, KnownAt, Required, Role, Table

TECHNICIANS = Table(
    name="technicians",
    what="a technician, by pseudonym",
    key=("technician_id",),
    columns=(
        Column(
            "technician_id",
            Kind.KEY,
            KnownAt.ASSESSMENT,
            Role.KEY,
            "The pseudonym used in jobs.csv; never a name.",
            "technician",
            required=Required.ALWAYS,
            example="T1",
        ),
        Column(
            "bga_experience_band",
            Kind.CHOICE,
            KnownAt.ASSESSMENT,
            Role.KEY,
            "Years of work with ball-grid parts when the log begins.",
            "experience",
            choices=(
                Choice("under_1", "under 1 year"),
                Choice("1_to_3", "1 to 3 years"),
                Choice("3_to_10", "3 to 10 years"),
                Choice("over_10", "over 10 years"),
            ),
            example="3_to_10",
        ),
    ),
)
