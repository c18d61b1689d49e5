"""The page's jobs in a real worker: figures before bodies, and a wrong design is told."""

import asyncio
import json
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from itertools import count
from unittest.mock import Mock

import numpy as np
import pytest
import trimesh
from command_line import ran
from fit.test_twin import scan
from page.person import drawn, redrawn

from moulddesign.building import shaped
from moulddesign.core import SpecError, Verdict
from moulddesign.design import Design, RegisteredMould, ZippedFiles, save_register, zip_bytes
from moulddesign.page import jobs, session
from moulddesign.page.batch_sheet import joint_result
from moulddesign.page.jobs import (
    COARSE_PREVIEW,
    PREVIEW,
    check_design,
    coarse_preview,
    prepare,
    preview,
    total_batch,
)
from moulddesign.page.markup import weights_line
from moulddesign.page.owned_jobs import make_twin
from moulddesign.page.session import DownloadStore, MadeSet, Session, Workers
from moulddesign.page.texts import page_texts
from moulddesign.workers import Cancelled, Worker


def run(work):
    """Run in a thread of its own: the browser's tool keeps an event loop in this one."""
    with ThreadPoolExecutor(1) as threads:
        return threads.submit(asyncio.run, work).result()


async def names(worker, design):
    answer = worker.stream(PREVIEW, design.plain(), limit_s=60.0, cancelled=asyncio.Event())
    return [name async for name, _ in answer]


def test_a_piece_is_told_figures_first_and_a_wrong_design_in_a_sentence(tmp_path):
    async def both():
        with pytest.raises(SpecError, match=r"^pastry.width_mm = 300"):
            await names(worker, Design.of({"pastry": {"width_mm": 300.0}}))
        first = worker.process_id
        assert await names(worker, Design()) == ["figures", "pastry"]
        assert worker.process_id == first

    worker = Worker(partial(prepare, str(tmp_path), str(tmp_path), niceness=1))
    run(both())
    worker.end()


@pytest.mark.parametrize(
    ("most_mb", "weights_g", "again"),
    [(1e6, (61.25, 61.75), []), (-1.0, (62.25, 62.75), ["figures", "coarse"])],
)
def test_a_process_that_holds_much_keeps_nothing_of_other_designs(
    monkeypatch, most_mb, weights_g, again
):
    monkeypatch.setattr(jobs, "MOST_KEPT_MB", most_mb)
    tables = [{"portion": {"finished_weight_g": weight_g}} for weight_g in weights_g]
    for table in tables:
        assert [name for name, _ in preview(lambda: None, table)] == ["figures", "pastry"]
    # A coarse piece is made just where the true one is not known.
    assert [[name for name, _ in coarse_preview(None, table)] for table in tables] == [again, []]


def test_bodies_are_given_back_with_each_new_piece_and_not_with_one_that_is_known(monkeypatch):
    monkeypatch.setattr(jobs, "forget_bodies", Mock())
    monkeypatch.setattr(jobs, "MOST_KEPT_MB", 1e6)
    counts = []
    for weight_g in (63.25, 63.75, 63.25):
        list(preview(lambda: None, {"portion": {"finished_weight_g": weight_g}}))
        counts.append(jobs.forget_bodies.call_count)
    assert counts == [1, 2, 2]


@pytest.mark.parametrize(("most_bytes", "left"), [(0, [2]), (1_000, [2]), (1e6, [0, 1, 2])])
def test_the_last_set_is_kept_and_those_before_it_as_far_as_they_are_small(
    monkeypatch, most_bytes, left
):
    monkeypatch.setattr(session, "MOST_SETS_BYTES", most_bytes)
    store, designs = DownloadStore(), [Design(name=f"cake {number}") for number in range(3)]
    files = ZippedFiles(zip_bytes({"cake.stl": np.random.default_rng(1).bytes(9_000)}, "cake"))
    for design in designs:
        store.keep(design, MadeSet(files=files, steps=()))
    assert [number for number in range(3) if store.made(designs[number])] == left


def test_a_true_face_is_given_up_in_the_middle():
    asked = count(1)

    def checkpoint():
        if next(asked) == 20:
            raise Cancelled

    plain = Design.of({"face": {"name": "blossom"}, "name": "given up"}).plain()
    with pytest.raises(Cancelled):
        list(preview(checkpoint, plain))
    # nothing is known of it: a coarse one is still needed
    assert dict(coarse_preview(lambda: None, plain))["coarse"]


def test_a_change_does_not_wait_for_the_true_face_of_what_was_there_before():
    class NeverDone:
        def __init__(self):
            self.begun = asyncio.Queue()

        async def stream(self, job, plain, *, cancelled, **_):
            self.begun.put_nowait((job, plain["pastry"]["outline"]))
            if job is PREVIEW:
                await cancelled.wait()
                return
            yield "figures", None
            yield "coarse", b""

    async def changed():
        worker = NeverDone()
        workers = Workers(preview=worker, build=worker, exact=Worker(), tasks=worker)
        session = Session(Design(), workers=workers, uploads=None, store=DownloadStore())
        session.listener = Mock()
        for outline in ("square", "hexagon", "octagon"):
            face = {"face": {"name": "blossom"}, "pastry": {"outline": outline}}
            session.request(Design.of(face))
            for job in (COARSE_PREVIEW, PREVIEW):
                assert await asyncio.wait_for(worker.begun.get(), 5.0) == (job, outline)

    run(changed())


