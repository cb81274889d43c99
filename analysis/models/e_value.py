"""How strong an unrecorded common cause would have to be to explain a risk ratio away.

Source: VanderWeele and Ding, Annals of Internal Medicine 167 (2017) 268–274.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.errors import ModelError


@dataclass(frozen=True)
class EValue:
    """E-values of a risk ratio.

    Parameters
    ----------
    estimate : float
        Risk ratio that an unrecorded cause would need, with the choice and with the outcome, to move the estimate
        to no effect.
    interval : float
        The same for the end of the interval nearer to no effect; 1 when the interval holds no effect.
    """

    estimate: float
    interval: float


def _one(ratio: float) -> float:
    larger = max(ratio, 1 / ratio)
    return larger + float(np.sqrt(larger * (larger - 1)))


def e_value(ratio: float, low: float, high: float) -> EValue:
    """E-value of a risk ratio and of its interval.

    Raises
    ------
    ModelError
        If the ratio or an end of the interval is not a positive number, or they are out of order.
    """
    if not 0 < low <= ratio <= high < np.inf:
        raise ModelError(f"A risk ratio of {ratio} with the interval {low} to {high} has no E-value.")
    near = low if ratio > 1 else high
    return EValue(_one(ratio), 1.0 if low <= 1 <= high else _one(near))
