"""How long `railmodel fit` takes on the hauler: processor time, against a plain loop of the same run."""

from collections.abc import Callable
from pathlib import Path
from time import process_time

from typer.testing import CliRunner

from railmodel.app.cli import app

DEMO = Path(__file__).parents[2] / "demo_jobs"


def test_the_hauler_is_solved_in_three_seconds(tmp_path: Path, record_property: Callable[[str, object], None]) -> None:
    text = (DEMO / "hillside_hauler" / "hauler.yaml").read_text()
    text = text.replace("shop: ../shop.yaml", f"shop: {DEMO / 'shop.yaml'}")
    text = text.replace(
        "{at: [88, 15, 25], die: hard 7}",
        "{at: [90, 15, 23 1/2], die: hard 7, free: {x: [84, 100], z: [22, 28]}}",
    ).replace("- [132, 15, 25]", "- {at: [132, 15, 23 1/2], free: {z: [22, 28]}}")
    path = tmp_path / "hauler.yaml"
    path.write_text(text)
    start = process_time()
    result = CliRunner().invoke(app, ["fit", str(path)])
    seconds = process_time() - start
    start = process_time()
    sum(i * i for i in range(1_000_000))
    yardstick = process_time() - start
    record_property("fit of the hauler, s", seconds)
    assert result.exit_code == 0, result.output
    assert "Every wish is met" in result.output
    assert seconds < max(3.0, 36 * yardstick)
