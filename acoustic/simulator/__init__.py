"""A simulated spin: a crank turns, its bearing sounds, a room answers, a phone records.

For the demo recordings, the tests, and authors of detectors. Nothing that judges
a real recording imports this package. The rooms: `plan` (what is made, and
what is known of it), `kinematics` (crank angle),
`strikes` (when the bearing makes an event), `ringing` (what an event sounds
like), `room` (everything else that sounds), `phone` (what the microphone does
to it), `scene` (puts one recording together).
"""

from acoustic.simulator.plan import Spin, SpinPlan
from acoustic.simulator.scene import simulate

__all__ = ["Spin", "SpinPlan", "simulate"]
