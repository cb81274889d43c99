"""The planted truth: every coefficient of the chance that boot test 1 succeeds, on the log-odds scale."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np
from scipy.stats import norm

BAD_LOT = "LOT-19"
FAMILIES_N, TECHNICIANS_N = 12, 5


def _letters(place: int) -> str:
    """Letters in the order A to Z, AA, AB and so on."""
    return (_letters(place // 26 - 1) if place >= 26 else "") + "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[place % 26]


def family_effects(n: int = FAMILIES_N) -> dict[str, float]:
    """Effects of board families: the quantiles of a normal with SD 0.35, in a fixed shuffled order."""
    quantiles = 0.35 * norm.ppf((np.arange(n) + 0.5) / n)
    usual = [5, 9, 2, 7, 0, 11, 4, 8, 1, 10, 3, 6]
    order = usual if n == len(usual) else np.random.default_rng(n).permutation(n).tolist()
    return {f"FAM-{_letters(k)}": round(float(quantiles[i]), 4) for k, i in enumerate(order)}


def technician_effects(n: int = TECHNICIANS_N) -> dict[str, float]:
    """Effects of technicians: T2 is the best, however many there are."""
    usual = [0.1, 0.6, -0.1, -0.3, 0.15]
    return {f"T{k + 1}": usual[k] if k < len(usual) else usual[2 + k % 3] for k in range(n)}


@dataclass(frozen=True)
class Truth:
    """Log-odds coefficients of first-boot success; a key names the feature it belongs to.

    The best install set temperature is ``best_install_c`` as shown by station S1; going 25 °C off costs
    ``temperature_loss_at_25`` in log odds, the loss growing with the square of the distance. Learning is linear in
    a technician's earlier jobs of this log, up to ``learning_ends_at_jobs``.
    """

    intercept: float = 3.0
    intake_damage: dict[str, float] = field(
        default_factory=lambda: {
            "drop": 0.0,
            "liquid": -0.55,
            "bend_or_snap": -0.8,
            "power_fault": -0.35,
            "heat": -0.95,
            "none_seen": 0.05,
        }
    )
    second_damage_seen: float = -0.4
    device_age_years: float = -0.06
    prior_rework_elsewhere: float = -0.7
    underfill: dict[str, float] = field(default_factory=lambda: {"none": 0.0, "partial": -0.2, "full": -0.6})
    tablet: float = 0.1
    board_family: dict[str, float] = field(default_factory=family_effects)
    donor_age_years: float = -0.12
    known_good: dict[str, float] = field(
        default_factory=lambda: {"full_boot": 0.0, "current_only": -0.4, "untested": -0.8}
    )
    prior_installs_n: float = -0.25
    clean_passes_per_side: float = -0.1
    pad_grade_found_worst: float = -0.25
    pads_lost_band: dict[str, float] = field(default_factory=lambda: {"none": 0.0, "1 to 3": -0.7, "4 or more": -1.5})
    best_install_c: float = 330.0
    temperature_loss_at_25: float = 0.35
    install_preheat: float = 0.7
    reball_tries_n: float = -0.1
    blade_used: float = 0.0
    ball_alloy_sac305: float = 0.0
    ball_reset: float = 0.0
    technician: dict[str, float] = field(default_factory=technician_effects)
    learning_per_100_jobs: float = 0.1
    learning_ends_at_jobs: float = 200.0
    bad_lot_log_odds: float = -2.0794
    bad_lot: str = BAD_LOT
    bad_lot_received_from: str = "2023-11-10"
    bad_lot_received_to: str = "2024-03-10"
    bad_lot_share: float = 0.5
    station_2_offset_c: float = 10.0
    guess_calibration_slope: float = 0.6
    guess_optimism: float = 0.3

    @classmethod
    def sized(cls, technicians: int, families: int) -> Truth:
        """The planted truth for a workshop with so many technicians and board families."""
        return cls(board_family=family_effects(families), technician=technician_effects(technicians))

    def as_dict(self) -> dict[str, Any]:
        """The truth as plain data."""
        return asdict(self)

    def techniques(self) -> dict[str, str]:
        """What each technique is planted to be."""
        return {
            "install_preheat": "true effect",
            "ball_alloy_sac305": "no effect; confounded: used by the technician with the hardest boards, on bad boards",
            "ball_reset": "no effect; not confounded",
            "blade_used": "no direct effect; raises the number of pads lost",
        }
