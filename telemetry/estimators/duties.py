"""A motor's command as a duty: a share of the battery's voltage, whatever scale it was logged in."""

from __future__ import annotations

import numpy as np

from telemetry.log import FloatArray

__all__ = ["duty_of"]

_WHOLE, _PERCENT = 1.05, 105.0
_ABOVE_BATTERY = 1.15


def duty_of(
    name: str, command: FloatArray, unit: str | None, voltage_v: FloatArray
) -> tuple[FloatArray, tuple[str, ...]]:
    """The duty, shape (n,), and what to say where it was not logged as one.

    Volts, told by their unit or by going no higher than the battery, are divided by its voltage; what goes to
    a hundred is per cent; what goes beyond is no command and left aside (NaN). Up to 1 it is a duty.
    """
    peak = float(np.nanmax(np.abs(command), initial=0.0))
    if unit in ("V", "mV") or (unit is None and _WHOLE < peak <= _ABOVE_BATTERY * float(voltage_v.max())):
        share = np.clip(command / np.maximum(voltage_v, 1.0), -1.0, 1.0)
        return share, (
            f"The command of motor {name} is taken for volts, and as their share of the battery's.",
        )
    if peak <= _WHOLE or unit is not None:
        return command, ()
    if peak <= _PERCENT:
        return command / 100.0, (
            f"The command of motor {name} is taken for per cent: it goes to {peak:.0f}.",
        )
    return np.full(len(command), np.nan), (
        f"The command of motor {name} goes to {peak:.0f}, which is no duty: it is left aside.",
    )
