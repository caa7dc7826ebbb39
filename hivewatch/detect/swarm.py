"""Has a swarm left: `swarm`, with what it weighed and how many bees went.

A swarm takes 0.8 to 4 kg out of the entrance within minutes, by day, and nothing is lifted off the
scale meanwhile. A counter that saw the bees go settles it within ten minutes; without one the watch
waits until a visit would be over, and looks at the nest, which warms up before a swarm leaves. Left
to others: what a counter did not see go (frames taken out, a lid blown off), and the slow losses of
the morning and of drying lids.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.steps import Step, moves_of, steps_of
from hivewatch.signals.sun import is_light
from hivewatch.signals.window import Floats, HiveWindow, Series, usual_step_s

LEAST_KG, MOST_KG = 0.8, 4.5  # [kg] common practice, no source: casts to the heaviest prime swarms
LEAST_SEEN_KG = 0.45  # [kg] own choice: the lightest casts, when counter or nest speak for one
CLEAR_SPREADS = 6.0  # own choice: the same seen by the step's own error, where a counter speaks
# Own choice: so long away from a loss its levels are read, from so much time, or from so many
# readings where they are further apart.
EDGE_S, SIDE_S, SIDE = 300, 900, 3
# Own choice: share of the loss that may go on before and after it; foragers that go out again after
# a shower leave a slope and no step.
SLOPE = 0.3
