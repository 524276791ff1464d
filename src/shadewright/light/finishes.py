"""A small table of named finishes for hood surfaces, with what is known of their hemispherical reflectance.

Whole reflectances have a source or are from memory; how they are shared between the Lambertian part, the lobe and the
mirror part is an estimate throughout, made to match the looks: a smooth skin of refractive index 1.5 mirrors 4.0 % at
normal incidence and nearly all at grazing. Use the range, not the middle, before trusting a comparison.
"""

from __future__ import annotations

from shadewright.errors import LightError
from shadewright.light.finish import Finish, Harvey, fresnel
from shadewright.model.hood import Hood, OwnFinish

_MEMORY = "from memory"

FINISHES: tuple[Finish, ...] = (
    Finish(
        "gloss black plastic", albedo=0.004, lobe=Harvey(0.35, 0.06, -2.5), index=1.5, gloss=0.95, low=0.04, high=0.06,
        source="mirror part from Fresnel's equations at index 1.5; the rest " + _MEMORY,
    ),
    Finish(
        "satin black plastic", albedo=0.012, lobe=Harvey(0.125, 0.15, -3.0), index=1.5, gloss=0.5, roughness=0.06, low=0.035,
        high=0.06, source=_MEMORY,
    ),
    Finish(
        "matt black paint", albedo=0.035, lobe=Harvey(0.05, 0.25, -3.0), index=1.5, gloss=0.6, roughness=0.3, low=0.03,
        high=0.06,
        source="3.5 % for a black paint made for instruments: J. Cartwright, Physics World, November 2015; 4 to 6 %: S. M. "
        "Pompea and R. P. Breault, Handbook of Optics, vol. II, ch. 37 (number from memory)",
    ),
    Finish(
        "ordinary black paint", albedo=0.05, lobe=Harvey(0.1, 0.2, -3.0), index=1.5, gloss=0.6, roughness=0.12, low=0.05,
        high=0.10, source="5 to 10 %: a national laboratory, quoted at second hand",
    ),
    Finish(
        "black anodise", albedo=0.045, lobe=Harvey(0.25, 0.12, -2.5), index=1.6, gloss=0.4, roughness=0.15, low=0.03,
        high=0.10, source="J. L. Marshall et al., Proc. SPIE 9147 (2014), numbers from memory; far more beyond 750 nm",
    ),
    Finish("flocked paper", albedo=0.015, low=0.01, high=0.03, source=_MEMORY),
    Finish("black velvet", albedo=0.008, low=0.004, high=0.015, source=_MEMORY),
    Finish(
        "absorbing acrylic paint", albedo=0.025, low=0.01, high=0.03,
        source="a maker claims up to 99 % absorbed; 2 to 3 % measured, from memory",
    ),
    Finish(
        "matt black print, PLA", albedo=0.045, lobe=Harvey(0.075, 0.2, -3.0), index=1.46, gloss=0.4, roughness=0.12,
        low=0.04, high=0.08, source=_MEMORY,
    ),
    Finish(
        "black print, PETG", albedo=0.03, lobe=Harvey(0.21, 0.12, -2.8), index=1.57, gloss=0.6, roughness=0.05, low=0.04,
        high=0.08, source=_MEMORY,
    ),
    Finish("white card", albedo=0.85, low=0.75, high=0.9, source=_MEMORY),
)  # fmt: skip
"""From the shiniest to the blackest, with a white one to show by contrast what blackening is worth."""


def finish_named(name: str, known: tuple[Finish, ...] = FINISHES) -> Finish:
    """The finish of a name among those known. Raises LightError."""
    for finish in known:
        if finish.name == name:
            return finish
    raise LightError(
        f'finish "{name}": is not in the table; choose one of: {", ".join(f.name for f in known)}; or describe your own in the '
        "hood document under [[finish]]."
    )


def finishes_for(hood: Hood) -> tuple[Finish, ...]:
    """The hood document's own finishes, then those of the table that it does not name anew."""
    own = tuple(measured(part) for part in hood.finish)
    names = {finish.name for finish in own}
    return own + tuple(finish for finish in FINISHES if finish.name not in names)


def measured(part: OwnFinish) -> Finish:
    """A finish that sends back as much straight on as was measured: a mirror share by Fresnel's law, the rest Lambertian."""
    gloss = part.mirror / float(fresnel(1.0, part.index)) if part.mirror > 0 else 0.0
    index = part.index if part.mirror > 0 else None
    full = Finish(part.name, albedo=1.0, index=index, gloss=gloss)
    # What is scattered straight on is proportional to the albedo, less what the skin holds back on the way out.
    albedo = (part.reflectance - part.mirror) / (full.reflectance() - part.mirror)
    return Finish(
        part.name, albedo=min(albedo, 1.0), index=index, gloss=gloss,
        low=part.reflectance if part.low is None else part.low,
        high=part.reflectance if part.high is None else part.high, source=part.source,
    )  # fmt: skip
