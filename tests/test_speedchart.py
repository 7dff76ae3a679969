"""The picture of speed against wind: the model's own figures, and the bands it is held against."""

import io
import re
from pathlib import Path

import numpy as np
import pytest
from matplotlib.patches import Rectangle

from routeplan._show.speedchart import BANDS, speed_figure
from routeplan.charts import draw_speed
from routeplan.errors import InputError
from routeplan.propulsion import CRAFTS, speed_against_wind

DOCS = Path(__file__).parent.parent / "docs"


@pytest.fixture(scope="module")
def figure():
    return speed_figure()


def test_curves_are_those_of_the_model_for_every_craft(figure):
    assert len(figure.axes) == len(CRAFTS)
    for axes, it in zip(figure.axes, CRAFTS.values(), strict=True):
        assert axes.get_title(loc="left").startswith(f"{it.name}, ")
        drawn = [line for line in axes.get_lines() if len(line.get_xdata()) > 10]
        assert [line.get_label() for line in drawn] == ["headwind", "wind abeam", "following wind"]
        for line, angle in zip(drawn, (0.0, 90.0, 180.0), strict=True):
            told = speed_against_wind(it, line.get_xdata(), [angle])[0]
            np.testing.assert_allclose(line.get_ydata(), told)


def test_headwind_curves_pass_through_the_published_bands(figure):
    """Sources are in the foot of the picture; sanity bands, not measurements."""
    for axes, it in zip(figure.axes, CRAFTS.values(), strict=True):
        boxes = [p for p in axes.patches if isinstance(p, Rectangle)]
        assert len(boxes) == sum(it.name in band.crafts for band in BANDS) >= 1
        for box in boxes:
            wind = np.linspace(box.get_x(), box.get_x() + box.get_width(), 50)
            speed = speed_against_wind(it, wind, [0.0])[0]
            inside = (speed >= box.get_y()) & (speed <= box.get_y() + box.get_height())
            assert inside.mean() > 1 / 3, (it.name, box)


def test_every_band_names_its_source_in_the_picture(figure):
    foot = "\n".join(text.get_text() for text in figure.texts)
    for band in BANDS:
        assert f"{band.key}: {band.source}" in foot
    assert "assumptions" in foot


def test_picture_is_written_and_never_over_a_file(tmp_path):
    from PIL import Image

    path = tmp_path / "speed.png"
    draw_speed(path)
    assert path.stat().st_size < 200_000
    assert np.asarray(Image.open(io.BytesIO(path.read_bytes())).convert("L")).std() > 20
    with pytest.raises(InputError, match="is there already"):
        draw_speed(path)


def test_physics_document_shows_it_and_names_every_craft():
    text = (DOCS / "physics.md").read_text(encoding="utf-8")
    picture = re.search(r"!\[[^]]+\]\(([^)]+)\)", text).group(1)
    assert 10_000 < (DOCS / picture).stat().st_size < 200_000
    for it in CRAFTS.values():
        row = next(line for line in text.splitlines() if line.startswith(f"| {it.name} |"))
        figures = [cell.strip() for cell in row.split("|")[2:-1]]
        assert figures == [
            f"{it.still_water_speed_ms:.2f}", it.posture, f"{it.frontal_area_drag_m2:.2f}",
            f"{it.power_w:g}", f"{it.paddle_efficiency:.2f}", f"{it.hull_exponent:g}",
            f"{100 * it.leeway_share:.2f} %",
            f"{it.loss_head_per_m:.2f}, {it.loss_beam_per_m:.2f}, {it.loss_follow_per_m:.2f}",
        ]  # fmt: skip
