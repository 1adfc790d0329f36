"""The making of training crops and the network, as far as it is quick on a processor."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

torch = pytest.importorskip("torch")
pytest.importorskip("onnx")

from sheet_reader.digits.classes import CLASSES  # noqa: E402
from sheet_reader.digits.normalise import normalise  # noqa: E402
from sheet_reader.digits.read import BoxReader  # noqa: E402
from sheet_reader.lab.sets import data_folder  # noqa: E402
from sheet_reader.lab.temperature import temperature, write_calibration  # noqa: E402
from sheet_reader.lab.train import Options, train  # noqa: E402
from sheet_reader.lab.training import crossed_out, strokes  # noqa: E402
from sheet_reader.lab.training.batches import TAKES, Batches, Mix  # noqa: E402
from sheet_reader.lab.training.crossing import cross_out  # noqa: E402
from sheet_reader.lab.training.export import write_onnx  # noqa: E402
from sheet_reader.lab.training.fit import Normaliser, Recipe, fit, rate_at, scores_of  # noqa: E402
from sheet_reader.lab.training.frames import random_boxes  # noqa: E402
from sheet_reader.lab.training.model import Network, Teacher, Widths  # noqa: E402
from sheet_reader.lab.training.placing import Placer  # noqa: E402
from sheet_reader.lab.training.provenance import weights_digest  # noqa: E402
from sheet_reader.lab.training.random_source import RandomSource  # noqa: E402
from sheet_reader.lab.training.sources import (  # noqa: E402
    Bitmaps,
    Sources,
    Strokes,
)

CPU = torch.device("cpu")


def _tensors(pool: strokes.StrokePool) -> Strokes:
    parts = (pool.points, pool.down, pool.labels)
    return Strokes(*(torch.from_numpy(part) for part in parts))


@pytest.fixture(scope="module")
def sources() -> Sources:
    none = torch.zeros(0, 64, 64)
    bits = Bitmaps(torch.zeros(0, 32, 32), torch.zeros(0), torch.zeros(0, dtype=torch.int64))
    return Sources(
        digits=((_tensors(strokes.hand_digits(40, 1)), 1.0),),
        signs=_tensors(strokes.hand_signs(30, 2)),
        scribbles=_tensors(strokes.scribbles(20, 3)),
        bitmaps=bits,
        blanks=none,
        candidates=none,
        seen=none.byte(),
        seen_labels=torch.zeros(0, dtype=torch.int64),
    )


def test_a_batch_holds_every_class_as_grey_values(sources: Sources) -> None:
    batches = Batches(sources, Mix().scaled(64), 5, CPU)
    crops, labels = batches.next()
    assert crops.shape == (TAKES * 64, 64, 64)
    assert torch.equal(crops, crops.round())
    assert 0.0 <= float(crops.min()) < float(crops.max()) <= 255.0
    assert set(range(10, 14)) <= set(labels.tolist())
    again, _ = Batches(sources, Mix().scaled(64), 5, CPU).next()
    assert torch.equal(crops, again)


def test_digits_have_more_ink_than_empty_boxes(sources: Sources) -> None:
    crops, labels = Batches(sources, Mix().scaled(96), 6, CPU).next()
    inside = crops[:, 20:44, 20:44]
    spread = inside.std(dim=(1, 2)) / inside.mean(dim=(1, 2))
    empty = labels == CLASSES.index("empty")
    assert float(spread[labels < 10].median()) > 2.0 * float(spread[empty].median())


def test_training_sees_what_the_reader_sees() -> None:
    rng = np.random.default_rng(8)
    crops: NDArray[np.uint8] = rng.integers(0, 256, (9, 64, 64), dtype=np.uint8)
    crops[3:6] = crops[3:6] // 6 + 90
    theirs = Normaliser(CPU)(torch.from_numpy(crops).float()).numpy()
    assert np.allclose(normalise(crops), theirs, atol=2e-5)


def test_opencv_answers_as_the_trained_network(tmp_path: Path) -> None:
    torch.manual_seed(3)
    network = Network().eval()
    write_onnx(network, tmp_path / "weights.onnx")
    write_calibration(tmp_path / "calibration.json", 1.0, [0.0] * len(CLASSES), "test")
    assert (tmp_path / "weights.onnx").stat().st_size < 1_000_000
    reader = BoxReader(tmp_path / "weights.onnx", tmp_path / "calibration.json")
    crops = np.random.default_rng(1).integers(0, 256, (5, 64, 64), dtype=np.uint8)
    theirs = scores_of(network, torch.from_numpy(crops))
    assert np.allclose(reader.scores(crops), theirs, atol=1e-4)


def test_the_temperature_is_found_again() -> None:
    rng = np.random.default_rng(2)
    honest = rng.normal(0.0, 2.0, (20_000, 14))
    chances = np.exp(honest) / np.exp(honest).sum(axis=1, keepdims=True)
    labels = np.array([rng.choice(14, p=row) for row in chances])
    assert temperature(honest * 3.0, labels) == pytest.approx(3.0, rel=0.05)


def test_the_rate_rises_and_falls_to_nothing() -> None:
    recipe = Recipe(rate=1.0, warm_up=0.1)
    rates = [rate_at(p, recipe) for p in (0.05, 0.1, 0.55, 1.0)]
    assert rates == [pytest.approx(0.5), pytest.approx(1.0), pytest.approx(0.5), pytest.approx(0.0)]


def test_resampled_strokes_keep_their_ends_and_lifts() -> None:
    first = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0]])
    second = np.array([[0.5, 0.5], [0.5, 0.9]])
    points, down = strokes.resample([first, second], 20)
    assert points.shape == (20, 2)
    assert (~down).sum() == 1
    lift = int(np.flatnonzero(~down)[0])
    assert np.allclose(points[[0, lift, lift + 1, -1]], [[0, 0], [1, 1], [0.5, 0.5], [0.5, 0.9]])


class _SureOfFive(torch.nn.Module):
    """A teacher that takes everything for a 5."""

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return torch.full((len(x), len(CLASSES)), -9.0).index_fill(1, torch.tensor([5]), 9.0)


def test_the_network_learns_what_its_teacher_says(sources: Sources) -> None:
    torch.manual_seed(1)
    small = Widths(8, 8, 8, 8, (1, 1, 1))
    recipe = Recipe(samples=1600, batch=64, rate=2e-2)
    taught = fit(Network(small), Batches(sources, Mix().scaled(64), 7, CPU), recipe,
                 tell=lambda _: None, teacher=_SureOfFive())  # fmt: skip
    crops, labels = Batches(sources, Mix().scaled(64), 8, CPU).next()
    answers = scores_of(taught, crops).argmax(axis=1)
    assert (answers == 5).mean() > 0.9
    assert (labels.numpy() == 5).mean() < 0.2


def test_the_teacher_answers_in_the_same_classes() -> None:
    scores = Teacher((8, 8, 8), 1).eval()(torch.zeros(2, 8, 32, 32))
    assert scores.shape == (2, len(CLASSES))


def test_a_cross_goes_over_the_digit_and_lifts_the_pen(sources: Sources) -> None:
    rng = RandomSource(4, CPU)
    placer = Placer(sources, rng)
    boxes = random_boxes(600, rng)
    digit = placer.digit(boxes)
    cross = cross_out(boxes, digit, placer)
    middle = 0.5 * (digit.points.amax(dim=1) + digit.points.amin(dim=1))
    low, high = cross.points.amin(dim=1), cross.points.amax(dim=1)
    over = ((low < middle) & (middle < high)).all(dim=1)
    assert float(over.float().mean()) > 0.97
    reach = (high - low) / boxes.size
    assert float(reach.min()) > 0.2
    assert float((reach < 0.8).any(dim=1).float().mean()) > 0.1  # short of the corners
    assert float((reach > 1.05).any(dim=1).float().mean()) > 0.1  # beyond the frame
    lifts = (~cross.down).sum(dim=1)
    assert set(lifts.tolist()) == {0, 1}
    assert 0.5 < float((lifts == 1).float().mean()) < 0.8


def test_one_line_through_a_nought_goes_from_corner_to_corner(sources: Sources) -> None:
    """A shorter one may be the slash of a slashed 0, which is a digit."""
    rng = RandomSource(5, CPU)
    placer = Placer(sources, rng)
    boxes = random_boxes(3000, rng)
    digit = placer.digit(boxes)
    cross = cross_out(boxes, digit, placer)
    x, y = cross.points[..., 0], cross.points[..., 1]
    straight = (x[:, -1] - x[:, 0]).abs() * (y[:, -1] - y[:, 0]).abs()
    size = boxes.size.prod(dim=1)
    single = cross.down.all(dim=1) & (
        straight > 0.9 * (x.amax(1) - x.amin(1)) * (y.amax(1) - y.amin(1))
    )
    share = (straight / size)[single & (digit.labels == 0)]
    others = (straight / size)[single & (digit.labels != 0)]
    assert len(share) > 20
    assert float(share.min()) > 0.5
    assert float(others.min()) < 0.4


def test_strokes_across_are_told_from_crosses() -> None:
    t = np.linspace(0.0, 6.283, 30)
    nought = np.column_stack([0.3 * np.sin(t), -0.5 * np.cos(t)])
    slash = np.array([[0.35, -0.5], [-0.35, 0.5]])
    seven = np.array([[-0.3, -0.5], [0.3, -0.5], [0.0, 0.5]])
    bar = np.array([[-0.15, 0.02], [0.25, 0.0]])
    top = np.array([[-0.3, -0.5], [0.3, -0.5]])
    assert crossed_out.group_of(0, [nought, slash]) == crossed_out.SLASH
    assert crossed_out.group_of(0, [nought]) == crossed_out.REST
    assert crossed_out.group_of(7, [seven, bar]) == crossed_out.BAR
    assert crossed_out.group_of(7, [seven[1:], top]) == crossed_out.REST  # written in two strokes
    assert crossed_out.group_of(4, [seven, bar]) == crossed_out.FOUR
    lines = crossed_out.crossed([nought], 2, np.random.default_rng(1))[1:]
    assert len(lines) == 2
    assert all((np.abs(line) > 0.3).all() for line in lines)
    assert np.sign(np.prod(lines[0][0])) != np.sign(np.prod(lines[1][0]))


def test_shares_of_what_crops_are_called() -> None:
    chances = np.full((4, len(CLASSES)), 0.001)
    chances[0, CLASSES.index("struck")] = chances[1, 3] = 0.95
    chances[2, 3], chances[2, CLASSES.index("struck")] = 0.5, 0.45
    chances[3, CLASSES.index("empty")] = 0.9
    assert crossed_out.shares(chances) == (0.25, 0.5, 0.25)


def test_a_digest_tells_weights_apart_and_not_where_they_lie() -> None:
    torch.manual_seed(3)
    network = Network(Widths(8, 8, 8, 8, (1, 1, 1)))
    before = weights_digest(network)
    assert weights_digest(network.to(memory_format=torch.channels_last)) == before
    with torch.no_grad():
        next(network.parameters())[0, 0, 0, 0] += 1e-6
    assert weights_digest(network) != before


@pytest.mark.skipif(
    not (data_folder() / "mnist_writers.npz").exists(), reason="../shared is absent"
)
def test_a_run_in_two_parts_gives_the_weights_of_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And so does a run done again: nothing hangs on time or on what ran before."""
    monkeypatch.setattr(os, "cpu_count", lambda: 1)  # no processes forked from a threaded one
    monkeypatch.setattr("sheet_reader.lab.train.shutil.which", lambda _: None)  # nothing compiled
    monkeypatch.setattr("sheet_reader.lab.train.checks.development", lambda *_: {})
    few = {"device": "cpu", "samples": 1024.0, "rate": 4e-3, "seed": 5, "hand": 320,
           "without": ("mnist", "unipen"), "photos": None, "start": None, "semeion": False,
           "widths": (8, 8, 8, 8), "blocks": (1, 1, 1)}  # fmt: skip

    def digests(name: str, **more: Any) -> tuple[Any, Any]:
        told = {"lessons": 512.0, "only_teacher": False, "taught_by": None} | more
        train(Options(out=tmp_path / name, **few, **told))
        text = tmp_path / name / ("teacher.json" if told["only_teacher"] else "training.json")
        found = json.loads(text.read_text("utf-8"))
        return found["teacher sha256"], found.get("network sha256")

    whole = digests("whole")
    first, _ = digests("first", only_teacher=True)
    second = digests("second", taught_by=tmp_path / "first" / "teacher.pt")
    assert second == whole
    assert first == whole[0]
    assert (tmp_path / "whole" / "weights.onnx").exists()
