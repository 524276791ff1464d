"""Results in plain words, for the command line."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from shadewright.clearance.check import ClearRange, Verdict
    from shadewright.design.fit import EstimateEffect, Fitting
    from shadewright.design.weigh import Weighing


def say(text: str) -> None:
    """One line on standard output."""
    typer.echo(text)


def say_fit(fitting: Fitting, let_in: list[tuple[str, float]], files: list[Path]) -> None:
    """A fitting: depths, losses, light, what limits it, estimates and notes."""
    shape = fitting.shape
    from shadewright.model.shape import MeshHood
    from shadewright.report import binding_runs

    assert not isinstance(shape, MeshHood)
    say(f"{fitting.hood.name}, a {fitting.hood.rim.shape} hood for {fitting.hood.made_for}")
    say(f"  deepest {shape.rim.deepest:.1f} mm, shallowest {shape.rim.shallowest:.1f} mm ahead of the seat")
    if fitting.worst is None:
        say(f"  clear at {_all(len(fitting.settings))}")
    else:
        say(f"  worst loss {fitting.worst.stops:.2f} stop at {fitting.worst.label}, {fitting.worst.where}")
    for label, share in let_in:
        say(f"  lets in {share:.1%} of the light from outside the frame at {label}")
    by_length = sorted(binding_runs(fitting), key=lambda run: run["from"] - run["to"])
    for run in sorted(by_length[:8], key=lambda run: float(run["from"])):
        say(f"  from {run['from']:.0f} to {run['to']:.0f} degrees limited by {run['by']}")
    for effect in fitting.effects:
        estimate = effect.estimate
        say(
            f"  ESTIMATE {estimate.field}: {estimate.low:.1f} to {estimate.high:.1f} {estimate.unit}, {estimate.reason}; "
            + _cost(effect)
        )
    for warning in fitting.warnings:
        say(f"  NOTE {warning}")
    if not files:
        say("  nothing was written: add --out FOLDER to keep the fitted hood")
    say_files(files)


def _cost(effect: EstimateEffect) -> str:
    if effect.deeper_anywhere < 0.05:
        return "it costs nothing here"
    return (
        f"measured, it could let the rim be deeper by up to {effect.deeper_at_shallowest:.1f} mm where the rim is shallowest, and "
        f"by up to {effect.deeper_anywhere:.1f} mm elsewhere"
    )


def _all(count: int) -> str:
    return "the one setting there is" if count == 1 else f"all {count} settings tried"


def say_files(files: list[Path]) -> None:
    """The files written."""
    for path in files:
        say(f"  wrote {path}")


def say_check(verdict: Verdict, hood: str, job_name: str, files: list[Path], estimates: list[dict[str, Any]]) -> None:
    """A verdict: whether it shows, where, and what stays clear."""
    showing = [s for s in verdict.settings if s.shows]
    if not verdict.shows:
        say(f"{hood}: clear on {job_name} at {_all(len(verdict.settings))}")
        say(f"  it could be {verdict.deeper:.2f} mm deeper, or turned {verdict.turn:.1f} degrees either way")
    else:
        say(f"{hood}: SHOWS on {job_name} at {len(showing)} of {len(verdict.settings)} settings tried")
        say(f"  worst {verdict.worst.stops:.2f} stop at {verdict.worst.label}, {verdict.worst.where}")
        if verdict.deeper > -1e6:
            say(f"  it is {-verdict.deeper:.2f} mm too deep to be clear")
        if verdict.passes:
            say(f"  within the allowance of {verdict.allowance:g} stop")
    say(f"  tightest at {verdict.tightest}")
    for entry in verdict.ranges:
        say("  " + _range_words(entry))
    for sentence in [*verdict.accessories, *verdict.warnings]:
        say(f"  {sentence}")
    say_estimates(estimates)
    say_files(files)


def say_estimates(estimates: list[dict[str, Any]]) -> None:
    """What was estimated and not measured."""
    for estimate in estimates:
        say(
            f"  ESTIMATE {estimate['field']}: {estimate['low']:.1f} to {estimate['high']:.1f} {estimate['unit']}, "
            f"{estimate['reason']}"
        )


def _range_words(entry: ClearRange) -> str:
    unit = f" {entry.unit}" if entry.unit else ""
    if entry.low is None:
        return f"shows at every {entry.quantity}"
    if entry.quantity == "f-number":
        ends = f"from f/{entry.low:.2g} to f/{entry.high:.3g}"
    else:
        far = "infinity" if entry.high == float("inf") else f"{entry.high:.4g}{unit}"
        ends = f"from {entry.low:.4g} to {far}"
    return f"clear over {entry.quantity}: {ends}" + (" (all of it)" if entry.whole else "")


def say_weigh(weighing: Weighing, files: list[Path]) -> None:
    """A weighing: the candidates, the choice and its reasons."""
    from shadewright.light.share import gain_stops

    say("hood        lets in  over no hood  depth    across    stops, of what a mask as deep could")
    for entry in weighing.candidates:
        efficiency = sum(light.efficiency_depth for light in entry.light) / len(entry.light)
        say(
            f"{entry.name:<11} {entry.let_in:6.1%}  {gain_stops(entry.let_in, 1.0):4.2f} stop     {entry.depth:5.1f} mm "
            f"{entry.across:6.1f} mm  {efficiency:.0%}"
        )
    for sentence in weighing.left_out:
        say(f"  left out: {sentence}")
    _say_stray(weighing)
    say(f"recommended: {weighing.choice}")
    for reason in weighing.reasons:
        say(f"  {reason}")
    if weighing.trials:
        say(f"finishes of the {weighing.choice} hood's inside   by way of the wall   reflectance to be expected")
        for trial in weighing.trials:
            own = "  (taken above)" if trial.finish == weighing.finish else ""
            span = f"{trial.low:.1%} to {trial.high:.1%}" if trial.low is not None and trial.high is not None else ""
            say(f"  {trial.finish:<28}          {trial.wall:7.2%}        {span}{own}")
    if any(entry.stray for entry in weighing.candidates):
        from shadewright.light.surroundings import LIMITS

        for sentence in LIMITS:
            say(f"  NOTE {sentence}")
    say_files(files)


def _say_stray(weighing: Weighing) -> None:
    """Light on the front glass from outside the frame in each of the surroundings."""
    if not any(entry.stray for entry in weighing.candidates):
        return
    setting = weighing.candidates[0].stray[0].setting
    inside = f", finished inside in {weighing.finish}" if weighing.finish else ", direct light alone"
    say(f"of the light on the open front glass from outside the frame, at {setting}{inside}:")
    say("surroundings   hood        direct   by the wall        drop in veiling glare")
    for index, first in enumerate(weighing.candidates[0].stray):
        for entry in weighing.candidates:
            light = entry.stray[index]
            wall = "" if light.wall is None else f"{light.wall:6.2%}"
            drop = "complete" if light.stops == float("inf") else f"{light.stops:.2f} +- {max(light.stops_error, 0.005):.2f} stop"
            say(f"{first.surroundings[:14]:<14} {entry.name:<11} {light.direct:6.1%}   {wall:<18} {drop}")
        for note in first.notes:
            say(f"  {note}")
