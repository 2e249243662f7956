"""What the record of test bends says, die by die, and which test bend to make next."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import degrees, radians
from pathlib import Path

from railmodel.bending.bend_log import BendLog, read_bend_log
from railmodel.bending.elastic import lying
from railmodel.bending.names import key
from railmodel.bending.next_bend import NextBend, next_test_bend
from railmodel.bending.springback import Springback, fit_curve
from railmodel.bending.springback_fit import Calibration, calibrate, springback_for
from railmodel.bending.tube_use import TubeUse, tube_use_for
from railmodel.errors import InputError
from railmodel.findings import Finding
from railmodel.geometry.section import Section
from railmodel.job.shop import Die, Shop


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibrated:
    """One die and tube of the record.

    Args:
        fit: its springback.
        tube_use: its tube use; None where the shop lists no such die.
        next: the test bend to make next.
        findings: what is to be said about both fits.
    """

    fit: Calibration
    tube_use: TubeUse | None
    next: NextBend
    findings: tuple[Finding, ...]


def record_of(shop: Shop, path: Path) -> Path:
    """The shop's record of test bends.

    Raises:
        InputError: the shop names none.
    """
    if shop.test_bends is None:
        raise InputError(f"{path}: names no record of test bends; add a line such as test_bends: test_bends.csv")
    return path.parent / shop.test_bends


def calibrated(shop: Shop, log: BendLog) -> tuple[Calibrated, ...]:
    """Every die and tube of a record, fitted."""
    found = []
    for fit in calibrate(log.bends):
        die = die_of(shop, fit.die)
        use, more = _tube_use(log, fit, die)
        tested = [bend.measured_angle for bend in fit.bends]
        limit = die.max_angle if die is not None and die.max_angle else radians(90)
        after = next_test_bend(tested, scatter=fit.springback.scatter, max_angle=min(limit, radians(90)))
        findings = (*fit.findings, *more, *_unknown(fit, die, shop))
        found.append(Calibrated(fit=fit, tube_use=use, next=after, findings=findings))
    return tuple(found)


def die_of(shop: Shop, name: str) -> Die | None:
    """A die by the name a record gives it, whatever its case and spaces."""
    return next((die for own, die in shop.dies.items() if key(own) == key(name)), None)


def _tube_use(log: BendLog, fit: Calibration, die: Die | None) -> tuple[TubeUse | None, tuple[Finding, ...]]:
    if die is None:
        return None, ()
    wall = min(die.height, die.width) / 10  # the wall does not matter for how deep the tube is
    depth = lying(Section(height=die.height, width=die.width, wall=wall, corner=0.0), die.way).height
    return tube_use_for(log.bends, die=fit.die, tube=fit.tube, radius=die.radius, depth=depth)


def _unknown(fit: Calibration, die: Die | None, shop: Shop) -> tuple[Finding, ...]:
    if die is not None:
        return ()
    says = f'the record has test bends of die "{fit.die}", which the shop file does not list ({", ".join(shop.dies)})'
    return (Finding(rule="test bend", level="warn", says=says),)


def untested(shop: Shop, found: tuple[Calibrated, ...]) -> list[str]:
    """Names of dies without a test bend."""
    tested = {key(item.fit.die) for item in found}
    return [name for name in shop.dies if key(name) not in tested]


def heats(fit: Calibration) -> tuple[tuple[str, Springback], ...]:
    """The heats with enough test bends, each fitted by itself; none where the record holds one heat only."""
    known = {key(bend.heat) for bend in fit.bends}
    if len(known) < 2:
        return ()
    return tuple((heat, springback_for(fit.bends, die=fit.die, tube=fit.tube, heat=heat)[0]) for heat in fit.heats)


def calibration_lines(shop: Shop, log: BendLog) -> Iterator[str]:
    """The fits in words."""
    found = calibrated(shop, log)
    for item in found:
        fit = item.fit.springback
        yield f"die {item.fit.die}, tube {item.fit.tube}: {fit.source}"
        yield (
            f"  springback = {degrees(fit.fixed):.2f} degrees (standard error {degrees(fit.fixed_error):.2f}) "
            f"{'-' if fit.proportional < 0 else '+'} {abs(fit.proportional):.4f} "
            f"(standard error {fit.proportional_error:.4f}) x finished angle"
        )
        if fit.residual is not None:
            yield f"  one bend scatters {degrees(fit.residual):.2f} degrees about that (standard deviation)"
        if fit.angles is not None:
            yield f"  tested from {degrees(fit.angles[0]):.1f} to {degrees(fit.angles[1]):.1f} degrees finished"
        yield "  finished  set    springback  off the line"
        for bend in sorted(item.fit.bends, key=lambda bend: bend.measured_angle):
            off = bend.set_angle - fit.set_angle(bend.measured_angle)
            yield (
                f"  {degrees(bend.measured_angle):8.1f}  {degrees(bend.set_angle):5.1f}  "
                f"{degrees(bend.springback):10.2f}  {degrees(off):+12.2f}   line {bend.line}"
            )
        for heat, of_heat in heats(item.fit):
            yield (
                f"  heat {heat} by itself: {degrees(of_heat.fixed):.2f} degrees "
                f"{'-' if of_heat.proportional < 0 else '+'} {abs(of_heat.proportional):.4f} x finished angle "
                f"({of_heat.source})"
            )
        if item.tube_use is not None:
            use = item.tube_use
            yield f"  tube use = {1 - use.stretch:.4f} x finished arc (standard error {use.error:.4f}; {use.source})"
        yield f"  {item.next.says}"
        for finding in item.findings:
            yield f"  {finding.level.upper()}: {finding.says}"
    for name in untested(shop, found):
        yield f"die {name}: no test bend yet; {next_test_bend([]).says}"
    for finding in log.findings:
        yield f"{finding.level.upper()}: {finding.says}"


def calibration_answer(shop: Shop, log: BendLog) -> dict[str, object]:
    """The fits as plain data, angles in degrees."""
    found = calibrated(shop, log)
    return {
        "shop": shop.shop,
        "fits": [
            {
                "die": item.fit.die,
                "tube": item.fit.tube,
                "source": item.fit.springback.source,
                "tests": item.fit.springback.count,
                "fixed": degrees(item.fit.springback.fixed),
                "fixed_error": degrees(item.fit.springback.fixed_error),
                "proportional": item.fit.springback.proportional,
                "proportional_error": item.fit.springback.proportional_error,
                "scatter": degrees(item.fit.springback.scatter),
                "tested": None if item.fit.springback.angles is None else [*map(degrees, item.fit.springback.angles)],
                "heats": [
                    {
                        "heat": heat,
                        "tests": of_heat.count,
                        "fixed": degrees(of_heat.fixed),
                        "proportional": of_heat.proportional,
                    }
                    for heat, of_heat in heats(item.fit)
                ],
                "residuals": [
                    {
                        "line": bend.line,
                        "finished": degrees(bend.measured_angle),
                        "set": degrees(bend.set_angle),
                        "off": degrees(bend.set_angle - item.fit.springback.set_angle(bend.measured_angle)),
                    }
                    for bend in item.fit.bends
                ],
                "stretch": None if item.tube_use is None else item.tube_use.stretch,
                "stretch_error": None if item.tube_use is None else item.tube_use.error,
                "next_test_bend": {"angle": degrees(item.next.angle), "says": item.next.says},
                "findings": [{"level": f.level, "says": f.says} for f in item.findings],
            }
            for item in found
        ],
        "untested": untested(shop, found),
        "findings": [{"level": finding.level, "says": finding.says} for finding in log.findings],
    }


def write_plots(shop: Shop, log: BendLog, folder: Path) -> list[Path]:
    """A picture of each die and tube, as PNG and as SVG, into a folder."""
    from exporters.chart import Chart, chart_svg
    from exporters.sheets.typeset import SVG, pictures
    from railmodel.app.names import unique_stems
    from railmodel.files import writable_folder, write_whole

    writable_folder(folder)
    found = calibrated(shop, log)
    stems = unique_stems(f"springback {item.fit.die} {item.fit.tube}" for item in found)
    paths = []
    for item, stem in zip(found, stems, strict=True):
        curve = fit_curve(item.fit.springback, item.fit.bends)
        chart = Chart(
            title=f"Springback of die {item.fit.die}, tube {item.fit.tube}: {item.fit.springback.source}",
            across="finished angle, degrees",
            up="springback, degrees",
            points=list(zip(curve.finished.tolist(), curve.springback.tolist(), strict=True)),
            line=list(zip(curve.line_finished.tolist(), curve.line.tolist(), strict=True)),
            band=list(zip(curve.line_finished.tolist(), curve.low.tolist(), curve.high.tolist(), strict=True)),
        )
        drawn = chart_svg(chart)
        (picture,) = pictures("chart", {SVG: drawn}, ppi=192)
        for ending, content in (("png", picture), ("svg", drawn)):
            paths.append(folder / f"{stem}.{ending}")
            write_whole(paths[-1], content)
    return paths


def read_record(shop: Shop, path: Path) -> BendLog:
    """The shop's record of test bends, read."""
    return read_bend_log(record_of(shop, path), shop.units)
