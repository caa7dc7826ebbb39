"""The queen and her successors: laying, cells, virgin, mating, and what goes wrong."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Queen: egg 3, larva 5.5, capped 7.5, emerges on day 16 (published table); matures 5 to 6 days,
# flies for 2 to 4 more; may be delayed up to four weeks by weather (Winston 1987).
CELL_CAPPED_D, EMERGES_D = 8.0, 16.0
RIPE_D, LAYS_AFTER_MATING_D, TOO_LATE_D = 6.0, 3.0, 30.0
EMERGENCY_D = 4.0  # age of the larva taken after a sudden loss: 3 to 4.5 days from the egg
MATING_C = 17.0  # [Cel] noon warmth for a mating flight; common practice, no source
LAYING_SHARE = 0.55  # of her days a queen lays in earnest; own choice
LAYING_WORKERS_AFTER_D = 25  # without brood; three to four weeks, from memory


@dataclass
class Queen:
    """State: laying, fading, cells, virgin, mated, drone layer, none, laying workers."""

    age_d: float
    state: str = "laying"
    cell_d: float = 0.0  # age of the oldest queen cell from the egg
    cells: int = 0
    hopeless_d: int = 0
    vigour: float = 1.0
    slim: float = 1.0  # laying cut before a swarm or by a treatment
    mates_badly: bool = False
    since_d: float = 0.0  # days in this state
    heir_d: float = 0.0  # age of a supersedure queen from the egg, 0 if there is none

    def eggs_a_day(self, best: float) -> float:
        """Eggs a day she would lay in the best week (ageing after DeGrandi-Hoffman 1989)."""
        if self.state in ("laying", "fading"):
            laid_d = LAYING_SHARE * self.age_d
            ageing = (1600 - 0.0027 * laid_d**2 + 0.395 * laid_d) / 1600
            if self.state == "fading":
                ageing *= 0.45
            return best * float(np.clip(ageing, 0.15, 1.02)) * self.vigour * self.slim
        if self.state == "drone layer":
            return best * 0.35
        if self.state == "laying workers":
            return 260.0
        return 0.0

    @property
    def is_laying(self) -> bool:
        """Whether worker eggs are laid."""
        return self.state in ("laying", "fading")

    @property
    def worker_share(self) -> float:
        """Share of eggs that become workers."""
        return 0.0 if self.state in ("drone layer", "laying workers") else 1.0

    def swarmed(self) -> None:
        """Leave the cells behind."""
        self.state, self.slim, self.age_d, self.heir_d = "cells", 1.0, 0.0, 0.0

    def lost(self, *, has_young_brood: bool) -> None:
        """Die or be crushed; the bees raise another if they have eggs or young larvae."""
        self.slim, self.heir_d = 1.0, 0.0
        if has_young_brood:
            self.state, self.cell_d, self.cells = "cells", EMERGENCY_D, 8
        else:
            self.state, self.cells = "none", 0

    def fails(self) -> bool:
        """Lay less from now on; false where no queen lays who could fail."""
        if self.is_laying:
            self.state = "fading"
        return self.is_laying

    def renewed(self) -> None:
        """Be replaced by a mated queen that the keeper brings; she lays after some days."""
        self.age_d, self.cells, self.cell_d, self.heir_d, self.slim = 60.0, 0, 0.0, 0.0, 1.0
        self.mates_badly = False
        self._become("mated", "")

    def pass_day(self, noon_c: float, fly_h: float, chance: np.random.Generator) -> str:
        """Pass a day; return what changed, if anything."""
        self.age_d += 1
        self.since_d += 1
        change = ""
        if self.state == "cells":
            self.cell_d += 1
            if self.cell_d >= EMERGES_D:
                self.age_d, self.cells, self.cell_d = 0.0, 0, 0.0
                change = self._become("virgin", "virgin emerged")
        elif self.state == "virgin":
            change = self._fly(noon_c, fly_h, chance)
        elif self.state == "mated" and self.since_d >= LAYS_AFTER_MATING_D:
            self.vigour = float(chance.normal(1.0, 0.05))
            change = self._become("laying", "new queen lays")
        elif self.state == "none":
            self.hopeless_d += 1
            if self.hopeless_d > LAYING_WORKERS_AFTER_D:
                change = self._become("laying workers", "laying workers")
        elif self.is_laying:
            change = self._supersede(noon_c, fly_h)
        return change

    def _supersede(self, noon_c: float, fly_h: float) -> str:
        """Let an heir grow beside the old queen, without a break in the laying."""
        if not self.cells:
            self.slim = min(self.slim + 0.04, 1.0)
        if not self.heir_d:
            return ""
        self.heir_d += 1
        ripe = self.heir_d > EMERGES_D + RIPE_D + LAYS_AFTER_MATING_D
        if ripe and noon_c > MATING_C and fly_h > 2.0:
            self.age_d, self.heir_d, self.vigour = 10.0, 0.0, 1.0
            return self._become("laying", "superseded")
        if self.heir_d > EMERGES_D + TOO_LATE_D:
            self.heir_d = 0.0
        return ""

    def _fly(self, noon_c: float, fly_h: float, chance: np.random.Generator) -> str:
        """Let a virgin mate on a warm day, badly or too late."""
        late = 24 if self.mates_badly else TOO_LATE_D
        if self.age_d > late:
            return self._become("drone layer", "drone layer")
        good = noon_c > MATING_C and fly_h > 2.0 and not self.mates_badly
        if self.age_d >= RIPE_D and good and chance.random() < 0.6:
            return self._become("mated", "mated")
        return ""

    def _become(self, state: str, change: str) -> str:
        self.state, self.since_d = state, 0.0
        return change
