"""How hard each chain is pulled, by its motor's torque."""

from __future__ import annotations

import numpy as np

from telemetry.drivetrain import chain_load_share
from telemetry.log import FloatArray
from telemetry.motor_model import MotorModel
from telemetry.records.motors import MotorTrace
from telemetry.robot import Motor

__all__ = ["chain_shares"]


def chain_shares(trace: MotorTrace, motor: Motor) -> FloatArray | None:
    """Pull as a share of the breaking load at each sample, shape (n,), or None without chain or data sheet.

    From the steady torque kt·(I − I0), the reduction and the sprocket, without losses: while a motor gains
    speed a part of that stays in its own rotor, so that a start reads somewhat high.
    """
    model = MotorModel.from_motor(motor)
    if model is None or motor.chain is None:
        return None
    return np.asarray(chain_load_share(model.torque_nm(trace.current_a), motor.reduction, motor.chain))
