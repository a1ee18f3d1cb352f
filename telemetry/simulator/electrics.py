"""Motors and the battery that feeds them: the equations, stepped.

A motor with its controller is ``duty * V_bus = I R + k w`` (the winding's inductance is left out: its time
constant lies below the step). The controller passes power on without loss, so that the battery delivers
``duty * I``; the bus voltage of one instant then follows from all motors together in closed form.
"""

from collections.abc import Sequence

from telemetry.simulator.specification import BatterySpec, MotorSpec

__all__ = ["Battery", "Motor"]

_SECONDS_PER_HOUR = 3600.0
_COPPER_PER_K = 0.0039  # IEC 60028, rounded


class Motor:
    """A motor, its controller and the inertia on its shaft.

    ``wanted`` is the duty asked for; ``duty`` the one applied after current limiting. A controller asked
    for nothing shorts the winding (brakes), unless it ``coasts``. One that is ``unplugged`` draws nothing.
    ``live`` tells whether current can flow in this step. ``drag_nm_s`` is a drag that grows with the speed.
    ``joint`` is what a bad joint makes of its resistance, ``heat`` how warm its winding is.
    ``twins`` are motors on the same shaft, which this one turns along; ``told_duty`` is what its controller
    reports.
    """

    __slots__ = (
        "coasts",
        "constant",
        "current_a",
        "drag_nm_s",
        "duty",
        "duty_factor",
        "friction_nm",
        "gear",
        "heat",
        "inertia",
        "joint",
        "limit_a",
        "live",
        "regenerates",
        "resistance",
        "spec",
        "speed",
        "tells",
        "twins",
        "unplugged",
        "wanted",
    )

    def __init__(
        self,
        spec: MotorSpec,
        load_inertia_kg_m2: float = 0.0,
        *,
        coasts: bool = False,
        regenerates: bool = True,
    ) -> None:
        self.spec = spec
        self.resistance = spec.resistance_ohm
        self.constant = spec.constant_v_s
        self.friction_nm = spec.friction_nm
        self.inertia = spec.rotor_inertia_kg_m2 + load_inertia_kg_m2
        self.limit_a = spec.current_limit_a
        self.coasts = coasts
        self.regenerates = regenerates
        self.unplugged = False
        self.drag_nm_s = 0.0
        self.heat = 0.0
        self.joint = 1.0
        self.twins: list[Motor] = []
        self.gear = 1.0
        self.duty_factor = 1.0
        self.tells = True
        self.live = False
        self.wanted = 0.0
        self.duty = 0.0
        self.speed = 0.0
        self.current_a = 0.0

    def warm(self, span_s: float) -> None:
        """Heat or cool the winding for a while at the present current, and set its resistance."""
        spec = self.spec
        self.resistance = spec.resistance_ohm * self.joint
        if spec.winding_rise_k:
            target = (self.current_a / spec.continuous_current_a) ** 2
            slower = target < self.heat
            constant_s = spec.cooling_time_constant_s if slower else spec.heating_time_constant_s
            self.heat += (target - self.heat) * span_s / constant_s
            self.resistance *= 1.0 + _COPPER_PER_K * spec.winding_rise_k * self.heat

    @property
    def told_duty(self) -> float:
        """The duty that its controller reports."""
        return self.duty if self.tells else self.wanted / self.duty_factor

    def add_twin(self, twin: "Motor", gear: float) -> None:
        """Put another motor on this one's shaft."""
        twin.gear = gear
        self.twins.append(twin)
        self.inertia += twin.inertia * gear**2

    def lead(self) -> None:
        """Ask the twins for what this one is asked for."""
        for twin in self.twins:
            twin.wanted = self.wanted * twin.duty_factor

    def limit(self, bus_v: float) -> None:
        """Set the applied duty from the wanted one, within the controller's current limits.

        ``bus_v`` is the voltage of the last step, as in a real controller.
        """
        duty = self.wanted
        if duty == 0.0 and (self.coasts or self.speed == 0.0):
            self.live, self.duty = False, 0.0
            return
        self.live = not self.unplugged
        if self.live:
            back_v = self.constant * self.speed
            if self.limit_a is not None:
                reach_v = self.resistance * self.limit_a
                duty = min(max(duty, (back_v - reach_v) / bus_v), (back_v + reach_v) / bus_v)
            if duty > 0.0 and not self.regenerates:
                duty = max(duty, back_v / bus_v)
        self.duty = min(max(duty, -1.0), 1.0)

    def draw(self, bus_v: float) -> float:
        """Set the winding current from the bus voltage; return the current taken from the battery."""
        if not self.live:
            self.current_a = 0.0
            return 0.0
        self.current_a = (self.duty * bus_v - self.constant * self.speed) / self.resistance
        return self.duty * self.current_a

    def turn(self, step_s: float, load_nm: float = 0.0, dry_friction_nm: float = 0.0) -> None:
        """Advance the speed by one step.

        ``load_nm`` is a torque on the shaft with its sign (positive speeds it up); ``dry_friction_nm``
        adds to the motor's own and opposes motion, holding the shaft still while it can.
        """
        push_nm = self.constant * self.current_a + load_nm
        drag_nm = self.friction_nm + dry_friction_nm
        for twin in self.twins:
            push_nm += twin.constant * twin.current_a * twin.gear
            drag_nm += twin.friction_nm * twin.gear
        self._turn(step_s, push_nm, drag_nm)
        for twin in self.twins:
            twin.speed = self.speed * twin.gear

    def _turn(self, step_s: float, push_nm: float, drag_nm: float) -> None:
        speed = self.speed
        if speed == 0.0:
            if -drag_nm <= push_nm <= drag_nm:
                return
            drag_nm = drag_nm if push_nm > 0.0 else -drag_nm
        elif speed < 0.0:
            drag_nm = -drag_nm
        turned = speed + (push_nm - drag_nm) / self.inertia * step_s
        if self.drag_nm_s:
            turned /= 1.0 + self.drag_nm_s / self.inertia * step_s
        self.speed = 0.0 if speed * turned < 0.0 else turned


class Battery:
    """The supply: ``V = E - I R``, where E falls with the charge drawn."""

    def __init__(self, spec: BatterySpec) -> None:
        self.spec = spec
        self.resistance_ohm = spec.resistance_ohm
        self.charge_as = 0.0
        self.bus_v = spec.open_circuit_v
        self.current_a = 0.0

    @property
    def open_circuit_v(self) -> float:
        """Voltage without load at the present charge."""
        return self.spec.open_circuit_v - self.spec.sag_v_per_ah * self.charge_as / _SECONDS_PER_HOUR

    def supply(self, motors: Sequence[Motor], step_s: float) -> None:
        """Solve the bus voltage with all motors on it, and let each draw its current.

        With ``I = standby + sum(d (d V - k w) / R)`` put into ``V = E - I Rs`` the voltage is linear.
        """
        siemens = 0.0
        back_a = 0.0
        for motor in motors:
            motor.limit(self.bus_v)
            duty = motor.duty
            if duty != 0.0 and motor.live:
                per_ohm = duty / motor.resistance
                siemens += duty * per_ohm
                back_a += motor.constant * motor.speed * per_ohm
        source = self.resistance_ohm
        standby_a = self.spec.standby_a
        self.bus_v = (self.open_circuit_v - source * (standby_a - back_a)) / (1.0 + source * siemens)
        current_a = standby_a
        for motor in motors:
            current_a += motor.draw(self.bus_v)
        self.current_a = current_a
        self.charge_as += current_a * step_s
