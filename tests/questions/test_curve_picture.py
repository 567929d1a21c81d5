"""One staircase for each alternative, and the picture of them: right, whole, and legible in grey."""

from __future__ import annotations

import csv
import io
import json
import sys
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from small_cases import possible, tiny
from typer.testing import CliRunner

from optimizer.cli import app
from optimizer.errors import InputError, WrongUse
from optimizer.handover.pictures import FOOTER, draw_curves, picture_file
from optimizer.questions.curve import Curve, axis_of, curve
from optimizer.questions.curves import curves
from optimizer.questions.versus import WAYS, alternatives, under

KIT, IMPOSSIBLE = "light_kit", "coast_house"


def run(*arguments):
    result = CliRunner().invoke(app, [str(argument) for argument in arguments])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def words_of(file):
    """Every text of an SVG."""
    return ["".join(text.itertext()).strip() for text in ET.parse(file).getroot().iter("{http://www.w3.org/2000/svg}text")]


def told(steps):
    return [(step.start, step.end, step.start_cents, step.end_cents, step.answer.choice) for step in steps]


@pytest.mark.parametrize(("number", "each"), [(0, "chemistry"), (1, "voltage"), (2, "controller")])
def test_each_curve_is_the_curve_with_one_alternative_left(number, each):
    problem, catalog = tiny(possible(number))
    assert len(alternatives(problem, catalog, each)) > 1
    found = curves(problem, catalog, "sun", each)
    assert [value for value, _ in found] == list(alternatives(problem, catalog, each))
    for value, one in found:
        alone = curve(under(problem, catalog, each, value), catalog, "sun")
        assert told(one.steps) == told(alone.steps)
        assert one.exact == alone.exact


def test_an_unknown_alternative_is_refused():
    with pytest.raises(WrongUse, match="colour"):
        curves(*tiny(possible(0)), "sun", "colour")


def test_no_alternative_at_all_is_a_sentence():
    problem, catalog = tiny(possible(0))
    with pytest.raises(InputError, match="no alternative"):
        curves(problem, replace(catalog, batteries=()), "sun", "chemistry")


def test_interrupted_the_rest_is_empty_and_not_complete():
    problem, catalog = tiny(possible(2))
    values = alternatives(problem, catalog, "controller")
    assert len(values) > 1

    def stop(text):
        if not text.startswith(f"{values[0]}: "):
            raise KeyboardInterrupt

    found = curves(problem, catalog, "sun", "controller", stop)
    assert [value for value, _ in found] == list(values)
    assert [one.complete for _, one in found] == [True] + [False] * (len(values) - 1)
    assert found[0][1].steps
    assert not found[-1][1].steps


@pytest.mark.parametrize("each", WAYS)
def test_the_picture_names_every_alternative(each, tmp_path):
    problem, catalog = tiny(possible(0))
    found = curves(problem, catalog, "sun", each)
    draw_curves(tmp_path / "a.svg", "A $1 & $2 <site>", "USD", found, each)
    draw_curves(tmp_path / "b.svg", "A $1 & $2 <site>", "USD", found, each)
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
    words = words_of(tmp_path / "a.svg")
    for value, one in found:
        costs = [step.start_cents for step in one.steps]
        assert (value in words) is any(cents is not None for cents in costs)
        assert (f"{value}: no design" in words) is (None in costs)
    for text in ("price [USD]", "sun [% of the sun hours]", "now", "0", FOOTER, f"A $1 & $2 <site>: the cheapest design over sun, for each {each}"):
        assert text in words


def test_the_picture_is_grey(tmp_path):
    import numpy as np
    from matplotlib.image import imread

    problem, catalog = tiny(possible(0))
    found = curves(problem, catalog, "sun", "chemistry")
    draw_curves(tmp_path / "a.png", problem.name, catalog.currency, found, "chemistry")
    pixels = imread(tmp_path / "a.png")
    assert np.array_equal(pixels[..., 0], pixels[..., 1])
    assert np.array_equal(pixels[..., 1], pixels[..., 2])
    assert pixels[..., 0].min() < 0.1
    assert pixels[..., 0].max() == 1


def test_no_two_lines_look_alike():
    from optimizer.handover.pictures import LINES, MARKERS

    looks = {(LINES[number % len(LINES)], MARKERS[number % len(MARKERS)]) for number in range(42)}
    assert len(looks) == 42


def test_nothing_looked_at_is_drawn_as_such(tmp_path):
    problem, catalog = tiny(possible(0))
    draw_curves(tmp_path / "a.svg", "x", "USD", [("", Curve(axis_of(problem, catalog, "sun"), (), complete=False))])
    words = words_of(tmp_path / "a.svg")
    assert "nothing was looked at" in words
    assert any(text.startswith("Interrupted") for text in words)


@pytest.mark.parametrize("suffix", [".svg", ".png", ".PNG"])
def test_the_command_writes_the_picture_and_the_same_answer(suffix, tmp_path):
    file = tmp_path / f"stairs{suffix}"
    file.write_text("old")
    plain = run("curve", IMPOSSIBLE, "--over", "sun", "--json")
    drawn = run("curve", IMPOSSIBLE, "--over", "sun", "--json", "--picture", file)
    assert (drawn.exit_code, drawn.stdout) == (0, plain.stdout)
    assert f"wrote {file}" in drawn.stderr
    assert file.read_bytes() != b"old"
    if suffix == ".svg":
        assert {"no design", "no design anywhere on the axis"} <= set(words_of(file))


def test_the_command_with_each():
    asked = ("curve", KIT, "--over", "price:PV-100-36", "--each", "voltage")
    data = json.loads(run(*asked, "--json").stdout)
    single = json.loads(run("curve", KIT, "--over", "price:PV-100-36", "--json").stdout)
    assert (data["over"], data["unit"], data["each"]) == ("price:PV-100-36", "USD", "voltage")
    assert all(set(one) == {"value", *single} for one in data["curves"])
    rows = list(csv.DictReader(io.StringIO(run(*asked, "--csv").stdout)))
    assert [row["each"] for row in rows] == [one["value"] for one in data["curves"] for _ in one["steps"]]
    text = run(*asked).stdout
    assert max(map(len, text.splitlines())) <= 79
    assert all(f"voltage: {one['value']}" in text for one in data["curves"])


def test_a_picture_that_cannot_be_written_is_a_sentence(tmp_path):
    for name in ("stairs.pdf", "stairs", "stairs.svg.gz"):
        bad = run("curve", KIT, "--over", "sun", "--picture", tmp_path / name)
        assert bad.exit_code == 2
        assert ".svg or .png" in bad.stderr
        assert not bad.stdout
    for path in (tmp_path / "nowhere" / "a.svg", tmp_path / "folder.png"):
        (tmp_path / "folder.png").mkdir(exist_ok=True)
        bad = run("curve", KIT, "--over", "sun", "--picture", path)
        assert bad.exit_code == 3
        assert "cannot be written" in bad.stderr


def test_a_write_that_fails_is_a_sentence(tmp_path, monkeypatch):
    from matplotlib.figure import Figure

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Figure, "savefig", full)
    problem, catalog = tiny(possible(0))
    with pytest.raises(InputError, match="No space left"):
        draw_curves(picture_file(tmp_path / "a.png"), "x", "USD", [("", Curve(axis_of(problem, catalog, "sun"), ()))])


def test_without_a_picture_nothing_that_draws_is_imported():
    import subprocess

    code = "import sys; from optimizer.handover import pictures; print('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "False"
