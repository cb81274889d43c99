"""chip_sides.csv: a row per side of a chip, or landing on the donor, that was worked on."""

from __future__ import annotations

from analysis.records.dictionary.column import Choice, Column, Kind, KnownAt, Required, Role, Table

CHIP_ROLES = (
    Choice("processor", "the main processor"),
    Choice("memory", "the memory stacked on the processor; replaceable"),
    Choice("storage", "the storage chip that holds the data"),
)

BEFORE_TEST_HELP = (
    "The boot test this work came before: 1 for work before the first test. A blank stands for 1 where the job"
    " had at most one boot test; otherwise the work is undated, is kept out of the first-boot model and counted."
)

CLEAN_ALLOYS = (
    Choice("sn63pb37", "leaded, melts at 183 °C", "Sn63Pb37"),
    Choice("sac305", "lead-free, melts at 217–221 °C", "SAC305"),
    Choice("sn42bi58", "bismuth, melts at 138 °C", "Sn42Bi58"),
    Choice(
        "low_melt",
        "removal alloy that melts at 58–96 °C (bismuth; some hold cadmium or lead)",
        "low-melt removal alloy",
    ),
    Choice("sn42bi58_then_leaded", "bismuth first, then a fresh leaded final pass", "Sn42Bi58, then leaded"),
    Choice("low_melt_then_leaded", "removal alloy first, then a fresh leaded final pass", "low-melt, then leaded"),
    Choice("none", "flux and wick only"),
    Choice("other", "anything else"),
)

BALL_ALLOYS = (
    Choice("sn63pb37", "leaded, melts at 183 °C", "Sn63Pb37"),
    Choice("sac305", "lead-free, melts at 217–221 °C", "SAC305"),
    Choice("sn42bi58", "bismuth, melts at 138 °C", "Sn42Bi58"),
    Choice("other", "anything else"),
)

_GRADES = "0 sound, 1 oxidised or not wetting, 2 lifted but attached, 3 lost but unused, 4 lost and needed"
_NOT_SEEN = "Blank means not seen, which is missing, not worst."

CHIP_SIDES = Table(
    name="chip_sides",
    what="a side worked on: lower or upper face of a chip, or its landing on the donor",
    key=("job_id", "chip_role", "side", "before_test_no"),
    columns=(
        Column(
            "job_id",
            Kind.KEY,
            KnownAt.BENCH,
            Role.KEY,
            "The job.",
            "job",
            required=Required.ALWAYS,
            references="jobs.job_id",
            example="J-0001",
        ),
        Column(
            "chip_role",
            Kind.CHOICE,
            KnownAt.BENCH,
            Role.KEY,
            "Which chip.",
            "chip",
            choices=CHIP_ROLES,
            required=Required.ALWAYS,
            example="processor",
        ),
        Column(
            "chip_source",
            Kind.CHOICE,
            KnownAt.BENCH,
            Role.PREDICTOR,
            "Where the chip comes from. Processor and storage are paired by encryption: always the client's.",
            "chip source",
            choices=(
                Choice("client", "from the client's board"),
                Choice("donor", "from the donor"),
                Choice("new", "new part"),
            ),
            example="client",
        ),
        Column(
            "side",
            Kind.CHOICE,
            KnownAt.BENCH,
            Role.KEY,
            "Which side.",
            "side",
            choices=(
                Choice("lower", "faces the board"),
                Choice("upper", "the processor's face under the memory"),
                Choice("landing", "the donor's pads"),
            ),
            required=Required.ALWAYS,
            example="lower",
        ),
        Column(
            "before_test_no",
            Kind.INTEGER,
            KnownAt.BENCH,
            Role.KEY,
            BEFORE_TEST_HELP,
            "before boot test",
            low=1,
            high=30,
            default="1",
            example="1",
        ),
        Column(
            "clean_passes_n",
            Kind.INTEGER,
            KnownAt.BENCH,
            Role.PREDICTOR,
            "Cleaning passes: low-melt solder, flux and wick once over the side, counted.",
            "cleaning passes",
            unit="passes",
            low=0,
            high=8,
            example="2",
        ),
        Column(
            "pad_grade_found",
            Kind.INTEGER,
            KnownAt.BENCH,
            Role.PREDICTOR,
            f"Worst pad of the side as found: {_GRADES}. {_NOT_SEEN}",
            "worst pad grade found",
            low=0,
            high=4,
            example="0",
        ),
        Column(
            "pad_grade_left",
            Kind.INTEGER,
            KnownAt.BENCH,
            Role.PREDICTOR,
            f"Worst pad of the side when work on it ended: {_GRADES}. {_NOT_SEEN}",
            "worst pad grade left",
            low=0,
            high=4,
            example="0",
        ),
        Column(
            "pads_lost_n",
            Kind.INTEGER,
            KnownAt.BENCH,
            Role.PREDICTOR,
            "Pads lost on this side in all.",
            "pads lost",
            unit="pads",
            low=0,
            high=2000,
            example="0",
        ),
        Column(
            "pads_lost_at",
            Kind.CHOICE,
            KnownAt.BENCH,
            Role.PREDICTOR,
            "The step in which most of them were lost.",
            "pads lost at",
            choices=(
                Choice("found", "already gone when first seen", "found so"),
                Choice("removal", "lifting the chip"),
                Choice("cleaning", "cleaning passes"),
                Choice("residue", "taking off resin or old solder"),
                Choice("reball", "placing new balls"),
                Choice("install", "setting the chip on the donor"),
            ),
        ),
        Column(
            "blade_used",
            Kind.YES_NO,
            KnownAt.BENCH,
            Role.PREDICTOR,
            "Whether a blade touched the side.",
            "blade used",
            example="no",
        ),
        Column(
            "clean_alloy",
            Kind.CHOICE,
            KnownAt.BENCH,
            Role.PREDICTOR,
            "Solder used in the cleaning passes.",
            "cleaning alloy",
            choices=CLEAN_ALLOYS,
            example="sn63pb37",
        ),
        Column(
            "ball_alloy",
            Kind.CHOICE,
            KnownAt.BENCH,
            Role.PREDICTOR,
            "Solder of the new balls.",
            "ball alloy",
            choices=BALL_ALLOYS,
            example="sn63pb37",
        ),
        Column(
            "reball_tries_n",
            Kind.INTEGER,
            KnownAt.BENCH,
            Role.PREDICTOR,
            "Tries until all balls stood.",
            "reball tries",
            low=0,
            high=10,
            example="1",
        ),
        Column(
            "ball_reset",
            Kind.YES_NO,
            KnownAt.BENCH,
            Role.PREDICTOR,
            "Whether the finished balls were melted once more to level them.",
            "ball reset",
            example="yes",
        ),
    ),
)
