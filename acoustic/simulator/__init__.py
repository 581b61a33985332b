"""A simulated spin: a crank turns, its bearing sounds, a room answers, a phone records.

For the demo recordings, the tests, and authors of detectors. Nothing that judges
a real recording imports this package. The rooms: `plan` (what is made, and
what is known of it), `kinematics` (crank angle),
`strikes` (when the bearing makes an event), `ringing` (what an event sounds
like), `room` (everything else that sounds), `phone` (what the microphone does
to it), `scene` (puts one recording together).

>>> from acoustic.dsp.geometry import BearingGeometry
>>> geometry = BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)
>>> spin = simulate(SpinPlan(geometry=geometry, defects=(("outer_raceway", -6.0),), seed=1))

`soundfile.write("spin.wav", spin.samples, spin.sample_rate_hz)` makes a file of it, and ``spin.marks_s`` are its
marks, for `acoustic check spin.wav --bearing 6805 --marks turns.csv`.
"""

from acoustic.simulator.plan import Spin, SpinPlan
from acoustic.simulator.scene import simulate

__all__ = ["Spin", "SpinPlan", "simulate"]
