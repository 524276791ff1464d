"""What a weighed hood does in named surroundings, and what the finish of its inside is worth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from shadewright.light.finish import Finish
from shadewright.light.finishes import FINISHES, finish_named, finishes_for
from shadewright.light.scene import Scene, Vane, scene_of
from shadewright.light.share import LightMap
from shadewright.light.surroundings import Prepared, StrayLight
from shadewright.light.wall_light import Sky, wall_light
from shadewright.model.hood import Hood
from shadewright.model.named_surroundings import NAMED, USUAL
from shadewright.model.shape import HoodShape
from shadewright.model.surroundings import Surroundings
from shadewright.optics.beam import Beam

USUAL_FINISH = "matt black print, PLA"
"""The finish of a hood whose document names none."""
SAMPLES = 2048
"""Points of the hood for each wall light of a weighing."""
WEIGHED_SKY = Sky(24, 36)
"""Cells at which the wall light of a weighing is summed."""
EVEN = NAMED["even"]
"""The surroundings in which direct light is the let-in share."""


@dataclass(frozen=True)
class FinishTrial:
    """One finish on the inside of one hood: light in even surroundings first, then in those asked for.

    low and high: the range of the finish's hemispherical reflectance to be expected.
    """

    finish: str
    low: float | None
    high: float | None
    light: tuple[StrayLight, ...]

    @property
    def wall(self) -> float:
        """Wall light in even surroundings, a share of the light on the open glass."""
        return self.light[0].wall or 0.0


def finish_of(hood: Hood) -> Finish:
    """The finish of a hood's inside. Raises LightError for a name that neither the table nor the document holds."""
    return finish_named(hood.build.finish or USUAL_FINISH, finishes_for(hood))


def usual_surroundings() -> tuple[Surroundings, ...]:
    """Those that hoods are weighed in where none is asked for."""
    return tuple(NAMED[name] for name in USUAL)


@dataclass(frozen=True, eq=False)
class StrayBench:
    """A hood in even surroundings and in those given, with its own finish, ready for one finish after another."""

    scene: Scene
    prepared: Prepared
    finish: Finish
    samples: int

    @classmethod
    def of(
        cls, beam: Beam, shape: HoodShape, surroundings: Sequence[Surroundings], finish: Finish, *, light: LightMap,
        vanes: Sequence[Vane] = (), samples: int = SAMPLES,
    ) -> StrayBench:  # fmt: skip
        """Prepare a hood at one setting; light: its map of lit share there. Raises LightError."""
        scene = scene_of(beam, shape, vanes=tuple(vanes))
        prepared = Prepared.of(beam, shape, (EVEN, *surroundings), light=light, sky=WEIGHED_SKY)
        return cls(scene, prepared, finish, samples)

    def direct(self) -> tuple[StrayLight, ...]:
        """Direct light alone, in even surroundings first."""
        return self.prepared.stray_lights(None)

    def light(self, finish: Finish | None = None) -> tuple[StrayLight, ...]:
        """Direct and wall light with a finish, or the hood's own, in even surroundings first. Raises LightError."""
        coat = finish or self.finish
        return self.prepared.stray_lights(
            lambda towards: wall_light(self.scene, coat, directions=towards, samples=self.samples)
        )

    def trials(self, finishes: Sequence[Finish] = FINISHES) -> tuple[FinishTrial, ...]:
        """One finish after another, the darkest in even surroundings first. Raises LightError."""
        found = [FinishTrial(f.name, f.low, f.high, self.light(f)) for f in finishes]
        return tuple(sorted(found, key=lambda trial: trial.wall))


__all__ = ["USUAL_FINISH", "FinishTrial", "StrayBench", "finish_of", "usual_surroundings"]