@pytest.mark.parametrize("draft", [None, pytest.param(0.0, marks=pytest.mark.slow), 20.0])
def test_a_blocks_piece_is_the_one_that_a_build_makes(draft):
    """What the page draws and makes leans as the block's cavity does."""
    design = Design().with_values({"mould.kind": "block", "mould.side_draft_deg": draft})
    shown = dict(preview(lambda: None, design.plain()))["figures"]
    shape = shaped(design)
    assert shown.height_mm == shape.pastry.height_mm
    assert shown.crust_mm == shape.interior.crust_mm
    assert shape.pastry.side_draft_deg == (5.0 if draft is None else draft)  # 5 deg: the default


@pytest.mark.slow
@pytest.mark.parametrize(
    ("values", "id_"),
    [
        ({"portion.ratio": "1:9"}, "verify.crust-thickness"),
        (
            {"portion.centres": [{"name": "walnut", "mass_g": 26.0}]},
            "verify.room-around-centres",
        ),
        ({"relief.layers": [{"pattern": "wren", "size_mm": 3.0}]}, "verify.artwork-at-depth"),
    ],
    ids=["a crust under 1 mm", "a centre larger than its room", "relief that shows nothing"],
)
def test_what_fails_on_the_command_line_fails_on_the_page(values, id_, tmp_path):
    design = Design().with_values(values)
    (tmp_path / "design.toml").write_text(design.toml())
    code, said, _ = ran("make", "design.toml", "--out", "set", folder=tmp_path)
    found = dict(check_design(lambda: None, design.plain()))["findings"][0]
    (failed,) = [f for f in found if f.id == id_]
    assert (code, failed.verdict) == (1, Verdict.FAIL)
    assert failed.title() in said


def test_a_carved_piece_is_told_coarsely_first_and_by_its_highest_point():
    carved = {"face": {"ground": {"form": "domed", "rise_mm": 3.0}}, "relief.layers": []}
    design = Design().with_values(carved)
    coarse = dict(coarse_preview(lambda: None, design.plain()))
    shown = next(value for _, value in preview(lambda: None, design.plain()))
    assert coarse["figures"].figures == shown.figures
    assert coarse["figures"].height_mm == pytest.approx(shown.height_mm, abs=0.05)
    assert list(coarse_preview(lambda: None, design.plain())) == []  # the true one is known
    # The dome's own rise, over the ground's plane and off the mesh: numpy's largest height.
    top_mm = shaped(design).pastry.mesh.vertices[:, 2].max()
    assert shown.highest_mm == pytest.approx(top_mm, abs=0.02)
    assert f" {shown.highest_mm:.0f}<" in weights_line(page_texts("en"), shown)


def test_a_flat_piece_has_no_highest_point_of_its_own():
    shown = next(value for _, value in preview(lambda: None, Design().plain()))
    assert shown.highest_mm is None


@pytest.fixture
def scanned(tmp_path):
    """Return the file of a scan of an old mould, 50 mm wide."""
    mesh = scan(0.0, 0.7)
    path = tmp_path / "old.stl"
    trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False).export(path)
    return path


def test_the_twin_of_a_scan_is_that_of_the_command_line(scanned, tmp_path):
    asked = {"scan": str(scanned), "known_width_mm": 50.0}
    ((_, (tree, files, says)),) = make_twin(None, Design().plain(), asked)
    code, out, _ = ran("twin", scanned.name, "--width", "50", folder=tmp_path)
    assert code == 0
    assert Design.of(tree).toml() == (tmp_path / "twin.toml").read_text()
    named = ("twin-outline.svg", "twin-raised.png")  # so coarse a scan of a disc is no circle
    assert files == {name: (tmp_path / name).read_bytes() for name in named}
    assert all(str(each) in " ".join(out.split()) for each in says)


@pytest.mark.slow
def test_a_scan_is_opened_and_becomes_the_design(visit, scanned):
    page = visit()
    before = drawn(page)
    page.click("nav >> text=My moulds")
    page.set_input_files("[data-path=scan] input[type=file]", scanned)
    page.fill("#twin-known_width_mm", "50")
    page.keyboard.press("Tab")
    page.wait_for_timeout(500)
    page.click("text=Make its design")
    page.wait_for_selector(".answer >> text=the piece of the old mould")
    page.click("nav >> text=Design a piece")
    redrawn(page, before)
    assert page.inner_text(".design-name") == "twin"


def test_a_batch_in_several_moulds_is_that_of_the_command_line(monkeypatch, tmp_path):
    monkeypatch.setenv("MOULDDESIGN_WORKSHOP", str(tmp_path / "workshop.toml"))
    tin = {"name": "tin", "width_mm": 50.0, "height_mm": 25.0, "marks": "gluten-free only"}
    bought = {"name": "bought", "width_mm": 60.0, "height_mm": 28.0, "state": "set-aside"}
    save_register(map(RegisteredMould.of, (tin, bought)))
    on_hand = {"crust_g": 1200.0, "filling_g": 2800.0}
    ((_, found),) = total_batch(None, Design().plain(), on_hand, ("A", "B"))
    hand = ("--crust-on-hand", "1200", "--filling-on-hand", "2800", "--json")
    code, out, err = ran("batch", "--mould", "A", "--mould", "B", *hand, folder=tmp_path)
    assert code == 0
    told = {each["name"]: each["pieces"] for each in json.loads(out)["designs"]}
    assert {name: each.pieces for name, each in found.made.batches} == told
    assert tuple(found.pieces.values()) == tuple(told.values())
    assert [str(remark) for remark in found.remarks] == [
        "bought is set aside in the register",
        "tin is kept for: gluten-free only; press no other dough in it",
    ]
    assert all(f"{remark}." in " ".join(err.split()) for remark in found.remarks)
    shown = joint_result(page_texts("en"), found.made, "")
    assert f"makes {told['tin']} of tin, {told['bought']} of bought" in shown
