"""presets.toml: the shop's own named settings of heat steps and cleaning, and what it proposes or asks besides."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from analysis.errors import LogError, SettingsError
from analysis.records.dictionary import BY_NAME
from analysis.records.entering.cells import AnswerError, Rules, near

FILE = "presets.toml"

# What a station is set to and a bench always does; never what is seen, counted or measured on one board.
PRESET_COLUMNS = {
    "heat_steps": (
        "chip_role",
        "step_type",
        "set_temp_c",
        "airflow_setting",
        "station_id",
        "step_s",
        "preheat_c",
    ),
    "chip_sides": ("chip_role", "side", "chip_source", "clean_alloy", "ball_alloy", "ball_reset"),
}
_NEEDED = {"heat_steps": ("chip_role", "step_type"), "chip_sides": ("chip_role", "side")}
# Facts of one board, such as its earlier rework, are never proposed: Enter would write them down unseen.
_PROPOSED = ("device_class", "technician_id", "fee_basis", "fee_amount", "donor_cost")
_KEYS = ("defaults", "also_ask", "preset")

Row = Mapping[str, str]


@dataclass(frozen=True)
class Preset:
    """Rows that one name stands for.

    Parameters
    ----------
    name : str
        The shop's own.
    heat_steps, chip_sides : tuple of mapping
        Cells of each row, as texts.
    """

    name: str
    heat_steps: tuple[Row, ...] = ()
    chip_sides: tuple[Row, ...] = ()


@dataclass(frozen=True)
class Presets:
    """What presets.toml holds.

    Parameters
    ----------
    presets : tuple of Preset
        In the order of the file.
    defaults : mapping of str to str
        Column of jobs.csv to the answer that is proposed.
    also_ask : tuple of str
        Columns of jobs.csv that are asked for besides the usual ones.
    """

    presets: tuple[Preset, ...] = ()
    defaults: Mapping[str, str] = field(default_factory=dict)
    also_ask: tuple[str, ...] = ()

    def named(self, name: str) -> Preset:
        """A preset by its name, in any case.

        Raises
        ------
        AnswerError
            If there is none, with those that look like it.
        """
        for preset in self.presets:
            if preset.name.casefold() == name.strip().casefold():
                return preset
        names = [preset.name for preset in self.presets]
        if not names:
            todo = "Make a file to fill with 'rework enter LOG --write-presets'."
            raise AnswerError("there are no presets.", todo=todo, where=FILE)
        hint = near(name, names) or names
        raise AnswerError(f"no preset is called '{name}'.", todo=f"Perhaps {' or '.join(hint)}?", where=FILE)


def _fault(found: str, rule: str = "", todo: str = "") -> SettingsError:
    return SettingsError(found, rule=rule, todo=todo, where=FILE)


def _only(given: Any, known: tuple[str, ...], what: str) -> dict[str, Any]:
    if not isinstance(given, dict):
        raise _fault(
            f"{what} is no table of keys.", todo=f"Write it as in the file of '--write-presets'. Keys: {known}."
        )
    for key in given:
        if key not in known:
            hint = f"Did you mean {' or '.join(n)}?" if (n := near(key, known)) else f"Known: {', '.join(known)}."
            reason = "what is seen, counted or measured on a board is never preset" if what.startswith("preset") else ""
            raise _fault(f"{what} has the key '{key}'.", rule=reason, todo=hint)
    return given


def _text(value: Any, table: str, name: str, rules: Rules, what: str) -> str:
    if isinstance(value, bool):
        value = "yes" if value else "no"
    if not isinstance(value, str | int | float):
        raise _fault(f"{what}: {name} is {value}.", rule=BY_NAME[table][name].rule)
    try:
        return rules.read(BY_NAME[table][name], str(value))
    except AnswerError as error:
        raise _fault(f"{what}: {error.found}", todo=error.todo) from None


def _rows(given: Any, table: str, what: str, rules: Rules) -> tuple[Row, ...]:
    if not isinstance(given, list):
        raise _fault(f"{what}: {table} is no list.", todo=f"Put [[preset.{table}]] over each row.")
    rows = []
    for number, row in enumerate(given, start=1):
        which = f"{what}, {table} row {number}"
        cells = {
            name: _text(value, table, name, rules, which)
            for name, value in _only(row, PRESET_COLUMNS[table], which).items()
        }
        blank = [name for name in _NEEDED[table] if not cells.get(name)]
        if blank:
            raise _fault(f"{which} has no {' and no '.join(blank)}.", todo="Add it.")
        rows.append(cells)
    return tuple(rows)


def _preset(given: Any, rules: Rules) -> Preset:
    name = given.get("name") if isinstance(given, dict) else None
    if not isinstance(name, str) or not name.strip() or "\n" in name:
        raise _fault("a [[preset]] has no name.", todo='Write name = "…" as its first line.')
    what = f"preset '{name}'"
    _only(given, ("name", *PRESET_COLUMNS), what)
    rows = {table: _rows(given.get(table, []), table, what, rules) for table in PRESET_COLUMNS}
    return Preset(name.strip(), **rows)


def read_presets(folder: Path, rules: Rules) -> Presets:
    """Read presets.toml of a log; nothing is preset where there is none.

    Raises
    ------
    SettingsError
        If it is not TOML, or a key or value cannot be used.
    """
    path = folder / FILE
    if not path.is_file():
        return Presets()
    try:
        given = _only(tomllib.loads(path.read_bytes().decode("utf-8-sig")), _KEYS, "the file")
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise _fault(f"cannot be read: {error}.", rule="lines of the form key = value", todo="Mend the line.") from None
    defaults = _only(given.get("defaults", {}), _PROPOSED, "[defaults]")
    also = given.get("also_ask", [])
    strange = [name for name in also if name not in BY_NAME["jobs"].by_name] if isinstance(also, list) else [also]
    if strange:
        raise _fault(f"also_ask names {strange[0]!r}.", rule="a list of columns of jobs.csv")
    listed = given.get("preset", [])
    presets = tuple(_preset(one, rules) for one in (listed if isinstance(listed, list) else [listed]))
    names = [preset.name.casefold() for preset in presets]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise _fault(f"two presets are called '{twice[0]}'.", todo="Rename one of them.")
    texts = {name: _text(value, "jobs", name, rules, "[defaults]") for name, value in defaults.items()}
    return Presets(presets, texts, tuple(also))


def _template_step(chip: str, step: str, temp: int, seconds: int, preheat: int = 150) -> str:
    return (
        f'#[[preset.heat_steps]]\n#chip_role = "{chip}"\n#step_type = "{step}"\n#set_temp_c = {temp}\n'
        f'#airflow_setting = 40\n#station_id = "S1"\n#step_s = {seconds}\n#preheat_c = {preheat}\n'
    )


def _template_side(chip: str, side: str, more: str) -> str:
    return f'#[[preset.chip_sides]]\n#chip_role = "{chip}"\n#side = "{side}"\n{more}'


_WARNING = "# example, not a recommendation; set-points of one invented station\n"


def template() -> str:
    """Text of a commented presets.toml: nothing holds until the # is taken away and the values are the shop's own."""
    leaded = '#clean_alloy = "sn63pb37"\n#ball_alloy = "sn63pb37"\n#ball_reset = true\n'
    return "\n".join(
        [
            "# Presets of this bench for 'rework enter'. Take the # at the start of a line away to make it hold,\n"
            "# and put in your own values: every value in this file is invented.\n"
            "# Heat steps from a preset are marked entry_kind = preset until you change one of their values;\n"
            "# unchanged presets say nothing about temperature and are left out of temperature effects. What is seen,\n"
            "# counted or measured (pad grades, passes, pads lost, peaks) is asked at each job and never preset.\n",
            "# Columns of jobs.csv to be asked for besides the usual ones.\n"
            '#also_ask = ["second_damage", "fee_basis", "fee_amount"]\n',
            f"# Answers proposed in brackets. Possible: {', '.join(_PROPOSED)}.\n"
            '#[defaults]\n#device_class = "phone"\n#technician_id = "T1"\n',
            f'{_WARNING}#[[preset]]\n#name = "processor, whole move"\n',
            _template_side("processor", "lower", leaded),
            _template_side("processor", "upper", '#clean_alloy = "low_melt_then_leaded"\n'),
            _template_side("processor", "landing", '#clean_alloy = "sn63pb37"\n'),
            *(_template_step("processor", *step) for step in (("removal", 350, 80), ("reball", 300, 40))),
            _template_step("processor", "install", 330, 70),
            f'{_WARNING}#[[preset]]\n#name = "storage, whole move"\n',
            _template_side("storage", "lower", leaded),
            *(_template_step("storage", *step) for step in (("removal", 340, 60), ("install", 320, 60))),
            f'{_WARNING}#[[preset]]\n#name = "memory, new one on top"\n',
            _template_side("memory", "lower", '#chip_source = "new"\n'),
            _template_step("memory", "install", 320, 50),
        ]
    )


def write_template(folder: Path) -> Path:
    """Write presets.toml, all of it commented out.

    Raises
    ------
    LogError
        If there is one already or it cannot be written.
    """
    path = folder / FILE
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(template())
    except FileExistsError:
        raise LogError(f"{path} is there already.", rule="Nothing is overwritten.") from None
    except OSError as error:
        raise LogError(f"{path} cannot be written: {error.strerror}.") from None
    return path
